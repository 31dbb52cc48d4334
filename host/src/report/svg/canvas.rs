//! Elements of an SVG picture, escaped and with deterministic numbers.

use super::{FAINT, INK, LIMIT};
use crate::report::text;
use std::fmt::Write as _;

/// How a line is drawn.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stroke {
    /// Colour.
    pub colour: &'static str,
    /// Width, px.
    pub width: f64,
    /// Dash pattern of SVG; empty = solid.
    pub dash: &'static str,
}

impl Stroke {
    /// A solid line.
    pub const fn solid(colour: &'static str, width: f64) -> Self {
        Self { colour, width, dash: "" }
    }

    /// A dashed line.
    pub const fn dashed(colour: &'static str, width: f64, dash: &'static str) -> Self {
        Self { colour, width, dash }
    }
}

/// Shape of a mark on a curve.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Mark {
    /// Filled circle.
    Disc,
    /// Open square.
    Square,
    /// Filled triangle that points up.
    Up,
    /// Open triangle that points down.
    Down,
}

/// Kinds of hatching; they differ in direction and spacing, not only in colour.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Hatch {
    /// Beyond a limit.
    Forbidden,
    /// A finding.
    Finding,
    /// Nothing recorded.
    Gap,
}

/// Where text stands relative to its point.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Anchor {
    /// Begins there.
    Start,
    /// Centred there.
    Middle,
    /// Ends there.
    End,
}

/// How text is drawn.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Lettering {
    /// Size, px.
    pub size: f64,
    /// Colour.
    pub colour: &'static str,
    /// Bold.
    pub bold: bool,
    /// Relative to its point.
    pub anchor: Anchor,
}

impl Lettering {
    /// Plain text of a size.
    pub const fn new(size: f64, colour: &'static str, anchor: Anchor) -> Self {
        Self { size, colour, bold: false, anchor }
    }

    /// The same, bold.
    pub const fn bold(self) -> Self {
        Self { bold: true, ..self }
    }
}

/// A picture in the making.
#[derive(Clone, Debug)]
pub struct Canvas {
    id: String,
    width: f64,
    height: f64,
    title: String,
    description: String,
    body: String,
}

impl Canvas {
    /// An empty picture, sizes in px. `id` must be unique in the document and hold only `a-z`, `0-9` and `-`.
    pub fn new(id: &str, width: f64, height: f64, title: &str, description: &str) -> Self {
        Self {
            id: id.to_owned(),
            width,
            height,
            title: title.to_owned(),
            description: description.to_owned(),
            body: String::new(),
        }
    }

    /// A straight line.
    pub fn line(&mut self, from: (f64, f64), to: (f64, f64), stroke: Stroke) {
        let _ = writeln!(
            self.body,
            r#"<line x1="{}" y1="{}" x2="{}" y2="{}"{}/>"#,
            number(from.0),
            number(from.1),
            number(to.0),
            number(to.1),
            stroked(stroke)
        );
    }

    /// Connected points, one piece after the other.
    pub fn path(&mut self, pieces: &[Vec<(f64, f64)>], stroke: Stroke) {
        let mut d = String::new();
        for piece in pieces {
            for (i, (x, y)) in piece.iter().enumerate() {
                let _ = write!(d, "{}{} {}", if i == 0 { "M" } else { "L" }, number(*x), number(*y));
            }
            if let [only] = piece.as_slice() {
                // A point alone would not be seen; a line of no length with a round cap is.
                let _ = write!(d, "L{} {}", number(only.0), number(only.1));
            }
        }
        if !d.is_empty() {
            let _ = writeln!(
                self.body,
                r#"<path d="{d}" fill="none" stroke-linejoin="round" stroke-linecap="round"{}/>"#,
                stroked(stroke)
            );
        }
    }

    /// A filled rectangle; `fill` is a colour or what [`Canvas::hatch`] gives.
    pub fn rect(&mut self, at: (f64, f64), size: (f64, f64), fill: &str, stroke: Option<Stroke>) {
        let _ = writeln!(
            self.body,
            r#"<rect x="{}" y="{}" width="{}" height="{}" fill="{}"{}/>"#,
            number(at.0),
            number(at.1),
            number(size.0.max(0.0)),
            number(size.1.max(0.0)),
            escape(fill),
            stroke.map(stroked).unwrap_or_default()
        );
    }

    /// A mark on a curve.
    pub fn mark(&mut self, shape: Mark, at: (f64, f64), size: f64, colour: &'static str) {
        let (x, y) = at;
        let half = size / 2.0;
        let points = |points: [(f64, f64); 3]| {
            points.map(|(px, py)| format!("{},{}", number(x + px), number(y + py))).join(" ")
        };
        let element = match shape {
            Mark::Disc => {
                format!(
                    r#"<circle cx="{}" cy="{}" r="{}" fill="{colour}"/>"#,
                    number(x),
                    number(y),
                    number(half)
                )
            }
            Mark::Square => format!(
                r##"<rect x="{}" y="{}" width="{}" height="{}" fill="#fff" stroke="{colour}" stroke-width="1.3"/>"##,
                number(x - half),
                number(y - half),
                number(size),
                number(size)
            ),
            Mark::Up => format!(
                r#"<polygon points="{}" fill="{colour}"/>"#,
                points([(-half, half), (half, half), (0.0, -half)])
            ),
            Mark::Down => format!(
                r##"<polygon points="{}" fill="#fff" stroke="{colour}" stroke-width="1.2"/>"##,
                points([(-half, -half), (half, -half), (0.0, half)])
            ),
        };
        self.body.push_str(&element);
        self.body.push('\n');
    }

