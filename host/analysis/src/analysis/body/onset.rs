//! When a plate begins to move after a command: one step, one time. It does not know which step.
//!
//! Once the torque passes friction the plate goes as A·∬(i − i₀)dt², i₀ the current at that moment t₀: the recorded current itself gives
//! the shape, so neither inductance nor back EMF need be assumed. t₀ by least squares over the samples up to the first sure
//! motion, A in closed form for each t₀ (change point of a known shape: Hinkley, Biometrika 56 (1969) 495). Told is the moment
//! at which that motion has made [`FIRST_MOTION_DEG`]. In simulation one onset scatters by 0.09 ms, half of what a parabola from t₀
//! scatters on the same steps.
//!
//! Towards open the rotor first winds up the gears, some hundredths of a degree, before the plate breaks away, and then takes it
//! along with a run: the motion that is fitted seems to begin too early. Towards closed they only unwind. Hence a bias, which hangs
//! on the stiffness of the gears and on how friction gives way: [`BIAS_S`], with its spread. (The mean of a part's own steps does not show it: the
//! base of a step drifts by more than the first motion.)

use super::stretches::{Recording, Stretch};
use crate::analysis::statistics;

/// Motion that counts as the first, degrees.
pub const FIRST_MOTION_DEG: f64 = 0.004;
/// What the estimate is late by, s, towards open and towards closed: the middle of what bodies of other stiffness, friction and pre-sliding
/// show in simulation. Engineering assumption.
pub const BIAS_S: (f64, f64) = (-0.10e-3, -0.25e-3);
/// Standard uncertainty of that, s: the spread over such bodies.
pub const BIAS_UNCERTAINTY_S: (f64, f64) = (0.20e-3, 0.30e-3);
/// Standard uncertainty of one onset, s, at 0.02° of noise and 5 kHz.
pub const ONE_S: f64 = 0.12e-3;
/// Samples before the command whose mean is the base, s.
const BASE_S: f64 = 0.012;
/// Motion counts as sure beyond this share of the step, or so many spreads of noise.
const SURE: (f64, f64) = (0.06, 15.0);
/// A base that drifts more than this was not at rest, degrees.
const DRIFT_DEG: f64 = 0.1;
/// A base creeps when its second half differs from its first by so many standard errors of that difference.
const CREEP_ERRORS: f64 = 3.0;
/// t₀ is looked for no longer than this before sure motion, s.
const EARLIEST_S: f64 = 0.04;

/// One step's beginning.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Onset {
    /// From the command to first motion, s, its bias not taken off; may be slightly negative by noise.
    pub seconds: f64,
    /// Where the plate stood, degrees.
    pub base_deg: f64,
    /// 1 towards open, −1 towards closed.
    pub sign: f64,
}

/// Why a step shows no onset.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NoOnset {
    /// The plate was not at rest before.
    NotAtRest,
    /// It did not move.
    NoMotion,
    /// Samples are missing.
    Missing,
}

