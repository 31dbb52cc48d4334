//! The sign of each verdict as shapes, so that no verdict is shown by its colour alone. Every medium with pictures draws these.

use super::document::Mark;

/// What stands inside an SVG of 40 × 40 with a stroke and no fill; empty where nothing was judged.
pub const fn shape(mark: Mark) -> &'static str {
    match mark {
        Mark::Within => r#"<circle cx="20" cy="20" r="17"/><path d="M12 20.5l6 6L29 14.5"/>"#,
        Mark::Outside => {
            r#"<rect x="3" y="3" width="34" height="34"/><path d="M12.5 12.5l15 15M27.5 12.5l-15 15"/>"#
        }
        Mark::Undecided => {
            r#"<path d="M20 2.5L37.5 20 20 37.5 2.5 20z"/><path d="M15.5 16.5q0-4.5 4.5-4.5t4.5 4.3q0 2.7-4.5 5v1.5M20 27.8v.2"/>"#
        }
        Mark::Open => "",
    }
}
