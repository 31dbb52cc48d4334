//! A picture as text of an SVG, escaped and with deterministic numbers. It does not know what it shows.

use super::WHITE;
use super::picture::{Anchor, Colour, Fill, Hatch, Lettering, Picture, Point, Ruling, Shape, Stroke};
use crate::report::text;
use std::fmt::Write as _;

/// The text.
pub fn svg(picture: &Picture) -> String {
    let mut out = String::with_capacity(picture.shapes.len() * 90 + 2000);
    head(&mut out, picture);
    for shape in &picture.shapes {
        out.push_str(&element(shape, &picture.id));
        out.push('\n');
    }
    out.push_str("</svg>\n");
    out
}

fn head(out: &mut String, picture: &Picture) {
    let id = escape(&picture.id);
    let (width, height) = (number(picture.size.0), number(picture.size.1));
    let _ = writeln!(
        out,
        r#"<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" width="{width}" height="{height}" role="img" aria-labelledby="{id}-title {id}-desc" font-family="'Helvetica Neue', Helvetica, Arial, 'Liberation Sans', sans-serif">"#
    );
    let _ = writeln!(out, r#"<title id="{id}-title">{}</title>"#, escape(&picture.title));
    let _ = writeln!(out, r#"<desc id="{id}-desc">{}</desc>"#, escape(&picture.description));
    let used = Hatch::ALL.into_iter().filter(|h| uses(picture, *h));
    let patterns: String = used.map(|h| pattern(&id, h)).collect();
    if !patterns.is_empty() {
        let _ = writeln!(out, "<defs>{patterns}</defs>");
    }
}

fn uses(picture: &Picture, hatch: Hatch) -> bool {
    picture.shapes.iter().any(|s| matches!(s, Shape::Rect { fill: Fill::Hatched(h), .. } if *h == hatch))
}

fn element(shape: &Shape, id: &str) -> String {
    match shape {
        Shape::Line { from, to, stroke } => format!(
            r#"<line x1="{}" y1="{}" x2="{}" y2="{}"{}/>"#,
            number(from.0),
            number(from.1),
            number(to.0),
            number(to.1),
            stroked(*stroke)
        ),
        Shape::Path { pieces, stroke } => format!(
            r#"<path d="{}" fill="none" stroke-linejoin="round" stroke-linecap="round"{}/>"#,
            data(pieces),
            stroked(*stroke)
        ),
        Shape::Rect { at, size, fill, stroke } => format!(
            r#"<rect x="{}" y="{}" width="{}" height="{}" fill="{}"{}/>"#,
            number(at.0),
            number(at.1),
            number(size.0),
            number(size.1),
            filled(*fill, id),
            stroke.map(stroked).unwrap_or_default()
        ),
        Shape::Disc { at, radius, colour } => format!(
            r#"<circle cx="{}" cy="{}" r="{}" fill="{}"/>"#,
            number(at.0),
            number(at.1),
            number(*radius),
            hex(*colour)
        ),
        Shape::Triangle { corners, fill, stroke } => format!(
            r#"<polygon points="{}" fill="{}"{}/>"#,
            corners.map(|(x, y)| format!("{},{}", number(x), number(y))).join(" "),
            hex(*fill),
            stroke.map(stroked).unwrap_or_default()
        ),
        Shape::Text { at, lettering, upward, content } => lettered(*at, *lettering, *upward, content),
    }
}

/// What a path runs through.
fn data(pieces: &[Vec<Point>]) -> String {
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
    d
}

fn lettered(at: Point, lettering: Lettering, upward: bool, content: &str) -> String {
    let (x, y) = (number(at.0), number(at.1));
    let anchor = match lettering.anchor {
        Anchor::Start => "",
        Anchor::Middle => r#" text-anchor="middle""#,
        Anchor::End => r#" text-anchor="end""#,
    };
    let weight = if lettering.bold { r#" font-weight="700""# } else { "" };
    let turn = if upward { format!(r#" transform="rotate(-90 {x} {y})""#) } else { String::new() };
    format!(
        r#"<text x="{x}" y="{y}" font-size="{}" fill="{}"{anchor}{weight}{turn}>{}</text>"#,
        number(lettering.size),
        hex(lettering.colour),
        escape(content)
    )
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

/// A colour, white in its short form.
fn hex(colour: Colour) -> String {
    match colour {
        WHITE => "#fff".to_owned(),
        (r, g, b) => format!("#{r:02x}{g:02x}{b:02x}"),
    }
}

fn filled(fill: Fill, id: &str) -> String {
    match fill {
        Fill::None => "none".to_owned(),
        Fill::Solid(colour) => hex(colour),
        Fill::Hatched(hatch) => format!("url(#{}-{})", escape(id), name(hatch)),
    }
}

fn stroked(stroke: Stroke) -> String {
    let dash: Vec<String> = stroke.dash.iter().map(f64::to_string).collect();
    let dash = match dash.as_slice() {
        [] => String::new(),
        dash => format!(r#" stroke-dasharray="{}""#, dash.join(" ")),
    };
    format!(r#" stroke="{}" stroke-width="{}"{dash}"#, hex(stroke.colour), number(stroke.width))
}

const fn name(hatch: Hatch) -> &'static str {
    match hatch {
        Hatch::Forbidden => "forbidden",
        Hatch::Finding => "finding",
        Hatch::Gap => "gap",
    }
}

/// A tile of a hatching. A line lies on the edge of its tile, which cuts it in half.
fn pattern(id: &str, hatch: Hatch) -> String {
    let Ruling { spacing, turn, colour, width, opacity, dots } = hatch.ruling();
    let (colour, middle) = (hex(colour), spacing / 2.0);
    let content = if dots {
        format!(r#"<circle cx="{middle}" cy="{middle}" r="{}" fill="{colour}"/>"#, width / 2.0)
    } else {
        format!(
            r#"<line x1="0" y1="0" x2="0" y2="{spacing}" stroke="{colour}" stroke-width="{}" stroke-opacity="{opacity}"/>"#,
            width * 2.0
        )
    };
    format!(
        r#"<pattern id="{id}-{}" width="{spacing}" height="{spacing}" patternUnits="userSpaceOnUse" patternTransform="rotate({turn})">{content}</pattern>"#,
        name(hatch)
    )
}

#[cfg(test)]
mod tests {
    use super::super::INK;
    use super::super::canvas::Canvas;
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
        let svg = canvas.finish().svg();
        let document = roxmltree::Document::parse(&svg).expect("well-formed");
        assert!(document.descendants().all(|n| !n.has_tag_name("script")));
    }
}
