//! Lash away from rest: the plate is moved by a probe through the bore with the bridge open. It judges nothing.
//!
//! Above rest the motor can't cross the play, a probe can: each stroke of the plate, from turn to turn, takes up the play
//! before the rotor follows, so lash = |Δθ| − |∫(v − v₀)dt|/K'. Faster than about 30 degrees per second the rotor runs on through the play and
//! the result is wrong (the physics study, part B, 3.5): such strokes are left out.

use super::estimate::Estimate;
use super::motor::{RAD, integral};
use super::stretches::Recording;
use crate::analysis::statistics::{self, mean};

/// A stroke must turn by this to count, degrees.
const TURN_DEG: f64 = 0.7;
/// Lengths of strokes used, degrees.
const STROKE_DEG: std::ops::Range<f64> = 1.2..7.0;
/// Fastest stroke, degrees per second.
const FASTEST_DEG_S: f64 = 25.0;
/// Slower than this the plate stands, degrees per second.
const STANDS_DEG_S: f64 = 0.6;
/// Places nearer than this are one, degrees.
const PLACE_DEG: f64 = 6.0;
/// Standard uncertainty of the method, degrees (the study: 0.04 to 0.05). Engineering assumption.
const METHOD_DEG: f64 = 0.045;
/// Time over which the plate's speed is taken, s.
const SPEED_S: f64 = 0.05;

/// Lash at one place.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pushed {
    /// Where, degrees.
    pub at_deg: f64,
    /// Lash there, degrees.
    pub lash: Estimate,
    /// Strokes.
    pub strokes: usize,
}

/// Lash at every place that was pushed at, in order of travel; and strokes left out as too fast.
pub fn measure(r: &Recording, emf: Estimate) -> (Vec<Pushed>, usize) {
    let half = r.samples(0.5 * SPEED_S);
    let smooth = moving_mean(&r.signals.deg, r.samples(0.004));
    let Some(offset) = standing_volts(r, &smooth, half) else { return (Vec::new(), 0) };
    let mut strokes = Vec::new();
    let mut fast = 0;
    for pair in turns(&smooth).windows(2) {
        let (from, to) = (pair[0], pair[1]);
        let travel = smooth[to] - smooth[from];
        let seconds = (to - from) as f64 * r.period_s;
        if !STROKE_DEG.contains(&travel.abs()) || to >= r.signals.volts.len() {
            continue;
        }
        if fastest(&smooth[from..=to], half, r.period_s) > FASTEST_DEG_S || seconds <= 0.0 {
            fast += 1;
            continue;
        }
        // The rotor stands before the turn and after it, so the window may reach a little beyond both.
        let margin = r.samples(0.01);
        let window = from.saturating_sub(margin)..(to + margin).min(r.signals.volts.len());
        let Some(flux) = integral(r.volts(window), offset, r.period_s) else { continue };
        let lash = travel.abs() - (flux / emf.value / RAD).abs();
        if lash.is_finite() {
            strokes.push((0.5 * (smooth[from] + smooth[to]), lash));
        }
    }
    strokes.sort_by(|a, b| a.0.total_cmp(&b.0));
    let places = strokes.chunk_by(|a, b| b.0 - a.0 < PLACE_DEG);
    let of = |group: &[(f64, f64)]| {
        let all: Vec<f64> = group.iter().map(|s| s.1).collect();
        let lash = Estimate::median_of(&all, 0.02)?.widened(METHOD_DEG);
        let at_deg = mean(&group.iter().map(|s| s.0).collect::<Vec<f64>>())?;
        Some(Pushed { at_deg, lash, strokes: group.len() })
    };
    (places.filter(|g| g.len() >= 2).filter_map(of).collect(), fast)
}

fn moving_mean(values: &[f64], n: usize) -> Vec<f64> {
    let half = n / 2;
    (0..values.len())
        .map(|k| {
            let near = &values[k.saturating_sub(half)..(k + half + 1).min(values.len())];
            mean(near).unwrap_or(f64::NAN)
        })
        .collect()
}

