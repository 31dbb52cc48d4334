//! A picture of shapes as operators. What its text as SVG says by words, such as how a line ends, is the same here.

use super::brush::{Brush, Letters, Paint, Pen};
use super::hatch;
use crate::report::svg::picture::{Anchor, Fill, Hatch, Lettering, Picture, Point, Shape, Stroke};

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
            brush.through(&[single(*from), single(*to)]);
            stroked(brush, *stroke, false);
        }
        Shape::Path { pieces, stroke } => {
            pieces.iter().for_each(|piece| draw_piece(brush, piece));
            stroked(brush, *stroke, true);
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
                outline(brush);
                stroked(brush, *stroke, false);
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
        brush.rect(single(at), single(size));
        stroked(brush, stroke, false);
    }
}

fn hatched(brush: &mut Brush<'_>, at: Point, size: Point, hatch: Hatch) {
    let ruling = hatch.ruling();
    let lines = hatch::lines(at, size, ruling);
    if lines.is_empty() {
        return;
    }
    // A dot is a dash of next to no length with round ends.
    const DOT: f32 = 0.01;
    let dash = [DOT, ruling.spacing as f32 - DOT];
    let pen = Pen::solid(ruling.width as f32);
    let pen = if ruling.dots { pen.round().dashed(&dash) } else { pen };
    brush.apart(|brush| {
        brush.rect(single(at), single(size));
        brush.clip(false);
        brush.opacity(1.0, ruling.opacity as f32);
        for (from, to) in lines {
            brush.through(&[single(from), single(to)]);
        }
        brush.stroke_with(&Paint::Solid(ruling.colour), pen);
        brush.stroke();
    });
}

fn stroked(brush: &mut Brush<'_>, stroke: Stroke, round: bool) {
    let dash: Vec<f32> = stroke.dash.iter().map(|d| *d as f32).collect();
    let pen = Pen::solid(stroke.width as f32).dashed(&dash);
    brush.stroke_with(&Paint::Solid(stroke.colour), if round { pen.round() } else { pen });
    brush.stroke();
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
