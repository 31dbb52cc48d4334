//! A picture of shapes as operators. What its text as SVG says by words, such as how a line ends, is the same here.

use super::brush::{Brush, Letters, Paint, Pen};
use super::hatch::{self, Lines};
use crate::report::svg::picture::{Anchor, Fill, Hatch, Lettering, Picture, Point, Ruling, Shape, Stroke};
use usvg::Transform;

/// Draws a picture; its top left corner is the origin, a px a unit.
pub fn draw(brush: &mut Brush<'_>, picture: &Picture) {
    brush.rect((0.0, 0.0), single(picture.size));
    brush.clip(false);
    for shape in &picture.shapes {
        draw_shape(brush, shape);
    }
}

fn draw_shape(brush: &mut Brush<'_>, shape: &Shape) {
    match shape {
        Shape::Line { from, to, stroke } => {
            pen(brush, *stroke, false);
            brush.through(&[single(*from), single(*to)]);
            brush.stroke();
        }
        Shape::Path { pieces, stroke } => {
            pen(brush, *stroke, true);
            pieces.iter().for_each(|piece| draw_piece(brush, piece));
            brush.stroke();
        }
        Shape::Rect { at, size, fill, stroke } => draw_rect(brush, *at, *size, *fill, *stroke),
        Shape::Disc { at, radius, colour } => {
            brush.fill_with(&Paint::Solid(*colour));
            brush.circle(single(*at), *radius as f32);
            brush.fill(false);
        }
        Shape::Triangle { corners, fill, stroke } => {
            let outline = |brush: &mut Brush<'_>| {
                brush.through(&corners.map(single));
                brush.close();
            };
            brush.fill_with(&Paint::Solid(*fill));
            outline(brush);
            brush.fill(false);
            if let Some(stroke) = stroke {
                pen(brush, *stroke, false);
                outline(brush);
                brush.stroke();
            }
        }
        Shape::Text { at, lettering, upward, content } => {
            lettered(brush, *at, *lettering, *upward, content);
        }
    }
}

/// Connected points; one alone is a line of no length with round ends.
fn draw_piece(brush: &mut Brush<'_>, piece: &[Point]) {
    let mut points: Vec<(f32, f32)> = piece.iter().copied().map(single).collect();
    if let [only] = points.as_slice() {
        points.push(*only);
    }
    brush.through(&points);
}

fn draw_rect(brush: &mut Brush<'_>, at: Point, size: Point, fill: Fill, stroke: Option<Stroke>) {
    match fill {
        Fill::None => {}
        Fill::Solid(colour) => {
            brush.fill_with(&Paint::Solid(colour));
            brush.rect(single(at), single(size));
            brush.fill(false);
        }
        Fill::Hatched(hatch) => hatched(brush, at, size, hatch),
    }
    if let Some(stroke) = stroke {
        pen(brush, stroke, false);
        brush.rect(single(at), single(size));
        brush.stroke();
    }
}

fn hatched(brush: &mut Brush<'_>, at: Point, size: Point, hatch: Hatch) {
    let ruling = hatch.ruling();
    brush.apart(|brush| {
        brush.rect(single(at), single(size));
        brush.clip(false);
        if ruling.dots {
            dotted(brush, &hatch::rows(at, size, ruling), ruling);
        } else if let Some(lines) = hatch::lines(at, size, ruling) {
            ruled(brush, &lines, ruling);
        }
    });
}

/// A dot is a dash of next to no length with round ends.
fn dotted(brush: &mut Brush<'_>, rows: &[(Point, Point)], ruling: Ruling) {
    const DOT: f32 = 0.01;
    let dash = [DOT, ruling.spacing as f32 - DOT];
    let pen = Pen::solid(ruling.width as f32).round().dashed(&dash);
    brush.stroke_with(&Paint::Solid(ruling.colour), pen);
    for (from, to) in rows {
        brush.through(&[single(*from), single(*to)]);
    }
    brush.stroke();
}

/// Lines as filled areas: viewers widen a line that is thinner than their pixels, and hatching would look darker than elsewhere.
fn ruled(brush: &mut Brush<'_>, lines: &Lines, ruling: Ruling) {
    brush.opacity(ruling.opacity as f32, 1.0);
    brush.fill_with(&Paint::Solid(ruling.colour));
    brush.transform(Transform::from_rotate(ruling.turn as f32));
    let (from, to) = lines.ends;
    for left in &lines.lefts {
        brush.rect(single((*left, from)), single((ruling.width, to - from)));
    }
    brush.fill(false);
}

