//! Curves over a common axis with limits, hatched spans and marks. Drawn to be read without colour.

use super::canvas::{Canvas, cut_to_width, text_width};
use super::picture::{Anchor, Fill, Hatch, Lettering, Mark, Picture, Stroke};
use super::series::{Series, draw_legend, draw_series, legend_rows};
use super::ticks::ticks;
use super::{FAINT, GRID, INK, LIMIT, WHITE};
use crate::report::format;

/// Width of a chart, px.
pub const WIDTH: f64 = 720.0;
/// Height of its low edition, of its own.
const LOW: f64 = 0.64;
/// Width of one that stands beside another, px.
pub const HALF: f64 = 352.0;
/// Width of its edition for a narrow screen, px: there a px of it is about a px of the screen, and its letters stay readable.
pub const NARROW: f64 = 360.0;
pub(super) const LEFT: f64 = 58.0;
const RIGHT: f64 = 14.0;
const BOTTOM: f64 = 42.0;
pub(super) const SMALL: f64 = 11.5;
pub(super) const LEGEND_ROW: f64 = 20.0;
const LANE: f64 = 19.0;
/// Least distance of ticks along the abscissa, px.
const TICK_EVERY: f64 = 62.0;
/// Ticks of the shortest abscissa, about.
const LEAST_TICKS: usize = 5;
/// Share of the plot beyond which a span is wide.
const WIDE: f64 = 0.4;
/// Height of a wide span's strip, px.
const STRIP: f64 = 9.0;
/// Height of a mere tick, px.
const TICK: f64 = 9.0;
/// Labelled places that are drawn as lines through the plot.
const MOST_LINES: usize = 5;
/// Labels of spans are stacked in at most so many lanes; further ones go unlabelled.
const LANES: usize = 4;

/// An axis.
#[derive(Clone, Debug, PartialEq)]
pub struct Axis {
    /// What it shows, with the unit.
    pub label: String,
    /// Value at its beginning.
    pub low: f64,
    /// Value at its end, above `low`.
    pub high: f64,
}

/// Which side of a limit is forbidden.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Side {
    /// Values above it.
    Above,
    /// Values below it.
    Below,
}

/// A limit line; what lies beyond is hatched.
#[derive(Clone, Debug, PartialEq)]
pub struct LimitLine {
    /// Ordinate.
    pub at: f64,
    /// Its label.
    pub label: String,
    /// The forbidden side.
    pub side: Side,
}

/// A stretch of the abscissa worth seeing.
#[derive(Clone, Debug, PartialEq)]
pub struct Span {
    /// Where it begins.
    pub from: f64,
    /// Where it ends.
    pub to: f64,
    /// Its number, shown in a box; empty = none.
    pub tag: String,
    /// Its label.
    pub label: String,
    /// Hatching: finding or gap.
    pub hatch: Hatch,
}

/// The picture.
#[derive(Clone, Debug, PartialEq)]
pub struct Chart<'a> {
    /// Unique in the document; `a-z`, `0-9`, `-`.
    pub id: &'a str,
    /// For those who can't see it: what it is.
    pub title: String,
    /// For those who can't see it: what is in it.
    pub description: String,
    /// Height of the plot area, px.
    pub height: f64,
    /// Abscissa.
    pub x: Axis,
    /// Ordinate.
    pub y: Axis,
    /// Curves, later ones on top.
    pub series: Vec<Series<'a>>,
    /// Limits.
    pub limits: Vec<LimitLine>,
    /// Spans.
    pub spans: Vec<Span>,
    /// Single places: dropout events.
    pub events: Vec<f64>,
    /// Marked places.
    pub places: Vec<Place>,
}

/// A marked place of the abscissa.
#[derive(Clone, Debug, PartialEq)]
pub struct Place {
    /// Where.
    pub at: f64,
    /// What is there; empty = a mere tick at the lower edge.
    pub label: String,
}

/// The plot area and its scales.
pub(super) struct Frame {
    pub(super) top: f64,
    pub(super) width: f64,
    height: f64,
    pub(super) x: (f64, f64),
    y: (f64, f64),
}

impl Frame {
    pub(super) fn x(&self, value: f64) -> f64 {
        LEFT + (value - self.x.0) / (self.x.1 - self.x.0) * self.width
    }

