//! `[[limit]]` and `[[finding]]` of a sheet, with errors that point at the offending place.

use super::bounds::{is_rate, is_signed, limit_range};
use super::fields::{Fields, Placed};
use super::located::SheetError;
use super::{FindingRule, Limit};
use crate::quantity::{Bridge, Channel, Condition, FigureName, FindingKind, Heading, PartKind, Region};
use std::ops::Range;

/// The key for the depth from which a flat spot decides.
const LEAST_DEPTH: &str = "least_depth_percent_span";
/// Shallowest flat spot that a rule may ask for, and the deepest that one can be, % of span.
const DEPTH_PERCENT: (f64, f64) = (0.0, 100.0);

const LIMIT_KEYS: [&str; 12] = [
    "figure",
    "channel",
    "region",
    "direction",
    "from_deg",
    "bridge",
    "min",
    "max",
    "bound",
    "required",
    "unit",
    "source",
];

/// Every limit, none twice.
pub(super) fn limits(sheet: &Fields<'_>, kind: PartKind) -> Result<Vec<Limit>, SheetError> {
    let mut limits: Vec<Limit> = Vec::new();
    for fields in sheet.tables("limit", "[[limit]]", &LIMIT_KEYS)? {
        let (limit, place) = limit(&fields, kind)?;
        let same =
            |l: &Limit| (l.figure, l.channel, l.condition) == (limit.figure, limit.channel, limit.condition);
        if limits.iter().any(same) {
            let message = format!("`{}` already has a limit for {}", limit.figure.name(), whom(&limit));
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

/// Whom a limit is for, in words.
fn whom(limit: &Limit) -> String {
    match (limit.channel, limit.condition.words()) {
        (None, words) if words.is_empty() => "every line".to_owned(),
        (None, words) => words,
        (Some(channel), words) if words.is_empty() => format!("the {channel} line"),
        (Some(channel), words) => format!("the {channel} line, {words}"),
    }
}

/// One limit and the place of its figure.
fn limit(fields: &Fields<'_>, kind: PartKind) -> Result<(Limit, Range<usize>), SheetError> {
    let known: Vec<_> =
        FigureName::ALL.into_iter().filter(|f| f.belongs_to(kind)).map(FigureName::name).collect();
    let figure = fields.word("figure", FigureName::from_name, &known)?;
    if !figure.value.belongs_to(kind) {
        let message = format!("`{}` is no figure of a {}", figure.value.name(), kind.name());
        return Err(fields.error_at(
            figure.span,
            message,
            "leave this [[limit]] out, or change `kind` of the sheet",
        ));
    }
    let condition = limit_condition(fields, figure.value)?;
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
        condition,
        min: min.map(|m| m.value),
        max: max.map(|m| m.value),
        bound: bound.map(|b| b.value),
        required: if fields.holds("required") { fields.boolean("required")? } else { true },
        unit: figure.value.unit(),
        source: fields.provenance()?,
    };
    Ok((limit, figure.span))
}

/// Under which condition a limit holds. A figure without regions or bridge states takes none.
fn limit_condition(fields: &Fields<'_>, figure: FigureName) -> Result<Condition, SheetError> {
    let place = |key| fields.place(key);
    let refused = [("region", true), ("direction", true), ("from_deg", false), ("bridge", false)]
        .into_iter()
        .find_map(|(key, of_motion)| {
            let takes = if of_motion { takes_motion(figure) } else { figure == FigureName::ReturnTime };
            place(key).filter(|_| !takes).map(|span| (key, span))
        });
    if let Some((key, span)) = refused {
        let message = format!("`{}` is not measured by {key}", figure.name());
        return Err(fields.error_at(span, message, format!("leave `{key}` out")));
    }
    let names = |all: &[&'static str]| all.to_vec();
    let region = fields.optional_word(
        "region",
        named(&Region::ALL, Region::name),
        &names(&Region::ALL.map(Region::name)),
    )?;
    let direction = fields.optional_word(
        "direction",
        named(&Heading::ALL, Heading::name),
        &names(&Heading::ALL.map(Heading::name)),
    )?;
    let bridge = fields.optional_word(
        "bridge",
        named(&Bridge::ALL, Bridge::name),
        &names(&Bridge::ALL.map(Bridge::name)),
    )?;
    let from_deg = if fields.holds("from_deg") { Some(fields.bounded("from_deg")?.value) } else { None };
    Ok(Condition { region, direction, from_deg, bridge, speed_deg_s: None })
}

/// Whether a figure can have values by region and direction.
fn takes_motion(figure: FigureName) -> bool {
    figure >= FigureName::RestPosition
}

/// Finds one of `all` by its name.
fn named<T: Copy>(all: &[T], name: fn(T) -> &'static str) -> impl Fn(&str) -> Option<T> {
    move |wanted| all.iter().copied().find(|one| name(*one) == wanted)
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

/// Whether a sheet without a rule for a kind of finding is refused: sheets for grips are older than the finding that one does not close.
fn needed(kind: FindingKind, part: PartKind) -> bool {
    part != PartKind::Grip || !kind.is_of_a_return()
}

/// The depth from which a flat spot decides.
fn least_depth(fields: &Fields<'_>, kind: FindingKind) -> Result<Option<f64>, SheetError> {
    let Some(depth) = fields.optional_number(LEAST_DEPTH)? else { return Ok(None) };
    if kind != FindingKind::FlatSpot {
        let message = format!("`{}` has no depth", kind.name());
        return Err(fields.error_at(
            depth.span,
            message,
            format!("leave `{LEAST_DEPTH}` out; only flat_spot takes it"),
        ));
    }
    let (low, high) = DEPTH_PERCENT;
    if !(low..=high).contains(&depth.value) {
        let message = format!("`{LEAST_DEPTH}` is {}, outside {low} to {high} % of span", depth.value);
        return Err(fields.error_at(
            depth.span,
            message,
            "give the depth in % of the line's span, such as 0.1",
        ));
    }
    Ok(Some(depth.value))
}

/// A rule for every kind of finding that the kind of part can have.
pub(super) fn findings(sheet: &Fields<'_>, part: PartKind) -> Result<Vec<FindingRule>, SheetError> {
    let kinds = || FindingKind::ALL.into_iter().filter(|k| k.belongs_to(part));
    let names: Vec<_> = kinds().map(FindingKind::name).collect();
    let mut rules: Vec<FindingRule> = Vec::new();
    for fields in sheet.tables("finding", "[[finding]]", &["kind", "decides", LEAST_DEPTH, "source"])? {
        let kind = fields.word("kind", FindingKind::from_name, &names)?;
        if !kind.value.belongs_to(part) {
            let message = format!("a {} can't have `{}`", part.name(), kind.value.name());
            return Err(fields.error_at(
                kind.span,
                message,
                "leave this [[finding]] out, or change `kind` of the sheet",
            ));
        }
        if rules.iter().any(|r| r.kind == kind.value) {
            let message = format!("`{}` already has a rule", kind.value.name());
            return Err(fields.error_at(kind.span, message, "keep one of the two"));
        }
        rules.push(FindingRule {
            kind: kind.value,
            decides: fields.boolean("decides")?,
            least_depth_percent_span: least_depth(&fields, kind.value)?,
            source: fields.provenance()?,
        });
    }
    let missing: Vec<_> = kinds()
        .filter(|k| needed(*k, part) && rules.iter().all(|r| r.kind != *k))
        .map(FindingKind::name)
        .collect();
    if !missing.is_empty() {
        let message = format!("the sheet does not say what these findings mean: {}", missing.join(", "));
        return Err(sheet.error(message, "add a [[finding]] with `kind`, `decides` and `source` for each"));
    }
    Ok(rules)
}
