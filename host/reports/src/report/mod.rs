//! What came out, for people: built once as a [`document`], rendered to a terminal, to one HTML file and to a PDF. Returns text or bytes; it
//! does not write, print, ask the time, or judge.
//!
//! - [`document`]: what a document says, by its meaning, and the builders of each.
//! - [`terminal()`], [`html()`], [`pdf()`]: one renderer a medium. They choose no words.
//! - `people`, `provenance`: an outcome's rows in words. `words`: machine names in the words of the trade.
//! - `format`: numbers with their uncertainty, limits, places. `text`: text from outside, made harmless.
//! - `suspects`: causes that fit. `groups`: the figures of a throttle body in groups. `contact`: lost contact.
//! - `soak`, `soak_plots`: a soak over time, in words and in pictures.
//! - `svg`: pictures. `plots`: which pictures a pair of sensor lines gets, and the histograms; `histograms`: what they say beside their bars.
//! - `body_plots`: the pictures of a throttle body, and what blips changed.
//! - `deciding`: which of all pictures stands beside the verdict.
//! - `compare`: comparisons. `gauge`, `check_part`: the rig itself.
//! - [`explain`]: a figure's definition and its uncertainty budget.
//! - `vehicle`: lines of vehicle checks in words.
//! - `shop`, `letterhead`, `logo`: who hands it over, and on which paper.
//! - `signs`, `qr`: small pictures that every medium shares.

#[cfg(test)]
mod body_fixture;
mod body_plots;
#[cfg(test)]
mod body_tests;
pub mod check_part;
pub mod compare;
mod contact;
#[cfg(test)]
mod contrast_tests;
mod deciding;
pub mod document;
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
mod soak_plots;
mod suspects;
pub mod svg;
mod terminal;
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
pub use pdf::{PdfError, pdf};
#[cfg(test)]
use pdf::{pdf_pictures, pdf_texts};
pub use shop::{Paper, Shop};
pub use soak::{reach_words, soak_name};
pub use terminal::{Style, in_brief, terminal};
pub use words::Lines;

/// What a certificate is made of: all of it is in a stored record.
#[derive(Clone, Copy, Debug)]
pub struct CertificateInput<'a> {
    /// The outcome.
    pub outcome: &'a Outcome,
    /// What ties it to a sealed record; none for a judgement that is not kept.
    pub stamp: Option<&'a Stamp>,
    /// Who hands it over; none when nothing is configured.
    pub shop: Option<&'a Shop>,
}

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
