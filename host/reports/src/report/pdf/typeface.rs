//! A face as the objects of a file: its outlines cut to the letters in use, how wide they are, and which letter each code
//! stands for, so that what is read from the file is what was written.

use super::PdfError;
use super::file::File;
use super::fonts::{Face, Fonts};
use pdf_writer::types::{CidFontType, FontFlags, SystemInfo, UnicodeCmap};
use pdf_writer::{Name, Rect, Ref, Str};
use sha2::{Digest as _, Sha256};
use subsetter::GlyphRemapper;

const IDENTITY: SystemInfo<'_> =
    SystemInfo { registry: Str(b"Adobe"), ordering: Str(b"Identity"), supplement: 0 };
const UNICODE: SystemInfo<'_> = SystemInfo { registry: Str(b"Adobe"), ordering: Str(b"UCS"), supplement: 0 };

/// Thousandths of a size per size, the unit of widths (ISO 32000-1, 9.2.4).
const UNITS: f32 = 1000.0;

/// A face with `letters`, whose codes are 1, 2, ...
///
/// # Errors
/// The face can't be cut: it is damaged.
pub fn embed(file: &mut File, fonts: &Fonts, bold: bool, letters: &[char]) -> Result<Ref, PdfError> {
    let face = fonts.face(bold);
    let mut kept = GlyphRemapper::new();
    let glyphs: Vec<u16> = letters.iter().map(|letter| kept.remap(face.glyph(*letter).0)).collect();
    let cut = subsetter::subset(face.data, 0, &kept).map_err(|_| PdfError::Font)?;
    let name = format!("{}+{}", tag(&cut), if bold { "LiberationSans-Bold" } else { "LiberationSans" });
    let descriptor = write_descriptor(file, face, &name, &cut);
    let places: Vec<u8> = std::iter::once(0).chain(glyphs).flat_map(u16::to_be_bytes).collect();
    let places = file.stream(&places);
    let widths: Vec<f32> =
        letters.iter().map(|l| (face.glyph(*l).1 * UNITS * 100.0).round() / 100.0).collect();
    let letters_of = file.stream(&meanings(letters));
    let (inner, outer) = (file.next(), file.next());
    let mut cid = file.pdf().cid_font(inner);
    cid.subtype(CidFontType::Type2).base_font(Name(name.as_bytes())).system_info(IDENTITY);
    cid.font_descriptor(descriptor).default_width(0.0).cid_to_gid_map_stream(places);
    cid.widths().consecutive(1, widths);
    drop(cid);
    let mut font = file.pdf().type0_font(outer);
    font.base_font(Name(name.as_bytes())).encoding_predefined(Name(b"Identity-H"));
    font.descendant_font(inner).to_unicode(letters_of);
    Ok(outer)
}

/// Six capitals that mark a cut face (ISO 32000-1, 9.6.4): the same for the same outlines.
fn tag(cut: &[u8]) -> String {
    Sha256::digest(cut).iter().take(6).map(|byte| char::from(b'A' + byte % 26)).collect()
}

fn write_descriptor(file: &mut File, face: &Face, name: &str, cut: &[u8]) -> Ref {
    let outlines = file.stream(cut);
    let id = file.next();
    let parsed = &face.parsed;
    let scale = UNITS / f32::from(parsed.units_per_em());
    let units = |value: i16| (f32::from(value) * scale).round();
    let frame = parsed.global_bounding_box();
    let mut descriptor = file.pdf().font_descriptor(id);
    descriptor
        .name(Name(name.as_bytes()))
        .flags(FontFlags::SYMBOLIC)
        .bbox(Rect::new(units(frame.x_min), units(frame.y_min), units(frame.x_max), units(frame.y_max)))
        .italic_angle(0.0)
        .ascent(units(parsed.ascender()))
        .descent(units(parsed.descender()))
        .cap_height(units(parsed.capital_height().unwrap_or(parsed.ascender())))
        // The face does not say how thick its stems are; viewers use it only where they have no outlines.
        .stem_v(if parsed.is_bold() { 140.0 } else { 80.0 })
        .font_file2(outlines);
    drop(descriptor);
    id
}

/// Which letter each code stands for.
fn meanings(letters: &[char]) -> Vec<u8> {
    let mut map = UnicodeCmap::<u16>::new(Name(b"Custom"), UNICODE);
    for (code, letter) in (1..).zip(letters) {
        map.pair(code, *letter);
    }
    map.finish().into_vec()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_code_stands_for_its_own_letter_even_where_two_look_alike() {
        let map = String::from_utf8(meanings(&['a', ' ', '\u{a0}'])).unwrap();
        for pair in ["<0001> <0061>", "<0002> <0020>", "<0003> <00a0>"] {
            assert!(map.to_lowercase().contains(pair), "{pair} is not in {map}");
        }
    }

    #[test]
    fn the_mark_of_a_cut_face_is_six_capitals_and_follows_its_outlines() {
        let marks = [tag(b"a"), tag(b"b")];
        assert!(marks.iter().all(|m| m.len() == 6 && m.chars().all(|c| c.is_ascii_uppercase())));
        assert_ne!(marks[0], marks[1]);
    }
}
