//! A picture as a list of shapes, later ones on top. Every medium draws these: as text of an SVG ([`super::write`]), on paper as
//! operators of a PDF. It does not know what it shows.

use super::{FAINT, INK, LIMIT};

/// Red, green, blue.
pub type Colour = (u8, u8, u8);

/// A place or an extent, px, from the top left corner.
pub type Point = (f64, f64);

/// How a line is drawn.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stroke {
    /// Colour.
    pub colour: Colour,
    /// Width, px.
    pub width: f64,
    /// Lengths of dashes and of the holes between them, px; empty = solid.
    pub dash: &'static [f64],
}

impl Stroke {
    /// A solid line.
    pub const fn solid(colour: Colour, width: f64) -> Self {
        Self { colour, width, dash: &[] }
    }

    /// A dashed line.
    pub const fn dashed(colour: Colour, width: f64, dash: &'static [f64]) -> Self {
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

impl Hatch {
    /// Every kind.
    pub const ALL: [Self; 3] = [Self::Forbidden, Self::Finding, Self::Gap];

    /// What it is made of.
    pub const fn ruling(self) -> Ruling {
        let (spacing, turn, colour, width, opacity) = match self {
            Self::Forbidden => (7.0, 45.0, LIMIT, 0.5, 0.45),
            Self::Finding => (4.0, 135.0, INK, 0.75, 0.55),
            Self::Gap => (5.0, 0.0, FAINT, 1.8, 1.0),
        };
        Ruling { spacing, turn, colour, width, opacity, dots: matches!(self, Self::Gap) }
    }
}

/// Parallel lines, or dots in rows. Their grid is the picture's, so that hatched neighbours fit together.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Ruling {
    /// From one line or dot to the next, px.
    pub spacing: f64,
    /// Clockwise from upright lines, degrees.
    pub turn: f64,
    /// Colour.
    pub colour: Colour,
    /// How wide a line or dot is seen, px.
    pub width: f64,
    /// How much it covers what is below, 0 to 1.
    pub opacity: f64,
    /// Dots in the middle of their cells; else lines at the left edge of theirs.
    pub dots: bool,
}

/// What is inside an outline.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Fill {
    /// Nothing.
    None,
    /// One colour.
    Solid(Colour),
    /// Hatching.
    Hatched(Hatch),
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
    pub colour: Colour,
    /// Bold.
    pub bold: bool,
    /// Relative to its point.
    pub anchor: Anchor,
}

impl Lettering {
    /// Plain text of a size.
    pub const fn new(size: f64, colour: Colour, anchor: Anchor) -> Self {
        Self { size, colour, bold: false, anchor }
    }

    /// The same, bold.
    pub const fn bold(self) -> Self {
        Self { bold: true, ..self }
    }
}

/// One shape.
#[derive(Clone, Debug, PartialEq)]
pub enum Shape {
    /// A straight line.
    Line {
        /// From.
        from: Point,
        /// To.
        to: Point,
        /// How.
        stroke: Stroke,
    },
    /// Connected points, one piece after the other, with round ends and joins. A piece of one point is a dot.
    Path {
        /// The pieces.
        pieces: Vec<Vec<Point>>,
        /// How.
        stroke: Stroke,
    },
    /// A rectangle.
    Rect {
        /// Top left corner.
        at: Point,
        /// Width and height.
        size: Point,
        /// Inside.
        fill: Fill,
        /// Outline.
        stroke: Option<Stroke>,
    },
    /// A filled circle.
    Disc {
        /// Centre.
        at: Point,
        /// Radius.
        radius: f64,
        /// Colour.
        colour: Colour,
    },
    /// A triangle.
    Triangle {
        /// Corners.
        corners: [Point; 3],
        /// Inside.
        fill: Colour,
        /// Outline.
        stroke: Option<Stroke>,
    },
    /// Text on one line.
    Text {
        /// The point that it stands at.
        at: Point,
        /// How.
        lettering: Lettering,
        /// Whether it reads upward.
        upward: bool,
        /// The text, harmless.
        content: String,
    },
}

/// A picture.
#[derive(Clone, Debug, PartialEq)]
pub struct Picture {
    /// Unique in the document; `a-z`, `0-9` and `-`.
    pub id: String,
    /// Width and height, px.
    pub size: Point,
    /// For those who can't see it: what it is.
    pub title: String,
    /// For those who can't see it: what is in it.
    pub description: String,
    /// What is drawn.
    pub shapes: Vec<Shape>,
}

impl Picture {
    /// The same as text of an SVG.
    pub fn svg(&self) -> String {
        super::write::svg(self)
    }
}
