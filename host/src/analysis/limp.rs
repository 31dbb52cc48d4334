//! Limp-home prediction: how often a plausibility monitor would have tripped on this recording.

use super::prepared::Prepared;
use super::{Figure, NotTestable};
use crate::sheet::PartSheet;

/// One stretch in which the monitor sees bad samples.
#[derive(Clone, Debug, PartialEq)]
pub struct Event {
    /// Its first bad sample, µs on the rig's clock.
    pub at_us: u64,
    /// From the first bad sample to the last, µs.
    pub length_us: f64,
    /// Angle at its start, degrees of travel, when there is one.
    pub at_deg: Option<f64>,
    /// Expected trips with a counter that a good sample clears.
    pub consecutive: f64,
    /// Expected trips with a counter that a good sample takes down by one.
    pub up_down: f64,
}

/// What the monitor would have done.
#[derive(Clone, Debug, PartialEq)]
pub struct Report {
    /// Expected trips over the recording, consecutive counter.
    pub figure: Option<Figure>,
    /// Expected trips with a counter that a good sample clears.
    pub by_consecutive: f64,
    /// Expected trips with a counter that a good sample takes down by one.
    pub by_up_down: f64,
    /// Stretches with bad samples, in order of time.
    pub events: Vec<Event>,
    /// What the monitor could not be played on.
    pub not_testable: Vec<NotTestable>,
}

/// Plays the sheet's monitor on a trace.
pub fn predict(prepared: &Prepared<'_>, sheet: &PartSheet) -> Report {
    let _ = (prepared, sheet);
    unimplemented!()
}
