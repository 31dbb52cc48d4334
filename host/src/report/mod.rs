//! The outcome for people: a report as one HTML file and a short result for the terminal. Returns text; it does not
//! write, print, ask the time, or judge.
//!
//! - `format`: numbers with their uncertainty, limits, places.
//! - `text`: text from outside, made harmless.
//! - `words`: machine names in the words of the trade.
//! - `people`: the outcome's rows in words, the same for every medium.
//! - `svg`: pictures.
//! - `plots`: which pictures a grip sensor gets.
//! - `html`, `terminal`: the media.

#[cfg(test)]
mod fixture;
pub mod format;
mod html;
mod people;
mod plots;
pub mod svg;
mod terminal;
#[cfg(test)]
pub(crate) mod tests;
pub mod text;
mod words;

// What the fixture calls the library.
#[cfg(test)]
use crate as host;
use crate::analysis::PlotCurve;
use crate::outcome::Outcome;
use crate::sheet::PartSheet;
use crate::trace::ChannelProvenance;

pub use html::html;
pub use terminal::{Style, terminal};

/// What a report is made of.
#[derive(Clone, Copy, Debug)]
pub struct ReportInput<'a> {
    /// The outcome.
    pub outcome: &'a Outcome,
    /// Curves of the analysis; may be empty.
    pub curves: &'a [PlotCurve],
    /// The sheet that the outcome was judged by.
    pub sheet: &'a PartSheet,
    /// Calibration of the recorded channels; may be empty.
    pub channels: &'a [ChannelProvenance],
}
