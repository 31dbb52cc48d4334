//! Noisy stretches of a track: noise in windows of travel against the rest of the sweep. The noise figure itself is
//! `noise`'s; a track that is noisy all over shows there, not here.
//!
//! Noise is taken from second differences of neighbouring scans, in which motion cancels, pooled over all strokes; it is the
//! mean of their magnitudes, each cut at 8 × the upper quartile, so that neither quantisation nor a jump decides it.

use super::prepared::Prepared;
use super::{Detail, DetectionLimit, Finding, PlotCurve, dropout, statistics};
use crate::quantity::{Channel, FindingKind, Unit};
use crate::sheet::PartSheet;

/// Noise over that of the sweep from which a stretch counts as noisy; the largest of 10 000 simulated healthy sweeps: 1.55.
pub const THRESHOLD: f64 = 2.2;
/// The detail that holds a stretch's noise, mV at 5 V.
pub const NOISE: &str = "noise";
/// Finest window, degrees.
const WINDOW_DEG: f64 = 0.5;
/// Second differences a window needs for its mean to be known within about 8 %.
const ENOUGH: usize = 120;
/// Scans further apart than this, degrees, see a track's texture as noise: then a map of noise would be one of texture.
const COARSEST_DEG: f64 = 0.25;
/// Travel left out at each stop, degrees: motion starts and stops there.
const EDGE_DEG: f64 = 1.0;
/// Second differences count up to this many upper quartiles: a jump of the output is not noise.
const CAP: f64 = 8.0;
/// Mean magnitude of a normal variable over its standard deviation, √(2/π).
const MEAN_TO_SD: f64 = 0.797_884_560_802_865_4;

/// What the search found and what it would have missed.
#[derive(Clone, Debug, PartialEq)]
pub struct Report {
    /// One per noisy stretch.
    pub findings: Vec<Finding>,
    /// Noise along the travel, mV at 5 V, one standard deviation.
    pub curve: Option<PlotCurve>,
    /// The same with jumps of the output counted in full: what the search for flat spots must not be fooled by.
    pub with_jumps: Option<PlotCurve>,
    /// The least excess of noise that would have been seen.
    pub limit: DetectionLimit,
    /// Largest window over the median window: what the false-alarm study is made of.
    pub strongest: Option<f64>,
}

/// Windows of travel.
struct Windows {
    low: f64,
    width: f64,
    count: Vec<usize>,
    /// Of magnitudes cut at the cap.
    sum: Vec<f64>,
    /// Of whole magnitudes.
    whole: Vec<f64>,
}

/// Searches line `line` (0 = first, 1 = second) of a sweep.
pub fn find(prepared: &Prepared<'_>, line: usize, dropouts: &dropout::Report, sheet: &PartSheet) -> Report {
    let _ = sheet;
    let Some(windows) = measure(prepared, line, dropouts) else {
        return Report {
            findings: Vec::new(),
            curve: None,
            with_jumps: None,
            limit: untested(line),
            strongest: None,
        };
    };
    let sd = windows.sd();
    let mut known: Vec<f64> = sd.iter().copied().filter(|v| v.is_finite()).collect();
    let usual = statistics::median(&mut known).unwrap_or(0.0).max(quiet_floor(prepared, line));
    let partner =
        measure(prepared, 1 - line, dropouts).filter(|w| w.sd().len() == sd.len()).map(|w| relative(&w.sd()));
    // What both lines show alike is motion, not a track.
    let own = |k: usize| {
        let ratio = sd[k] / usual;
        let shared = partner.as_ref().map_or(0.0, |p| if p[k].is_finite() { p[k] } else { 0.0 });
        if shared > THRESHOLD && shared > 0.5 * ratio { 0.0 } else { ratio }
    };
    let mut findings = Vec::new();
    let mut k = 0;
    while k < sd.len() {
        // A window without enough scans is NaN and passes by.
        if own(k).is_nan() || own(k) <= THRESHOLD {
            k += 1;
            continue;
        }
        let start = k;
        while k < sd.len() && own(k) > 0.6 * THRESHOLD {
            k += 1;
        }
        findings.push(finding(line, &windows, start..k, &sd, usual, prepared));
    }
    let strongest = (0..sd.len()).map(own).filter(|r| r.is_finite()).reduce(f64::max);
    Report {
        findings,
        curve: Some(windows.curve(line, &sd)),
        with_jumps: Some(windows.curve(line, &windows.sd_of(&windows.whole))),
        limit: limit(line, &windows, usual),
        strongest,
    }
}