/// Onset of the motion that `stretch` commands, towards `sign`, with `expected_deg` of motion to come.
///
/// # Errors
/// Says why there is none.
pub fn find(
    recording: &Recording,
    stretch: &Stretch,
    sign: f64,
    expected_deg: f64,
) -> Result<Onset, NoOnset> {
    let before = stretch.range.start.saturating_sub(recording.samples(BASE_S))..stretch.range.start;
    let base = recording.deg(before.clone());
    let mean_deg = statistics::mean(base).ok_or(NoOnset::Missing)?;
    let (early, late) = base.split_at(base.len() / 2);
    let drift = statistics::mean(late).zip(statistics::mean(early)).map_or(f64::NAN, |(a, b)| a - b);
    if drift.is_nan() || drift.abs() >= DRIFT_DEG + 3.0 * recording.noise_deg {
        return Err(NoOnset::NotAtRest);
    }
    let since = |us: &u64| (*us as f64 - stretch.began_us as f64) * 1e-6;
    let t: Vec<f64> = recording.signals.time_us[stretch.range.clone()].iter().map(since).collect();
    // A plate that still creeps to its place goes on creeping until the command's current moves it: that line is its base.
    let times: Vec<f64> = recording.signals.time_us[before].iter().map(since).collect();
    let creeps = drift.abs() > CREEP_ERRORS * recording.noise_deg * (4.0 / base.len() as f64).sqrt();
    let middle_s = statistics::mean(&times).unwrap_or(0.0);
    let speed = if creeps { statistics::theil_sen(&times, base).map_or(0.0, |line| line.0) } else { 0.0 };
    let base_at = |t: f64| mean_deg + speed * (t - middle_s);
    let base_deg = base_at(0.0);
    let y: Vec<f64> =
        recording.deg(stretch.range.clone()).iter().zip(&t).map(|(d, t)| sign * (d - base_at(*t))).collect();
    let sure = (SURE.0 * expected_deg.abs()).max(SURE.1 * recording.noise_deg);
    let last = y.windows(3).position(|w| w.iter().all(|v| *v > sure)).ok_or(NoOnset::NoMotion)?;
    let (t, y) = (&t[..=last], &y[..=last]);
    if y.iter().any(|v| !v.is_finite()) || last < 3 {
        return Err(NoOnset::Missing);
    }
    let amps: Vec<f64> = recording
        .amps(stretch.range.start..stretch.range.start + last + 1)
        .iter()
        .map(|i| sign * i)
        .collect();
    if amps.len() < t.len() || amps.iter().any(|i| !i.is_finite()) {
        return Err(NoOnset::Missing);
    }
    let low = t[0].max(t[last] - EARLIEST_S);
    let t0 = least(low, t[last] - 0.5 * recording.period_s, |t0| fit(&shape(t, &amps, t0), y).1);
    let shape = shape(t, &amps, t0);
    let moved: Vec<f64> = shape.iter().map(|f| fit(&shape, y).0 * f).collect();
    let seconds = reaches(t, &moved, t0).ok_or(NoOnset::NoMotion)?;
    Ok(Onset { seconds, base_deg, sign })
}

/// ∬(i − i(t₀))dt² from t₀ on at each sample, trapezoid of what is linear between samples.
fn shape(t: &[f64], amps: &[f64], t0: f64) -> Vec<f64> {
    let mut out = vec![0.0; t.len()];
    let first = t.partition_point(|t| *t < t0);
    if first == 0 || first >= t.len() {
        return out;
    }
    let share = (t0 - t[first - 1]) / (t[first] - t[first - 1]);
    let at_start = amps[first - 1] + share * (amps[first] - amps[first - 1]);
    let (mut last_t, mut last_a, mut speed, mut way) = (t0, 0.0, 0.0, 0.0);
    for k in first..t.len() {
        let (h, a) = (t[k] - last_t, amps[k] - at_start);
        way += speed * h + (2.0 * last_a + a) * h * h / 6.0;
        speed += 0.5 * (last_a + a) * h;
        out[k] = way;
        (last_t, last_a) = (t[k], a);
    }
    out
}

/// Best factor ≥ 0 of a shape and the sum of squares that is left.
fn fit(shape: &[f64], y: &[f64]) -> (f64, f64) {
    let ff: f64 = shape.iter().map(|f| f * f).sum();
    let fy: f64 = shape.iter().zip(y).map(|(f, y)| f * y).sum();
    let yy: f64 = y.iter().map(|y| y * y).sum();
    if ff > 0.0 && fy > 0.0 { (fy / ff, yy - fy * fy / ff) } else { (0.0, yy) }
}

/// When the fitted motion reaches the first that counts. Current rises evenly at first, so before the first sample it goes as a cube.
fn reaches(t: &[f64], moved: &[f64], t0: f64) -> Option<f64> {
    let k = moved.iter().position(|m| *m >= FIRST_MOTION_DEG)?;
    let before = if k > 0 { moved[k - 1] } else { 0.0 };
    Some(if before > 0.0 {
        t[k - 1] + (FIRST_MOTION_DEG - before) / (moved[k] - before) * (t[k] - t[k - 1])
    } else {
        t0 + (t[k] - t0) * (FIRST_MOTION_DEG / moved[k]).cbrt()
    })
}

