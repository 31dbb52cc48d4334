//! A motor-driven throttle body's traces in, figures and findings out. Pure: no I/O, no clock, no limits.

pub mod traces;

pub use traces::BodyTraces;

use super::PartAnalysis;
use crate::quantity::PartKind;
use crate::sheet::PartSheet;

/// Analyses a throttle body. Never fails: what can't be had is named in `not_testable`.
pub fn analyse(traces: BodyTraces<'_>, sheet: &PartSheet) -> PartAnalysis {
    let _ = (traces, sheet);
    PartAnalysis { kind: PartKind::Body, ..PartAnalysis::default() }
}