    pub(super) fn y(&self, value: f64) -> f64 {
        self.top + (self.y.1 - value) / (self.y.1 - self.y.0) * self.height
    }

    pub(super) fn bottom(&self) -> f64 {
        self.top + self.height
    }

    fn inside_x(&self, value: f64) -> f64 {
        self.x(value).clamp(LEFT, LEFT + self.width)
    }
}

impl Chart<'_> {
    /// The picture.
    pub fn draw(&self) -> Picture {
        self.drawn(self.id, WIDTH, self.height)
    }

    /// The same with less height.
    pub fn draw_low(&self) -> Picture {
        self.drawn(self.id, WIDTH, LOW * self.height)
    }

    /// The same for a narrow screen.
    pub fn draw_narrow(&self) -> Picture {
        self.drawn(&format!("{}-narrow", self.id), NARROW, self.height)
    }

    /// The same, to stand beside another.
    pub fn draw_half(&self) -> Picture {
        self.drawn(self.id, HALF, self.height)
    }

    /// The picture, `wide` px wide, its plot `height` px high.
    fn drawn(&self, id: &str, wide: f64, height: f64) -> Picture {
        let width = wide - LEFT - RIGHT;
        let legend = legend_rows(&self.series, width);
        let labels = self.labels(width);
        let lanes = lanes(&labels, width);
        let used = lanes.iter().flatten().map(|lane| lane + 1).max().unwrap_or(0);
        let frame = Frame {
            top: 6.0 + legend.len() as f64 * LEGEND_ROW + used as f64 * LANE,
            width,
            height,
            x: (self.x.low, self.x.high),
            y: (self.y.low, self.y.high),
        };
        let mut canvas = Canvas::new(id, wide, frame.bottom() + BOTTOM, &self.title, &self.description);
        self.draw_grid(&mut canvas, &frame);
        self.draw_limits(&mut canvas, &frame);
        self.draw_spans(&mut canvas, &frame);
        self.draw_places(&mut canvas, &frame);
        for (index, series) in self.series.iter().enumerate() {
            draw_series(&mut canvas, &frame, series, index);
        }
        self.draw_limit_labels(&mut canvas, &frame);
        self.draw_events(&mut canvas, &frame);
        draw_labels(&mut canvas, &frame, &labels, &lanes);
        draw_legend(&mut canvas, &self.series, &legend, width);
        canvas.finish()
    }

    fn draw_grid(&self, canvas: &mut Canvas, frame: &Frame) {
        let small = Lettering::new(SMALL, INK, Anchor::Middle);
        let marks = ticks(self.x.low, self.x.high, ((frame.width / TICK_EVERY) as usize).max(LEAST_TICKS));
        for value in &marks.values {
            let x = frame.x(*value);
            canvas.line((x, frame.top), (x, frame.bottom()), Stroke::solid(GRID, 0.8));
            canvas.line((x, frame.bottom()), (x, frame.bottom() + 4.0), Stroke::solid(INK, 1.0));
            canvas.text((x, frame.bottom() + 16.0), small, &format::fixed(*value, marks.decimals));
        }
        let marks = ticks(self.y.low, self.y.high, (frame.height / 36.0) as usize);
        for value in &marks.values {
            let y = frame.y(*value);
            let stroke = if *value == 0.0 { Stroke::solid(FAINT, 1.0) } else { Stroke::solid(GRID, 0.8) };
            canvas.line((LEFT, y), (LEFT + frame.width, y), stroke);
            canvas.line((LEFT - 4.0, y), (LEFT, y), Stroke::solid(INK, 1.0));
            let at = (LEFT - 7.0, y + SMALL * 0.35);
            canvas.text(
                at,
                Lettering { anchor: Anchor::End, ..small },
                &format::fixed(*value, marks.decimals),
            );
        }
        let outline = Some(Stroke::solid(INK, 1.0));
        canvas.rect((LEFT, frame.top), (frame.width, frame.height), Fill::None, outline);
        let along = cut_to_width(&self.x.label, SMALL, frame.width + LEFT);
        // It is centred on the plot unless it is wider; then on the picture.
        let least = text_width(&along, SMALL) / 2.0;
        let middle = (LEFT + frame.width / 2.0).min(LEFT + frame.width + RIGHT - least);
        canvas.text((middle, frame.bottom() + 34.0), small, &along);
        let upward = cut_to_width(&self.y.label, SMALL, frame.bottom() + BOTTOM);
        let middle = (frame.top + frame.height / 2.0).max(text_width(&upward, SMALL) / 2.0);
        canvas.text_upward((13.0, middle), small, &upward);
    }

    fn draw_limits(&self, canvas: &mut Canvas, frame: &Frame) {
        for limit in &self.limits {
            let y = frame.y(limit.at).clamp(frame.top, frame.bottom());
            let (from, to) = match limit.side {
                Side::Above => (frame.top, y),
                Side::Below => (y, frame.bottom()),
            };
            canvas.rect((LEFT, from), (frame.width, to - from), Fill::Hatched(Hatch::Forbidden), None);
            if limit.at >= frame.y.0 && limit.at <= frame.y.1 {
                canvas.line(
                    (LEFT, y),
                    (LEFT + frame.width, y),
                    Stroke::dashed(LIMIT, 1.4, &[9.0, 3.0, 2.0, 3.0]),
                );
            }
        }
    }

    fn draw_limit_labels(&self, canvas: &mut Canvas, frame: &Frame) {
        for limit in
            self.limits.iter().filter(|l| !l.label.is_empty() && l.at >= frame.y.0 && l.at <= frame.y.1)
        {
            let y = frame.y(limit.at);
            let baseline = match limit.side {
                Side::Above => y - 4.5,
                Side::Below => y + 12.5,
            };
            let right = LEFT + frame.width - 5.0;
            let width = text_width(&limit.label, SMALL) + 6.0;
            canvas.rect((right - width, baseline - 10.0), (width + 3.0, 13.0), Fill::Solid(WHITE), None);
            canvas.text((right, baseline), Lettering::new(SMALL, LIMIT, Anchor::End), &limit.label);
        }
    }

    fn draw_spans(&self, canvas: &mut Canvas, frame: &Frame) {
        for span in &self.spans {
            let (from, to) = (frame.inside_x(span.from), frame.inside_x(span.to));
            let middle = f64::midpoint(from, to);
            // A place of no width would not be seen.
            let width = (to - from).max(3.0);
            let left = middle - width / 2.0;
            // Hatching over most of the plot would hide it: a wide span is a strip along the upper edge.
            let height = if width > WIDE * frame.width { STRIP } else { frame.height };
            canvas.rect((left, frame.top), (width, height), Fill::Hatched(span.hatch), None);
            if span.hatch == Hatch::Finding {
                for x in [left, left + width] {
                    canvas.line((x, frame.top), (x, frame.bottom()), Stroke::solid(INK, 1.0));
                }
            }
        }
    }

    fn draw_events(&self, canvas: &mut Canvas, frame: &Frame) {
        for event in self.events.iter().filter(|e| **e >= frame.x.0 && **e <= frame.x.1) {
            let x = frame.x(*event);
            canvas.line((x, frame.bottom() - 14.0), (x, frame.bottom()), Stroke::solid(INK, 1.0));
            canvas.mark(Mark::Down, (x, frame.bottom() - 17.0), 7.0, INK);
        }
    }

    /// Ticks and lines at marked places. Many lines would hide the plot: then they are ticks at the upper edge.
    fn draw_places(&self, canvas: &mut Canvas, frame: &Frame) {
        let many = self.places.iter().filter(|p| !p.label.is_empty()).count() > MOST_LINES;
        for place in self.places.iter().filter(|p| p.at >= frame.x.0 && p.at <= frame.x.1) {
            let x = frame.x(place.at);
            if place.label.is_empty() {
                canvas.line((x, frame.bottom() - TICK), (x, frame.bottom()), Stroke::solid(INK, 1.0));
            } else {
                let bottom = if many { frame.top + TICK } else { frame.bottom() };
                canvas.line((x, frame.top), (x, bottom), Stroke::dashed(INK, 0.9, &[3.0, 2.0]));
            }
        }
    }

    /// The labels above the plot: of spans, then of marked places; none is wider than the plot.
    fn labels(&self, width: f64) -> Vec<Label<'_>> {
        let scale =
            |v: f64| (LEFT + (v - self.x.low) / (self.x.high - self.x.low) * width).clamp(LEFT, LEFT + width);
        let label = |middle: f64, tag, text: &str| {
            let room = width - Label::tag_room(tag);
            Label { middle, tag, text: cut_to_width(text, SMALL, room) }
        };
        let spans = self.spans.iter().map(|span| {
            label(f64::midpoint(scale(span.from), scale(span.to)), span.tag.as_str(), &span.label)
        });
        let places = self.places.iter().filter(|p| !p.label.is_empty());
        let seen = places.filter(|p| p.at >= self.x.low && p.at <= self.x.high);
        spans.chain(seen.map(|p| label(scale(p.at), "", &p.label))).collect()
    }
}

