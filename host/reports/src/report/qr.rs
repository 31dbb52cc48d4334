//! A QR code (ISO/IEC 18004) as a vector picture. What it says is the stamp's business.

use qrcode::{Color, EcLevel, QrCode};
use std::fmt::Write as _;

/// Clear modules around the code that the standard asks for.
const QUIET: usize = 4;

/// An SVG of `text` without a size of its own, black on white, with its quiet zone; none when it is too long for any code.
pub fn qr_svg(text: &str, title: &str) -> Option<String> {
    let code = QrCode::with_error_correction_level(text.as_bytes(), EcLevel::M).ok()?;
    let width = code.width();
    let mut path = String::new();
    for (y, row) in code.to_colors().chunks(width).enumerate() {
        let mut x = 0;
        while x < width {
            let run = row[x..].iter().take_while(|c| **c == Color::Dark).count();
            if run > 0 {
                let _ = write!(path, "M{} {}h{run}v1h-{run}z", x + QUIET, y + QUIET);
            }
            x += run.max(1);
        }
    }
    let side = width + 2 * QUIET;
    Some(format!(
        r##"<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {side} {side}" width="{side}" height="{side}" role="img" aria-label="{}" shape-rendering="crispEdges"><rect width="{side}" height="{side}" fill="#fff"/><path d="{path}" fill="#000"/></svg>"##,
        super::svg::write::escape(title)
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_code_has_its_three_finder_patterns_and_its_quiet_zone() {
        // ISO/IEC 18004: a version 1 symbol has 21 modules, a finder pattern is 7 modules wide at three corners.
        let svg = qr_svg("TRACKPAIR", "t").unwrap();
        assert!(svg.contains(r#"viewBox="0 0 29 29""#), "{svg}");
        assert_eq!(svg.matches("M4 4h7v1h-7z").count(), 1);
        assert_eq!(svg.matches("M18 4h7v1h-7z").count(), 1);
        assert_eq!(svg.matches("M4 24h7v1h-7z").count(), 1);
    }

    #[test]
    fn a_stamp_s_line_fits_and_a_book_does_not() {
        assert!(qr_svg(&"A".repeat(310), "t").is_some());
        assert!(qr_svg(&"ä".repeat(10_000), "t").is_none());
    }
}
