//! Pictures of a throttle body from the analysis' ready plots, and the table of what blips changed. What is in a plot is
//! the analysis' business, how shapes are written is [`super::svg`]'s.

use super::ReportInput;
use super::format;
use super::people::{People, of_the_drive};
use super::plot::Plot;
use super::svg::chart::{Axis, Chart, LimitLine, Place, Side, Span};
use super::svg::picture::{Hatch, Mark, Stroke};
use super::svg::series::Series;
use super::svg::{FIRST, FOURTH, INK, SECOND, THIRD};
use super::text::{LABEL, SENTENCE, plain, signs};
use crate::analysis;
use crate::compare::family;
use crate::outcome::{Outcome, OutcomeFinding};
use crate::quantity::{FigureName, FindingKind};
use std::borrow::Cow;

/// How far the ends of a band and of its finding may differ, degrees: the analysis rounds neither.
const SAME_PLACE_DEG: f64 = 0.5;

/// Plots over the plate's angle in which findings of the drive are marked.
const ALONG_THE_TRAVEL: [&str; 3] = ["lag", "creep", "lost_motion"];

/// Most curves of one picture that can be distinguished without colour.
const MOST_CURVES: usize = 10;

/// Draws every plot that has something to show.
pub fn body_plots(input: &ReportInput<'_>, people: &People) -> Vec<Plot> {
    input.plots.iter().enumerate().filter_map(|(k, plot)| draw(k, plot, input.outcome, people)).collect()
}

fn draw(index: usize, plot: &analysis::Plot, outcome: &Outcome, people: &People) -> Option<Plot> {
    let series: Vec<Series<'_>> = plot
        .series
        .iter()
        .filter(|s| s.x.iter().zip(&s.y).any(|(x, y)| x.is_finite() && y.is_finite()))
        .take(MOST_CURVES)
        .enumerate()
        .map(|(k, s)| curve(k, s))
        .collect();
    let limits = limit_lines(plot, outcome);
    let x = along(plot, &series)?;
    let y = upward(plot, &series, &limits)?;
    let title = plain(&signs(&plot.title), LABEL);
    let spans = spans(plot, &x, outcome, people);
    let chart = Chart {
        id: &format!("body-{index}"),
        title: title.clone(),
        description: plain(&signs(&description(plot)), SENTENCE),
        height: 205.0,
        x,
        y,
        series,
        limits,
        spans,
        events: Vec::new(),
        places: places(plot),
    };
    Some(Plot::of_chart(plot.name, &chart, &title, &caption(plot, people)))
}

/// A curve in its own colour, dash and mark; a falling abscissa is turned round.
fn curve(index: usize, series: &analysis::PlotSeries) -> Series<'_> {
    let strokes = [
        (Stroke::solid(FIRST, 1.7), Mark::Disc),
        (Stroke::dashed(SECOND, 1.7, &[8.0, 3.0]), Mark::Square),
        (Stroke::dashed(THIRD, 1.7, &[2.0, 2.5]), Mark::Up),
        (Stroke::dashed(FOURTH, 1.7, &[10.0, 3.0, 2.0, 3.0]), Mark::Down),
        (Stroke::solid(INK, 1.0), Mark::Square),
        (Stroke::dashed(FIRST, 1.0, &[5.0, 2.0]), Mark::Up),
        (Stroke::dashed(SECOND, 1.0, &[2.0, 2.0]), Mark::Disc),
        (Stroke::dashed(INK, 1.0, &[1.5, 3.0]), Mark::Down),
        (Stroke::dashed(THIRD, 1.0, &[6.0, 2.0, 1.0, 2.0]), Mark::Square),
        (Stroke::solid(FOURTH, 1.0), Mark::Disc),
    ];
    let (stroke, mark) = strokes[index % strokes.len()];
    let (mut x, mut y) = (Cow::Borrowed(series.x.as_slice()), series.y.clone());
    if series.x.first() > series.x.last() {
        x.to_mut().reverse();
        y.reverse();
    }
    Series { name: plain(&signs(&series.label), LABEL), x, y, stroke, mark: Some(mark) }
}