/// Second differences of the strokes by travel; none when too few.
fn measure(prepared: &Prepared<'_>, line: usize, dropouts: &dropout::Report) -> Option<Windows> {
    let ratio = prepared.ratio.get(line)?.as_ref()?;
    let (low, high) = prepared.travel_deg?;
    let (low, high) = (low + EDGE_DEG, high - EDGE_DEG);
    let samples: usize = prepared.strokes.iter().map(|s| s.range.len()).sum();
    let apart = prepared.speed_deg_s * prepared.period_us * 1e-6;
    if high - low < 5.0 || samples < 6 * ENOUGH || apart > COARSEST_DEG {
        return None;
    }
    let width = (WINDOW_DEG).max(ENOUGH as f64 * (high - low) / samples as f64);
    let n = ((high - low) / width).floor() as usize;
    if n < 5 {
        return None;
    }
    let cap = CAP * usual_difference(prepared, ratio);
    let mut windows = Windows { low, width, count: vec![0; n], sum: vec![0.0; n], whole: vec![0.0; n] };
    let mut events =
        dropouts.events.iter().map(|e| e.scans.start.saturating_sub(3)..e.scans.end + 4).peekable();
    for stroke in &prepared.strokes {
        for i in stroke.range.start + 1..stroke.range.end.saturating_sub(1) {
            while events.peek().is_some_and(|e| e.end <= i) {
                events.next();
            }
            if events.peek().is_some_and(|e| e.contains(&i)) {
                continue;
            }
            let second = f64::from((ratio[i - 1] - ratio[i]) + (ratio[i + 1] - ratio[i])).abs();
            let k = (f64::from(prepared.deg[i]) - low) / width;
            if second.is_finite() && k >= 0.0 && k < n as f64 {
                windows.count[k as usize] += 1;
                windows.sum[k as usize] += second.min(cap);
                windows.whole[k as usize] += second;
            }
        }
    }
    Some(windows)
}

/// Upper quartile of the magnitude of second differences over the strokes.
fn usual_difference(prepared: &Prepared<'_>, ratio: &[f32]) -> f64 {
    let total: usize = prepared.strokes.iter().map(|s| s.range.len()).sum();
    let every = (total / 40_000).max(1);
    let mut all: Vec<f64> = prepared
        .strokes
        .iter()
        .flat_map(|s| ratio[s.range.clone()].windows(3).step_by(every))
        .map(|w| f64::from((w[0] - w[1]) + (w[2] - w[1])).abs())
        .filter(|v| v.is_finite())
        .collect();
    let high = statistics::quantile(&mut all, 0.75).unwrap_or(0.0);
    high.max(1e-9)
}

/// Below a third of a step there is no noise to compare with: what a line reads there depends on where between two codes it lies. The step is
/// the converter's, of the volts as logged, which a ratio to a moving supply does not show.
fn quiet_floor(prepared: &Prepared<'_>, line: usize) -> f64 {
    let channel = Channel::SENSORS[line];
    let stated = prepared.trace.provenance.channel(channel).map_or(0.0, |c| c.resolution);
    let logged = prepared.trace.channel(channel).map_or(0.0, statistics::quantum);
    (0.3 * stated.max(logged) / prepared.supply_volts).max(1e-6)
}

fn relative(sd: &[f64]) -> Vec<f64> {
    let mut known: Vec<f64> = sd.iter().copied().filter(|v| v.is_finite()).collect();
    let usual = statistics::median(&mut known).unwrap_or(0.0).max(1e-9);
    sd.iter().map(|v| v / usual).collect()
}

