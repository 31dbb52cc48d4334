//! Operators of PDF for lines, outlines, text and images; points run from the top left corner downward. What a page shares with
//! others goes into [`Shared`]. It does not know what is drawn.

use super::colour::Colour;
use super::element::Role;
use super::fonts::Fonts;
use super::shared::{Gradient, Group, Pixels, Shared};
use pdf_writer::types::{LineCapStyle, LineJoinStyle};
use pdf_writer::{Content, Name, Str};
use std::rc::Rc;
use usvg::Transform;
use usvg::tiny_skia_path::PathSegment;

/// Names of the regular and of the bold face.
pub const FACES: [&[u8]; 2] = [b"F0", b"F1"];

/// Distance of a circle's control points from its quarter points, in radii (4/3 · tan(π/8)).
const ROUND: f32 = 0.552_284_8;

/// How lines are drawn.
#[derive(Clone, Copy, Debug)]
pub struct Pen<'a> {
    /// Width.
    pub width: f32,
    /// Ends.
    pub cap: LineCapStyle,
    /// Corners.
    pub join: LineJoinStyle,
    /// Where a mitred corner is cut, in widths.
    pub miter: f32,
    /// Lengths of dashes and holes; empty = solid.
    pub dash: &'a [f32],
    /// How far into the dashes it begins.
    pub phase: f32,
}

impl<'a> Pen<'a> {
    /// A solid line with plain ends.
    pub const fn solid(width: f32) -> Self {
        let (cap, join) = (LineCapStyle::ButtCap, LineJoinStyle::MiterJoin);
        Self { width, cap, join, miter: 4.0, dash: &[], phase: 0.0 }
    }

    /// The same, dashed.
    pub const fn dashed(self, dash: &'a [f32]) -> Self {
        Self { dash, ..self }
    }

    /// The same with round ends and corners.
    pub const fn round(self) -> Self {
        Self { cap: LineCapStyle::RoundCap, join: LineJoinStyle::RoundJoin, ..self }
    }
}

/// How text is drawn.
#[derive(Clone, Copy, Debug)]
pub struct Letters {
    /// Size.
    pub size: f32,
    /// Bold.
    pub bold: bool,
    /// Colour.
    pub colour: Colour,
    /// Whether it reads upward.
    pub upward: bool,
}

/// What an outline is painted with.
#[derive(Clone, Debug)]
pub enum Paint {
    /// One colour.
    Solid(Colour),
    /// Colours in a course, in the coordinates of the outline.
    Gradient(Gradient),
}

/// Draws onto one page, or onto a group of it.
pub struct Brush<'a> {
    content: Content,
    shared: &'a mut Shared,
    /// The faces.
    pub fonts: &'a Fonts,
    /// From the coordinates in use to those of the page or group.
    place: Transform,
    /// How large a unit is on paper, points.
    scale: f32,
}

impl<'a> Brush<'a> {
    /// For a page of so many points in height.
    pub fn new(fonts: &'a Fonts, shared: &'a mut Shared, height: f32) -> Self {
        let place = Transform::identity();
        let mut brush = Self { content: Content::new(), shared, fonts, place, scale: 1.0 };
        brush.transform(Transform::from_row(1.0, 0.0, 0.0, -1.0, 0.0, height));
        brush
    }

    /// The operators.
    pub fn finish(self) -> Vec<u8> {
        self.content.finish().into_vec()
    }

    /// Draws, and leaves everything as it was before: colours, coordinates, clipping.
    pub fn apart(&mut self, draw: impl FnOnce(&mut Self)) {
        let before = (self.place, self.scale);
        self.content.save_state();
        draw(self);
        self.content.restore_state();
        (self.place, self.scale) = before;
    }

    /// What is drawn from here on is a numbered part of an element of a role, or, without one, of none.
    pub fn begin_marked(&mut self, part: Option<(Role, i32)>) {
        match part {
            Some((role, number)) => {
                let mut marked = self.content.begin_marked_content_with_properties(role.to_name());
                marked.properties().identify(number);
            }
            None => {
                self.content.begin_marked_content(Name(b"Artifact"));
            }
        }
    }

    /// The end of what is marked.
    pub fn end_marked(&mut self) {
        self.content.end_marked_content();
    }

