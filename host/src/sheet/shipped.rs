//! The part sheets that come with the program.

use super::PartSheet;

/// Names of the shipped sheets.
pub fn shipped_names() -> &'static [&'static str] {
    &["grip-complementary", "grip-half-slope", "grip-parallel-offset"]
}

/// The TOML text of a shipped sheet.
pub fn shipped_text(name: &str) -> Option<&'static str> {
    let _ = name;
    unimplemented!()
}

/// A shipped sheet.
pub fn shipped(name: &str) -> Option<PartSheet> {
    let _ = name;
    unimplemented!()
}
