//! A histogram with its limits drawn in; bars beyond a limit are hatched.

use super::canvas::{Canvas, text_width};
use super::picture::{Anchor, Colour, Fill, Hatch, Lettering, Picture, Stroke};
use super::ticks::ticks;
use super::{FAINT, GRID, INK, LIMIT, WHITE};
use crate::report::format;

const LEFT: f64 = 44.0;
const RIGHT: f64 = 12.0;
const TOP: f64 = 22.0;
const BOTTOM: f64 = 42.0;
const SMALL: f64 = 11.5;
/// Height of a row of labels, px.
const ROW: f64 = 14.0;
/// Rows of labels that are kept free where there are lines beside the limits.
const MOST_ROWS: usize = 2;
/// More bars than this can't be distinguished; neighbours are joined.
const MOST_BARS: usize = 90;

/// Inside of a bar that keeps the limits.
const BAR: Colour = (0x9f, 0xb0, 0xc3);
/// Its outline.
pub const BAR_EDGE: Colour = (0x4a, 0x5f, 0x78);

/// A histogram to draw.
#[derive(Clone, Debug, PartialEq)]
pub struct Bars<'a> {
    /// Unique in the document; `a-z`, `0-9`, `-`.
    pub id: &'a str,
    /// For those who can't see it: what it is.
    pub title: String,
    /// For those who can't see it: what is in it.
    pub description: String,
    /// Width and height of the whole picture, px.
    pub size: (f64, f64),
    /// Label of the abscissa.
    pub label: String,
    /// Lower edge of the first bin.
    pub low: f64,
    /// Bin width.
    pub width: f64,
    /// Counts.
    pub counts: &'a [u64],
    /// Limits.
    pub limits: &'a [f64],
    /// Other places worth seeing, with their labels.
    pub lines: Vec<Line>,
    /// What the abscissa must show at least, so that neighbours can be compared.
    pub at_least: Option<(f64, f64)>,
}

/// A labelled line of a histogram.
#[derive(Clone, Debug, PartialEq)]
pub struct Line {
    /// Where.
    pub at: f64,
    /// What is there.
    pub label: String,
    /// Whether it is a limit; else it is measured.
    pub limit: bool,
}

/// Counts whose bin lies, by its centre, beyond the limits; and all counts. Limits are the range around 0 that they span;
/// a single limit forbids the side away from 0.
pub fn beyond(low: f64, width: f64, counts: &[u64], limits: &[f64]) -> (u64, u64) {
    let all = counts.iter().fold(0_u64, |sum, c| sum.saturating_add(*c));
    let outside = counts
        .iter()
        .enumerate()
        .filter(|(k, _)| is_beyond(low + (*k as f64 + 0.5) * width, limits))
        .fold(0_u64, |sum, (_, c)| sum.saturating_add(*c));
    (outside, all)
}

fn is_beyond(value: f64, limits: &[f64]) -> bool {
    let lowest = limits.iter().copied().fold(f64::INFINITY, f64::min);
    let highest = limits.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    match limits.len() {
        0 => false,
        1 if lowest < 0.0 => value < lowest,
        1 => value > highest,
        _ => value < lowest || value > highest,
    }
}

/// The plot area and its scales.
struct Frame {
    top: f64,
    width: f64,
    height: f64,
    x: (f64, f64),
    top_share: f64,
}

impl Frame {
    fn x(&self, value: f64) -> f64 {
        LEFT + (value - self.x.0) / (self.x.1 - self.x.0) * self.width
    }

    fn y(&self, share: f64) -> f64 {
        self.bottom() - share / self.top_share * self.height
    }

    fn bottom(&self) -> f64 {
        self.top + self.height
    }
}

