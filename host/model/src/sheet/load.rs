//! Part sheets from TOML text, with errors that point at line and column. Reading files is someone else's business.

use super::body_plan::body_plan;
use super::follow_plan::{FollowPlan, follow_plan};
use super::load_grades::{RawGrade, grades};
use super::load_limits::{RawFinding, RawLimit, findings, limits};
use super::located::{SheetError, Source};
use super::reader::{Document, Later, Sourced};
use super::self_closing::self_closing;
use super::{BodyPlan, ConnectorRating, Monitor, NominalLine, PartSheet, SweepPlan, Topology};
use crate::quantity::PartKind;
use serde::Deserialize;
use serde_spanned::Spanned;

/// Largest difference between the nominal lines and their topology's rule, ratio of supply: room for rounding, not for
/// another topology.
const NOMINAL_TOLERANCE: f64 = 0.005;

/// Longest sheet that is read, bytes. A shipped sheet has about 8,000.
const LONGEST_TEXT: usize = 1 << 20;

/// A sheet as it is written.
#[derive(Deserialize)]
struct RawSheet {
    kind: Option<PartKind>,
    topology: Topology,
    nominal: Sourced<RawNominal>,
    travel_deg: f64,
    name: String,
    title: String,
    supply_volts: f64,
    monitor: Sourced<RawMonitor>,
    // What a kind of part has, and another has not.
    sweep: Later,
    body: Later,
    plate: Later,
    follow: Later,
    limit: Vec<Spanned<RawLimit>>,
    finding: Vec<RawFinding>,
    grade: Vec<Spanned<RawGrade>>,
    connector: Option<ConnectorRating>,
    self_closing: Later,
}

/// `[nominal]`.
#[derive(Deserialize)]
pub(super) struct RawNominal {
    rising: Spanned<RawLine>,
    second: Spanned<RawLine>,
}

#[derive(Deserialize)]
struct RawLine {
    closed_ratio: f64,
    open_ratio: f64,
}

/// `[monitor]`.
#[derive(Deserialize)]
pub(super) struct RawMonitor {
    threshold_percent_supply: f64,
    rail_low_ratio: f64,
    rail_high_ratio: f64,
    period_ms: f64,
    debounce: u32,
}

/// Reads a sheet. `origin` names the text in errors.
///
/// # Errors
/// Points at the line and column of bad TOML, an unknown or missing key, a wrong type or unit, a number out of range, an
/// impossible limit, a missing source, a limit given twice, or nominal lines that do not fit the topology.
pub fn parse(text: &str, origin: &str) -> Result<PartSheet, SheetError> {
    let source = Source { text, origin };
    if text.len() > LONGEST_TEXT {
        let message = format!("the sheet has {} bytes, more than {LONGEST_TEXT}", text.len());
        return Err(source.error(
            0..0,
            message,
            "is this a part sheet? `trackpair sheet show NAME` prints one",
        ));
    }
    let shape = "a sheet holds lines like `name = \"…\"`, tables like `[sweep]` and lists like `[[limit]]`";
    let document = Document::parse(source, "the sheet", shape)?;
    let sheet: RawSheet = document.read()?;
    let kind = sheet.kind.unwrap_or_default();
    let (rising, falling) = sheet.nominal.0.lines(source, sheet.topology)?;
    let (sweep, body, follow) = plan(&document, &sheet, kind)?;
    Ok(PartSheet {
        name: sheet.name,
        title: sheet.title,
        kind,
        topology: sheet.topology,
        supply_volts: sheet.supply_volts,
        travel_deg: sheet.travel_deg,
        rising,
        falling,
        monitor: sheet.monitor.0.monitor(),
        sweep,
        body,
        follow,
        limits: limits(source, sheet.limit, kind)?,
        findings: findings(source, sheet.finding, kind)?,
        grades: grades(source, sheet.grade)?,
        connector: sheet.connector.unwrap_or_default(),
        self_closing_required: self_closing(&document, sheet.self_closing, kind)?,
    })
}

