//! Whether the feedback lines moved at all while the plate was driven: a line that stands shows no angle, and then nothing that is
//! reckoned from an angle holds.

use super::BodyTraces;
use crate::analysis::Finding;
use crate::quantity::{Channel, FindingKind};
use crate::trace::Trace;

/// A line that changes by less than this share of the supply from stop to stop stands.
const STANDS: f32 = 0.05;
/// Share of the scans at either end that may be spikes.
const SPIKES: usize = 200;

/// Which of the two lines stood through every recording; none when nothing was recorded of a line.
fn stood(traces: &BodyTraces<'_>, line: Channel) -> Option<bool> {
    // The first recording in which it moved settles it.
    let changes: Vec<(&Trace, f32)> = traces.all().filter_map(|t| Some((t, change(t, line)?))).collect();
    if changes.iter().any(|(_, c)| *c >= STANDS) {
        return Some(false);
    }
    // A recording that was interrupted may not have been asked to move yet.
    changes.iter().any(|(t, _)| !t.was_interrupted()).then_some(true)
}

/// Change of a line in a recording, ratio of supply, spikes left out.
fn change(trace: &Trace, line: Channel) -> Option<f32> {
    let (volts, supply) = (trace.channel(line)?, trace.channel(Channel::Supply)?);
    let ratios = volts.iter().zip(supply).map(|(v, s)| v / s);
    let mut ratios: Vec<f32> = ratios.filter(|r| r.is_finite()).collect();
    if ratios.len() < 2 {
        return None;
    }
    let spikes = ratios.len() / SPIKES;
    let (last, end) = (ratios.len() - 1, ratios.len() - 1 - spikes);
    ratios.select_nth_unstable_by(spikes, f32::total_cmp);
    let low = ratios[spikes];
    ratios.select_nth_unstable_by(end.min(last), f32::total_cmp);
    Some(ratios[end.min(last)] - low)
}

/// Findings on lines that stood: one alone is dead, both together are a plate that did not move, or two dead lines.
pub fn find(traces: &BodyTraces<'_>) -> Vec<Finding> {
    let finding = |kind, channel, text: &str| Finding {
        kind,
        channel,
        from_deg: None,
        to_deg: None,
        confidence: 0.99,
        text: text.to_owned(),
        details: Vec::new(),
    };
    match Channel::SENSORS.map(|line| stood(traces, line)) {
        [Some(true), Some(true)] => vec![finding(
            FindingKind::NotMoving,
            None,
            "neither feedback line moved while the motor was driven: the plate is stuck, the motor dead, or both lines are",
        )],
        [Some(true), _] => vec![finding(
            FindingKind::DeadChannel,
            Some(Channel::Rising),
            "the rising line stands while the other one follows the plate: it tells no angle, so nothing else can be tested",
        )],
        [_, Some(true)] => vec![finding(
            FindingKind::DeadChannel,
            Some(Channel::Falling),
            "the falling line stands while the other one follows the plate",
        )],
        _ => Vec::new(),
    }
}

/// Whether the line that the angle comes from stood.
pub fn no_angle(traces: &BodyTraces<'_>) -> bool {
    stood(traces, Channel::Rising) == Some(true)
}
