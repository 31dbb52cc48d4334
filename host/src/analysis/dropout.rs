//! Dropouts: moments in which a line, or both, lost contact.

use super::prepared::Prepared;
use super::{DetectionLimit, Figure, Finding};
use crate::sheet::PartSheet;
use std::ops::Range;

/// Which wire an event points at.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Wire {
    /// The first line alone.
    First,
    /// The second line alone.
    Second,
    /// Both lines at once, the supply at the plug steady: supply or ground of the part.
    Common,
    /// Both lines and the supply at the plug.
    Supply,
}

/// One dropout.
#[derive(Clone, Debug, PartialEq)]
pub struct Event {
    /// Which wire.
    pub wire: Wire,
    /// Scans that it spoils, with a margin: leave these out of curves.
    pub scans: Range<usize>,
    /// When it began, µs on the rig's clock.
    pub at_us: u64,
    /// How long, µs: by area over depth, so it may be shorter than a scan.
    pub length_us: f64,
    /// Largest deviation, ratio of supply, signed: negative = towards ground.
    pub depth: f64,
    /// Angle, degrees of travel, when there is one.
    pub at_deg: Option<f64>,
    /// Index of the stroke it fell in.
    pub stroke: Option<usize>,
}

/// What the search found and what it would have missed.
#[derive(Clone, Debug, PartialEq)]
pub struct Report {
    /// Every event in order of time.
    pub events: Vec<Event>,
    /// One finding per wire that dropped out.
    pub findings: Vec<Finding>,
    /// Events per minute with the exact upper bound.
    pub figure: Option<Figure>,
    /// Time that was watched, minutes.
    pub watched_min: f64,
    /// Shortest open that would have been seen, per line.
    pub limits: Vec<DetectionLimit>,
}

/// Searches any trace: sweep, hand sweep, flex, imported.
pub fn find(prepared: &Prepared<'_>, sheet: &PartSheet) -> Report {
    let _ = (prepared, sheet);
    unimplemented!()
}

/// The dropout rate over several traces of one part; none when nothing was watched.
pub fn rate(reports: &[&Report]) -> Option<Figure> {
    let _ = reports;
    unimplemented!()
}
