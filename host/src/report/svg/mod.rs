//! A small SVG writer: shapes, text, hatching, with the same bytes for the same picture. It knows nothing of parts.
//!
//! - [`canvas`]: elements, escaping, number formatting.
//! - [`ticks`]: where an axis is marked.
//! - [`decimate`]: fewer points, same picture.
//! - [`chart`]: curves over a common axis with limits, spans and marks.
//! - [`series`]: the curves of a chart and their legend.
//! - [`bars`]: a histogram with its limits.
//!
//! Only presentation attributes are used, no style sheet, so that the text serves in HTML and in any other SVG reader.

pub mod bars;
pub mod canvas;
pub mod chart;
pub mod decimate;
pub mod series;
pub mod ticks;

/// Colour of text and frames.
pub const INK: &str = "#1a2430";
/// Colour of what is less important.
pub const FAINT: &str = "#5d6875";
/// Colour of grid lines.
pub const GRID: &str = "#dde2e7";
/// Colour of limits; they are also dash-dotted and hatched.
pub const LIMIT: &str = "#9a1b1b";
/// Colour of the first line; it is also solid, with filled round marks.
pub const FIRST: &str = "#1c4f93";
/// Colour of the second line; it is also dashed, with open square marks.
pub const SECOND: &str = "#b4531a";