/// Volts while the plate stands: the meter's offset.
fn standing_volts(r: &Recording, smooth: &[f64], half: usize) -> Option<f64> {
    let limit = STANDS_DEG_S * 2.0 * half as f64 * r.period_s;
    let mut still: Vec<f64> = (half..smooth.len().saturating_sub(half).min(r.signals.volts.len()))
        .filter(|k| (smooth[k + half] - smooth[k - half]).abs() < limit.max(2.0 * r.noise_deg))
        .map(|k| r.signals.volts[k])
        .filter(|v| v.is_finite())
        .collect();
    let middle = statistics::median(&mut still)?;
    // The mean is finer than the median where the converter's steps are coarse; what lies far off was no rest.
    let spread = statistics::robust_sd(&mut still.clone())?.max(1e-4);
    still.retain(|v| (v - middle).abs() < 4.0 * spread);
    (still.len() >= 50).then(|| mean(&still))?
}

/// Fastest motion within a stroke, degrees per second.
fn fastest(stroke: &[f64], half: usize, period_s: f64) -> f64 {
    let span = (2 * half).min(stroke.len().saturating_sub(1)).max(1);
    let most = stroke.windows(span + 1).map(|w| (w[span] - w[0]).abs()).fold(0.0, f64::max);
    most / (span as f64 * period_s)
}

/// Samples at which the angle turns by at least [`TURN_DEG`].
fn turns(deg: &[f64]) -> Vec<usize> {
    let mut out = Vec::new();
    let Some(start) = deg.iter().position(|d| d.is_finite()) else { return out };
    let (mut low, mut high, mut up) = (start, start, None);
    for (k, d) in deg.iter().enumerate().skip(start).filter(|(_, d)| d.is_finite()) {
        if *d > deg[high] {
            high = k;
        }
        if *d < deg[low] {
            low = k;
        }
        if up != Some(false) && deg[high] - d >= TURN_DEG {
            out.push(high);
            (up, low) = (Some(false), k);
        } else if up != Some(true) && d - deg[low] >= TURN_DEG {
            out.push(low);
            (up, high) = (Some(true), k);
        }
        match up {
            Some(true) => low = high,
            Some(false) => high = low,
            None => {}
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::body::stretches::Signals;

    /// A plate led to and fro about a place; the rotor stands while the play is taken up, then follows with the plate.
    fn pushed(lash_deg: f64, speed_deg_s: f64) -> Recording {
        let emf = 0.383;
        let mut signals = Signals::default();
        let mut rotor = 30.0f64;
        let mut random = statistics::Resampler::new(3);
        for k in 0..60_000u64 {
            let t = k as f64 * 2e-4;
            // Trapezoid: rests of 0.2 s at ±1.5°.
            let period = 2.0 * (3.0 / speed_deg_s + 0.2);
            let phase = t % period;
            let ramp = 3.0 / speed_deg_s;
            let plate = 30.0
                + if phase < ramp {
                    -1.5 + speed_deg_s * phase
                } else if phase < ramp + 0.2 {
                    1.5
                } else if phase < 2.0 * ramp + 0.2 {
                    1.5 - speed_deg_s * (phase - ramp - 0.2)
                } else {
                    -1.5
                };
            let before = rotor;
            rotor = rotor.clamp(plate - 0.5 * lash_deg, plate + 0.5 * lash_deg);
            signals.time_us.push(k * 200);
            signals.deg.push(plate + 0.02 * random.normal());
            signals.volts.push(emf * (rotor - before) * RAD / 2e-4 + 0.002 + 0.005 * random.normal());
            signals.amps.push(0.0);
        }
        Recording::new(signals, &[], &[], &[])
    }

    #[test]
    fn a_probe_finds_the_play_that_the_rotor_does_not_follow() {
        let emf = Estimate { value: 0.383, uncertainty: 0.002 };
        for lash in [0.2, 0.6, 1.0] {
            let (places, fast) = measure(&pushed(lash, 12.0), emf);
            assert_eq!((places.len(), fast), (1, 0));
            let found = places[0];
            assert!((found.at_deg - 30.0).abs() < 0.3, "{found:?}");
            assert!((found.lash.value - lash).abs() < 0.06, "{found:?} for {lash}");
        }
    }

    #[test]
    fn strokes_too_fast_are_left_out() {
        let emf = Estimate { value: 0.383, uncertainty: 0.002 };
        let (places, fast) = measure(&pushed(0.3, 60.0), emf);
        assert!(places.is_empty() && fast > 10, "{places:?} {fast}");
    }
}
