//! Traces in, figures, findings, verdicts and causes out. Pure: no I/O, no clock. Each may use only those above it.
//!
//! - [`analysis`]: trace in, figures and findings out. No I/O, no clock, no limits.
//! - [`verdict`]: figures against limits with their uncertainty.
//! - [`diagnosis`]: findings to causes.

pub mod analysis;
pub mod diagnosis;
pub mod verdict;

#[cfg(test)]
mod test_draws;

// Layers below, under the names that every file uses.
use trackpair_model::{quantity, sheet, trace};
