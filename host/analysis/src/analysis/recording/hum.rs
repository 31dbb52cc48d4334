//! Mains on a line: 50 or 60 Hz and two harmonics, at rest.
//!
//! Amplitudes by least squares at the known frequencies, rest by rest, averaged by their power. White noise of variance s² gives
//! a squared amplitude of 4·s²/n from n scans, exponentially distributed (periodogram: Bloomfield, Fourier Analysis of Time
//! Series, 2nd ed. 2000, ch. 6): twenty times that is no chance.

use super::{LimitKind, RecordingLimit};
use crate::analysis::prepared::Prepared;
use crate::quantity::{Channel, FigureName};
use std::ops::Range;

/// Mains, Hz.
const MAINS_HZ: [f64; 2] = [50.0, 60.0];
/// Harmonics looked at.
const HARMONICS: u32 = 3;
/// Scans of a rest for which waves are kept.
const LONGEST_KEPT: usize = 1 << 16;
/// Shortest rest, periods of the mains.
const LEAST_PERIODS: f64 = 4.0;
/// Power over that of white noise from which it is mains.
const BEYOND_CHANCE: f64 = 20.0;
/// Least amplitude that is named, mV at 5 V. Engineering assumption.
const LEAST_MV: f64 = 0.5;
/// What hum can make of a dip against what was before it: from crest to crest on each of both lines, and a little noise on top.
const SWING: f64 = 5.0;

/// Hum of a line.
pub(super) fn find(prepared: &Prepared<'_>, line: usize) -> Option<RecordingLimit> {
    if !prepared.trace.provenance.time_known || prepared.period_us <= 0.0 {
        return None;
    }
    let ratio = prepared.ratio[line].as_ref()?;
    let rate = 1e6 / prepared.period_us;
    let rests = rests(prepared);
    let (hz, amplitudes) = MAINS_HZ
        .into_iter()
        .filter(|hz| rate > 2.2 * hz)
        .filter_map(|hz| Some((hz, amplitudes(ratio, &rests, rate, hz)?)))
        .max_by(|a, b| total(&a.1).total_cmp(&total(&b.1)))?;
    let amplitude = (2.0 * total(&amplitudes)).sqrt();
    if amplitude < LEAST_MV {
        return None;
    }
    let channel = Channel::SENSORS[line];
    let text = format!(
        "the {channel} line carries {amplitude:.1} mV of {hz:.0} Hz mains hum at rest: noise is not the part's alone; keep leads short, \
         screen them, run the logger on its battery"
    );
    let mut limit = RecordingLimit::new(LimitKind::Hum, Some(channel), text);
    // Second differences pass a sine of frequency f by (2·sin(πf/rate))², and noise is their mean square over 6.
    let share: f64 = amplitudes
        .iter()
        .map(|(hz, a)| 0.5 * a * a * (2.0 * (std::f64::consts::PI * hz / rate).sin()).powi(4) / 6.0)
        .sum();
    limit.adds.push((FigureName::Noise, Some(channel), share));
    limit.imitates_jump_mv = SWING * amplitude;
    Some(limit)
}

/// Mean square of all harmonics.
fn total(amplitudes: &[(f64, f64)]) -> f64 {
    amplitudes.iter().map(|(_, a)| 0.5 * a * a).sum()
}

/// Amplitude of each harmonic that is there beyond chance, mV at 5 V; none without the mains itself: twice that alone is a supply's ripple.
fn amplitudes(ratio: &[f32], rests: &[Range<usize>], rate: f64, mains: f64) -> Option<Vec<(f64, f64)>> {
    let least = (LEAST_PERIODS * rate / mains).ceil() as usize;
    let mut sums = [(0.0, 0.0); HARMONICS as usize];
    let mut rested = 0.0;
    // Every rest begins with the same waves.
    let longest = rests.iter().map(ExactSizeIterator::len).max().unwrap_or(0).min(LONGEST_KEPT);
    let waves: Vec<Vec<(f64, f64)>> =
        (1..=HARMONICS).map(|k| (0..longest).map(|i| wave(turn(mains, k, rate), i)).collect()).collect();
    for rest in rests.iter().filter(|r| r.len() >= least) {
        // Whole periods, so that the harmonics are independent.
        let periods = (rest.len() as f64 * mains / rate).floor();
        let n = (periods * rate / mains).round() as usize;
        let y: Vec<f64> = ratio[rest.start..rest.start + n].iter().map(|v| 5000.0 * f64::from(*v)).collect();
        if y.iter().any(|v| !v.is_finite()) {
            continue;
        }
        let mean = y.iter().sum::<f64>() / n as f64;
        let variance = y.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / n as f64;
        for (k, sum) in sums.iter_mut().enumerate() {
            let turn = turn(mains, k as u32 + 1, rate);
            let further = (longest..n).map(|i| wave(turn, i));
            let all = waves[k].iter().copied().chain(further);
            let (c, s) = y
                .iter()
                .zip(all)
                .fold((0.0, 0.0), |(c, s), (v, (cos, sin))| (c + (v - mean) * cos, s + (v - mean) * sin));
            let square = 4.0 * (c * c + s * s) / (n as f64 * n as f64);
            // Noise without this line itself.
            let noise = (variance - 0.5 * square).max(1e-3 * variance);
            sum.0 += n as f64 * square;
            sum.1 += 4.0 * noise;
        }
        rested += n as f64;
    }
    let found: Vec<(f64, f64)> = sums
        .iter()
        .enumerate()
        .filter(|(k, (power, chance))| {
            mains * (k + 1) as f64 <= 0.45 * rate && *chance > 0.0 && *power > BEYOND_CHANCE * chance
        })
        .map(|(k, (power, _))| (mains * (k + 1) as f64, (power / rested).sqrt()))
        .collect();
    found.first().is_some_and(|(hz, _)| *hz == mains).then_some(found)
}

/// By how much a harmonic of the mains turns from one scan to the next, rad.
fn turn(mains: f64, harmonic: u32, rate: f64) -> f64 {
    std::f64::consts::TAU * mains * f64::from(harmonic) / rate
}

/// Cosine and sine of a wave at a scan.
fn wave(turn: f64, scan: usize) -> (f64, f64) {
    let phase = turn * scan as f64;
    (phase.cos(), phase.sin())
}

/// Stretches between strokes without a gap.
fn rests(prepared: &Prepared<'_>) -> Vec<Range<usize>> {
    let mut out = Vec::new();
    for segment in &prepared.segments {
        let mut start = segment.start;
        for stroke in prepared.strokes.iter().filter(|s| segment.contains(&s.range.start)) {
            out.push(start..stroke.range.start);
            start = stroke.range.end;
        }
        out.push(start..segment.end);
    }
    out
}
