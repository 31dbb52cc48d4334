//! Trace in, figures and findings out. Pure: no I/O, no clock, no limits, no printing.
//!
//! Its own layers, each may use only those above it:
//! - [`statistics`]: quantiles, robust spread, least squares, interval bounds; published checks.
//! - [`line`](mod@line): exact minimax, terminal and zero-based lines.
//! - [`usable`]: a recording without what its interruption or the rig's supply touched. [`whole_strokes`]: strokes that were whole before it.
//! - `supply`: what lines are divided by, scan by scan.
//! - [`prepared`]: a trace as angle, ratios and strokes.
//! - [`budget`]: an uncertainty, source by source.
//! - [`uncertainty`]: what is known of the channels, and what scatter does to a maximum.
//! - [`binning`]: one stroke on a grid of angles.
//! - [`curve`]: both lines on a grid of angles, up, down and averaged, with standard errors.
//! - one file per figure or finding.
//! - [`recording`]: what the recording can't carry, taken into account in all of them.
//! - [`grip`]: all of them for a grip sensor, in one call.
//! - [`rounds`]: one round of a soak.
//! - [`body`]: the same for a motor-driven throttle body.

pub mod binning;
pub mod body;
pub mod budget;
pub mod causes;
pub mod contact;
pub mod correlation;
pub mod course;
pub mod curve;
pub mod dead_band;
pub mod dropout;
pub mod ends;
pub mod flat_spot;
pub mod follow;
pub mod gaps;
pub mod grip;
#[cfg(test)]
pub(crate) mod hand_turned;
pub mod histogram;
pub mod hysteresis;
pub mod lag;
pub mod leads;
pub mod limp;
pub mod line;
pub mod linear;
pub mod linearity;
pub mod monotonicity;
mod moving_means;
pub mod noise;
pub mod noise_map;
pub mod order;
pub mod prepared;
pub mod recording;
pub mod repeatability;
pub mod rounds;
pub mod self_closing;
mod side_by_side;
pub mod skew;
pub mod smoothing;
pub mod statistics;
mod supply;
#[cfg(test)]
pub(crate) mod synthetic;
pub mod topology;
mod turns;
pub mod uncertainty;
pub mod usable;
pub mod whole_strokes;

use budget::Budget;

use crate::quantity::{Channel, Condition, FigureName, FindingKind, PartKind, Unit};
use crate::sheet::Topology;

/// One measured quantity.
#[derive(Clone, Debug, PartialEq)]
pub struct Figure {
    /// Which.
    pub name: FigureName,
    /// Which line; none for a figure of the pair.
    pub channel: Option<Channel>,
    /// Its value in [`FigureName::unit`].
    pub value: f64,
    /// What its standard uncertainty is made of, in the same unit. Rates: half the width of the 68 % interval.
    pub budget: Budget,
    /// For rates: exact 95 % one-sided upper bound; for others none.
    pub upper_bound: Option<f64>,
    /// By how much the recording itself (ripple of the supply, hum, steps of the logger) may have raised it at most, in the same unit, ≥ 0: the
    /// part's own is lower by up to that, and not higher for it.
    pub added: f64,
    /// Where in the travel its worst value lies, degrees.
    pub at_deg: Option<f64>,
    /// Under which condition, where one quantity has several values.
    pub condition: Condition,
    /// What was measured, in a sentence: convention, filter, cycles.
    pub definition: String,
}

impl Figure {
    /// Standard uncertainty (k = 1), ≥ 0.
    pub fn standard_uncertainty(&self) -> f64 {
        self.budget.total()
    }

