//! Part sheets from TOML text, with errors that point at line and column. Reading files is someone else's business.

use super::bounds::{is_rate, is_signed, limit_range};
use super::fields::{Fields, Placed};
use super::located::{SheetError, Source};
use super::{FindingRule, Limit, Monitor, NominalLine, PartSheet, SweepPlan, Topology};
use crate::quantity::{Channel, FigureName, FindingKind};
use std::ops::Range;
use toml::de::DeTable;

const SHEET_KEYS: [&str; 10] = [
    "name",
    "title",
    "topology",
    "supply_volts",
    "travel_deg",
    "nominal",
    "monitor",
    "sweep",
    "limit",
    "finding",
];
const LINE_KEYS: [&str; 2] = ["closed_ratio", "open_ratio"];
const MONITOR_KEYS: [&str; 6] =
    ["threshold_percent_supply", "rail_low_ratio", "rail_high_ratio", "period_ms", "debounce", "source"];
const LIMIT_KEYS: [&str; 7] = ["figure", "channel", "min", "max", "bound", "unit", "source"];
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
    let topology = sheet.word("topology", topology_from_name, &TOPOLOGIES.map(Topology::name))?.value;
    let (rising, falling) = nominal_lines(&sheet, topology)?;
    Ok(PartSheet {
        name: sheet.text("name")?.value.to_owned(),
        title: sheet.text("title")?.value.to_owned(),
        topology,
        supply_volts: sheet.bounded("supply_volts")?.value,
        travel_deg: sheet.bounded("travel_deg")?.value,
        rising,
        falling,
        monitor: monitor(&sheet)?,
        sweep: sweep(&sheet)?,
        limits: limits(&sheet)?,
        findings: findings(&sheet)?,
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

fn topology_from_name(name: &str) -> Option<Topology> {
    TOPOLOGIES.into_iter().find(|t| t.name() == name)
}

fn nominal_lines(sheet: &Fields<'_>, topology: Topology) -> Result<(NominalLine, NominalLine), SheetError> {
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
        return Err(rising_fields.error(message, "give `rising` the line that rises when the grip is opened"));
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

fn monitor(sheet: &Fields<'_>) -> Result<Monitor, SheetError> {
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

fn limits(sheet: &Fields<'_>) -> Result<Vec<Limit>, SheetError> {
    let mut limits: Vec<Limit> = Vec::new();
    for fields in sheet.tables("limit", "[[limit]]", &LIMIT_KEYS)? {
        let (limit, place) = limit(&fields)?;
        if limits.iter().any(|l| l.figure == limit.figure && l.channel == limit.channel) {
            let whom = limit.channel.map_or("every line".to_owned(), |c| format!("the {c} line"));
            let message = format!("`{}` already has a limit for {whom}", limit.figure.name());
            return Err(fields.error_at(
                place,
                message,
                "keep one of the two; `min` and `max` go into the same [[limit]]",
            ));
        }
        limits.push(limit);
    }
    Ok(limits)
}

/// One limit and the place of its figure.
fn limit(fields: &Fields<'_>) -> Result<(Limit, Range<usize>), SheetError> {
    let figure = fields.word("figure", FigureName::from_name, &FigureName::ALL.map(FigureName::name))?;
    let channel = limit_channel(fields, figure.value)?;
    limit_unit(fields, figure.value)?;
    let min = limit_number(fields, "min", figure.value)?;
    let max = limit_number(fields, "max", figure.value)?;
    let bound = limit_number(fields, "bound", figure.value)?;
    check_order(fields, &figure, min.as_ref(), max.as_ref())?;
    if let Some(bound) = &bound {
        check_bound(fields, figure.value, bound, max.as_ref())?;
    }
    let limit = Limit {
        figure: figure.value,
        channel,
        min: min.map(|m| m.value),
        max: max.map(|m| m.value),
        bound: bound.map(|b| b.value),
        unit: figure.value.unit(),
        source: fields.provenance()?,
    };
    Ok((limit, figure.span))
}

fn limit_channel(fields: &Fields<'_>, figure: FigureName) -> Result<Option<Channel>, SheetError> {
    let Some(text) = fields.optional_text("channel")? else { return Ok(None) };
    if !figure.per_channel() {
        let message = format!("`{}` is a figure of the pair, it has no channel", figure.name());
        return Err(fields.error_at(text.span, message, "leave `channel` out"));
    }
    match Channel::from_name(text.value).filter(|c| Channel::SENSORS.contains(c)) {
        Some(channel) => Ok(Some(channel)),
        None => {
            let message = format!("`{}` is not a sensor line", text.value);
            Err(fields.error_at(
                text.span,
                message,
                "write rising, or second (also called falling), or leave it out for both",
            ))
        }
    }
}

fn limit_unit(fields: &Fields<'_>, figure: FigureName) -> Result<(), SheetError> {
    let unit = fields.text("unit")?;
    let wanted = figure.unit().symbol();
    if unit.value == wanted {
        return Ok(());
    }
    let message = format!("`{}` is not given in `{}`", figure.name(), unit.value);
    Err(fields.error_at(unit.span, message, format!("convert the limit and write `unit = \"{wanted}\"`")))
}

fn limit_number(
    fields: &Fields<'_>,
    key: &'static str,
    figure: FigureName,
) -> Result<Option<Placed<f64>>, SheetError> {
    let Some(number) = fields.optional_number(key)? else { return Ok(None) };
    let (low, high) = limit_range(figure);
    if (low..=high).contains(&number.value) {
        return Ok(Some(number));
    }
    let unit = figure.unit().symbol();
    let message =
        format!("`{key}` of `{}` is {}, outside {low} to {high} {unit}", figure.name(), number.value);
    let help = if number.value < 0.0 && !is_signed(figure) {
        format!("`{}` is never negative: give its size", figure.name())
    } else {
        format!("give `{key}` in {unit}, between {low} and {high}")
    };
    Err(fields.error_at(number.span, message, help))
}

fn check_order(
    fields: &Fields<'_>,
    figure: &Placed<FigureName>,
    min: Option<&Placed<f64>>,
    max: Option<&Placed<f64>>,
) -> Result<(), SheetError> {
    match (min, max) {
        (None, None) => {
            let message = format!("the limit on `{}` has neither `min` nor `max`", figure.value.name());
            Err(fields.error_at(figure.span.clone(), message, "add `min = …`, `max = …` or both"))
        }
        (Some(min), Some(max)) if min.value > max.value => {
            let message = format!("impossible limit: `min` {} is above `max` {}", min.value, max.value);
            Err(fields.error_at(
                min.span.clone(),
                message,
                "no part can keep it; exchange or correct the two",
            ))
        }
        _ => Ok(()),
    }
}

fn check_bound(
    fields: &Fields<'_>,
    figure: FigureName,
    bound: &Placed<f64>,
    max: Option<&Placed<f64>>,
) -> Result<(), SheetError> {
    if !is_rate(figure) {
        let message = format!("`bound` is for rates, and `{}` is none", figure.name());
        return Err(fields.error_at(
            bound.span.clone(),
            message,
            "leave `bound` out; only dropout_rate takes one",
        ));
    }
    if max.is_none_or(|m| m.value != 0.0) {
        let message = "`bound` says how long a test without an event must be, so it goes with `max = 0`";
        return Err(fields.error_at(bound.span.clone(), message, "write `max = 0`, or leave `bound` out"));
    }
    if bound.value <= 0.0 {
        let message = "a `bound` of 0 would need an endless test";
        return Err(fields.error_at(
            bound.span.clone(),
            message,
            "write the rate per minute that must be excluded, such as 20",
        ));
    }
    Ok(())
}

fn findings(sheet: &Fields<'_>) -> Result<Vec<FindingRule>, SheetError> {
    let names = FindingKind::ALL.map(FindingKind::name);
    let mut rules: Vec<FindingRule> = Vec::new();
    for fields in sheet.tables("finding", "[[finding]]", &["kind", "decides", "source"])? {
        let kind = fields.word("kind", FindingKind::from_name, &names)?;
        if rules.iter().any(|r| r.kind == kind.value) {
            let message = format!("`{}` already has a rule", kind.value.name());
            return Err(fields.error_at(kind.span, message, "keep one of the two"));
        }
        rules.push(FindingRule {
            kind: kind.value,
            decides: fields.boolean("decides")?,
            source: fields.provenance()?,
        });
    }
    let missing: Vec<_> = FindingKind::ALL
        .into_iter()
        .filter(|k| rules.iter().all(|r| r.kind != *k))
        .map(FindingKind::name)
        .collect();
    if !missing.is_empty() {
        let message = format!("the sheet does not say what these findings mean: {}", missing.join(", "));
        return Err(sheet.error(message, "add a [[finding]] with `kind`, `decides` and `source` for each"));
    }
    Ok(rules)
}

#[cfg(test)]
#[path = "load_tests.rs"]
mod tests;
