//! Pieces of a document: what stands on paper and can't be broken, with its height and whom it must stay with. It does not
//! know pages.

use super::colour::Colour;
use super::element::Element;
use super::rich::Style;
use super::shared::Pixels;
use crate::report::svg;
use std::rc::Rc;
use usvg::Tree;

/// What a picture is.
#[derive(Clone, Debug)]
pub enum Image {
    /// A picture of the program's own.
    Plot(Rc<svg::picture::Picture>),
    /// A resolved SVG.
    Drawing(Rc<Tree>),
}

impl Image {
    /// Width and height in its own units.
    pub fn size(&self) -> (f32, f32) {
        match self {
            Self::Plot(picture) => (picture.size.0 as f32, picture.size.1 as f32),
            Self::Drawing(tree) => (tree.size().width(), tree.size().height()),
        }
    }
}

/// What is drawn; points, from the top left corner of its piece.
#[derive(Clone, Debug)]
pub enum Item {
    /// Text on one line, harmless and with nothing that the font lacks.
    Text {
        /// Beginning of its baseline.
        at: (f32, f32),
        /// The text.
        text: String,
        /// How it looks.
        style: Style,
    },
    /// A straight line.
    Rule {
        /// From.
        from: (f32, f32),
        /// To.
        to: (f32, f32),
        /// Width.
        width: f32,
        /// Colour.
        colour: Colour,
    },
    /// A frame.
    Frame {
        /// Top left corner.
        at: (f32, f32),
        /// Width and height.
        size: (f32, f32),
        /// Width of its line.
        width: f32,
    },
    /// A vector picture.
    Picture {
        /// Top left corner.
        at: (f32, f32),
        /// Width and height.
        size: (f32, f32),
        /// The picture.
        image: Image,
    },
    /// What belongs together, for readers that speak the page.
    Within {
        /// What it is.
        element: Rc<Element>,
        /// What is drawn.
        items: Vec<Item>,
    },
    /// A picture of pixels.
    Pixels {
        /// Top left corner.
        at: (f32, f32),
        /// Width and height.
        size: (f32, f32),
        /// The picture.
        image: Rc<Pixels>,
    },
}

impl Item {
    /// Items as part of an element.
    pub fn within(element: &Rc<Element>, items: Vec<Self>) -> Self {
        Self::Within { element: Rc::clone(element), items }
    }

    /// Itself, or everything that is drawn within it.
    pub fn leaves(&self) -> Vec<&Self> {
        match self {
            Self::Within { items, .. } => items.iter().flat_map(Self::leaves).collect(),
            leaf => vec![leaf],
        }
    }

    /// The same elsewhere.
    pub fn moved(&self, by: (f32, f32)) -> Self {
        let shift = |p: &mut (f32, f32)| *p = (p.0 + by.0, p.1 + by.1);
        let mut item = self.clone();
        match &mut item {
            Self::Text { at, .. }
            | Self::Frame { at, .. }
            | Self::Picture { at, .. }
            | Self::Pixels { at, .. } => shift(at),
            Self::Rule { from, to, .. } => {
                shift(from);
                shift(to);
            }
            Self::Within { items, .. } => {
                items.iter_mut().for_each(|item| *item = item.moved(by));
            }
        }
        item
    }
}

/// Something that is not broken.
#[derive(Clone, Debug, Default)]
pub struct Piece {
    /// Height, points.
    pub height: f32,
    /// Room above it, points; none at the top of a page.
    pub before: f32,
    /// Whether it must stand on the page of what follows.
    pub keep: bool,
    /// What is drawn.
    pub items: Vec<Item>,
    /// The same with less height, for a page on which one more would then fit.
    pub low: Option<Box<Piece>>,
    /// What is repeated at the top of a page that begins with this piece: the head of its table.
    pub head: Option<Rc<Piece>>,
}

impl Piece {
    /// The same with so much room above it.
    pub fn before(self, before: f32) -> Self {
        Self { before, ..self }
    }

    /// Everything of `pieces` as one that can't be broken.
    pub fn joined(pieces: &[Self]) -> Self {
        let mut whole = Self::default();
        for (k, piece) in pieces.iter().enumerate() {
            if k > 0 {
                whole.height += piece.before;
            }
            whole.items.extend(piece.items.iter().map(|i| i.moved((0.0, whole.height))));
            whole.height += piece.height;
        }
        whole.before = pieces.first().map_or(0.0, |p| p.before);
        whole
    }

    /// With its low edition, where it has one, in its own place.
    pub fn lowered(&self) -> Self {
        let low = self.low.as_deref().unwrap_or(self);
        Self { before: self.before, keep: self.keep, ..low.clone() }
    }

    /// What is drawn, being part of nothing: it stood elsewhere already.
    pub fn bare(&self) -> Self {
        let items = self.items.iter().flat_map(Item::leaves).cloned().collect();
        Self { items, ..self.clone() }
    }

    /// The same, moved to the right.
    pub fn indented(&self, by: f32) -> Self {
        Self { items: self.items.iter().map(|i| i.moved((by, 0.0))).collect(), ..self.clone() }
    }
}

/// Makes every piece stay with the one after it, except the last.
pub fn keep_together(pieces: &mut [Piece]) {
    if let Some((_, others)) = pieces.split_last_mut() {
        others.iter_mut().for_each(|p| p.keep = true);
    }
}
