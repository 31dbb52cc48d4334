//! Vector pictures for pages: plots, the signs of verdicts, codes, logos. It does not draw them itself.

use super::PdfError;
use super::colour::mark_colour;
use super::element::Element;
use super::piece::{Image, Item};
use super::shared::Pixels;
use crate::report::document::Mark;
use crate::report::logo::{self, Logo};
use crate::report::{signs, svg};
use std::rc::Rc;

/// A picture of any size.
#[derive(Clone, Debug)]
pub struct Picture {
    image: Image,
    /// What it shows, for those who do not see it; empty where words beside it say the same.
    alt: String,
}

impl Picture {
    /// A picture of the program's own.
    pub fn plot(picture: &svg::picture::Picture) -> Self {
        let alt = format!("{}. {}", picture.title, picture.description);
        Self { image: Image::Plot(Rc::new(picture.clone())), alt }
    }

    /// From SVG text without letters. Nothing it refers to is loaded.
    ///
    /// # Errors
    /// It is no SVG.
    pub fn of(svg: &str) -> Result<Self, PdfError> {
        Ok(Self { image: Image::Drawing(Rc::new(logo::tree(svg)?)), alt: String::new() })
    }

    /// The same with words for those who do not see it.
    pub fn named(self, alt: impl Into<String>) -> Self {
        Self { alt: alt.into(), ..self }
    }

    /// Drawn `width` points wide, as an element of its own.
    pub fn figure(&self, at: (f32, f32), width: f32) -> Item {
        Item::within(&Element::figure(self.alt.clone()), vec![self.item(at, width)])
    }

    /// Drawn `width` points wide.
    pub fn item(&self, at: (f32, f32), width: f32) -> Item {
        Item::Picture { at, size: (width, self.height(width)), image: self.image.clone() }
    }

    /// Its height when it is `width` points wide.
    pub fn height(&self, width: f32) -> f32 {
        let size = self.image.size();
        width * size.1 / size.0
    }
}

/// The signs of verdicts, each read once.
pub struct Signs([Option<Picture>; 4]);

impl Signs {
    const MARKS: [Mark; 4] = [Mark::Open, Mark::Within, Mark::Undecided, Mark::Outside];

    /// Reads the signs.
    ///
    /// # Errors
    /// One is no picture.
    pub fn new() -> Result<Self, PdfError> {
        let [a, b, c, d] = Self::MARKS.map(sign);
        Ok(Self([a?, b?, c?, d?]))
    }

    /// The sign of a mark; none where nothing was judged.
    pub fn of(&self, mark: Mark) -> Option<Picture> {
        Self::MARKS.into_iter().zip(&self.0).find(|(m, _)| *m == mark).and_then(|(_, sign)| sign.clone())
    }
}

fn sign(mark: Mark) -> Result<Option<Picture>, PdfError> {
    let shape = signs::shape(mark);
    if shape.is_empty() {
        return Ok(None);
    }
    let (r, g, b) = mark_colour(mark);
    let svg = format!(
        r#"<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 40 40" width="40" height="40" fill="none" stroke="rgb({r},{g},{b})" stroke-width="3.6" stroke-linecap="round" stroke-linejoin="round">{shape}</svg>"#
    );
    Picture::of(&svg).map(Some)
}

/// A logo as large as fits into `room`; its item at the origin and its size. None when it can't be drawn after all.
pub fn logo(logo: &Logo, room: (f32, f32)) -> Option<(Item, (f32, f32))> {
    let fitted = |(w, h): (f32, f32)| {
        let scale = (room.0 / w).min(room.1 / h);
        (w * scale, h * scale)
    };
    match logo {
        Logo::Png { size, rgba, .. } => {
            let image = Pixels { size: *size, rgba: rgba.clone() };
            let size = fitted((size.0 as f32, size.1 as f32));
            Some((Item::Pixels { at: (0.0, 0.0), size, image: Rc::new(image) }, size))
        }
        Logo::Svg { text } => {
            let picture = Picture::of(text).ok()?;
            let size = fitted(picture.image.size());
            Some((picture.item((0.0, 0.0), size.0), size))
        }
    }
}
