//! The shortest and the shallowest loss that the search finds in this recording: tried on the recording itself, not reckoned.
//!
//! Losses are put into copies of the recording's own scans, at places and phases of the sampling drawn from a fixed seed, through the
//! declared input filter; the search for jumps is run on each, with the noise and threshold of the whole recording (what a place is weighed
//! with afterwards is not, nor the search for slow losses). Stated is the least that was found at all of [`TRIALS`] places, and so are all
//! longer or deeper ones that were tried: of 59 none missed shows 95 % with 95 % confidence (0.95⁵⁹ = 0.048; exact binomial). An open
//! lead is tried as what it is: its cable holds the line up, so it falls with a time constant of its own (150 pF on 1 MΩ, WIRE.md; of
//! another logger's input nothing is known, and the same is assumed), and what little of it passes the filter is what must be seen.

use super::Watched;
use crate::analysis::prepared::Prepared;
use crate::analysis::statistics::Resampler;
use crate::analysis::{Detail, DetectionLimit};
use crate::quantity::{Channel, FindingKind};
use std::ops::Range;

/// Places that are tried per length and depth.
pub(super) const TRIALS: usize = 59;
/// Time constant of an open lead, its cable and the rig's input, µs.
const OPEN_LEAD_US: f64 = 150.0;
/// Lengths and depths are tried in steps of this factor.
const STEP: f64 = 1.25;
/// Shortest open, µs, and shallowest loss, ratio, that are tried.
const FROM: (f64, f64) = (1.0, 0.001);
/// Longest open, scan periods, and deepest loss, ratio.
const TO: (f64, f64) = (8.0, 0.4);
/// A loss of which the depth is asked lasts this many scans and time constants of the filter.
const SETTLED: (f64, f64) = (3.0, 5.0);
/// Scans on each side of a loss that the search sees.
const AROUND: usize = 90;

/// What is put into a line.
#[derive(Clone, Copy)]
enum Loss {
    /// An open lead for so long, µs.
    Open(f64),
    /// A contact that costs so much of supply, for so long, µs.
    Partial(f64, f64),
}

impl Loss {
    fn length_us(self) -> f64 {
        match self {
            Self::Open(us) | Self::Partial(_, us) => us,
        }
    }

    /// What the line misses behind the filter, ratio, `t` µs after it began; `level` is what it would read.
    fn missing(self, t: f64, level: f64, tau: f64) -> f64 {
        let length = self.length_us();
        if t < 0.0 {
            return 0.0;
        }
        let during = |t: f64| match self {
            Self::Partial(depth, _) => depth.min(level) * (1.0 - decay(t, tau)),
            Self::Open(_) => {
                // The closed form is singular where both time constants are the same.
                let sigma = if (OPEN_LEAD_US / tau.max(1e-9) - 1.0).abs() < 1e-4 {
                    1.0001 * tau
                } else {
                    OPEN_LEAD_US
                };
                let own = decay(t, tau);
                level * (1.0 - own - sigma / (sigma - tau) * (decay(t, sigma) - own))
            }
        };
        if t <= length { during(t) } else { during(length) * decay(t - length, tau) }
    }
}

/// e^(−t/τ); nothing left without a time constant.
fn decay(t: f64, tau: f64) -> f64 {
    if tau > 0.0 { (-t / tau).exp() } else { 0.0 }
}

/// Least of a rising series of losses from which all are found; none where not even the last is.
fn least(found: impl Fn(f64) -> bool, from: f64, to: f64) -> Option<f64> {
    let steps = ((to / from).ln() / STEP.ln()).ceil().max(1.0) as i32;
    let (mut missed, mut seen) = (-1, steps);
    if !found(from * STEP.powi(steps)) {
        return None;
    }
    while seen - missed > 1 {
        let middle = (seen + missed) / 2;
        if found(from * STEP.powi(middle)) { seen = middle } else { missed = middle }
    }
    Some(from * STEP.powi(seen))
}

/// One limit per line that was searched.
pub(super) fn limits(watched: &Watched<'_>, watched_min: f64, taken: &[Range<usize>]) -> Vec<DetectionLimit> {
    watched.lines().into_iter().map(|line| limit(watched, line, watched_min, taken)).collect()
}