impl Bars<'_> {
    /// The picture.
    pub fn draw(&self) -> Picture {
        let mut canvas = Canvas::new(self.id, self.size.0, self.size.1, &self.title, &self.description);
        let Some(x) = self.range() else {
            let lettering = Lettering::new(SMALL, FAINT, Anchor::Middle);
            canvas.text((self.size.0 / 2.0, self.size.1 / 2.0), lettering, "nothing was counted");
            return canvas.finish();
        };
        let joined = self.counts.len().div_ceil(MOST_BARS).max(1);
        let all = self.counts.iter().map(|c| *c as f64).sum::<f64>();
        let shares: Vec<f64> = self
            .counts
            .chunks(joined)
            .map(|c| c.iter().map(|c| *c as f64).sum::<f64>() / all * 100.0)
            .collect();
        let top = TOP + (self.label_rows() - 1) as f64 * ROW;
        let frame = Frame {
            top,
            width: self.size.0 - LEFT - RIGHT,
            height: self.size.1 - top - BOTTOM,
            x,
            top_share: shares.iter().copied().fold(0.0, f64::max) * 1.08,
        };
        self.draw_axes(&mut canvas, &frame);
        self.draw_bars(&mut canvas, &frame, &shares, self.width * joined as f64);
        self.draw_lines(&mut canvas, &frame);
        canvas.finish()
    }

    fn draw_axes(&self, canvas: &mut Canvas, frame: &Frame) {
        let small = Lettering::new(SMALL, INK, Anchor::Middle);
        let (right, bottom) = (LEFT + frame.width, frame.bottom());
        let marks = ticks(0.0, frame.top_share, 4);
        for value in &marks.values {
            let y = frame.y(*value);
            canvas.line((LEFT, y), (right, y), Stroke::solid(GRID, 0.8));
            let text = format!("{} %", format::fixed(*value, marks.decimals));
            canvas.text((LEFT - 5.0, y + 4.0), Lettering { anchor: Anchor::End, ..small }, &text);
        }
        let marks = ticks(frame.x.0, frame.x.1, (frame.width / 48.0) as usize);
        for value in &marks.values {
            let x = frame.x(*value);
            canvas.line((x, bottom), (x, bottom + 4.0), Stroke::solid(INK, 1.0));
            canvas.text((x, bottom + 16.0), small, &format::fixed(*value, marks.decimals));
        }
        canvas.line((LEFT, bottom), (right, bottom), Stroke::solid(INK, 1.0));
        canvas.text((LEFT + frame.width / 2.0, bottom + 34.0), small, &self.label);
    }

    fn draw_bars(&self, canvas: &mut Canvas, frame: &Frame, shares: &[f64], bin: f64) {
        for (k, share) in shares.iter().enumerate().filter(|(_, s)| **s > 0.0) {
            let from = self.low + k as f64 * bin;
            // The rarest bar is still seen.
            let height = (frame.bottom() - frame.y(*share)).max(2.0);
            let is_out = is_beyond(from + bin / 2.0, self.limits);
            let (fill, outline) = if is_out {
                (Fill::Hatched(Hatch::Finding), Stroke::solid(INK, 1.0))
            } else {
                (Fill::Solid(BAR), Stroke::solid(BAR_EDGE, 0.6))
            };
            let (left, right) = (frame.x(from), frame.x(from + bin));
            canvas.rect((left, frame.bottom() - height), (right - left, height), fill, Some(outline));
        }
    }

    /// Limits and other lines; a label that would touch another goes one row up.
    fn draw_lines(&self, canvas: &mut Canvas, frame: &Frame) {
        let mut taken: Vec<Vec<(f64, f64)>> = Vec::new();
        let mut placed = Vec::new();
        for line in self.all_lines() {
            let half = text_width(&line.label, SMALL) / 2.0;
            let middle = frame.x(line.at).clamp(half + 2.0, self.size.0 - half - 2.0);
            let (from, to) = (middle - half - 3.0, middle + half + 3.0);
            let row = taken.iter().position(|row| row.iter().all(|(a, b)| to < *a || from > *b));
            let row = row.unwrap_or(taken.len()).min(self.label_rows() - 1);
            taken.resize(taken.len().max(row + 1), Vec::new());
            taken[row].push((from, to));
            placed.push((line, middle, frame.top - 7.0 - row as f64 * ROW));
        }
        let colour = |line: &Line| if line.limit { LIMIT } else { INK };
        // Lines first, so that none runs through a label.
        for (line, _, baseline) in &placed {
            let x = frame.x(line.at);
            let dash: &[f64] = if line.limit { &[9.0, 3.0, 2.0, 3.0] } else { &[3.0, 2.0] };
            canvas.line((x, baseline + 4.0), (x, frame.bottom()), Stroke::dashed(colour(line), 1.4, dash));
        }
        for (line, middle, baseline) in &placed {
            let half = text_width(&line.label, SMALL) / 2.0;
            canvas.rect(
                (middle - half - 1.0, baseline - 10.0),
                (2.0 * half + 2.0, 12.5),
                Fill::Solid(WHITE),
                None,
            );
            let lettering = Lettering::new(SMALL, colour(line), Anchor::Middle);
            canvas.text((*middle, *baseline), lettering, &line.label);
        }
    }

    /// Limits first, then the other lines, each from left to right.
    fn all_lines(&self) -> Vec<Line> {
        let limit = |at: f64| Line { at, label: format!("limit {}", format::as_written(at)), limit: true };
        let limits = self.limits.iter().copied().map(limit);
        let mut all: Vec<Line> = limits.chain(self.lines.iter().cloned()).collect();
        all.retain(|line| line.at.is_finite());
        all
    }

    /// Rows of labels that may be needed.
    fn label_rows(&self) -> usize {
        if self.lines.is_empty() { 1 } else { MOST_ROWS }
    }

    /// What the abscissa must show: every filled bin and every limit, with a margin.
    fn range(&self) -> Option<(f64, f64)> {
        let filled = |k: usize| self.counts[k] > 0;
        let first = (0..self.counts.len()).find(|k| filled(*k))?;
        let last = (0..self.counts.len()).rev().find(|k| filled(*k))?;
        let ends = [self.low + first as f64 * self.width, self.low + (last + 1) as f64 * self.width];
        let lines: Vec<f64> = self.all_lines().iter().map(|line| line.at).collect();
        let wanted = self.at_least.map_or(Vec::new(), |(low, high)| vec![low, high]);
        let values = || ends.iter().chain(&lines).chain(&wanted).copied().filter(|v| v.is_finite());
        let low = values().fold(f64::INFINITY, f64::min);
        let high = values().fold(f64::NEG_INFINITY, f64::max);
        let margin = (high - low) * 0.06;
        (margin > 0.0 && margin.is_finite()).then_some((low - margin, high + margin))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn bars(counts: &[u64], limits: &[f64]) -> String {
        Bars {
            id: "bars",
            title: "deviation".to_owned(),
            description: "an invented example".to_owned(),
            size: (300.0, 180.0),
            label: "% of span".to_owned(),
            low: -1.0,
            width: 0.25,
            counts,
            limits,
            lines: Vec::new(),
            at_least: None,
        }
        .draw()
        .svg()
    }

    #[test]
    fn a_small_histogram_is_drawn_as_before() {
        insta::assert_snapshot!(bars(&[1, 4, 9, 12, 8, 5, 2, 1], &[-0.8, 0.8]));
    }

    #[test]
    fn an_empty_histogram_says_so() {
        assert!(bars(&[0, 0], &[1.0]).contains("nothing was counted"));
        assert!(bars(&[], &[]).contains("nothing was counted"));
    }

    #[test]
    fn what_lies_beyond_a_limit_is_counted() {
        assert_eq!(beyond(-1.0, 0.5, &[1, 2, 3, 4], &[-0.5, 0.5]), (5, 10));
        assert_eq!(beyond(-1.0, 0.5, &[1, 2, 3, 4], &[0.5]), (4, 10));
        assert_eq!(beyond(-1.0, 0.5, &[1, 2, 3, 4], &[]), (0, 10));
    }
}
