//! One round of a soak: its figures, its findings, every dropout one by one, and whether the part moved. Pure; it knows no other round.

use super::body::{self, BodyTraces};
use super::dropout::{self, Event};
use super::grip::{self, GripTraces};
use super::prepared::Prepared;
use super::usable::{Usable, unfit};
use super::{PartAnalysis, statistics};
use crate::quantity::{Channel, FindingKind};
use crate::sheet::PartSheet;
use crate::trace::Trace;

/// Less than this share of its travel is no round: it hangs somewhere.
const LEAST_TRAVEL: f64 = 0.5;
/// Less change of a body's first line than this share of the sheet's is no motion.
const LEAST_CHANGE: f64 = 0.5;

/// What a round shows.
#[derive(Clone, Debug, PartialEq)]
pub struct Round {
    /// Figures and findings.
    pub analysis: PartAnalysis,
    /// Every dropout, in the order of the traces and of time.
    pub events: Vec<Event>,
    /// Time in which one would have been seen, minutes.
    pub watched_min: f64,
    /// Scans that are missing.
    pub scans_lost: u64,
    /// Mean temperature of the rig, °C.
    pub celsius: Option<f64>,
}

/// Analyses the sweep of a grip, or the recordings of a body.
pub fn analyse(traces: &[Trace], sheet: &PartSheet) -> Round {
    let is_body = traces.iter().any(|t| t.channel(Channel::MotorAmps).is_some());
    let analysis = match traces {
        [sweep, ..] if !is_body => grip::analyse(GripTraces { sweep, leads: None, flex: None }, sheet),
        _ => body::analyse(BodyTraces::sorted(traces), sheet),
    };
    let located: Vec<_> = analysis
        .findings
        .iter()
        .filter(|f| matches!(f.kind, FindingKind::FlatSpot | FindingKind::NoisyTrack))
        .cloned()
        .collect();
    let (mut events, mut watched_min) = (Vec::new(), 0.0);
    for trace in traces.iter().filter(|t| !t.is_empty() && unfit(t).is_none()) {
        let usable = Usable::of(trace, sheet);
        let prepared = Prepared::new(&usable.trace, sheet);
        let report = dropout::find(&prepared, sheet).without_explained(&prepared, &located);
        events.extend(report.events);
        watched_min += report.watched_min;
    }
    let celsius = traces.iter().filter_map(|t| t.channel(Channel::Temperature));
    let celsius: Vec<f64> = celsius.flatten().map(|c| f64::from(*c)).filter(|c| c.is_finite()).collect();
    Round {
        analysis,
        events,
        watched_min,
        scans_lost: traces.iter().flat_map(|t| &t.gaps).map(|g| g.scans).sum(),
        celsius: statistics::mean(&celsius),
    }
}

/// Whether a grip's sweep went through most of the travel between its stops, degrees.
pub fn grip_moved(sweep: &Trace, travel_deg: f64) -> bool {
    let seen = range(sweep, Channel::Reference);
    seen.is_some_and(|seen| seen >= LEAST_TRAVEL * travel_deg)
}

/// Whether a body's first line went through most of what its sheet says.
pub fn body_moved(trace: &Trace, sheet: &PartSheet) -> bool {
    let nominal = (sheet.rising.open - sheet.rising.closed).abs() * sheet.supply_volts;
    range(trace, Channel::Rising).is_some_and(|seen| seen >= LEAST_CHANGE * nominal)
}

fn range(trace: &Trace, channel: Channel) -> Option<f64> {
    let values = trace.channel(channel)?.iter().filter(|v| v.is_finite());
    let (low, high) = values.fold((f32::INFINITY, f32::NEG_INFINITY), |(l, h), v| (l.min(*v), h.max(*v)));
    (low <= high).then(|| f64::from(high) - f64::from(low))
}