/// Place of the least value: a grid, then golden sections about its best point.
fn least(low: f64, high: f64, f: impl Fn(f64) -> f64) -> f64 {
    const STEPS: usize = 40;
    let at = |k: usize| low + (high - low) * k as f64 / STEPS as f64;
    let best = (0..=STEPS).min_by(|a, b| f(at(*a)).total_cmp(&f(at(*b)))).unwrap_or(0);
    let (mut a, mut b) = (at(best.saturating_sub(1)), at((best + 1).min(STEPS)));
    let golden = 0.5 * (5.0f64.sqrt() - 1.0);
    for _ in 0..24 {
        let (c, d) = (b - golden * (b - a), a + golden * (b - a));
        if f(c) < f(d) {
            b = d;
        } else {
            a = c;
        }
    }
    0.5 * (a + b)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::trace::Stimulus;

    /// A motion whose current rises as 1 − e^(−t/τ) after a command at 0, and which begins when the current passes a level.
    /// Also the true moment of first motion, s after the command.
    fn step(begins_s: f64) -> (Recording, Stretch, f64) {
        let (period_us, before) = (200u64, 100usize);
        let current = |t: f64| 5.0 * (1.0 - (-t.max(0.0) / 1.3e-3).exp());
        let mut signals = super::super::stretches::Signals::default();
        let (mut speed, mut way, mut first) = (0.0, 0.0, f64::NAN);
        for k in 0..before + 150 {
            let t = (k as f64 - before as f64) * 2e-4;
            signals.time_us.push(1_000_000 + k as u64 * period_us);
            signals.amps.push(current(t));
            signals.volts.push(if t >= 0.0 { 8.0 } else { 0.0 });
            signals.deg.push(30.0 + way);
            for j in 0..20 {
                let now = t + f64::from(j) * 1e-5;
                let push = if now > begins_s { 1e4 * (current(now) - current(begins_s)) } else { 0.0 };
                speed += push * 1e-5;
                way += speed * 1e-5;
                if first.is_nan() && way >= FIRST_MOTION_DEG {
                    first = now;
                }
            }
        }
        let began_us = 1_000_000 + before as u64 * period_us;
        let program = [Stimulus::Hold { seconds: 0.02 }, Stimulus::Volts { volts: 8.0, seconds: 0.03 }];
        let recording = Recording::new(signals, &program, &[(0, 0, 1_000_000), (1, 0, began_us)], &[]);
        let stretch = recording.stretches[1].clone();
        (recording, stretch, first)
    }

    #[test]
    fn a_motion_that_begins_when_current_passes_a_level_gives_that_moment_back() {
        for begins in [0.3e-3, 1.1e-3, 2.5e-3] {
            let (recording, stretch, first) = step(begins);
            let onset = find(&recording, &stretch, 1.0, 10.0).expect("it moves");
            // The trapezoid over 0.2 ms samples of a rising current is the only error left.
            assert!((onset.seconds - first).abs() < 5e-5, "{} for {first}", onset.seconds);
        }
    }

    #[test]
    fn a_plate_that_creeps_to_its_place_begins_where_the_current_moves_it() {
        for (begins, creep_deg) in [(0.3e-3, -0.15), (1.1e-3, -0.15), (2.5e-3, 0.1)] {
            let (mut recording, stretch, first) = step(begins);
            // A loop that still settles, with 40 ms.
            for (k, d) in recording.signals.deg.iter_mut().enumerate() {
                *d += creep_deg * (1.0 - (-(k as f64) * 2e-4 / 0.04).exp());
            }
            let onset = find(&recording, &stretch, 1.0, 10.0).expect("it moves");
            assert!((onset.seconds - first).abs() < 3e-4, "{} for {first}", onset.seconds);
            let drift = (recording.signals.deg[99] - onset.base_deg).abs();
            assert!(drift < 0.01, "{drift}");
        }
    }

    #[test]
    fn a_plate_that_stays_or_was_moving_gives_no_onset() {
        let (recording, stretch, _) = step(1.0);
        assert_eq!(find(&recording, &stretch, 1.0, 10.0), Err(NoOnset::NoMotion));
        let (mut recording, stretch, _) = step(1e-3);
        for (k, d) in recording.signals.deg.iter_mut().take(100).enumerate() {
            *d += 0.01 * k as f64;
        }
        assert_eq!(find(&recording, &stretch, 1.0, 10.0), Err(NoOnset::NotAtRest));
        let (mut recording, stretch, _) = step(1e-3);
        recording.signals.amps[102] = f64::NAN;
        assert_eq!(find(&recording, &stretch, 1.0, 10.0), Err(NoOnset::Missing));
    }
}
