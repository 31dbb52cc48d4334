//! The outcome for people: a report as one HTML file or a PDF, and a short result for the terminal. Returns text or bytes; it
//! does not write, print, ask the time, or judge.
//!
//! - `format`: numbers with their uncertainty, limits, places.
//! - `text`: text from outside, made harmless.
//! - `words`: machine names in the words of the trade.
//! - `people`: the outcome's rows in words, the same for every medium.
//! - `suspects`: causes that fit.
//! - `groups`: the figures of a throttle body in groups.
//! - `histograms`: what they say beside their bars.
//! - `svg`: pictures.
//! - `plots`: which pictures a pair of sensor lines gets, and the histograms.
//! - `body_plots`: the pictures of a throttle body, and what blips changed.
//! - `soak`: a soak over time.
//! - `compare`: comparisons. `gauge`, `check_part`: the rig itself, as such views.
//! - [`explain`]: a figure's definition and its uncertainty budget.
//! - `vehicle`: checks at the vehicle: the form and the judged worksheet.
//! - `provenance`: where it came from, and what ties it to a sealed record.
//! - `shop`, `letterhead`, `logo`: who hands it over, and on which paper.
//! - `signs`, `qr`: small pictures that every medium shares.
//! - `html`, `terminal`, `terminal_body`, `pdf`: the media.

#[cfg(test)]
mod body_fixture;
mod body_plots;
#[cfg(test)]
mod body_tests;
pub mod check_part;
pub mod compare;
mod contact;
pub mod explain;
#[cfg(test)]
mod fixture;
pub mod format;
pub mod gauge;
mod groups;
mod histograms;
mod html;
mod letterhead;
mod logo;
mod pdf;
mod people;
mod plot;
mod plots;
mod provenance;
mod qr;
mod rows;
mod shop;
mod signs;
mod soak;
mod suspects;
pub mod svg;
mod terminal;
mod terminal_body;
#[cfg(test)]
pub(crate) mod tests;
pub mod text;
pub mod vehicle;
mod words;

// What the fixture calls the library.
#[cfg(test)]
use crate as host;
use crate::analysis::{Comparison, Plot, PlotCurve};
use crate::outcome::{Outcome, Stamp};
use crate::sheet::PartSheet;
use crate::trace::ChannelProvenance;

pub use html::html;
pub use logo::LogoError;
pub use pdf::{CertificateInput, PdfError, certificate, pdf, vehicle_check_pdf, vehicle_form_pdf};
pub use shop::{Paper, Shop};
pub use soak::{reach_words, soak_name};
pub use suspects::{SuspectRow, rows as suspect_rows};
pub use terminal::{Style, terminal};
pub use words::Lines;

/// What a report is made of.
#[derive(Clone, Copy, Debug)]
pub struct ReportInput<'a> {
    /// The outcome.
    pub outcome: &'a Outcome,
    /// Curves of the analysis; may be empty.
    pub curves: &'a [PlotCurve],
    /// Plots of a throttle body; may be empty.
    pub plots: &'a [Plot],
    /// What was measured before and after blips; may be empty.
    pub comparisons: &'a [Comparison],
    /// The sheet that the outcome was judged by.
    pub sheet: &'a PartSheet,
    /// Calibration of the recorded channels; may be empty.
    pub channels: &'a [ChannelProvenance],
    /// What ties it to a sealed record; none for a judgement that is not kept.
    pub stamp: Option<&'a Stamp>,
    /// Who hands it over; none when nothing is configured.
    pub shop: Option<&'a Shop>,
}
