//! What histograms say beside their bars: titles, captions, lines. Drawing them is [`super::svg::bars`]' business.

use super::format;
use super::people::People;
use super::svg::bars::Line;
use super::text::capital;
use super::text::{LABEL, plain};
use super::words;
use crate::outcome::{Outcome, OutcomeHistogram};
use crate::quantity::{FigureName, Unit};

/// What a histogram counts, in words.
pub fn histogram_quantity(histogram: &OutcomeHistogram, people: &People) -> String {
    match histogram.name.as_str() {
        "correlation_deviation" => people.lines.residual().to_owned(),
        other => plain(&words::figure(other), LABEL),
    }
}

/// What a histogram counts, of which line and under which condition.
pub fn histogram_title(histogram: &OutcomeHistogram, people: &People) -> String {
    let mut title = capital(&histogram_quantity(histogram, people));
    if histogram.channel.is_some() {
        title = format!("{title}, {} line", people.lines.stored(histogram.channel.as_deref(), ""));
    }
    if !histogram.condition.is_none() {
        title = format!("{title}, {}", histogram.condition.words());
    }
    plain(&title, LABEL)
}

/// Name of the histograms of latencies.
pub const LATENCY: &str = "latency";

/// From 0 to the end of the slowest histogram of latencies.
pub fn latencies_seen(outcome: &Outcome) -> (f64, f64) {
    let end = |h: &OutcomeHistogram| {
        h.counts.iter().rposition(|c| *c > 0).map(|last| h.low + (last + 1) as f64 * h.width)
    };
    let ends = outcome.histograms.iter().filter(|h| h.name == LATENCY).filter_map(end);
    (0.0, ends.filter(|v| v.is_finite()).fold(0.0, f64::max))
}

/// In a histogram of latencies: its measured median and 99th percentile, and the limit on that percentile.
pub fn quantile_lines(histogram: &OutcomeHistogram, outcome: &Outcome) -> Vec<Line> {
    if histogram.name != LATENCY || histogram.unit != Unit::Microsecond {
        return Vec::new();
    }
    let of = |name: FigureName| {
        outcome.figures.iter().find(|f| f.figure == name.name() && f.condition == histogram.condition)
    };
    let measured =
        [(FigureName::LatencyP50, "median"), (FigureName::LatencyP99, "99 %")].into_iter().filter_map(
            |(name, label)| Some(Line { at: of(name)?.value, label: label.to_owned(), limit: false }),
        );
    let all_steps = || {
        outcome.figures.iter().find(|f| f.figure == FigureName::LatencyP99.name() && f.condition.is_none())
    };
    let limit = of(FigureName::LatencyP99).or_else(all_steps).and_then(|f| f.limit.as_ref()?.max);
    let limit =
        limit.map(|at| Line { at, label: format!("99 %: limit {}", format::as_written(at)), limit: true });
    measured.chain(limit).collect()
}

/// How much of a histogram lies beyond its limits, in words.
pub fn histogram_caption(outside: u64, all: u64, has_limits: bool) -> String {
    match (has_limits, outside) {
        (false, _) => format!("{all} counted; no limit"),
        (true, 0) => format!("none of {all} beyond the limits"),
        (true, _) => format!("{} of {all} beyond the limits", format::percent(outside as f64 / all as f64)),
    }
}
