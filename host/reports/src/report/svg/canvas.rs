//! A picture in the making: shapes are put onto it one by one. It does not know how they are written.

use super::WHITE;
use super::picture::{Colour, Fill, Lettering, Mark, Picture, Point, Shape, Stroke};
use crate::report::text;

/// A picture in the making.
#[derive(Clone, Debug)]
pub struct Canvas {
    picture: Picture,
}

impl Canvas {
    /// An empty picture, sizes in px. `id` must be unique in the document and hold only `a-z`, `0-9` and `-`.
    pub fn new(id: &str, width: f64, height: f64, title: &str, description: &str) -> Self {
        let picture = Picture {
            id: id.to_owned(),
            size: (width, height),
            title: title.to_owned(),
            description: description.to_owned(),
            shapes: Vec::new(),
        };
        Self { picture }
    }

    /// A straight line.
    pub fn line(&mut self, from: Point, to: Point, stroke: Stroke) {
        self.picture.shapes.push(Shape::Line { from, to, stroke });
    }

    /// Connected points, one piece after the other.
    pub fn path(&mut self, pieces: Vec<Vec<Point>>, stroke: Stroke) {
        if pieces.iter().any(|piece| !piece.is_empty()) {
            self.picture.shapes.push(Shape::Path { pieces, stroke });
        }
    }

    /// A rectangle.
    pub fn rect(&mut self, at: Point, size: Point, fill: Fill, stroke: Option<Stroke>) {
        self.picture.shapes.push(Shape::Rect { at, size: (size.0.max(0.0), size.1.max(0.0)), fill, stroke });
    }

    /// A mark on a curve.
    pub fn mark(&mut self, shape: Mark, at: Point, size: f64, colour: Colour) {
        let half = size / 2.0;
        let corner = |x: f64, y: f64| (at.0 + x * half, at.1 + y * half);
        self.picture.shapes.push(match shape {
            Mark::Disc => Shape::Disc { at, radius: half, colour },
            Mark::Square => Shape::Rect {
                at: corner(-1.0, -1.0),
                size: (size, size),
                fill: Fill::Solid(WHITE),
                stroke: Some(Stroke::solid(colour, 1.3)),
            },
            Mark::Up => Shape::Triangle {
                corners: [corner(-1.0, 1.0), corner(1.0, 1.0), corner(0.0, -1.0)],
                fill: colour,
                stroke: None,
            },
            Mark::Down => Shape::Triangle {
                corners: [corner(-1.0, -1.0), corner(1.0, -1.0), corner(0.0, 1.0)],
                fill: WHITE,
                stroke: Some(Stroke::solid(colour, 1.2)),
            },
        });
    }

    /// Text on one line.
    pub fn text(&mut self, at: Point, lettering: Lettering, content: &str) {
        self.lettered(at, lettering, content, false);
    }

    /// Text that reads upward.
    pub fn text_upward(&mut self, at: Point, lettering: Lettering, content: &str) {
        self.lettered(at, lettering, content, true);
    }

    /// The picture.
    pub fn finish(self) -> Picture {
        self.picture
    }

    fn lettered(&mut self, at: Point, lettering: Lettering, content: &str, upward: bool) {
        let content = text::plain(content, text::SENTENCE);
        self.picture.shapes.push(Shape::Text { at, lettering, upward, content });
    }
}

/// How wide text of a size will be, px, near enough to keep labels apart (common practice, no source: 0.56 of the size
/// per letter in a sans-serif face).
pub fn text_width(content: &str, size: f64) -> f64 {
    content.chars().count() as f64 * size * 0.56
}

/// Text that is no wider than `room` px; what is cut ends in three points.
pub fn cut_to_width(content: &str, size: f64, room: f64) -> String {
    if text_width(content, size) <= room {
        return content.to_owned();
    }
    let letters = ((room / text_width("x", size)) as usize).saturating_sub(1);
    let cut: String = content.chars().take(letters).collect();
    format!("{}…", cut.trim_end())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn text_is_cut_to_its_room_and_says_so() {
        assert_eq!(cut_to_width("worn tooth", 10.0, 100.0), "worn tooth");
        for room in [5.0, 20.0, 55.0] {
            let cut = cut_to_width("worn tooth", 10.0, room);
            assert!(cut.ends_with('…') && text_width(&cut, 10.0) <= room.max(5.7), "{cut}");
        }
    }
}
