//! A leads check as a list of states at rest, each averaged.

use super::Estimate;
use crate::analysis::prepared::Prepared;
use crate::quantity::Channel;
use crate::sheet::PartSheet;
use crate::trace::{MarkKind, Trace};
use std::ops::Range;

/// Time after a mark that is left out, µs: the switch, the filters, the mean over the supply.
const SETTLE_US: u64 = 30_000;
/// Time before a mark that is left out, µs: the mean over the supply already sees what comes.
const BEFORE_US: u64 = 10_000;
/// Shortest state that is used, µs.
const SHORTEST_US: u64 = 20_000;
/// A state whose line moves more than this from its first to its second half is no rest, ratio.
const REST_RATIO: f64 = 0.0015;
/// Blocks that a state is averaged in: their scatter shows the uncertainty, slow hum included.
const BLOCKS: usize = 8;

/// One state at rest.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct State {
    /// Place: counts up whenever the part has moved.
    pub place: usize,
    /// Supply, volts.
    pub supply: f64,
    /// Load on, per line.
    pub load: [bool; 2],
    /// Pull-down on, per line.
    pub pull_down: [bool; 2],
    /// Ratio of each line.
    pub ratio: [Option<Estimate>; 2],
    /// Supply current, amperes.
    pub amps: Option<Estimate>,
    /// Return at the plug, volts.
    pub ground: Option<Estimate>,
}

/// The states in order of time.
pub(super) fn of(trace: &Trace, sheet: &PartSheet) -> Vec<State> {
    if trace.is_empty() {
        return Vec::new();
    }
    let prepared = Prepared::new(trace, sheet);
    let mut out: Vec<State> = Vec::new();
    let (mut load, mut pull_down) = ([false; 2], [false; 2]);
    let mut place = 0;
    let mut from = trace.time_us[0];
    let end = trace.time_us[trace.len() - 1] + 1;
    let marks = trace.marks.iter().map(|m| (m.at_us, Some(m.kind))).chain([(end, None)]);
    for (at, kind) in marks {
        if let Some(state) = average(&prepared, from..at, place, load, pull_down) {
            out.push(state);
        }
        from = from.max(at);
        match kind {
            Some(MarkKind::Segment { .. }) => place += 1,
            Some(MarkKind::Input { channel, load: l, pull_down: p }) => {
                if let Some(line) = Channel::SENSORS.iter().position(|c| *c == channel) {
                    (load[line], pull_down[line]) = (l, p);
                }
            }
            _ => {}
        }
    }
    out
}

/// Averages one stretch between marks; none when it is too short or not at rest.
fn average(
    prepared: &Prepared<'_>,
    time: Range<u64>,
    place: usize,
    load: [bool; 2],
    pull_down: [bool; 2],
) -> Option<State> {
    let from = time.start + SETTLE_US;
    let to = time.end.saturating_sub(BEFORE_US);
    if to < from + SHORTEST_US {
        return None;
    }
    let times = &prepared.trace.time_us;
    let scans = times.partition_point(|t| *t < from)..times.partition_point(|t| *t < to);
    if scans.len() < 2 * BLOCKS {
        return None;
    }
    let ground = prepared.trace.channel(Channel::Ground).and_then(|g| mean(&g[scans.clone()]));
    let column = |c: Channel| prepared.trace.channel(c).and_then(|v| mean(&v[scans.clone()]));
    let ratio = [0, 1].map(|line| prepared.ratio[line].as_ref().and_then(|r| mean(&r[scans.clone()])));
    let resting = ratio.iter().flatten().count() > 0
        && (0..2).all(|line| prepared.ratio[line].as_ref().is_none_or(|r| rests(&r[scans.clone()])));
    let supply = column(Channel::Supply).map_or(prepared.supply_volts, |e| e.value);
    resting.then_some(State {
        place,
        supply,
        load,
        pull_down,
        ratio,
        amps: column(Channel::SupplyAmps),
        ground,
    })
}

fn rests(values: &[f32]) -> bool {
    let half = values.len() / 2;
    match (mean(&values[..half]), mean(&values[half..])) {
        (Some(a), Some(b)) => {
            (a.value - b.value).abs()
                < REST_RATIO + 4.0 * a.standard_uncertainty.hypot(b.standard_uncertainty).min(REST_RATIO)
        }
        _ => false,
    }
}

/// Mean of the finite values; its uncertainty from the scatter of the means of blocks.
pub(super) fn mean(values: &[f32]) -> Option<Estimate> {
    let length = values.len().div_ceil(BLOCKS).max(1);
    let blocks: Vec<f64> = values
        .chunks(length)
        .filter_map(|block| {
            let finite: Vec<f64> = block.iter().map(|v| f64::from(*v)).filter(|v| v.is_finite()).collect();
            (!finite.is_empty()).then(|| finite.iter().sum::<f64>() / finite.len() as f64)
        })
        .collect();
    if blocks.len() < 3 {
        return None;
    }
    let n = blocks.len() as f64;
    let centre = blocks.iter().sum::<f64>() / n;
    let variance = blocks.iter().map(|b| (b - centre) * (b - centre)).sum::<f64>() / (n - 1.0);
    Some(Estimate::new(centre, (variance / n).sqrt()))
}