/// The labels in their lanes.
fn draw_labels(canvas: &mut Canvas, frame: &Frame, labels: &[Label<'_>], lanes: &[Option<usize>]) {
    let placed = || {
        labels
            .iter()
            .zip(lanes)
            .filter_map(|(label, lane)| Some((label, frame.top - 6.0 - (*lane)? as f64 * LANE)))
    };
    // Leaders first, so that none runs through a label.
    for (label, baseline) in placed() {
        canvas.line((label.middle, baseline + 2.5), (label.middle, frame.top), Stroke::solid(INK, 0.8));
    }
    for (label, baseline) in placed() {
        let (mut x, right) = label.extent(frame.width);
        canvas.rect((x - 1.0, baseline - 12.0), (right - x + 2.0, 15.0), Fill::Solid(WHITE), None);
        if !label.tag.is_empty() {
            let width = tag_width(label.tag);
            canvas.rect((x, baseline - 11.5), (width, 14.5), Fill::Solid(INK), None);
            let tag = Lettering::new(SMALL, WHITE, Anchor::Middle).bold();
            canvas.text((x + width / 2.0, baseline - 0.5), tag, label.tag);
            x += width + 5.0;
        }
        canvas.text((x, baseline - 0.5), Lettering::new(SMALL, INK, Anchor::Start), &label.text);
    }
}

/// A label above the plot.
struct Label<'a> {
    /// Centre of what it speaks of, px.
    middle: f64,
    tag: &'a str,
    text: String,
}