    /// Draws a group by itself and lays it over what is there.
    pub fn group(&mut self, bounds: [f32; 4], opacity: f32, draw: impl FnOnce(&mut Brush<'_>)) {
        let group = self.drawn(bounds, draw);
        let name = self.shared.group(group);
        self.opacity(opacity, opacity);
        self.content.x_object(Name(name.as_bytes()));
    }

    /// Lets from here on be seen as much as a gradient is bright.
    pub fn fade(&mut self, bounds: [f32; 4], brightness: &Gradient) {
        let [left, top, right, bottom] = bounds;
        let group = self.drawn(bounds, |brush| {
            brush.fill_with(&Paint::Gradient(brightness.clone()));
            brush.rect((left, top), (right - left, bottom - top));
            brush.fill(false);
        });
        let name = self.shared.fade(group);
        self.content.set_parameters(Name(name.as_bytes()));
    }

    fn drawn(&mut self, bounds: [f32; 4], draw: impl FnOnce(&mut Brush<'_>)) -> Group {
        let mut inner = Brush {
            content: Content::new(),
            shared: &mut *self.shared,
            fonts: self.fonts,
            place: Transform::identity(),
            scale: self.scale,
        };
        draw(&mut inner);
        Group { bounds, content: inner.finish() }
    }

    /// Other coordinates from here on.
    pub fn transform(&mut self, by: Transform) {
        self.place = self.place.pre_concat(by);
        self.scale *= (by.sx * by.sy - by.kx * by.ky).abs().sqrt();
        self.content.transform([by.sx, by.ky, by.kx, by.sy, by.tx, by.ty].map(finite));
    }

    /// How much fillings and lines cover what is below.
    pub fn opacity(&mut self, fill: f32, stroke: f32) {
        if fill < 1.0 || stroke < 1.0 {
            let name = self.shared.opacity(fill, stroke);
            self.content.set_parameters(Name(name.as_bytes()));
        }
    }

    /// Fills outlines from here on.
    pub fn fill_with(&mut self, paint: &Paint) {
        match paint {
            Paint::Solid(colour) => {
                let [r, g, b] = shares(*colour);
                self.content.set_fill_rgb(r, g, b);
            }
            Paint::Gradient(gradient) => {
                let name = self.gradient(gradient);
                self.content.set_fill_color_space(pdf_writer::types::ColorSpaceOperand::Pattern);
                self.content.set_fill_pattern(None, Name(name.as_bytes()));
            }
        }
    }

    /// Draws lines from here on.
    pub fn stroke_with(&mut self, paint: &Paint, pen: Pen<'_>) {
        match paint {
            Paint::Solid(colour) => {
                let [r, g, b] = shares(*colour);
                self.content.set_stroke_rgb(r, g, b);
            }
            Paint::Gradient(gradient) => {
                let name = self.gradient(gradient);
                self.content.set_stroke_color_space(pdf_writer::types::ColorSpaceOperand::Pattern);
                self.content.set_stroke_pattern(None, Name(name.as_bytes()));
            }
        }
        self.pen(pen);
    }

    fn gradient(&mut self, gradient: &Gradient) -> String {
        let place = self.place.pre_concat(gradient.place);
        self.shared.gradient(Gradient { place, ..gradient.clone() })
    }

    fn pen(&mut self, pen: Pen<'_>) {
        let mut dash: Vec<f32> = pen.dash.iter().map(|d| self.short(*d)).collect();
        if dash.iter().sum::<f32>() <= 0.0 {
            dash.clear();
        }
        let (width, phase) = (self.short(pen.width), self.short(pen.phase));
        self.content
            .set_line_width(width)
            .set_line_cap(pen.cap)
            .set_line_join(pen.join)
            .set_miter_limit(pen.miter)
            .set_dash_pattern(dash, phase);
    }

    /// An outline.
    pub fn path(&mut self, segments: impl IntoIterator<Item = PathSegment>) {
        let mut last = (0.0, 0.0);
        for segment in segments {
            match segment {
                PathSegment::MoveTo(p) => self.move_to((p.x, p.y)),
                PathSegment::LineTo(p) => self.line_to((p.x, p.y)),
                // The cubic curve that is the same (ISO 32000-1 knows no quadratic ones).
                PathSegment::QuadTo(c, p) => {
                    let toward = |from: f32, to: f32| from + 2.0 / 3.0 * (to - from);
                    let first = (toward(last.0, c.x), toward(last.1, c.y));
                    self.curve_to(first, (toward(p.x, c.x), toward(p.y, c.y)), (p.x, p.y));
                }
                PathSegment::CubicTo(a, b, p) => self.curve_to((a.x, a.y), (b.x, b.y), (p.x, p.y)),
                PathSegment::Close => self.close(),
            }
            if let PathSegment::MoveTo(p)
            | PathSegment::LineTo(p)
            | PathSegment::QuadTo(_, p)
            | PathSegment::CubicTo(_, _, p) = segment
            {
                last = (p.x, p.y);
            }
        }
    }

    /// An outline through points.
    pub fn through(&mut self, points: &[(f32, f32)]) {
        for (k, point) in points.iter().enumerate() {
            if k == 0 { self.move_to(*point) } else { self.line_to(*point) }
        }
    }

    /// A rectangle as an outline.
    pub fn rect(&mut self, at: (f32, f32), size: (f32, f32)) {
        let [x, y, width, height] = [at.0, at.1, size.0, size.1].map(|v| self.short(v));
        self.content.rect(x, y, width, height);
    }

    /// A circle as an outline.
    pub fn circle(&mut self, (x, y): (f32, f32), r: f32) {
        let c = r * ROUND;
        self.move_to((x + r, y));
        self.curve_to((x + r, y + c), (x + c, y + r), (x, y + r));
        self.curve_to((x - c, y + r), (x - r, y + c), (x - r, y));
        self.curve_to((x - r, y - c), (x - c, y - r), (x, y - r));
        self.curve_to((x + c, y - r), (x + r, y - c), (x + r, y));
        self.close();
    }

    /// Begins a piece of an outline.
    pub fn move_to(&mut self, at: (f32, f32)) {
        let (x, y) = (self.short(at.0), self.short(at.1));
        self.content.move_to(x, y);
    }

    /// A straight piece of an outline.
    pub fn line_to(&mut self, to: (f32, f32)) {
        let (x, y) = (self.short(to.0), self.short(to.1));
        self.content.line_to(x, y);
    }

    fn curve_to(&mut self, a: (f32, f32), b: (f32, f32), to: (f32, f32)) {
        let [ax, ay, bx, by, x, y] = [a.0, a.1, b.0, b.1, to.0, to.1].map(|v| self.short(v));
        self.content.cubic_to(ax, ay, bx, by, x, y);
    }

    /// Leads an outline back to where it began.
    pub fn close(&mut self) {
        self.content.close_path();
    }

    /// Fills the outline.
    pub fn fill(&mut self, even_odd: bool) {
        if even_odd {
            self.content.fill_even_odd();
        } else {
            self.content.fill_nonzero();
        }
    }

    /// Draws the outline's lines.
    pub fn stroke(&mut self) {
        self.content.stroke();
    }

    /// Lets only what is inside the outline be seen from here on.
    pub fn clip(&mut self, even_odd: bool) {
        if even_odd {
            self.content.clip_even_odd();
        } else {
            self.content.clip_nonzero();
        }
        self.content.end_path();
    }

    /// Text, its baseline beginning at a point. What the font lacks must not be in it.
    pub fn text(&mut self, text: &str, at: (f32, f32), letters: Letters) {
        let codes = self.shared.codes(text, letters.bold);
        let [r, g, b] = shares(letters.colour);
        let [x, y, size] = [at.0, at.1, letters.size].map(|v| self.short(v));
        let matrix = if letters.upward { [0.0, -1.0, -1.0, 0.0, x, y] } else { [1.0, 0.0, 0.0, -1.0, x, y] };
        self.content
            .set_fill_rgb(r, g, b)
            .begin_text()
            .set_font(Name(FACES[usize::from(letters.bold)]), size)
            .set_text_matrix(matrix)
            .show(Str(&codes))
            .end_text();
    }

    /// An image.
    pub fn image(&mut self, image: &Rc<Pixels>, at: (f32, f32), size: (f32, f32)) {
        let name = self.shared.image(image);
        self.apart(|brush| {
            // The unit square of an image begins at its lower left corner.
            brush.transform(Transform::from_row(size.0, 0.0, 0.0, -size.1, at.0, at.1 + size.1));
            brush.content.x_object(Name(name.as_bytes()));
        });
    }

    /// A number to a hundredth of a point on paper, so that files stay small.
    fn short(&self, value: f32) -> f32 {
        let decimals = (2.0 - self.scale.log10()).ceil().clamp(-2.0, 6.0) as i32;
        let step = 10_f64.powi(decimals);
        finite(((f64::from(value) * step).round() / step) as f32)
    }
}

/// What is not finite becomes 0, which a picture survives.
fn finite(value: f32) -> f32 {
    if value.is_finite() { value } else { 0.0 }
}

/// Red, green and blue, 0 to 1.
pub fn shares((r, g, b): Colour) -> [f32; 3] {
    [r, g, b].map(|v| (f32::from(v) / 255.0 * 1000.0).round() / 1000.0)
}
