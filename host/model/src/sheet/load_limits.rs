//! `[[limit]]` and `[[finding]]` of a sheet, with errors that point at the offending place.

use super::bounds::{is_rate, is_signed, limit_range};
use super::located::{SheetError, Source};
use super::reader::word;
use super::{FindingRule, Limit};
use crate::quantity::{Bridge, Channel, Condition, FigureName, FindingKind, Heading, PartKind, Region};
use serde::Deserialize;
use serde_spanned::Spanned;

/// The key for the depth from which a flat spot decides.
const LEAST_DEPTH: &str = "least_depth_percent_span";
/// Shallowest flat spot that a rule may ask for, and the deepest that one can be, % of span.
const DEPTH_PERCENT: (f64, f64) = (0.0, 100.0);

/// `[[limit]]`.
#[derive(Deserialize)]
pub(super) struct RawLimit {
    figure: Spanned<String>,
    region: Option<Spanned<Region>>,
    direction: Option<Spanned<Heading>>,
    bridge: Option<Spanned<Bridge>>,
    from_deg: Option<Spanned<f64>>,
    channel: Option<Spanned<String>>,
    unit: Spanned<String>,
    min: Option<Spanned<f64>>,
    max: Option<Spanned<f64>>,
    bound: Option<Spanned<f64>>,
    required: Option<bool>,
    source: String,
}

/// `[[finding]]`.
#[derive(Deserialize)]
pub(super) struct RawFinding {
    kind: Spanned<String>,
    decides: bool,
    least_depth_percent_span: Option<Spanned<f64>>,
    source: String,
}

