//! Everything a grip sensor's traces tell, in one call.

use super::{DetectionLimit, Figure, Finding, Histogram, NotTestable, PlotCurve};
use crate::sheet::{PartSheet, Topology};
use crate::trace::Trace;

/// The traces of one part on one day.
#[derive(Clone, Copy, Debug)]
pub struct GripTraces<'a> {
    /// A driven sweep, a hand sweep, or an imported file.
    pub sweep: &'a Trace,
    /// The supply and load steps, if done.
    pub leads: Option<&'a Trace>,
    /// The flex capture, if done.
    pub flex: Option<&'a Trace>,
}

/// What was found.
#[derive(Clone, Debug, PartialEq)]
pub struct GripAnalysis {
    /// Figures in the order of [`crate::quantity::FigureName::ALL`].
    pub figures: Vec<Figure>,
    /// Findings, most severe first.
    pub findings: Vec<Finding>,
    /// Topology that the data show, when both lines move.
    pub topology_found: Option<Topology>,
    /// What each clean result would have missed.
    pub detection_limits: Vec<DetectionLimit>,
    /// What can't be had, named.
    pub not_testable: Vec<NotTestable>,
    /// Histograms of deviations.
    pub histograms: Vec<Histogram>,
    /// Curves for plots.
    pub curves: Vec<PlotCurve>,
    /// Stretches of travel that a gap in the trace touches, degrees.
    pub gap_regions: Vec<(f64, f64)>,
    /// Travel that was seen, degrees.
    pub travel_deg: Option<(f64, f64)>,
    /// Full cycles seen.
    pub cycles: u32,
    /// Anything the reader should know, as sentences.
    pub warnings: Vec<String>,
}

/// Analyses a grip sensor. Never fails: what can't be had is named in `not_testable`.
pub fn analyse(traces: GripTraces<'_>, sheet: &PartSheet) -> GripAnalysis {
    let _ = (traces, sheet);
    unimplemented!()
}
