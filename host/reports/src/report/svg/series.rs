//! Curves of a chart and their legend. Drawn to be read without colour.

use super::INK;
use super::canvas::{Canvas, cut_to_width, text_width};
use super::chart::{Frame, LEFT, LEGEND_ROW, SMALL};
use super::decimate::decimate;
use super::picture::{Anchor, Lettering, Mark, Stroke};
use std::borrow::Cow;

/// A curve of so few points bears a mark on each.
const FEW: usize = 8;

/// A curve.
#[derive(Clone, Debug, PartialEq)]
pub struct Series<'a> {
    /// Name in the legend; empty = not in the legend.
    pub name: String,
    /// Abscissae, rising.
    pub x: Cow<'a, [f64]>,
    /// Ordinates; not finite = hole.
    pub y: Vec<f64>,
    /// How it is drawn.
    pub stroke: Stroke,
    /// Marks along it, so that curves differ without colour.
    pub mark: Option<Mark>,
}

/// One curve with its marks.
pub(super) fn draw_series(canvas: &mut Canvas, frame: &Frame, series: &Series<'_>, index: usize) {
    let clip = |y: f64| if y.is_finite() { frame.y(y).clamp(frame.top, frame.bottom()) } else { y };
    let inside = |x: f64| x >= frame.x.0 - 1e-9 && x <= frame.x.1 + 1e-9;
    let points: Vec<(f64, f64)> = series
        .x
        .iter()
        .zip(&series.y)
        .filter(|(x, _)| inside(**x))
        .map(|(x, y)| (frame.x(*x), clip(*y)))
        .collect();
    canvas.path(decimate(points.iter().copied()), series.stroke);
    let Some(mark) = series.mark else { return };
    // Few points are each a measurement; of many, some are marked, each curve's elsewhere.
    let few = points.len() <= FEW;
    let spacing = if few { 0.0 } else { frame.width / 9.0 };
    let mut next = LEFT + spacing * (0.3 + 0.23 * index as f64);
    for (x, y) in points {
        if x >= next && y.is_finite() {
            canvas.mark(mark, (x, y), 7.0, series.stroke.colour);
            next = x + spacing;
        }
    }
}

/// Which series stand in which row of a legend that has so many px.
pub(super) fn legend_rows(series: &[Series<'_>], room: f64) -> Vec<Vec<usize>> {
    let mut rows: Vec<Vec<usize>> = Vec::new();
    let mut used = f64::INFINITY;
    for (index, named) in series.iter().enumerate().filter(|(_, s)| !s.name.is_empty()) {
        let width = legend_width(&named.name);
        if used + width > room {
            rows.push(Vec::new());
            used = 0.0;
        }
        used += width;
        rows.last_mut().expect("a row was begun").push(index);
    }
    rows
}

fn legend_width(name: &str) -> f64 {
    40.0 + text_width(name, SMALL) + 20.0
}

/// The names of the curves above the plot.
pub(super) fn draw_legend(canvas: &mut Canvas, series: &[Series<'_>], rows: &[Vec<usize>], room: f64) {
    for (row, members) in rows.iter().enumerate() {
        let y = 4.0 + (row as f64 + 0.5) * LEGEND_ROW;
        let mut x = LEFT;
        for member in members.iter().map(|m| &series[*m]) {
            canvas.line((x, y), (x + 34.0, y), member.stroke);
            if let Some(mark) = member.mark {
                canvas.mark(mark, (x + 17.0, y), 7.0, member.stroke.colour);
            }
            let lettering = Lettering::new(SMALL, INK, Anchor::Start);
            let name = cut_to_width(&member.name, SMALL, room - legend_width(""));
            canvas.text((x + 40.0, y + SMALL * 0.35), lettering, &name);
            x += legend_width(&member.name);
        }
    }
}
