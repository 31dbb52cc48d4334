//! How long the plate takes to rest once the drive lets go, and whether it gets there. It judges nothing.
//!
//! Every time is given with the bridge's state: with the motor shorted it brakes, and a return takes two to three times as long.
//! Returned means within [`NEAR_DEG`] of the rest position, to stay. Times run from the rig's own mark.

use super::estimate::Estimate;
use super::rest::stands;
use super::stretches::{Recording, Stretch, closed_loop};
use crate::analysis::statistics::mean;
use crate::quantity::Bridge;
use crate::trace::{Stimulus, Trace, begun, follows};

/// Within this of rest, to stay, degrees.
pub const NEAR_DEG: f64 = 1.0;
/// A release from nearer than this to rest is not timed, degrees.
const LEAST_DEG: f64 = 1.5;
/// A release shorter than this may end before the plate is there, s.
const SHORTEST_S: f64 = 0.3;
/// Openings nearer than this to each other are one, degrees.
const SAME_DEG: f64 = 1.0;
/// The plate is held this near to the opening that was asked for, degrees.
const NEAR_OPENING_DEG: f64 = 2.0;
/// Repeatability of one return (the physics study, part B, 3.7), s.
const ONE_S: f64 = 0.25e-3;

/// One return.
#[derive(Clone, Debug, PartialEq)]
pub struct Return {
    /// Where it was let go, degrees.
    pub from_deg: f64,
    /// How the bridge was.
    pub bridge: Bridge,
    /// Time to rest, s; none when it did not get there.
    pub seconds: Option<f64>,
    /// How far past rest it swung, degrees.
    pub overshoot_deg: f64,
    /// Where it ended, degrees.
    pub end_deg: f64,
    /// Samples, for the plot.
    pub range: std::ops::Range<usize>,
}

/// Returns from one opening with one bridge state.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Returns {
    /// From, whole degrees.
    pub from_deg: f64,
    /// How the bridge was.
    pub bridge: Bridge,
    /// Median time, s; none where any did not get there.
    pub seconds: Option<Estimate>,
    /// Largest overshoot past rest, degrees.
    pub overshoot_deg: f64,
    /// Returns, and how many of them did not end at rest.
    pub count: (usize, usize),
}

/// Every return of a recording from a closed-loop hold.
pub fn find(recording: &Recording, rest_deg: f64) -> Vec<Return> {
    let pairs = recording.with_previous().filter(|(before, _)| closed_loop(before.stimulus));
    pairs.filter_map(|(before, s)| one(recording, before, s, rest_deg)).collect()
}

/// Openings from which no return came that could be timed, though the program let go there and scans or events of the recording were lost.
pub fn lost(trace: &Trace, returns: &[Return], rest_deg: f64) -> Vec<(f64, Bridge)> {
    let program = &trace.provenance.program;
    let told = begun(trace);
    let is_whole = trace.gaps.is_empty() && told.windows(2).all(|pair| follows(program, pair[0], pair[1]));
    if is_whole || trace.was_interrupted() {
        return Vec::new();
    }
    let asked = program.windows(3).filter_map(|w| match (w[0], w[2]) {
        (Stimulus::Ramp { to_deg, .. }, Stimulus::Release { .. }) => Some((to_deg, Bridge::Open)),
        (Stimulus::Ramp { to_deg, .. }, Stimulus::Brake { .. }) => Some((to_deg, Bridge::Brake)),
        _ => None,
    });
    let came = |(deg, bridge): &(f64, Bridge)| {
        returns.iter().any(|r| r.bridge == *bridge && (r.from_deg - deg).abs() < NEAR_OPENING_DEG)
    };
    asked.filter(|one| (one.0 - rest_deg).abs() > LEAST_DEG + NEAR_OPENING_DEG && !came(one)).collect()
}

