//! Noisy stretches of a track: noise in windows of travel against the rest of the sweep.

use super::prepared::Prepared;
use super::{DetectionLimit, Finding, PlotCurve, dropout};
use crate::sheet::PartSheet;

/// What the search found and what it would have missed.
#[derive(Clone, Debug, PartialEq)]
pub struct Report {
    /// One per noisy stretch.
    pub findings: Vec<Finding>,
    /// Noise along the travel, mV at 5 V, one standard deviation.
    pub curve: Option<PlotCurve>,
    /// The least excess of noise that would have been seen.
    pub limit: DetectionLimit,
}

/// Searches line `line` (0 = first, 1 = second) of a sweep.
pub fn find(prepared: &Prepared<'_>, line: usize, dropouts: &dropout::Report, sheet: &PartSheet) -> Report {
    let _ = (prepared, line, dropouts, sheet);
    unimplemented!()
}
