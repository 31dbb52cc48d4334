//! Part sheets from TOML text, with errors that point at line and column. Reading files is someone else's business.

use super::body_plan::body_plan;
use super::connector::connector;
use super::fields::Fields;
use super::follow_plan::{FollowPlan, follow_plan};
use super::load_grades::grades;
use super::load_limits::{findings, limits};
use super::located::{SheetError, Source};
use super::self_closing::self_closing;
use super::{BodyPlan, Monitor, NominalLine, PartSheet, SweepPlan, Topology};
use crate::quantity::PartKind;
use toml::de::DeTable;

const SHEET_KEYS: [&str; 17] = [
    "name",
    "title",
    "kind",
    "topology",
    "supply_volts",
    "travel_deg",
    "nominal",
    "monitor",
    "sweep",
    "body",
    "limit",
    "finding",
    "grade",
    "connector",
    "self_closing",
    "plate",
    "follow",
];
const LINE_KEYS: [&str; 2] = ["closed_ratio", "open_ratio"];
const MONITOR_KEYS: [&str; 6] =
    ["threshold_percent_supply", "rail_low_ratio", "rail_high_ratio", "period_ms", "debounce", "source"];
const KINDS: [PartKind; 3] = PartKind::ALL;
const TOPOLOGIES: [Topology; 3] = [Topology::Complementary, Topology::HalfSlope, Topology::ParallelOffset];

/// Largest difference between the nominal lines and their topology's rule, ratio of supply: room for rounding, not for
/// another topology.
const NOMINAL_TOLERANCE: f64 = 0.005;

/// Longest sheet that is read, bytes. A shipped sheet has about 8,000.
const LONGEST_TEXT: usize = 1 << 20;

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
    let document = DeTable::parse(text).map_err(|e| bad_toml(source, &e))?;
    // What is missing from the sheet as a whole is missing at its beginning.
    let sheet = Fields::new(source, document.get_ref(), 0..0, "the sheet", &SHEET_KEYS)?;
    let kind = sheet.optional_word("kind", kind_from_name, &KINDS.map(PartKind::name))?.unwrap_or_default();
    let topology = topology_of(&sheet)?;
    let (rising, falling) = nominal_lines(&sheet, topology)?;
    let travel_deg = sheet.bounded("travel_deg")?.value;
    let (sweep, body, follow) = plan(&sheet, kind, travel_deg)?;
    Ok(PartSheet {
        name: sheet.text("name")?.value.to_owned(),
        title: sheet.text("title")?.value.to_owned(),
        kind,
        topology,
        supply_volts: sheet.bounded("supply_volts")?.value,
        travel_deg,
        rising,
        falling,
        monitor: monitor(&sheet)?,
        sweep,
        body,
        follow,
        limits: limits(&sheet, kind)?,
        findings: findings(&sheet, kind)?,
        grades: grades(&sheet)?,
        connector: connector(&sheet)?,
        self_closing_required: self_closing(&sheet, kind)?,
    })
}

fn bad_toml(source: Source<'_>, error: &toml::de::Error) -> SheetError {
    let message = format!("this is not TOML: {}", error.message().lines().next().unwrap_or("unreadable"));
    source.error(
        error.span().unwrap_or(0..0),
        message,
        "a sheet holds lines like `name = \"…\"`, tables like `[sweep]` and lists like `[[limit]]`",
    )
}

fn kind_from_name(name: &str) -> Option<PartKind> {
    KINDS.into_iter().find(|k| k.name() == name)
}