/// How the part is driven: `[sweep]` of a grip, `[body]` of a throttle body, and of a pair `[follow]` and `[plate]` besides.
fn plan(
    document: &Document<'_>,
    sheet: &RawSheet,
    kind: PartKind,
) -> Result<(SweepPlan, Option<BodyPlan>, Option<FollowPlan>), SheetError> {
    let (sweep, body) = (("sweep", &sheet.sweep), ("body", &sheet.body));
    let (plate, follow) = (("plate", &sheet.plate), ("follow", &sheet.follow));
    let (wanted, others) = match kind {
        PartKind::Grip => ("[sweep]", vec![body, plate, follow]),
        PartKind::Body => ("[body]", vec![sweep, plate, follow]),
        PartKind::Pair => ("[follow]", vec![sweep]),
    };
    if let Some((other, place)) = others.into_iter().find_map(|(name, table)| Some((name, table.as_ref()?))) {
        let message = format!("`[{other}]` is not for a {}", kind.name());
        let help = format!("leave it out; {wanted} says how a {} is driven. Or change `kind`", kind.name());
        return Err(document.source.error(place.span(), message, help));
    }
    if kind == PartKind::Grip {
        return Ok((document.read_at(&["sweep"])?, None, None));
    }
    let follow = (kind == PartKind::Pair).then(|| follow_plan(document)).transpose()?;
    let body = body_plan(document, follow.as_ref().map_or(sheet.travel_deg, |f| f.plate.travel_deg))?;
    let creep =
        SweepPlan { cycles: body.creep_cycles, speed_deg_s: body.creep_speed_deg_s, rate_hz: body.rate_hz };
    Ok((creep, Some(body), follow))
}

impl RawNominal {
    /// Both lines, which must fit the topology.
    pub(super) fn lines(
        &self,
        source: Source<'_>,
        topology: Topology,
    ) -> Result<(NominalLine, NominalLine), SheetError> {
        let line = |raw: &RawLine| NominalLine { closed: raw.closed_ratio, open: raw.open_ratio };
        let (rising, second) = (line(self.rising.get_ref()), line(self.second.get_ref()));
        if rising.open - rising.closed < 0.05 {
            let message = format!(
                "the first line must rise by at least 0.05 of the supply, not {:.3}",
                rising.open - rising.closed
            );
            return Err(source.error(
                self.rising.span(),
                message,
                "give `rising` the line that rises on opening",
            ));
        }
        if (second.open - second.closed).abs() < 0.05 {
            let message = "the second line must change by at least 0.05 of the supply over the travel";
            return Err(source.error(
                self.second.span(),
                message,
                "check `closed_ratio` and `open_ratio` of `second`",
            ));
        }
        let (closed, open, rule) = match topology {
            Topology::Complementary => (1.0 - rising.closed, 1.0 - rising.open, "rising + second = 1"),
            Topology::HalfSlope => (rising.closed / 2.0, rising.open / 2.0, "rising = 2 x second"),
            Topology::ParallelOffset => {
                (second.closed, second.closed + rising.open - rising.closed, "rising - second = constant")
            }
        };
        if (second.closed - closed).abs() > NOMINAL_TOLERANCE
            || (second.open - open).abs() > NOMINAL_TOLERANCE
        {
            let message = format!("the nominal lines are not {}: {rule} (ratios of supply)", topology.name());
            let help = format!(
                "with this `rising`, `second` would be {{ closed_ratio = {closed:.3}, open_ratio = {open:.3} }}; or change `topology`"
            );
            return Err(source.error(self.second.span(), message, help));
        }
        Ok((rising, second))
    }
}

impl RawMonitor {
    /// A controller's monitor.
    pub(super) fn monitor(self) -> Monitor {
        Monitor {
            threshold_percent: self.threshold_percent_supply,
            rails: (self.rail_low_ratio, self.rail_high_ratio),
            period_ms: self.period_ms,
            debounce: self.debounce,
        }
    }
}

#[cfg(test)]
#[path = "load_tests.rs"]
mod tests;
