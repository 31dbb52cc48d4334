//! Flat spots: stretches of travel where a line stops following the grip.

use super::prepared::Prepared;
use super::{DetectionLimit, Finding, dropout};
use crate::sheet::PartSheet;

/// What the search found and what it would have missed.
#[derive(Clone, Debug, PartialEq)]
pub struct Report {
    /// One per flat spot, strongest first.
    pub findings: Vec<Finding>,
    /// The smallest flat spot that would have been seen.
    pub limit: DetectionLimit,
}

/// Searches line `line` (0 = first, 1 = second) of a sweep.
pub fn find(prepared: &Prepared<'_>, line: usize, dropouts: &dropout::Report, sheet: &PartSheet) -> Report {
    let _ = (prepared, line, dropouts, sheet);
    unimplemented!()
}