/// Every limit, none twice.
pub(super) fn limits(
    source: Source<'_>,
    raw: Vec<Spanned<RawLimit>>,
    kind: PartKind,
) -> Result<Vec<Limit>, SheetError> {
    let mut limits: Vec<Limit> = Vec::new();
    for one in raw {
        let place = one.get_ref().figure.span();
        let limit = limit(source, one.into_inner(), kind)?;
        let same =
            |l: &Limit| (l.figure, l.channel, l.condition) == (limit.figure, limit.channel, limit.condition);
        if limits.iter().any(same) {
            let message = format!("`{}` already has a limit for {}", limit.figure.name(), whom(&limit));
            let help = "keep one of the two; `min` and `max` go into the same [[limit]]";
            return Err(source.error(place, message, help));
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

fn limit(source: Source<'_>, raw: RawLimit, kind: PartKind) -> Result<Limit, SheetError> {
    let known: Vec<_> =
        FigureName::ALL.into_iter().filter(|f| f.belongs_to(kind)).map(FigureName::name).collect();
    let figure = word(source, "figure", &raw.figure, FigureName::from_name, &known)?;
    if !figure.belongs_to(kind) {
        let message = format!("`{}` is not a figure of a {}", figure.name(), kind.name());
        let help = "leave this [[limit]] out, or change `kind` of the sheet";
        return Err(source.error(raw.figure.span(), message, help));
    }
    let condition = limit_condition(source, &raw, figure)?;
    let channel = limit_channel(source, raw.channel.as_ref(), figure)?;
    limit_unit(source, &raw.unit, figure)?;
    let min = limit_number(source, "min", raw.min.as_ref(), figure)?;
    let max = limit_number(source, "max", raw.max.as_ref(), figure)?;
    let bound = limit_number(source, "bound", raw.bound.as_ref(), figure)?;
    check_order(source, &raw, figure)?;
    if let Some(bound) = &raw.bound {
        check_bound(source, figure, bound, max)?;
    }
    let required = raw.required.unwrap_or(true);
    Ok(Limit {
        figure,
        channel,
        condition,
        min,
        max,
        bound,
        required,
        unit: figure.unit(),
        source: raw.source,
    })
}

/// Under which condition a limit holds. A figure without regions or bridge states takes none.
fn limit_condition(source: Source<'_>, raw: &RawLimit, figure: FigureName) -> Result<Condition, SheetError> {
    let (motion, returns) = (takes_motion(figure), figure == FigureName::ReturnTime);
    let given = [
        ("region", motion, raw.region.as_ref().map(Spanned::span)),
        ("direction", motion, raw.direction.as_ref().map(Spanned::span)),
        ("from_deg", returns, raw.from_deg.as_ref().map(Spanned::span)),
        ("bridge", returns, raw.bridge.as_ref().map(Spanned::span)),
    ];
    let refused = given.into_iter().find_map(|(key, takes, span)| Some((key, span.filter(|_| !takes)?)));
    if let Some((key, span)) = refused {
        let message = format!("`{}` is not measured by {key}", figure.name());
        return Err(source.error(span, message, format!("leave `{key}` out")));
    }
    Ok(Condition {
        region: raw.region.as_ref().map(|region| *region.get_ref()),
        direction: raw.direction.as_ref().map(|direction| *direction.get_ref()),
        from_deg: raw.from_deg.as_ref().map(|from| *from.get_ref()),
        bridge: raw.bridge.as_ref().map(|bridge| *bridge.get_ref()),
        speed_deg_s: None,
    })
}

/// Whether a figure can have values by region and direction.
fn takes_motion(figure: FigureName) -> bool {
    figure >= FigureName::RestPosition
}

fn limit_channel(
    source: Source<'_>,
    given: Option<&Spanned<String>>,
    figure: FigureName,
) -> Result<Option<Channel>, SheetError> {
    let Some(text) = given else { return Ok(None) };
    if !figure.per_channel() {
        let message = format!("`{}` is a figure of the pair, it has no channel", figure.name());
        return Err(source.error(text.span(), message, "leave `channel` out"));
    }
    let channel = Channel::from_name(text.get_ref()).filter(|c| Channel::SENSORS.contains(c));
    channel.map(Some).ok_or_else(|| {
        let help = "write rising, or second (also called falling), or leave it out for both";
        source.error(text.span(), format!("`{}` is not a sensor line", text.get_ref()), help)
    })
}

fn limit_unit(source: Source<'_>, unit: &Spanned<String>, figure: FigureName) -> Result<(), SheetError> {
    let wanted = figure.unit().symbol();
    if unit.get_ref() == wanted {
        return Ok(());
    }
    let message = format!("`{}` is not given in `{}`", figure.name(), unit.get_ref());
    Err(source.error(unit.span(), message, format!("convert the limit and write `unit = \"{wanted}\"`")))
}

fn limit_number(
    source: Source<'_>,
    key: &str,
    given: Option<&Spanned<f64>>,
    figure: FigureName,
) -> Result<Option<f64>, SheetError> {
    let Some((number, span)) = given.map(|number| (*number.get_ref(), number.span())) else {
        return Ok(None);
    };
    let (low, high) = limit_range(figure);
    if (low..=high).contains(&number) {
        return Ok(Some(number));
    }
    let unit = figure.unit().symbol();
    let message = format!("`{key}` of `{}` is {number}, outside {low} to {high} {unit}", figure.name());
    let help = if number < 0.0 && !is_signed(figure) {
        format!("`{}` is never negative: give its size", figure.name())
    } else {
        format!("give `{key}` in {unit}, between {low} and {high}")
    };
    Err(source.error(span, message, help))
}

fn check_order(source: Source<'_>, raw: &RawLimit, figure: FigureName) -> Result<(), SheetError> {
    match (&raw.min, &raw.max) {
        (None, None) => {
            let message = format!("the limit on `{}` has neither `min` nor `max`", figure.name());
            Err(source.error(raw.figure.span(), message, "add `min = …`, `max = …` or both"))
        }
        (Some(min), Some(max)) if min.get_ref() > max.get_ref() => {
            let message =
                format!("impossible limit: `min` {} is above `max` {}", min.get_ref(), max.get_ref());
            Err(source.error(min.span(), message, "no part can keep it; exchange or correct the two"))
        }
        _ => Ok(()),
    }
}

fn check_bound(
    source: Source<'_>,
    figure: FigureName,
    bound: &Spanned<f64>,
    max: Option<f64>,
) -> Result<(), SheetError> {
    let refuse = |message: &str, help: &str| Err(source.error(bound.span(), message, help));
    if !is_rate(figure) {
        let message = format!("`bound` is for rates, and `{}` is none", figure.name());
        return refuse(&message, "leave `bound` out; only dropout_rate takes one");
    }
    if max != Some(0.0) {
        let message = "`bound` says how long a test without an event must be, so it goes with `max = 0`";
        return refuse(message, "write `max = 0`, or leave `bound` out");
    }
    if *bound.get_ref() <= 0.0 {
        let message = "a `bound` of 0 would need an endless test";
        return refuse(message, "write the rate per minute that must be excluded, such as 20");
    }
    Ok(())
}

/// Whether a sheet without a rule for a kind of finding is refused: sheets for grips are older than the finding that one does not close.
fn needed(kind: FindingKind, part: PartKind) -> bool {
    part != PartKind::Grip || !kind.is_of_a_return()
}

/// The depth from which a flat spot decides.
fn least_depth(
    source: Source<'_>,
    given: Option<&Spanned<f64>>,
    kind: FindingKind,
) -> Result<Option<f64>, SheetError> {
    let Some((depth, span)) = given.map(|depth| (*depth.get_ref(), depth.span())) else { return Ok(None) };
    if kind != FindingKind::FlatSpot {
        let message = format!("`{}` has no depth", kind.name());
        return Err(source.error(
            span,
            message,
            format!("leave `{LEAST_DEPTH}` out; only flat_spot takes it"),
        ));
    }
    let (low, high) = DEPTH_PERCENT;
    if !(low..=high).contains(&depth) {
        let message = format!("`{LEAST_DEPTH}` is {depth}, outside {low} to {high} % of span");
        return Err(source.error(span, message, "give the depth in % of the line's span, such as 0.1"));
    }
    Ok(Some(depth))
}

/// A rule for every kind of finding that the kind of part can have.
pub(super) fn findings(
    source: Source<'_>,
    raw: Vec<RawFinding>,
    part: PartKind,
) -> Result<Vec<FindingRule>, SheetError> {
    let kinds = || FindingKind::ALL.into_iter().filter(|k| k.belongs_to(part));
    let names: Vec<_> = kinds().map(FindingKind::name).collect();
    let mut rules: Vec<FindingRule> = Vec::new();
    for one in raw {
        let kind = word(source, "kind", &one.kind, FindingKind::from_name, &names)?;
        if !kind.belongs_to(part) {
            let message = format!("a {} can't have `{}`", part.name(), kind.name());
            let help = "leave this [[finding]] out, or change `kind` of the sheet";
            return Err(source.error(one.kind.span(), message, help));
        }
        if rules.iter().any(|r| r.kind == kind) {
            let message = format!("`{}` already has a rule", kind.name());
            return Err(source.error(one.kind.span(), message, "keep one of the two"));
        }
        rules.push(FindingRule {
            kind,
            decides: one.decides,
            least_depth_percent_span: least_depth(source, one.least_depth_percent_span.as_ref(), kind)?,
            source: one.source,
        });
    }
    let missing: Vec<_> = kinds()
        .filter(|k| needed(*k, part) && rules.iter().all(|r| r.kind != *k))
        .map(FindingKind::name)
        .collect();
    if !missing.is_empty() {
        let message = format!("the sheet does not say what these findings mean: {}", missing.join(", "));
        let help = "add a [[finding]] with `kind`, `decides` and `source` for each";
        return Err(source.error(0..0, message, help));
    }
    Ok(rules)
}
