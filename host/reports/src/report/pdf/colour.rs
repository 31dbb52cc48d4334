//! Colours of the documents. It draws nothing.

use crate::report::document::Mark;
pub use crate::report::svg::picture::Colour;

/// Text, rules.
pub const INK: Colour = (0x1a, 0x24, 0x30);
/// Text that is read in passing.
pub const FAINT: Colour = (0x55, 0x60, 0x6d);
/// Rules between groups.
pub const RULE: Colour = (0xae, 0xb7, 0xc1);
/// Rules between rows.
pub const HAIR: Colour = (0xdd, 0xe2, 0xe7);
/// A verdict's colours; its word and its sign say the same without them.
pub const WITHIN: Colour = (0x17, 0x60, 0x3a);
/// As [`WITHIN`].
pub const OUTSIDE: Colour = (0x9a, 0x1b, 0x1b);
/// As [`WITHIN`].
pub const UNDECIDED: Colour = (0x7a, 0x52, 0x00);

/// Colour of a mark and its word.
pub const fn mark_colour(mark: Mark) -> Colour {
    match mark {
        Mark::Within => WITHIN,
        Mark::Outside => OUTSIDE,
        Mark::Undecided => UNDECIDED,
        Mark::Open => INK,
    }
}
