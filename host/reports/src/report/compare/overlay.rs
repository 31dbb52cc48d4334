//! Curves of several records in one picture: the deviation curves of a sensor pair, the plots of a throttle body. What a curve is, is the
//! analysis' business.

use super::rows::letter;
use crate::analysis::{self, PlotCurve};
use crate::quantity::Channel;
use crate::report::body_plots::{axis_words, extent};
use crate::report::format;
use crate::report::plot::{Plot, TRAVEL_LABEL};
use crate::report::svg::chart::{Axis, Chart};
use crate::report::svg::picture::{Mark, Stroke};
use crate::report::svg::series::Series;
use crate::report::svg::{FIRST, INK, SECOND, THIRD};
use crate::report::text::{LABEL, SENTENCE, plain};
use crate::report::text::{capital, signs};
use crate::report::words::Lines;
use std::borrow::Cow;

/// At most so many curves in a picture can be distinguished.
const MOST_CURVES: usize = 8;
/// At most so many records are drawn.
const MOST_RECORDS: usize = 4;

/// A record whose traces were analysed again.
#[derive(Clone, Copy, Debug)]
pub struct Drawn<'a> {
    /// Its place among the records, from 0.
    pub record: usize,
    /// Curves of a sensor pair.
    pub curves: &'a [PlotCurve],
    /// Plots of a throttle body.
    pub plots: &'a [analysis::Plot],
}

/// Curves of several records in pictures.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Drawing {
    /// The pictures.
    pub plots: Vec<Plot>,
    /// Why records are not in them; hostile text possible.
    pub left_out: Vec<String>,
}

/// Every picture that at least two records have.
pub fn overlays(drawn: &[Drawn<'_>], lines: Lines) -> Vec<Plot> {
    let shown = &drawn[..drawn.len().min(MOST_RECORDS)];
    let left_out = if shown.len() < drawn.len() {
        format!(" Only the first {MOST_RECORDS} records are drawn.")
    } else {
        String::new()
    };
    let of_lines = Channel::SENSORS.map(|line| ("linearity_deviation", Some(line)));
    let of_noise = Channel::SENSORS.map(|line| ("noise", Some(line)));
    let mut plots: Vec<Plot> = [("correlation_residual", None)]
        .into_iter()
        .chain(of_lines)
        .chain(of_noise)
        .filter_map(|(name, line)| curve_plot(name, line, shown, lines))
        .collect();
    let names = shown.first().map(|d| d.plots).unwrap_or_default();
    plots.extend(names.iter().enumerate().filter_map(|(k, plot)| body_plot(k, plot, shown)));
    for plot in &mut plots {
        plot.caption.push_str(&left_out);
    }
    plots
}

/// The stroke of a record: distinguished without colour.
fn stroke(record: usize) -> Stroke {
    match record {
        0 => Stroke::solid(FIRST, 1.7),
        1 => Stroke::dashed(SECOND, 1.7, &[8.0, 3.0]),
        2 => Stroke::dashed(THIRD, 1.7, &[2.0, 2.5]),
        _ => Stroke::dashed(INK, 1.3, &[10.0, 3.0, 2.0, 3.0]),
    }
}

fn mark(index: usize) -> Mark {
    [Mark::Disc, Mark::Square, Mark::Up, Mark::Down][index % 4]
}

fn curve_plot(name: &str, line: Option<Channel>, drawn: &[Drawn<'_>], lines: Lines) -> Option<Plot> {
    let seen = |c: &&PlotCurve| c.name == name && c.channel == line && c.y.iter().any(|y| y.is_finite());
    let drawn: Vec<(usize, &PlotCurve)> = drawn
        .iter()
        .filter_map(|d| {
            let of: Vec<&PlotCurve> = d.curves.iter().filter(seen).collect();
            let curve = of.iter().find(|c| c.direction == "mean").or(of.first())?;
            Some((d.record, *curve))
        })
        .collect();
    if drawn.len() < 2 {
        return None;
    }
    let series: Vec<Series<'_>> = drawn
        .iter()
        .enumerate()
        .map(|(k, (record, curve))| Series {
            name: letter(*record),
            x: Cow::Borrowed(&curve.deg),
            y: curve.y.clone(),
            stroke: stroke(*record),
            mark: Some(mark(k)),
        })
        .collect();
    let what = match (name, line) {
        ("correlation_residual", _) => capital(lines.residual()),
        ("noise", Some(line)) => format!("Noise, {} line", lines.name(line)),
        (_, Some(line)) => format!("Linearity deviation, {} line", lines.name(line)),
        (_, None) => return None,
    };
    let id = format!("overlay-{}-{}", name.replace('_', "-"), line.map_or("pair", Channel::name));
    let label = format!("{what}, {}", format::unit(drawn[0].1.unit));
    let caption = "Mean of both directions, analysed again from the traces.";
    picture(&id, &what, caption, TRAVEL_LABEL.to_owned(), label, series)
}

fn body_plot(index: usize, first: &analysis::Plot, drawn: &[Drawn<'_>]) -> Option<Plot> {
    let plots: Vec<(usize, &analysis::Plot)> = drawn
        .iter()
        .filter_map(|d| Some((d.record, d.plots.iter().find(|p| p.name == first.name)?)))
        .collect();
    if plots.len() < 2 {
        return None;
    }
    let mut series = Vec::new();
    for (k, own) in first.series.iter().take(MOST_CURVES / plots.len()).enumerate() {
        for (record, plot) in &plots {
            let Some(s) = plot.series.iter().find(|s| s.label == own.label) else { continue };
            let (mut x, mut y) = (s.x.clone(), s.y.clone());
            if x.first() > x.last() {
                x.reverse();
                y.reverse();
            }
            let name = plain(&format!("{}: {}", letter(*record), s.label), LABEL);
            series.push(Series { name, x: Cow::Owned(x), y, stroke: stroke(*record), mark: Some(mark(k)) });
        }
    }
    let title = plain(&first.title, LABEL);
    let caption = plain(&signs(&first.reading), SENTENCE);
    let id = format!("overlay-body-{index}");
    picture(&id, &title, &caption, axis_words(&first.x), axis_words(&first.y), series)
}

/// Draws curves over what they cover.
fn picture(
    id: &str,
    title: &str,
    caption: &str,
    x_label: String,
    y_label: String,
    series: Vec<Series<'_>>,
) -> Option<Plot> {
    let (left, right) = extent(series.iter().flat_map(|s| s.x.iter().copied()))?;
    let (low, high) = extent(series.iter().flat_map(|s| s.y.iter().copied()).chain([0.0]))?;
    let margin = ((high - low) * 0.08).max(1e-9);
    let chart = Chart {
        id,
        title: title.to_owned(),
        description: series.iter().map(|s| s.name.as_str()).collect::<Vec<_>>().join("; "),
        height: 190.0,
        x: Axis { label: x_label, low: left, high: if right > left { right } else { left + 1.0 } },
        y: Axis { label: y_label, low: if low < 0.0 { low - margin } else { 0.0 }, high: high + margin },
        series,
        limits: Vec::new(),
        spans: Vec::new(),
        events: Vec::new(),
        places: Vec::new(),
    };
    Some(Plot::of_chart("overlay", &chart, title, caption))
}
