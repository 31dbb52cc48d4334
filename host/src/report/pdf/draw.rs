//! Pages as a file: items become operators of PDF. Nothing in it depends on when or where it is made.

use super::PdfError;
use super::fonts::Fonts;
use super::piece::{Colour, Item};
use crate::outcome::empty_slot;
use crate::report::Paper;
use krilla::Document;
use krilla::color::rgb;
use krilla::geom::{Path, PathBuilder, Point, Rect, Size, Transform};
use krilla::metadata::Metadata;
use krilla::page::PageSettings;
use krilla::paint::{Fill, Stroke};
use krilla::surface::Surface;
use krilla_svg::{SurfaceExt, SvgSettings};

/// What the file says of itself.
#[derive(Clone, Debug)]
pub struct Labels {
    /// Title.
    pub title: String,
    /// Whether a seal will be written into it.
    pub sealed: bool,
}

/// The file.
///
/// # Errors
/// The library refuses; none of its limits is reached by bounded text.
pub fn draw(fonts: &Fonts, paper: Paper, pages: &[Vec<Item>], labels: Labels) -> Result<Vec<u8>, PdfError> {
    let (width, height) = paper.points();
    let settings =
        PageSettings::from_wh(width, height).ok_or_else(|| PdfError::File("no paper".to_owned()))?;
    let mut document = Document::new();
    for items in pages {
        let mut page = document.start_page_with(settings.clone());
        let mut surface = page.surface();
        for item in items {
            draw_item(&mut surface, fonts, item);
        }
        surface.finish();
        page.finish();
    }
    let mut metadata = Metadata::new()
        .title(labels.title)
        .language("en".to_owned())
        .creator(format!("trackpair {}", env!("CARGO_PKG_VERSION")));
    if labels.sealed {
        metadata = metadata.keywords(vec![empty_slot()]);
    }
    document.set_metadata(metadata);
    document.finish().map_err(|e| PdfError::File(format!("{e:?}")))
}

fn draw_item(surface: &mut Surface<'_>, fonts: &Fonts, item: &Item) {
    match item {
        Item::Text { at, text, style } => {
            let (font, glyphs) = fonts.glyphs(text, style.bold);
            surface.set_stroke(None);
            surface.set_fill(Some(Fill { paint: paint(style.colour).into(), ..Fill::default() }));
            surface.draw_glyphs(Point::from_xy(at.0, at.1), &glyphs, font, text, style.size, false);
        }
        Item::Rule { from, to, width, colour } => {
            let mut path = PathBuilder::new();
            path.move_to(from.0, from.1);
            path.line_to(to.0, to.1);
            stroke(surface, path.finish(), *width, *colour);
        }
        Item::Frame { at, size, width } => {
            let mut path = PathBuilder::new();
            if let Some(rect) = Rect::from_xywh(at.0, at.1, size.0, size.1) {
                path.push_rect(rect);
            }
            stroke(surface, path.finish(), *width, super::piece::INK);
        }
        Item::Picture { at, size, tree } => placed(surface, *at, *size, |surface, size| {
            surface.draw_svg(tree, size, SvgSettings::default());
        }),
        Item::Pixels { at, size, image } => placed(surface, *at, *size, |surface, size| {
            surface.draw_image(krilla::image::Image::clone(image), size);
        }),
    }
}

fn placed(
    surface: &mut Surface<'_>,
    at: (f32, f32),
    size: (f32, f32),
    draw: impl FnOnce(&mut Surface<'_>, Size),
) {
    let Some(size) = Size::from_wh(size.0, size.1) else { return };
    surface.push_transform(&Transform::from_translate(at.0, at.1));
    draw(surface, size);
    surface.pop();
}

fn paint((r, g, b): Colour) -> rgb::Color {
    rgb::Color::new(r, g, b)
}

fn stroke(surface: &mut Surface<'_>, path: Option<Path>, width: f32, colour: Colour) {
    let Some(path) = path else { return };
    surface.set_fill(None);
    surface.set_stroke(Some(Stroke { paint: paint(colour).into(), width, ..Stroke::default() }));
    surface.draw_path(&path);
}