impl Label<'_> {
    /// Left and right end; it is kept inside a picture whose plot is `width` px wide.
    fn extent(&self, width: f64) -> (f64, f64) {
        let own = Self::tag_room(self.tag) + text_width(&self.text, SMALL);
        let left = (self.middle - own / 2.0).min(LEFT + width - own).max(LEFT);
        (left, left + own)
    }

    /// What its tag takes, px.
    fn tag_room(tag: &str) -> f64 {
        if tag.is_empty() { 0.0 } else { tag_width(tag) + 5.0 }
    }
}

/// The lane of each label, such that labels do not touch; none where no lane was free.
fn lanes(labels: &[Label<'_>], width: f64) -> Vec<Option<usize>> {
    let mut taken: Vec<Vec<(f64, f64)>> = vec![Vec::new(); LANES];
    labels
        .iter()
        .map(|label| {
            let (from, to) = label.extent(width);
            let lane =
                taken.iter().position(|lane| lane.iter().all(|(a, b)| to + 8.0 < *a || from - 8.0 > *b))?;
            taken[lane].push((from, to));
            Some(lane)
        })
        .collect()
}

fn tag_width(tag: &str) -> f64 {
    text_width(tag, SMALL) + 8.0
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::svg::{FIRST, SECOND};
    use std::borrow::Cow;

    fn chart(spans: Vec<Span>) -> String {
        let x: Vec<f64> = (0..=10).map(f64::from).collect();
        Chart {
            id: "golden",
            title: "two lines".to_owned(),
            description: "an invented example".to_owned(),
            height: 120.0,
            x: Axis { label: "travel, °".to_owned(), low: 0.0, high: 10.0 },
            y: Axis { label: "deviation, % of span".to_owned(), low: -3.0, high: 3.0 },
            series: vec![
                Series {
                    name: "up".to_owned(),
                    x: Cow::Borrowed(&x),
                    y: x.iter().map(|x| x / 5.0 - 1.0).collect(),
                    stroke: Stroke::solid(FIRST, 1.6),
                    mark: Some(Mark::Disc),
                },
                Series {
                    name: "down".to_owned(),
                    x: Cow::Borrowed(&x),
                    y: x.iter().map(|x| if *x == 4.0 { f64::NAN } else { 1.0 - x / 5.0 }).collect(),
                    stroke: Stroke::dashed(SECOND, 1.6, &[7.0, 3.0]),
                    mark: Some(Mark::Square),
                },
            ],
            limits: vec![
                LimitLine { at: 2.0, label: "limit 2 %".to_owned(), side: Side::Above },
                LimitLine { at: -2.0, label: "limit −2 %".to_owned(), side: Side::Below },
            ],
            spans,
            events: vec![9.0],
            places: Vec::new(),
        }
        .draw()
        .svg()
    }

    fn span(from: f64, to: f64, tag: &str) -> Span {
        Span {
            from, to, tag: tag.to_owned(), label: "flat spot 7.2–8.1°".to_owned(), hatch: Hatch::Finding
        }
    }

    #[test]
    fn a_small_chart_is_drawn_as_before() {
        insta::assert_snapshot!(chart(vec![span(7.2, 8.1, "1")]));
    }

    #[test]
    fn labels_at_one_place_are_stacked_and_too_many_are_left_out() {
        let svg = chart((1..=9).map(|k| span(5.0, 5.1, &k.to_string())).collect());
        let document = roxmltree::Document::parse(&svg).expect("well-formed");
        let heights: std::collections::BTreeSet<String> = document
            .descendants()
            .filter(|n| n.text().is_some_and(|t| t.starts_with("flat spot")) && n.has_tag_name("text"))
            .map(|n| n.attribute("y").unwrap_or("").to_owned())
            .collect();
        assert_eq!(heights.len(), LANES);
        assert_eq!(svg.matches("flat spot").count(), LANES);
    }

    #[test]
    fn a_wide_span_does_not_hide_the_plot() {
        let hatched_height = |from, to| {
            let svg = chart(vec![span(from, to, "1")]);
            let document = roxmltree::Document::parse(&svg).expect("well-formed");
            let hatched = document
                .descendants()
                .find(|n| n.attribute("fill").is_some_and(|f| f.ends_with("-finding)")));
            hatched.and_then(|n| n.attribute("height")).expect("it is hatched").to_owned()
        };
        assert_eq!(hatched_height(5.0, 6.0), "120");
        assert_eq!(hatched_height(1.0, 9.0), "9");
    }

    #[test]
    fn a_label_at_the_edge_stays_inside() {
        for place in [0.0, 10.0] {
            for width in [WIDTH, NARROW].map(|wide| wide - LEFT - RIGHT) {
                let text = "flat spot 7.2–8.1°".to_owned();
                let label = Label { middle: LEFT + place / 10.0 * width, tag: "12", text };
                let (left, right) = label.extent(width);
                assert!(left >= LEFT && right <= LEFT + width, "{left} {right}");
            }
        }
    }

    #[test]
    fn a_marked_place_is_a_line_with_its_label_and_a_tick_without_one() {
        let place = |at, label: &str| Place { at, label: label.to_owned() };
        let x = [0.0, 10.0];
        let mut chart = Chart {
            id: "places",
            title: String::new(),
            description: String::new(),
            height: 100.0,
            x: Axis { label: String::new(), low: 0.0, high: 10.0 },
            y: Axis { label: String::new(), low: 0.0, high: 1.0 },
            series: vec![Series {
                name: String::new(),
                x: Cow::Borrowed(&x),
                y: vec![0.0, 1.0],
                stroke: Stroke::solid(FIRST, 1.0),
                mark: None,
            }],
            limits: vec![],
            spans: vec![],
            events: vec![],
            places: vec![place(5.0, "rest"), place(2.0, ""), place(99.0, "beyond the axis")],
        };
        let with = chart.draw().svg();
        assert!(with.contains(">rest<") && !with.contains("beyond the axis"), "{with}");
        assert_eq!(with.matches("stroke-dasharray=\"3 2\"").count(), 1);
        chart.places.clear();
        let count = |svg: &str| svg.matches("<line").count();
        // The line, its leader, and the tick.
        assert_eq!(count(&with), count(&chart.draw().svg()) + 3);
    }
}
