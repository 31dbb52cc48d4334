//! Pictures as shapes, and their text as SVG, with the same bytes for the same picture. It knows nothing of parts.
//!
//! - [`picture`]: the shapes that every medium draws.
//! - [`canvas`]: a picture in the making.
//! - [`write`](mod@write): elements of SVG, escaping, number formatting.
//! - [`ticks`]: where an axis is marked.
//! - [`decimate`]: fewer points, same picture.
//! - [`chart`]: curves over a common axis with limits, spans and marks.
//! - [`series`]: the curves of a chart and their legend.
//! - [`bars`]: a histogram with its limits.
//!
//! The text has presentation attributes alone, no style sheet, so that it serves in HTML and in any other SVG reader.

pub mod bars;
pub mod canvas;
pub mod chart;
pub mod decimate;
pub mod picture;
pub mod series;
pub mod ticks;
pub mod write;

use picture::Colour;

/// Colour of text and frames.
pub const INK: Colour = (0x1a, 0x24, 0x30);
/// Colour of what is less important.
pub const FAINT: Colour = (0x5d, 0x68, 0x75);
/// Colour of grid lines.
pub const GRID: Colour = (0xdd, 0xe2, 0xe7);
/// Colour of limits; they are also dash-dotted and hatched.
pub const LIMIT: Colour = (0x9a, 0x1b, 0x1b);
/// Colour of the first line; it is also solid, with filled round marks.
pub const FIRST: Colour = (0x1c, 0x4f, 0x93);
/// Colour of the second line; it is also dashed, with open square marks.
pub const SECOND: Colour = (0xb4, 0x53, 0x1a);
/// Colour of a third line; it is also finely dashed.
pub const THIRD: Colour = (0x2a, 0x6b, 0x45);
/// Colour of a fourth line; it is also dash-dotted.
pub const FOURTH: Colour = (0x6a, 0x3d, 0x8f);
/// What covers what is below it.
pub const WHITE: Colour = (0xff, 0xff, 0xff);