fn limit(watched: &Watched<'_>, line: usize, watched_min: f64, taken: &[Range<usize>]) -> DetectionLimit {
    let prepared = watched.prepared();
    let channel = Channel::SENSORS[line];
    let (period, tau) = (prepared.period_us, prepared.trace.provenance.filter_us(channel));
    let places = places(watched, taken, line);
    let all = |loss: Loss| places.iter().all(|(at, phase)| found(watched, line, loss, *at, *phase, tau));
    let tried = places.len() == TRIALS && period > 0.0;
    let settled = SETTLED.0 * period + SETTLED.1 * tau;
    let shortest = tried.then(|| least(|us| all(Loss::Open(us)), FROM.0, TO.0 * period)).flatten();
    let depth = tried.then(|| least(|depth| all(Loss::Partial(depth, settled)), FROM.1, TO.1)).flatten();
    let text = match (shortest, depth) {
        _ if watched_min <= 0.0 => {
            format!("the {channel} line was not watched: a dropout of any length would not have been seen")
        }
        (Some(us), Some(depth)) => format!(
            "an open of the {channel} line shorter than {us:.0} us, or a loss shallower than {:.0} mV at 5 V, might not have been seen: \
             from there on all of {TRIALS} were that were put into this recording",
            5000.0 * depth
        ),
        _ if !tried => format!(
            "how short a dropout of the {channel} line would have been seen was not tried: too few undisturbed scans"
        ),
        (_, Some(depth)) => format!(
            "opens of the {channel} line shorter than {:.0} us are not surely seen in this recording; losses shallower than {:.0} mV at 5 V \
             are not",
            TO.0 * period,
            5000.0 * depth
        ),
        _ => format!(
            "short dropouts of the {channel} line are not surely seen in this recording, however deep: it is noisy, or turned fast for its \
             rate"
        ),
    };
    let known = |name, value: Option<f64>, unit| value.map(|value| Detail { name, value, unit });
    let mut details: Vec<Detail> = [
        known("shortest_open", shortest, "us"),
        known("least_depth", depth.map(|d| 5000.0 * d), "mV at 5 V"),
    ]
    .into_iter()
    .flatten()
    .collect();
    details.extend([
        Detail { name: "input_filter", value: tau, unit: "us" },
        Detail { name: "scan_period", value: period, unit: "us" },
        Detail { name: "watched", value: watched_min, unit: "min" },
    ]);
    DetectionLimit { kind: FindingKind::Dropout, channel: Some(channel), text, details }
}

/// Scans and phases at which losses are tried, away from what was found; fewer than [`TRIALS`] where there is no room.
fn places(watched: &Watched<'_>, taken: &[Range<usize>], line: usize) -> Vec<(usize, f64)> {
    let runs: Vec<&Range<usize>> = watched.runs().iter().filter(|r| r.len() > 2 * AROUND + 40).collect();
    let total: usize = runs.iter().map(|r| r.len() - 2 * AROUND - 40).sum();
    let mut random = Resampler::new(0x0ECD + line as u64);
    let mut out = Vec::new();
    for _ in 0..8 * TRIALS {
        if out.len() == TRIALS || total == 0 {
            break;
        }
        let mut at = (random.uniform() * total as f64) as usize;
        let phase = random.uniform();
        let Some(run) = runs.iter().find(|r| {
            let room = r.len() - 2 * AROUND - 40;
            let here = at < room;
            at -= if here { 0 } else { room };
            here
        }) else {
            continue;
        };
        let at = run.start + AROUND + at;
        let near = at.saturating_sub(AROUND)..at + AROUND;
        if taken.iter().all(|t| t.end <= near.start || t.start >= near.end) {
            out.push((at, phase));
        }
    }
    out
}

/// Whether the search finds a loss that begins `phase` of a scan before scan `at`.
fn found(watched: &Watched<'_>, line: usize, loss: Loss, at: usize, phase: f64, tau: f64) -> bool {
    let prepared: &Prepared<'_> = watched.prepared();
    let period = prepared.period_us;
    let long = ((loss.length_us() + 6.0 * tau) / period).ceil() as usize + 2;
    let end = (at + long + AROUND).min(watched.runs().iter().find(|r| r.contains(&at)).map_or(at, |r| r.end));
    let window = at.saturating_sub(AROUND)..end;
    let begun = at - window.start;
    let mut copy = watched.copy(window);
    let own = copy.line_mut(line);
    for (j, v) in own.iter_mut().enumerate().skip(begun) {
        let t = ((j - begun) as f64 + phase) * period;
        *v -= loss.missing(t, f64::from(*v), tau) as f32;
    }
    let scans = begun.saturating_sub(1)..begun + long;
    copy.search(watched).iter().any(|e| e.start < scans.end && scans.start < e.end)
}

#[cfg(test)]
mod tests {
    use super::super::detect;
    use super::*;

    #[test]
    fn the_least_that_is_found_is_found_by_halving() {
        let least = least(|v| v >= 3.0, 1.0, 100.0).unwrap();
        assert!((3.0..3.0 * STEP).contains(&least), "{least}");
        assert_eq!(super::least(|_| false, 1.0, 100.0), None);
        assert_eq!(super::least(|_| true, 1.0, 100.0), Some(1.0));
    }

    #[test]
    fn an_open_lead_behind_its_cable_and_filter_is_what_a_fine_integration_gives() {
        let (tau, length) = (100.0, 40.0);
        let (mut node, mut y, h) = (0.5, 0.5, 0.001);
        for k in 0..150_000 {
            let t = f64::from(k) * h;
            node = if t < length { node - h * node / OPEN_LEAD_US } else { 0.5 };
            y += h * (node - y) / tau;
            if k % 30_000 == 29_999 {
                let missing = Loss::Open(length).missing(t + h, 0.5, tau);
                assert!((0.5 - y - missing).abs() < 1e-5, "{t}: {y} {missing}");
            }
        }
    }

    #[test]
    fn the_threshold_is_seven_sigmas_or_ten_millivolts() {
        assert_eq!(detect::threshold(0.0), 0.002);
        assert!((detect::threshold(0.001) - 0.007).abs() < 1e-12);
    }
}
