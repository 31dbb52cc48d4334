//! Trace in, figures and findings out. Pure: no I/O, no clock, no limits, no printing.
//!
//! Its own layers, each may use only those above it:
//! - [`statistics`]: quantiles, robust spread, least squares, interval bounds; published checks.
//! - [`line`](mod@line): exact minimax, terminal and zero-based lines.
//! - [`prepared`]: a trace as angle, ratios and strokes.
//! - [`uncertainty`]: what is known of the channels, and what scatter does to a maximum.
//! - [`curve`]: both lines on a grid of angles, up, down and averaged, with standard errors.
//! - one file per figure or finding.
//! - [`grip`]: all of them for a grip sensor, in one call.

pub mod causes;
pub mod correlation;
pub mod curve;
pub mod dead_band;
pub mod dropout;
pub mod ends;
pub mod flat_spot;
pub mod gaps;
pub mod grip;
pub mod histogram;
pub mod hysteresis;
pub mod lag;
pub mod leads;
pub mod limp;
pub mod line;
pub mod linearity;
pub mod monotonicity;
pub mod noise;
pub mod noise_map;
pub mod order;
pub mod prepared;
pub mod repeatability;
pub mod skew;
pub mod statistics;
#[cfg(test)]
pub(crate) mod synthetic;
pub mod topology;
pub mod uncertainty;

use crate::quantity::{Channel, FigureName, FindingKind, Unit};

/// One measured quantity.
#[derive(Clone, Debug, PartialEq)]
pub struct Figure {
    /// Which.
    pub name: FigureName,
    /// Which line; none for a figure of the pair.
    pub channel: Option<Channel>,
    /// Its value in [`FigureName::unit`].
    pub value: f64,
    /// Standard uncertainty (k = 1) in the same unit, ≥ 0. Rates: half the width of the 68 % interval.
    pub standard_uncertainty: f64,
    /// For rates: exact 95 % one-sided upper bound; for others none.
    pub upper_bound: Option<f64>,
    /// Where in the travel its worst value lies, degrees.
    pub at_deg: Option<f64>,
    /// What was measured, in a sentence: convention, filter, cycles.
    pub definition: String,
}

/// A located defect.
#[derive(Clone, Debug, PartialEq)]
pub struct Finding {
    /// What.
    pub kind: FindingKind,
    /// Which line; none = both, or the part as a whole.
    pub channel: Option<Channel>,
    /// Where it begins, degrees of travel.
    pub from_deg: Option<f64>,
    /// Where it ends, degrees of travel.
    pub to_deg: Option<f64>,
    /// How sure, 0..1.
    pub confidence: f64,
    /// One sentence for a technician.
    pub text: String,
    /// Named numbers: depth, length, cycles seen …
    pub details: Vec<Detail>,
}

/// A named number of a finding.
#[derive(Clone, Debug, PartialEq)]
pub struct Detail {
    /// Name in snake_case.
    pub name: &'static str,
    /// Value.
    pub value: f64,
    /// Unit symbol.
    pub unit: &'static str,
}

/// What a clean result would have missed.
#[derive(Clone, Debug, PartialEq)]
pub struct DetectionLimit {
    /// Kind of defect.
    pub kind: FindingKind,
    /// Which line.
    pub channel: Option<Channel>,
    /// A sentence with the numbers: "a flat spot narrower than 0.4 deg at full slope loss would not have been seen".
    pub text: String,
    /// Named numbers.
    pub details: Vec<Detail>,
}

/// Something that can't be had from this trace, and why.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NotTestable {
    /// Figure or finding name.
    pub what: String,
    /// Why, and what would make it testable.
    pub why: String,
}

/// A histogram with its limits' unit. Bin `k` covers `low + k·width .. low + (k+1)·width`.
#[derive(Clone, Debug, PartialEq)]
pub struct Histogram {
    /// `linearity_deviation` or `correlation_deviation`.
    pub name: &'static str,
    /// Which line, if one.
    pub channel: Option<Channel>,
    /// Unit of the bins.
    pub unit: Unit,
    /// Lower edge of the first bin.
    pub low: f64,
    /// Bin width, > 0.
    pub width: f64,
    /// Counts.
    pub counts: Vec<u64>,
}

/// Curves on a common grid of angles, for the report. All vectors of one curve have the same length.
#[derive(Clone, Debug, PartialEq)]
pub struct PlotCurve {
    /// `ratio`, `linearity_deviation`, `correlation_residual`, `noise` …
    pub name: &'static str,
    /// Which line, if one.
    pub channel: Option<Channel>,
    /// `up`, `down` or `mean`.
    pub direction: &'static str,
    /// Unit of `y`.
    pub unit: Unit,
    /// Degrees of travel, rising.
    pub deg: Vec<f64>,
    /// Values; NaN where nothing was measured.
    pub y: Vec<f64>,
}
