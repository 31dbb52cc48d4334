//! Vector pictures for pages: what the SVG writer drew, the signs of verdicts, logos. It does not draw them itself.

use super::PdfError;
use super::fonts::Fonts;
use super::piece::{Colour, Item};
use crate::report::logo::Logo;
use crate::report::signs;
use krilla::image::Image;
use std::rc::Rc;
use usvg::{Options, Tree};

/// A picture and its size in its own units.
#[derive(Clone, Debug)]
pub struct Picture {
    tree: Rc<Tree>,
    /// Width and height.
    pub size: (f32, f32),
}

impl Picture {
    /// From SVG text; letters that the font lacks are shown as boxes. Nothing it refers to is loaded.
    ///
    /// # Errors
    /// It is no SVG.
    pub fn of(svg: &str, fonts: &Fonts) -> Result<Self, PdfError> {
        let options = Options {
            fontdb: fonts.pictures.clone(),
            image_href_resolver: usvg::ImageHrefResolver {
                resolve_data: Box::new(|_, _, _| None),
                resolve_string: Box::new(|_, _| None),
            },
            ..Options::default()
        };
        let tree = Tree::from_str(&fonts.shown(svg), &options)?;
        let size = (tree.size().width(), tree.size().height());
        Ok(Self { tree: Rc::new(tree), size })
    }

    /// Drawn `width` points wide.
    pub fn item(&self, at: (f32, f32), width: f32) -> Item {
        Item::Picture { at, size: (width, self.height(width)), tree: Rc::clone(&self.tree) }
    }

    /// Its height when it is `width` points wide.
    pub fn height(&self, width: f32) -> f32 {
        width * self.size.1 / self.size.0
    }
}

/// The sign of a verdict in a colour; none where the verdict has none.
///
/// # Errors
/// The shape is no SVG.
pub fn sign(verdict: &str, colour: Colour, fonts: &Fonts) -> Result<Option<Picture>, PdfError> {
    let shape = signs::shape(verdict);
    if shape.is_empty() {
        return Ok(None);
    }
    let (r, g, b) = colour;
    let svg = format!(
        r#"<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 40 40" width="40" height="40" fill="none" stroke="rgb({r},{g},{b})" stroke-width="3.6" stroke-linecap="round" stroke-linejoin="round">{shape}</svg>"#
    );
    Picture::of(&svg, fonts).map(Some)
}

/// A logo as large as fits into `room`; its item at the origin and its size. None when it can't be drawn after all.
pub fn logo(logo: &Logo, room: (f32, f32), fonts: &Fonts) -> Option<(Item, (f32, f32))> {
    let fitted = |(w, h): (f32, f32)| {
        let scale = (room.0 / w).min(room.1 / h);
        (w * scale, h * scale)
    };
    match logo {
        Logo::Png { size, rgba, .. } => {
            let image = Image::from_rgba8(rgba.clone(), size.0, size.1);
            let size = fitted((size.0 as f32, size.1 as f32));
            Some((Item::Pixels { at: (0.0, 0.0), size, image: Rc::new(image) }, size))
        }
        Logo::Svg { text } => {
            let picture = Picture::of(text, fonts).ok()?;
            let size = fitted(picture.size);
            Some((picture.item((0.0, 0.0), size.0), size))
        }
    }
}