/// What an axis says: its words and its unit as people read it.
pub(super) fn axis_words(axis: &analysis::Axis) -> String {
    let unit = match axis.unit {
        "" | "1" => return plain(&axis.label, LABEL),
        "deg" => "degrees",
        "us" => "µs",
        "ohm" => "Ω",
        "N m" => "N·m",
        "N m/rad" => "N·m/rad",
        "V s/rad" => "V·s/rad",
        "% span" => "% of span",
        "% supply" => "% of supply",
        other => other,
    };
    plain(&format!("{}, {unit}", axis.label), LABEL)
}

pub(super) fn extent(values: impl Iterator<Item = f64>) -> Option<(f64, f64)> {
    let (low, high) = values
        .filter(|v| v.is_finite())
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), v| (low.min(v), high.max(v)));
    (low <= high).then_some((low, high))
}

/// The abscissa shows every curve and every band.
fn along(plot: &analysis::Plot, series: &[Series<'_>]) -> Option<Axis> {
    let curves = series.iter().flat_map(|s| s.x.iter().copied());
    let (low, high) = extent(curves.chain(plot.bands.iter().flat_map(|b| [b.from, b.to])))?;
    let high = if high > low { high } else { low + 1.0 };
    Some(Axis { label: axis_words(&plot.x), low, high })
}

/// The ordinate shows every curve and every limit, with room beyond; and 0 where that costs little.
fn upward(plot: &analysis::Plot, series: &[Series<'_>], limits: &[LimitLine]) -> Option<Axis> {
    /// Share of the height that 0 may cost.
    const CHEAP: f64 = 0.4;
    let curves = series.iter().flat_map(|s| s.y.iter().copied());
    let (mut low, mut high) = extent(curves.chain(limits.iter().map(|l| l.at)))?;
    if low > 0.0 && low < CHEAP * high {
        low = 0.0;
    } else if high < 0.0 && high > CHEAP * low {
        high = 0.0;
    }
    let margin = ((high - low) * 0.1).max(1e-6);
    Some(Axis { label: axis_words(&plot.y), low: low - margin, high: high + margin })
}

/// The applied limit on the deviation of the feedback lines. A map of lost motion has none: its figure is the bump of one tooth, and
/// the curve also bears what is no bump.
fn limit_lines(plot: &analysis::Plot, outcome: &Outcome) -> Vec<LimitLine> {
    if plot.name != "feedback_deviation" {
        return Vec::new();
    }
    let figure = FigureName::CorrelationWorst;
    let figure = outcome.figures.iter().find(|f| f.figure == figure.name() && f.unit.symbol() == plot.y.unit);
    let Some((max, unit)) = figure.and_then(|f| Some((f.limit.as_ref()?.max?, f.unit))) else {
        return Vec::new();
    };
    let line = |at: f64, side| LimitLine {
        at,
        label: format!("limit {}", format::with_unit(&format::as_written(at), unit)),
        side,
    };
    vec![line(max, Side::Above), line(-max, Side::Below)]
}

/// Bands, then findings of the drive at a place that is seen and that no band marks.
fn spans(plot: &analysis::Plot, along: &Axis, outcome: &Outcome, people: &People) -> Vec<Span> {
    let mut spans: Vec<Span> = plot.bands.iter().filter_map(|b| span(b, plot, outcome, people)).collect();
    if !ALONG_THE_TRAVEL.contains(&plot.name) {
        return spans;
    }
    for (finding, row) in outcome.findings.iter().zip(&people.findings).filter(|(f, _)| of_the_drive(&f.kind))
    {
        let (Some(from), Some(to)) = (finding.from_deg, finding.to_deg) else { continue };
        let tag = row.number.to_string();
        let seen = from < along.high && to > along.low;
        if seen && spans.iter().all(|s| s.tag != tag) {
            spans.push(Span { from, to, tag, label: row.kind.clone(), hatch: Hatch::Finding });
        }
    }
    spans
}

/// A band as a span; a defect bears the number of the finding that lies there.
fn span(
    band: &analysis::PlotBand,
    plot: &analysis::Plot,
    outcome: &Outcome,
    people: &People,
) -> Option<Span> {
    if !band.from.is_finite() || !band.to.is_finite() {
        return None;
    }
    let same = |f: &OutcomeFinding| {
        let near = |a: Option<f64>, b: f64| a.is_some_and(|a| (a - b).abs() <= SAME_PLACE_DEG);
        near(f.from_deg, band.from) && near(f.to_deg, band.to)
    };
    let rows = outcome.findings.iter().zip(&people.findings);
    let tag = if band.defect && plot.x.unit == "deg" {
        rows.into_iter().find(|(f, _)| same(f)).map(|(_, row)| row.number.to_string())
    } else {
        None
    };
    Some(Span {
        from: band.from.min(band.to),
        to: band.from.max(band.to),
        tag: tag.unwrap_or_default(),
        label: plain(&signs(&band.label), LABEL),
        hatch: if band.defect { Hatch::Finding } else { Hatch::Gap },
    })
}

fn places(plot: &analysis::Plot) -> Vec<Place> {
    let place = |m: &analysis::PlotMark| Place { at: m.x, label: plain(&signs(&m.label), LABEL) };
    plot.marks.iter().filter(|m| m.x.is_finite()).map(place).collect()
}

/// For those who can't see it: what is marked.
fn description(plot: &analysis::Plot) -> String {
    let bands = plot.bands.iter().map(|b| b.label.as_str());
    let marks = plot.marks.iter().map(|m| m.label.as_str());
    let marked: Vec<&str> = bands.chain(marks).filter(|l| !l.is_empty()).collect();
    if marked.is_empty() { plot.reading.clone() } else { format!("Marked: {}.", marked.join("; ")) }
}

/// How to read it; beside a map of the teeth, what it can't see.
fn caption(plot: &analysis::Plot, people: &People) -> String {
    let mut caption = plain(&signs(&plot.reading), SENTENCE);
    if plot.name == "lost_motion" {
        let of_teeth = [FindingKind::WornTooth, FindingKind::MissingTooth].map(FindingKind::title);
        let unseen = people.missed.iter().filter(|m| of_teeth.contains(&m.name.as_str()));
        for missed in unseen {
            caption.push_str(&format!(" What it would have missed ({}): {}", missed.name, missed.text));
        }
    }
    caption
}

/// A quantity before and after.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct BeforeAfter {
    /// What.
    pub name: String,
    /// Value with expanded uncertainty and unit, before.
    pub before: String,
    /// The same, after.
    pub after: String,
    /// The difference with its expanded uncertainty.
    pub change: String,
    /// Whether it is shown to have changed: chance is excluded for all rows together.
    pub changed: bool,
}

impl BeforeAfter {
    /// The word for people.
    pub const fn verdict(&self) -> &'static str {
        if self.changed { "changed" } else { "no change seen" }
    }
}

/// What was measured before and after blips, in words. What counts as a change is the rule of every comparison.
pub fn comparisons(input: &ReportInput<'_>) -> Vec<BeforeAfter> {
    let u = |c: &analysis::Comparison| c.u_before.hypot(c.u_after);
    let chance = |c: &analysis::Comparison| family::by_chance((c.after - c.before) / u(c));
    let adjusted = family::adjusted(&input.comparisons.iter().map(chance).collect::<Vec<_>>());
    let row = |(c, p): (&analysis::Comparison, f64)| BeforeAfter {
        name: plain(&signs(&c.name), LABEL),
        before: format::measured(c.before, 2.0 * c.u_before, c.unit),
        after: format::measured(c.after, 2.0 * c.u_after, c.unit),
        change: format::measured(c.after - c.before, 2.0 * u(c), c.unit),
        changed: p <= family::LEVEL,
    };
    input.comparisons.iter().zip(adjusted).map(row).collect()
}
