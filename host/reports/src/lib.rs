//! Outcomes for people: terminal, HTML, PDF. Returns text and bytes.
//!
//! - [`report`]: the outcome for people. Returns text; where it goes is someone else's business.

pub mod report;

// Layers below, under the names that every file uses.
use trackpair_analysis::{analysis, diagnosis, verdict};
use trackpair_model::{quantity, sheet, trace};
use trackpair_outcome::{case, compare, gauge, outcome, vehicle};