/// How the part is driven: `[sweep]` of a grip, `[body]` of a throttle body, and of a pair `[follow]` and `[plate]` besides.
fn plan(
    sheet: &Fields<'_>,
    kind: PartKind,
    travel_deg: f64,
) -> Result<(SweepPlan, Option<BodyPlan>, Option<FollowPlan>), SheetError> {
    let (wanted, others): (_, &[&'static str]) = match kind {
        PartKind::Grip => ("[sweep]", &["body", "plate", "follow"]),
        PartKind::Body => ("[body]", &["sweep", "plate", "follow"]),
        PartKind::Pair => ("[follow]", &["sweep"]),
    };
    if let Some((other, place)) = others.iter().find_map(|other| Some((other, sheet.place(other)?))) {
        let message = format!("`[{other}]` is not for a {}", kind.name());
        let help = format!("leave it out; {wanted} says how a {} is driven. Or change `kind`", kind.name());
        return Err(sheet.error_at(place, message, help));
    }
    if kind == PartKind::Grip {
        return Ok((sweep(sheet)?, None, None));
    }
    let follow = (kind == PartKind::Pair).then(|| follow_plan(sheet)).transpose()?;
    let body = body_plan(sheet, follow.as_ref().map_or(travel_deg, |f| f.plate.travel_deg))?;
    let creep =
        SweepPlan { cycles: body.creep_cycles, speed_deg_s: body.creep_speed_deg_s, rate_hz: body.rate_hz };
    Ok((creep, Some(body), follow))
}

/// How two lines belong together.
pub(super) fn topology_of(fields: &Fields<'_>) -> Result<Topology, SheetError> {
    Ok(fields.word("topology", topology_from_name, &TOPOLOGIES.map(Topology::name))?.value)
}

fn topology_from_name(name: &str) -> Option<Topology> {
    TOPOLOGIES.into_iter().find(|t| t.name() == name)
}

/// Both nominal lines, which must fit the topology.
pub(super) fn nominal_lines(
    sheet: &Fields<'_>,
    topology: Topology,
) -> Result<(NominalLine, NominalLine), SheetError> {
    let nominal = sheet.table("nominal", "[nominal]", &["rising", "second", "source"])?;
    let rising_fields = nominal.table("rising", "`rising` of [nominal]", &LINE_KEYS)?;
    let second_fields = nominal.table("second", "`second` of [nominal]", &LINE_KEYS)?;
    let rising = nominal_line(&rising_fields)?;
    let second = nominal_line(&second_fields)?;
    nominal.provenance()?;
    if rising.open - rising.closed < 0.05 {
        let message = format!(
            "the first line must rise by at least 0.05 of the supply, not {:.3}",
            rising.open - rising.closed
        );
        return Err(rising_fields.error(message, "give `rising` the line that rises on opening"));
    }
    if (second.open - second.closed).abs() < 0.05 {
        let message = "the second line must change by at least 0.05 of the supply over the travel";
        return Err(second_fields.error(message, "check `closed_ratio` and `open_ratio` of `second`"));
    }
    let (closed, open, rule) = match topology {
        Topology::Complementary => (1.0 - rising.closed, 1.0 - rising.open, "rising + second = 1"),
        Topology::HalfSlope => (rising.closed / 2.0, rising.open / 2.0, "rising = 2 x second"),
        Topology::ParallelOffset => {
            (second.closed, second.closed + rising.open - rising.closed, "rising - second = constant")
        }
    };
    if (second.closed - closed).abs() > NOMINAL_TOLERANCE || (second.open - open).abs() > NOMINAL_TOLERANCE {
        let message = format!("the nominal lines are not {}: {rule} (ratios of supply)", topology.name());
        let help = format!(
            "with this `rising`, `second` would be {{ closed_ratio = {closed:.3}, open_ratio = {open:.3} }}; or change `topology`"
        );
        return Err(second_fields.error(message, help));
    }
    Ok((rising, second))
}

fn nominal_line(fields: &Fields<'_>) -> Result<NominalLine, SheetError> {
    Ok(NominalLine {
        closed: fields.bounded("closed_ratio")?.value,
        open: fields.bounded("open_ratio")?.value,
    })
}

/// A controller's monitor.
pub(super) fn monitor(sheet: &Fields<'_>) -> Result<Monitor, SheetError> {
    let fields = sheet.table("monitor", "[monitor]", &MONITOR_KEYS)?;
    let monitor = Monitor {
        threshold_percent: fields.bounded("threshold_percent_supply")?.value,
        rails: (fields.bounded("rail_low_ratio")?.value, fields.bounded("rail_high_ratio")?.value),
        period_ms: fields.bounded("period_ms")?.value,
        debounce: fields.count("debounce")?,
    };
    fields.provenance()?;
    Ok(monitor)
}

fn sweep(sheet: &Fields<'_>) -> Result<SweepPlan, SheetError> {
    let fields = sheet.table("sweep", "[sweep]", &["cycles", "speed_deg_s", "rate_hz"])?;
    Ok(SweepPlan {
        cycles: fields.count("cycles")?,
        speed_deg_s: fields.bounded("speed_deg_s")?.value,
        rate_hz: fields.count("rate_hz")?,
    })
}

#[cfg(test)]
#[path = "load_tests.rs"]
mod tests;
