//! How the two lines belong together, as the data show: the robust line of the second on the first.
//!
//! Theil–Sen (Sen 1968) through the averaged curves: second ≈ m·first + k in ratios of supply.

use super::curve::Curves;
use super::statistics;
use crate::sheet::Topology;

/// Relative tolerance of m. Engineering assumption: wide enough for a faulty gain, too narrow for a wrong topology.
const TOLERANCE: f64 = 0.2;

/// What the data show.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Found {
    /// Slope of second on first.
    pub m: f64,
    /// Value of second at first = 0, ratio of supply.
    pub k: f64,
    /// The topology that fits; none when none does.
    pub topology: Option<Topology>,
    /// Half-slope with the steeper line second: the lines are exchanged.
    pub exchanged: bool,
}

/// Finds the topology. None when a line is missing or the first does not move (span below 5 % of supply).
pub fn find(curves: &Curves) -> Option<Found> {
    let (first, second) = (curves.line[0].as_ref()?, curves.line[1].as_ref()?);
    if first.span < 0.05 || second.span < 0.025 {
        return None;
    }
    let (m, k) = statistics::theil_sen(&first.mean, &second.mean)?;
    let near = |to: f64| (m / to - 1.0).abs() < TOLERANCE;
    let exchanged = near(2.0);
    let topology = if near(-1.0) {
        Some(Topology::Complementary)
    } else if near(0.5) || exchanged {
        Some(Topology::HalfSlope)
    } else if near(1.0) {
        Some(Topology::ParallelOffset)
    } else {
        None
    };
    Some(Found { m, k, topology, exchanged })
}
