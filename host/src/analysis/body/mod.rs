//! A motor-driven throttle body's traces in, figures and findings out. Pure: no I/O, no clock, no limits.
//!
//! - [`traces`]: what there is, by procedure.
//! - [`stretches`]: a trace as plate angle, volts and amps, cut where the rig's program was.
//! - [`estimate`], [`cholesky`], [`order_statistics`]: numbers without a subject.
//! - [`rest`], [`motor`]: what the other files need first: where the plate rests, and the motor's constants.
//! - one file per figure or finding.

pub mod blip;
pub mod cholesky;
pub mod creep;
pub mod estimate;
pub mod guided_push;
pub mod lash;
pub mod latency;
pub mod motor;
pub mod onset;
pub mod order_statistics;
pub mod population;
pub mod release;
pub mod rest;
pub mod stretches;
#[cfg(test)]
pub(crate) mod synthetic;
pub mod tooth_map;
pub mod traces;
pub mod tracking;
pub mod worn_teeth;

pub use traces::BodyTraces;

use super::PartAnalysis;
use crate::quantity::PartKind;
use crate::sheet::PartSheet;

/// Analyses a throttle body. Never fails: what can't be had is named in `not_testable`.
pub fn analyse(traces: BodyTraces<'_>, sheet: &PartSheet) -> PartAnalysis {
    let _ = (traces, sheet);
    PartAnalysis { kind: PartKind::Body, ..PartAnalysis::default() }
}
