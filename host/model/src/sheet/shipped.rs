//! The part sheets that come with the program.

use super::{PartSheet, parse};
use crate::quantity::PartKind;

/// Names and texts, in the order they are listed.
const SHIPPED: [(&str, &str); 5] = [
    ("grip-complementary", include_str!("sheets/grip-complementary.toml")),
    ("grip-half-slope", include_str!("sheets/grip-half-slope.toml")),
    ("grip-parallel-offset", include_str!("sheets/grip-parallel-offset.toml")),
    ("body", include_str!("sheets/body.toml")),
    ("pair", include_str!("sheets/pair.toml")),
];

/// Names of the shipped sheets.
pub fn shipped_names() -> &'static [&'static str] {
    &[SHIPPED[0].0, SHIPPED[1].0, SHIPPED[2].0, SHIPPED[3].0, SHIPPED[4].0]
}

/// The TOML text of a shipped sheet.
pub fn shipped_text(name: &str) -> Option<&'static str> {
    SHIPPED.into_iter().find(|(n, _)| *n == name).map(|(_, text)| text)
}

/// A shipped sheet.
pub fn shipped(name: &str) -> Option<PartSheet> {
    // A shipped text that does not parse can't leave the house: a test reads each of them.
    shipped_text(name).and_then(|text| parse(text, name).ok())
}

/// The shipped sheets for a kind of part.
pub fn shipped_of(kind: PartKind) -> impl Iterator<Item = PartSheet> {
    shipped_names().iter().filter_map(|name| shipped(name)).filter(move |sheet| sheet.kind == kind)
}
