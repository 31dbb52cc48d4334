//! Pages as a file: items become operators of PDF. Nothing in it depends on when or where it is made.

use super::PdfError;
use super::brush::{Brush, Letters, Paint, Pen};
use super::colour::INK;
use super::file::{Labels, file};
use super::fonts::Fonts;
use super::piece::Image;
use super::piece::Item;
use super::shared::Shared;
use super::{drawing, plot};
use crate::report::Paper;
use usvg::Transform;

/// The file.
///
/// # Errors
/// The program's own font is damaged.
pub fn draw(fonts: &Fonts, paper: Paper, pages: &[Vec<Item>], labels: &Labels) -> Result<Vec<u8>, PdfError> {
    let size = paper.points();
    let mut shared = Shared::default();
    let contents: Vec<Vec<u8>> = pages.iter().map(|items| page(fonts, &mut shared, size.1, items)).collect();
    file(fonts, size, &contents, &shared, labels)
}

/// The operators of a page.
fn page(fonts: &Fonts, shared: &mut Shared, height: f32, items: &[Item]) -> Vec<u8> {
    let mut brush = Brush::new(fonts, shared, height);
    items.iter().for_each(|item| draw_item(&mut brush, item));
    brush.finish()
}

fn draw_item(brush: &mut Brush<'_>, item: &Item) {
    match item {
        Item::Text { at, text, style } => {
            let letters = Letters { size: style.size, bold: style.bold, colour: style.colour, upward: false };
            brush.text(text, *at, letters);
        }
        Item::Rule { from, to, width, colour } => {
            brush.stroke_with(&Paint::Solid(*colour), Pen::solid(*width));
            brush.through(&[*from, *to]);
            brush.stroke();
        }
        Item::Frame { at, size, width } => {
            brush.stroke_with(&Paint::Solid(INK), Pen::solid(*width));
            brush.rect(*at, *size);
            brush.stroke();
        }
        Item::Picture { at, size, image } => brush.apart(|brush| {
            let (width, height) = image.size();
            let (x, y) = (size.0 / width, size.1 / height);
            brush.transform(Transform::from_row(x, 0.0, 0.0, y, at.0, at.1));
            match image {
                Image::Plot(picture) => plot::draw(brush, picture),
                Image::Drawing(tree) => drawing::draw(brush, tree),
            }
        }),
        Item::Pixels { at, size, image } => brush.image(image, *at, *size),
    }
}
