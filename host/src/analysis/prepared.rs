//! A trace as angle, ratios of supply, and strokes: what every figure starts from.

use crate::trace::Trace;
use std::borrow::Cow;
use std::ops::Range;

/// Which way a stroke goes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Direction {
    /// Towards wide open.
    Up,
    /// Towards closed.
    Down,
}

/// A stretch of samples that moves one way without a stop.
#[derive(Clone, Debug, PartialEq)]
pub struct Stroke {
    /// Sample indices.
    pub range: Range<usize>,
    /// Which way.
    pub direction: Direction,
    /// Angle at its start, degrees.
    pub from_deg: f64,
    /// Angle at its end, degrees.
    pub to_deg: f64,
}

/// Where the angle comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum AngleSource {
    /// The rig's reference, or an imported column.
    Reference,
    /// No reference: the angle that the first line's nominal curve gives; linearity can't be had, channel against channel can.
    FirstLine,
    /// Neither: no angle at all.
    None,
}

/// A trace made ready. Ratios are line volts divided by the supply of the same scan (the supply smoothed over 5 ms).
#[derive(Clone, Debug)]
pub struct Prepared<'a> {
    /// The trace.
    pub trace: &'a Trace,
    /// Angle of travel in degrees, one per scan; empty when the source is none.
    pub deg: Cow<'a, [f32]>,
    /// Where it comes from.
    pub angle_source: AngleSource,
    /// First and second line as ratios of supply; none where the line was not recorded.
    pub ratio: [Option<Vec<f32>>; 2],
    /// Median time between scans, µs.
    pub period_us: f64,
    /// Strokes in order of time.
    pub strokes: Vec<Stroke>,
}