    /// Text on one line.
    pub fn text(&mut self, at: (f64, f64), lettering: Lettering, content: &str) {
        self.lettered(at, lettering, content, "");
    }

    /// Text that reads upward.
    pub fn text_upward(&mut self, at: (f64, f64), lettering: Lettering, content: &str) {
        let turn = format!(r#" transform="rotate(-90 {} {})""#, number(at.0), number(at.1));
        self.lettered(at, lettering, content, &turn);
    }

    /// Reference to a hatching, for [`Canvas::rect`].
    pub fn hatch(&self, hatch: Hatch) -> String {
        format!("url(#{}-{})", self.id, name(hatch))
    }

    /// The picture as text.
    pub fn finish(self) -> String {
        let id = escape(&self.id);
        let mut out = String::with_capacity(self.body.len() + 2000);
        let (width, height) = (number(self.width), number(self.height));
        let _ = writeln!(
            out,
            r#"<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" width="{width}" height="{height}" role="img" aria-labelledby="{id}-title {id}-desc" font-family="'Helvetica Neue', Helvetica, Arial, 'Liberation Sans', sans-serif">"#
        );
        let _ = writeln!(out, r#"<title id="{id}-title">{}</title>"#, escape(&self.title));
        let _ = writeln!(out, r#"<desc id="{id}-desc">{}</desc>"#, escape(&self.description));
        let patterns: Vec<String> = [Hatch::Forbidden, Hatch::Finding, Hatch::Gap]
            .into_iter()
            .filter(|h| self.body.contains(&self.hatch(*h)))
            .map(|h| pattern(&id, h))
            .collect();
        if !patterns.is_empty() {
            let _ = writeln!(out, "<defs>{}</defs>", patterns.concat());
        }
        out.push_str(&self.body);
        out.push_str("</svg>\n");
        out
    }

    fn lettered(&mut self, at: (f64, f64), lettering: Lettering, content: &str, turn: &str) {
        let anchor = match lettering.anchor {
            Anchor::Start => "",
            Anchor::Middle => r#" text-anchor="middle""#,
            Anchor::End => r#" text-anchor="end""#,
        };
        let weight = if lettering.bold { r#" font-weight="700""# } else { "" };
        let _ = writeln!(
            self.body,
            r#"<text x="{}" y="{}" font-size="{}" fill="{}"{anchor}{weight}{turn}>{}</text>"#,
            number(at.0),
            number(at.1),
            number(lettering.size),
            lettering.colour,
            escape(content)
        );
    }
}

/// How wide text of a size will be, px, near enough to keep labels apart (common practice, no source: 0.56 of the size
/// per letter in a sans-serif face).
pub fn text_width(content: &str, size: f64) -> f64 {
    content.chars().count() as f64 * size * 0.56
}

/// A coordinate: one decimal is 0.03 mm in print; not finite becomes 0, which a picture survives.
pub fn number(value: f64) -> String {
    if !value.is_finite() {
        return "0".to_owned();
    }
    let text = format!("{value:.1}");
    match text.strip_suffix(".0").unwrap_or(&text) {
        "-0" => "0".to_owned(),
        short => short.to_owned(),
    }
}

/// Text fit for an element or a quoted attribute.
pub fn escape(content: &str) -> String {
    let mut out = String::with_capacity(content.len());
    for character in text::plain(content, text::SENTENCE).chars() {
        match character {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            other => out.push(other),
        }
    }
    out
}

const fn name(hatch: Hatch) -> &'static str {
    match hatch {
        Hatch::Forbidden => "forbidden",
        Hatch::Finding => "finding",
        Hatch::Gap => "gap",
    }
}

fn pattern(id: &str, hatch: Hatch) -> String {
    let (size, turn, content) = match hatch {
        Hatch::Forbidden => (
            7,
            45,
            format!(
                r#"<line x1="0" y1="0" x2="0" y2="7" stroke="{LIMIT}" stroke-width="1" stroke-opacity="0.45"/>"#
            ),
        ),
        Hatch::Finding => (
            4,
            135,
            format!(
                r#"<line x1="0" y1="0" x2="0" y2="4" stroke="{INK}" stroke-width="1.5" stroke-opacity="0.55"/>"#
            ),
        ),
        Hatch::Gap => (5, 0, format!(r#"<circle cx="2.5" cy="2.5" r="0.9" fill="{FAINT}"/>"#)),
    };
    format!(
        r#"<pattern id="{id}-{}" width="{size}" height="{size}" patternUnits="userSpaceOnUse" patternTransform="rotate({turn})">{content}</pattern>"#,
        name(hatch)
    )
}

fn stroked(stroke: Stroke) -> String {
    let dash = if stroke.dash.is_empty() {
        String::new()
    } else {
        format!(r#" stroke-dasharray="{}""#, stroke.dash)
    };
    format!(r#" stroke="{}" stroke-width="{}"{dash}"#, stroke.colour, number(stroke.width))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn coordinates_are_short_and_never_nan() {
        assert_eq!(number(12.0), "12");
        assert_eq!(number(12.34), "12.3");
        assert_eq!(number(-0.04), "0");
        assert_eq!(number(f64::NAN), "0");
    }

    #[test]
    fn hostile_text_stays_text() {
        let mut canvas = Canvas::new("t", 10.0, 10.0, "</title><script>", "\u{0}\u{202e}&");
        canvas.text(
            (0.0, 0.0),
            Lettering::new(10.0, INK, Anchor::Start),
            "</text><script>alert('1')</script>\"",
        );
        let svg = canvas.finish();
        let document = roxmltree::Document::parse(&svg).expect("well-formed");
        assert!(document.descendants().all(|n| !n.has_tag_name("script")));
    }
}