    /// Uncertainty (k = 1) that is stated beside the value: of the measurement, and of what the recording may have added.
    pub fn stated_uncertainty(&self) -> f64 {
        self.standard_uncertainty().hypot(self.added)
    }
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

/// What the traces of one part on one day show.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct PartAnalysis {
    /// Kind of part.
    pub kind: PartKind,
    /// Figures in the order of [`crate::quantity::FigureName::ALL`].
    pub figures: Vec<Figure>,
    /// Findings in the order of [`order::order`].
    pub findings: Vec<Finding>,
    /// Topology that the data show, when both lines move.
    pub topology_found: Option<Topology>,
    /// What each clean result would have missed.
    pub detection_limits: Vec<DetectionLimit>,
    /// What can't be had, named.
    pub not_testable: Vec<NotTestable>,
    /// Parts of the part at which nothing that was done looks, whatever the verdict: it says nothing of them.
    pub not_looked_at: Vec<NotTestable>,
    /// Histograms of deviations and latencies.
    pub histograms: Vec<Histogram>,
    /// Curves of a sensor pair for plots.
    pub curves: Vec<PlotCurve>,
    /// Plots of a throttle body.
    pub plots: Vec<Plot>,
    /// What was measured before and after something was done to the part.
    pub comparisons: Vec<Comparison>,
    /// Stretches of travel that a gap in the trace touches, degrees.
    pub gap_regions: Vec<(f64, f64)>,
    /// Travel that was seen, degrees.
    pub travel_deg: Option<(f64, f64)>,
    /// Full cycles seen.
    pub cycles: u32,
    /// The healthy bodies among which worn teeth were searched for, in words; none where they were not.
    pub population: Option<String>,
    /// Whether the rig's own drive may have held a released grip open: what a release then shows too much of condemns nothing.
    pub rig_may_hold_it: bool,
    /// Lost contact event by event, where the pigtail was flexed.
    pub contact: Option<contact::Contact>,
    /// What was wrong with the rig while it recorded, as sentences: it keeps a part from being within and condemns none.
    pub rig_faults: Vec<String>,
    /// What else keeps the recording from saying anything of the part, as sentences: it leaves the part undecided and condemns none.
    pub doubts: Vec<String>,
    /// Scans that were recorded and left out, because the rig's supply was not as requested.
    pub left_out: Vec<usable::LeftOut>,
    /// What the recording can't carry.
    pub recording: Vec<recording::RecordingLimit>,
    /// Anything the reader should know, as sentences.
    pub warnings: Vec<String>,
}

/// A quantity on an axis: its words and its unit's symbol.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Axis {
    /// What it is.
    pub label: String,
    /// Unit symbol; empty for a count.
    pub unit: &'static str,
}

/// One line of a plot. Both vectors have the same length; NaN breaks the line.
#[derive(Clone, Debug, PartialEq)]
pub struct PlotSeries {
    /// What it shows, for the legend.
    pub label: String,
    /// Along the plot.
    pub x: Vec<f64>,
    /// Values.
    pub y: Vec<f64>,
}

/// A marked place of a plot.
#[derive(Clone, Debug, PartialEq)]
pub struct PlotMark {
    /// Where along the plot.
    pub x: f64,
    /// What is there; may be empty for a mere tick.
    pub label: String,
}

/// A marked stretch of a plot.
#[derive(Clone, Debug, PartialEq)]
pub struct PlotBand {
    /// From, along the plot.
    pub from: f64,
    /// To.
    pub to: f64,
    /// What is there.
    pub label: String,
    /// Whether it is a defect (else something that can't be seen).
    pub defect: bool,
}

/// A plot of a throttle body, ready to be drawn.
#[derive(Clone, Debug, PartialEq)]
pub struct Plot {
    /// Machine name: `step_response`, `lost_motion`, `release`, `creep`, `feedback_deviation` …
    pub name: &'static str,
    /// Heading for people.
    pub title: String,
    /// One sentence on how to read it.
    pub reading: String,
    /// Along.
    pub x: Axis,
    /// Up.
    pub y: Axis,
    /// Lines, at most about eight.
    pub series: Vec<PlotSeries>,
    /// Marked places.
    pub marks: Vec<PlotMark>,
    /// Marked stretches.
    pub bands: Vec<PlotBand>,
}

/// One quantity before and after something was done to the part (blips).
#[derive(Clone, Debug, PartialEq)]
pub struct Comparison {
    /// What, for people.
    pub name: String,
    /// Unit of every number.
    pub unit: Unit,
    /// Before.
    pub before: f64,
    /// Its standard uncertainty (k = 1), ≥ 0.
    pub u_before: f64,
    /// After.
    pub after: f64,
    /// Its standard uncertainty (k = 1), ≥ 0.
    pub u_after: f64,
}

/// A histogram with its limits' unit. Bin `k` covers `low + k·width .. low + (k+1)·width`.
#[derive(Clone, Debug, PartialEq)]
pub struct Histogram {
    /// `linearity_deviation`, `correlation_deviation` or `latency`.
    pub name: &'static str,
    /// Region and direction of a latency's.
    pub condition: Condition,
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