impl Windows {
    /// One standard deviation per window, ratio; NaN with too few differences.
    fn sd(&self) -> Vec<f64> {
        self.sd_of(&self.sum)
    }

    fn sd_of(&self, sums: &[f64]) -> Vec<f64> {
        let to_sd = 1.0 / (MEAN_TO_SD * 6.0f64.sqrt());
        self.count
            .iter()
            .zip(sums)
            .map(|(n, s)| if *n >= ENOUGH / 3 { to_sd * s / *n as f64 } else { f64::NAN })
            .collect()
    }

    fn edge(&self, k: usize) -> f64 {
        self.low + k as f64 * self.width
    }

    fn curve(&self, line: usize, sd: &[f64]) -> PlotCurve {
        PlotCurve {
            name: "noise",
            channel: Some(Channel::SENSORS[line]),
            direction: "mean",
            unit: Unit::MillivoltAtFive,
            deg: (0..sd.len()).map(|k| self.edge(k) + 0.5 * self.width).collect(),
            y: sd.iter().map(|v| 5000.0 * v).collect(),
        }
    }
}

fn finding(
    line: usize,
    windows: &Windows,
    range: std::ops::Range<usize>,
    sd: &[f64],
    usual: f64,
    prepared: &Prepared<'_>,
) -> Finding {
    let channel = Channel::SENSORS[line];
    let worst = range.clone().map(|k| sd[k]).fold(0.0, f64::max);
    let ratio = worst / usual;
    let (from, to) = (windows.edge(range.start), windows.edge(range.end));
    Finding {
        kind: FindingKind::NoisyTrack,
        channel: Some(channel),
        from_deg: Some(from),
        to_deg: Some(to),
        confidence: (1.0 - 0.1 * (-(ratio - THRESHOLD) / 0.3).exp()).clamp(0.5, 0.999),
        text: format!(
            "the {channel} line is {ratio:.1} times as noisy from {from:.1} to {to:.1} deg as along the rest of its travel \
             ({:.1} against {:.1} mV)",
            5000.0 * worst,
            5000.0 * usual
        ),
        details: vec![
            Detail { name: "noise_ratio", value: ratio, unit: "1" },
            Detail { name: NOISE, value: 5000.0 * worst, unit: "mV at 5 V" },
            Detail { name: "usual_noise", value: 5000.0 * usual, unit: "mV at 5 V" },
            Detail { name: "strokes", value: prepared.strokes.len() as f64, unit: "1" },
        ],
    }
}

fn untested(line: usize) -> DetectionLimit {
    DetectionLimit {
        kind: FindingKind::NoisyTrack,
        channel: Some(Channel::SENSORS[line]),
        text: format!(
            "noisy stretches of the {} line were not looked for: too few scans in motion, or more than 0.25 deg apart; sweep slower, at a higher rate, or \
             for more cycles",
            Channel::SENSORS[line]
        ),
        details: Vec::new(),
    }
}

fn limit(line: usize, windows: &Windows, usual: f64) -> DetectionLimit {
    let channel = Channel::SENSORS[line];
    // A window's mean scatters by about 0.76·1.3/√n; 2.33 of that above the threshold is seen with 99 %.
    let n = windows.count.iter().copied().filter(|n| *n >= ENOUGH / 3).min().unwrap_or(ENOUGH) as f64;
    let ratio = THRESHOLD * (1.0 + 2.33 / n.sqrt());
    DetectionLimit {
        kind: FindingKind::NoisyTrack,
        channel: Some(channel),
        text: format!(
            "a stretch of the {channel} line longer than {:.1} deg would have been seen from {:.1} mV of noise at 5 V on, {ratio:.1} \
             times the usual",
            2.0 * windows.width,
            5000.0 * ratio * usual
        ),
        details: vec![
            Detail { name: "window", value: windows.width, unit: "deg" },
            Detail { name: "least_ratio", value: ratio, unit: "1" },
            Detail { name: "least_noise", value: 5000.0 * ratio * usual, unit: "mV at 5 V" },
        ],
    }
}

#[cfg(test)]
#[path = "noise_map_tests.rs"]
mod tests;
