//! The two faces of the documents: which characters they have, how wide text is, and the glyphs it is drawn with. Widths and
//! glyphs come from the same table, so that what was measured is what is drawn. It does not know lines or pages.

use super::PdfError;
use krilla::text::{Font, GlyphId, KrillaGlyph};
use std::sync::Arc;
use usvg::fontdb;

const REGULAR: &[u8] = include_bytes!("../../../fonts/LiberationSans-Regular.ttf");
const BOLD: &[u8] = include_bytes!("../../../fonts/LiberationSans-Bold.ttf");
const FAMILY: &str = "Liberation Sans";

/// What stands where the font has no character: an empty box.
pub const LACKING: char = '□';

/// Height of a line in sizes of its font.
pub const LINE: f32 = 1.32;
/// From the top of a line to its baseline, in sizes of its font: ascent of the face, and half of what the line has beyond the face.
pub const BASELINE: f32 = 0.99;

/// One face.
struct Face {
    parsed: ttf_parser::Face<'static>,
    drawn: Font,
}

impl Face {
    fn read(data: &'static [u8]) -> Result<Self, PdfError> {
        let parsed = ttf_parser::Face::parse(data, 0).map_err(|_| PdfError::Font)?;
        let drawn = Font::new(data.into(), 0).ok_or(PdfError::Font)?;
        Ok(Self { parsed, drawn })
    }

    /// Glyph and advance of a character, in sizes of the font.
    fn glyph(&self, character: char) -> (u16, f32) {
        let id = self.parsed.glyph_index(character).or_else(|| self.parsed.glyph_index(LACKING));
        let id = id.unwrap_or_default();
        let advance = self.parsed.glyph_hor_advance(id).unwrap_or_default();
        (id.0, f32::from(advance) / f32::from(self.parsed.units_per_em()))
    }
}

/// Both faces, for text and for pictures.
pub struct Fonts {
    regular: Face,
    bold: Face,
    /// The same for pictures.
    pub pictures: Arc<fontdb::Database>,
}

impl Fonts {
    /// Reads the embedded faces.
    ///
    /// # Errors
    /// They are damaged: the program was built wrong.
    pub fn load() -> Result<Self, PdfError> {
        let mut pictures = fontdb::Database::new();
        for face in [REGULAR, BOLD] {
            pictures.load_font_source(fontdb::Source::Binary(Arc::new(face)));
        }
        pictures.set_sans_serif_family(FAMILY);
        Ok(Self { regular: Face::read(REGULAR)?, bold: Face::read(BOLD)?, pictures: Arc::new(pictures) })
    }

    const fn face(&self, bold: bool) -> &Face {
        if bold { &self.bold } else { &self.regular }
    }

    /// Whether both faces have a character.
    fn has(&self, character: char) -> bool {
        [&self.regular, &self.bold].iter().all(|f| f.parsed.glyph_index(character).is_some())
    }

    /// `text` with what the font lacks shown as an empty box; a box that was lacking itself is one too.
    pub fn shown(&self, text: &str) -> String {
        text.chars().map(|c| if c == '\n' || self.has(c) { c } else { LACKING }).collect()
    }

    /// Width of text on one line, points.
    pub fn width(&self, text: &str, bold: bool, size: f32) -> f32 {
        let face = self.face(bold);
        text.chars().map(|c| face.glyph(c).1).sum::<f32>() * size
    }

    /// The face and the glyphs of text on one line.
    pub fn glyphs(&self, text: &str, bold: bool) -> (Font, Vec<KrillaGlyph>) {
        let face = self.face(bold);
        let glyph = |(at, c): (usize, char)| {
            let (id, advance) = face.glyph(c);
            KrillaGlyph::new(GlyphId::new(u32::from(id)), advance, 0.0, 0.0, 0.0, at..at + c.len_utf8(), None)
        };
        (face.drawn.clone(), text.char_indices().map(glyph).collect())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_font_has_every_sign_that_reports_use() {
        let fonts = Fonts::load().unwrap();
        let signs = "±°µ≤≥×…Ω·•’“”−–—½²³ÄÖÜäöüßéèçñåø€□";
        assert_eq!(fonts.shown(signs), signs);
    }

    #[test]
    fn what_the_font_lacks_is_a_box_and_no_failure() {
        let fonts = Fonts::load().unwrap();
        assert_eq!(fonts.shown("スロットル 4711\u{1}"), "□□□□□ 4711□");
        assert!(fonts.width("スロットル", false, 10.0) > 20.0);
        assert_eq!(fonts.glyphs("aス", true).1.len(), 2);
    }

    #[test]
    fn widths_are_those_of_the_face() {
        // Advance widths of the face's table `hmtx`: digits 1139, space 569 of 2048 units per em.
        let fonts = Fonts::load().unwrap();
        assert!((fonts.width("0 0", false, 2048.0) - (1139.0 + 569.0 + 1139.0)).abs() < 0.01);
        assert!(fonts.width("wide", true, 10.0) > fonts.width("wide", false, 10.0));
    }
}