fn pen(brush: &mut Brush<'_>, stroke: Stroke, round: bool) {
    let dash: Vec<f32> = stroke.dash.iter().map(|d| *d as f32).collect();
    let pen = Pen::solid(stroke.width as f32).dashed(&dash);
    brush.stroke_with(&Paint::Solid(stroke.colour), if round { pen.round() } else { pen });
}

fn lettered(brush: &mut Brush<'_>, at: Point, lettering: Lettering, upward: bool, content: &str) {
    let Lettering { size, colour, bold, anchor } = lettering;
    let (text, size, (x, y)) = (brush.fonts.shown(content), size as f32, single(at));
    let share = match anchor {
        Anchor::Start => 0.0,
        Anchor::Middle => 0.5,
        Anchor::End => 1.0,
    };
    let back = brush.fonts.width(&text, bold, size) * share;
    let at = if upward { (x, y + back) } else { (x - back, y) };
    if !text.is_empty() {
        brush.text(&text, at, Letters { size, bold, colour, upward });
    }
}

/// What is not finite becomes 0, as in the text of an SVG.
fn single((x, y): Point) -> (f32, f32) {
    let finite = |v: f64| if v.is_finite() { v as f32 } else { 0.0 };
    (finite(x), finite(y))
}

#[cfg(test)]
mod tests {
    use super::super::fonts::Fonts;
    use super::super::shared::Shared;
    use super::*;
    use crate::report::svg::INK;
    use crate::report::svg::canvas::Canvas;

    fn operators(canvas: Canvas) -> (String, Shared) {
        let (fonts, mut shared) = (Fonts::load().unwrap(), Shared::default());
        let mut brush = Brush::new(&fonts, &mut shared, 100.0);
        draw(&mut brush, &canvas.finish());
        let content = brush.finish();
        (String::from_utf8_lossy(&content).into_owned(), shared)
    }

    fn canvas() -> Canvas {
        Canvas::new("t", 200.0, 100.0, "", "")
    }

    #[test]
    fn a_hatching_is_cut_to_its_rectangle_and_nothing_after_it_is() {
        for hatch in Hatch::ALL {
            let mut canvas = canvas();
            canvas.rect((10.0, 20.0), (30.0, 40.0), Fill::Hatched(hatch), None);
            canvas.line((0.0, 0.0), (1.0, 1.0), Stroke::solid(INK, 1.0));
            let (content, _) = operators(canvas);
            let cut = content.find("q\n10 20 30 40 re\nW\nn").expect("it is cut before it is drawn");
            let end = cut + content[cut..].find("\nQ").expect("what is cut ends");
            assert!(content[cut..end].ends_with("f") || content[cut..end].ends_with("S"), "{content}");
            assert!(content[end..].contains("0 0 m\n1 1 l\nS"), "{content}");
        }
    }

    #[test]
    fn text_stands_where_its_anchor_says_and_keeps_every_letter() {
        let fonts = Fonts::load().unwrap();
        let wide = fonts.width("Ω 5", false, 10.0);
        for (anchor, x) in
            [(Anchor::Start, 90.0), (Anchor::Middle, 90.0 - wide / 2.0), (Anchor::End, 90.0 - wide)]
        {
            let mut canvas = canvas();
            canvas.text((90.0, 50.0), Lettering::new(10.0, INK, anchor), "Ω 5");
            let (content, shared) = operators(canvas);
            let x = (x * 100.0).round() / 100.0;
            assert!(content.contains(&format!("1 0 0 -1 {x} 50 Tm")), "{x}: {content}");
            assert_eq!(shared.letters[0].in_order(), ['Ω', ' ', '5']);
        }
    }

    #[test]
    fn text_that_reads_upward_is_turned_and_what_the_font_lacks_is_a_box() {
        let mut canvas = canvas();
        canvas.text_upward((13.0, 50.0), Lettering::new(10.0, INK, Anchor::Start).bold(), "スV");
        let (content, shared) = operators(canvas);
        assert!(content.contains("0 -1 -1 0 13 50 Tm"), "{content}");
        assert_eq!(shared.letters[1].in_order(), ['□', 'V']);
    }

    #[test]
    fn dashes_widths_and_round_ends_are_those_of_the_picture() {
        let mut canvas = canvas();
        canvas.path(vec![vec![(1.0, 2.0)]], Stroke::dashed(INK, 1.6, &[7.0, 2.5]));
        let (content, _) = operators(canvas);
        assert!(content.contains("1.6 w\n1 J\n1 j"), "{content}");
        assert!(content.contains("[7 2.5] 0 d") && content.contains("1 2 m\n1 2 l\nS"), "{content}");
    }
}