fn one(r: &Recording, before: &Stretch, s: &Stretch, rest_deg: f64) -> Option<Return> {
    let bridge = match s.stimulus {
        Stimulus::Release { .. } => Bridge::Open,
        Stimulus::Brake { .. } => Bridge::Brake,
        _ => return None,
    };
    let from_deg = mean(r.deg(r.tail(&before.range, 0.004)))?;
    if (from_deg - rest_deg).abs() < LEAST_DEG || (s.range.len() as f64) * r.period_s < SHORTEST_S {
        return None;
    }
    let deg = r.deg(s.range.clone());
    let smooth: Vec<f64> = deg.windows(5).map(|w| w.iter().sum::<f64>() / 5.0 - rest_deg).collect();
    if s.whole && smooth.iter().any(|d| !d.is_finite()) {
        return None;
    }
    let tail = r.tail(&s.range, 0.06);
    let end_deg = r.seen_deg(tail.clone())?;
    let there = stands(r, tail).is_some() && (end_deg - rest_deg).abs() < NEAR_DEG;
    let sign = (from_deg - rest_deg).signum();
    let past = smooth.iter().map(|d| -sign * d).fold(0.0, f64::max);
    let last_out = smooth.iter().rposition(|d| d.abs() >= NEAR_DEG);
    // Lost scans between the last that is out and the first that is in, or the last of all: when it came is not known.
    let edge = last_out.map_or(0, |k| k + 1);
    if smooth.get(edge).or(smooth.last()).is_some_and(|d| !d.is_finite()) {
        return None;
    }
    let seconds = match last_out {
        Some(k) if k + 1 < smooth.len() => {
            let (a, b) = (smooth[k].abs(), smooth[k + 1].abs());
            let at = k as f64 + 2.0 + (a - NEAR_DEG) / (a - b);
            let first_us = r.signals.time_us[s.range.start] as f64 - s.began_us as f64;
            Some(at * r.period_s + first_us * 1e-6)
        }
        Some(_) => None,
        None => Some(0.0),
    };
    Some(Return {
        from_deg,
        bridge,
        seconds: seconds.filter(|_| there),
        overshoot_deg: past,
        end_deg,
        range: s.range.clone(),
    })
}

/// Grouped by opening and bridge, in order of opening.
pub fn grouped(returns: &[Return]) -> Vec<Returns> {
    let mut sorted: Vec<&Return> = returns.iter().collect();
    sorted.sort_by(|a, b| a.bridge.name().cmp(b.bridge.name()).then(a.from_deg.total_cmp(&b.from_deg)));
    let one_opening = |a: &&Return, b: &&Return| a.bridge == b.bridge && b.from_deg - a.from_deg < SAME_DEG;
    let mut out: Vec<Returns> = sorted.chunk_by(one_opening).filter_map(together).collect();
    out.sort_by(|a, b| a.from_deg.total_cmp(&b.from_deg).then(a.bridge.name().cmp(b.bridge.name())));
    out
}

fn together(group: &[&Return]) -> Option<Returns> {
    let times: Option<Vec<f64>> = group.iter().map(|r| r.seconds).collect();
    Some(Returns {
        from_deg: mean(&group.iter().map(|r| r.from_deg).collect::<Vec<f64>>())?.round(),
        bridge: group[0].bridge,
        seconds: times.and_then(|t| Estimate::median_of(&t, ONE_S)),
        overshoot_deg: group.iter().map(|r| r.overshoot_deg).fold(0.0, f64::max),
        count: (group.len(), group.iter().filter(|r| r.seconds.is_none()).count()),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::body::stretches::Signals;

    /// A plate held at 40 degrees, then let go: it falls evenly to rest at 6.5 degrees, or to where it hangs.
    fn falls(deg_s: f64, ends_deg: f64) -> Recording {
        let mut signals = Signals::default();
        for k in 0..6000u64 {
            let t = k as f64 * 2e-4 - 0.2;
            signals.time_us.push(k * 200);
            signals.deg.push(if t < 0.0 { 40.0 } else { (40.0 - deg_s * t).max(ends_deg) });
            signals.volts.push(0.0);
            signals.amps.push(0.0);
        }
        let program = [Stimulus::Hold { seconds: 0.2 }, Stimulus::Release { seconds: 1.0 }];
        Recording::new(signals, &program, &[(0, 0, 0), (1, 0, 200_000)], &[])
    }

    #[test]
    fn the_time_to_within_a_degree_of_rest_is_that_of_the_motion() {
        let found = find(&falls(100.0, 6.5), 6.5);
        assert_eq!(found.len(), 1);
        // 32.5 degrees at 100°/s.
        let seconds = found[0].seconds.expect("it returns");
        assert!((seconds - 0.325).abs() < 2e-4, "{seconds}");
        assert_eq!((found[0].bridge, found[0].overshoot_deg), (Bridge::Open, 0.0));
    }

    #[test]
    fn a_plate_that_hangs_has_no_time_and_counts_as_hung() {
        let found = find(&falls(100.0, 12.0), 6.5);
        assert_eq!(found[0].seconds, None);
        let group = grouped(&found);
        assert_eq!((group[0].from_deg, group[0].count, group[0].seconds), (40.0, (1, 1), None));
    }
}
