//! The two faces of the documents: which characters they have, how wide text is, and the glyphs it is drawn with. Widths and
//! glyphs come from the same table, so that what was measured is what is drawn. It does not know lines or pages.

use super::PdfError;

const REGULAR: &[u8] = include_bytes!("../../../fonts/LiberationSans-Regular.ttf");
const BOLD: &[u8] = include_bytes!("../../../fonts/LiberationSans-Bold.ttf");

/// What stands where the font has no character: an empty box.
pub const LACKING: char = '□';

/// Height of a line in sizes of its font.
pub const LINE: f32 = 1.32;
/// From the top of a line to its baseline, in sizes of its font: ascent of the face, and half of what the line has beyond the face.
pub const BASELINE: f32 = 0.99;

/// One face.
pub struct Face {
    /// Its file.
    pub data: &'static [u8],
    /// What is in it.
    pub parsed: ttf_parser::Face<'static>,
}

impl Face {
    fn read(data: &'static [u8]) -> Result<Self, PdfError> {
        let parsed = ttf_parser::Face::parse(data, 0).map_err(|_| PdfError::Font)?;
        Ok(Self { data, parsed })
    }

    /// Glyph and advance of a character, in sizes of the font.
    pub fn glyph(&self, character: char) -> (u16, f32) {
        let id = self.parsed.glyph_index(character).or_else(|| self.parsed.glyph_index(LACKING));
        let id = id.unwrap_or_default();
        let advance = self.parsed.glyph_hor_advance(id).unwrap_or_default();
        (id.0, f32::from(advance) / f32::from(self.parsed.units_per_em()))
    }
}

/// Both faces.
pub struct Fonts {
    regular: Face,
    bold: Face,
}

impl Fonts {
    /// Reads the embedded faces.
    ///
    /// # Errors
    /// They are damaged: the program was built wrong.
    pub fn load() -> Result<Self, PdfError> {
        Ok(Self { regular: Face::read(REGULAR)?, bold: Face::read(BOLD)? })
    }

    /// The regular or the bold face.
    pub const fn face(&self, bold: bool) -> &Face {
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
        assert_eq!(fonts.face(true).glyph('ス'), fonts.face(true).glyph(LACKING));
    }

    #[test]
    fn widths_are_those_of_the_face() {
        // Advance widths of the face's table `hmtx`: digits 1139, space 569 of 2048 units per em.
        let fonts = Fonts::load().unwrap();
        assert!((fonts.width("0 0", false, 2048.0) - (1139.0 + 569.0 + 1139.0)).abs() < 0.01);
        assert!(fonts.width("wide", true, 10.0) > fonts.width("wide", false, 10.0));
    }
}
