//! When the plate first moves, from many steps of one kind laid over each other: what single onsets are late by. It knows no histogram.
//!
//! The motion that counts as the first is a fifth of the noise of one scan, so a single step can only be told by a model of what follows
//! ([`super::onset`]), and that model errs by how the gears wind up and how friction gives way on this part. Steps of one range and direction
//! begin within some hundredths of a millisecond of each other, and their mean has the noise of one scan over √n: on it the first motion is
//! seen as it is. What the median of the single onsets differs from that by is their bias.

use super::estimate::Estimate;
use super::onset::FIRST_MOTION_DEG;
use crate::analysis::statistics;

/// Fewer steps do not lower the noise enough.
const LEAST_STEPS: usize = 12;
/// Width of a bin of time, s.
const BIN_S: f64 = 1e-4;
/// What reading a bent curve between its bins errs by, s, standard uncertainty.
const READING_S: f64 = 4e-5;
/// The speed at the first motion is that of the way from it to so many of it.
const LATER: f64 = 4.0;
/// A mean whose noise exceeds this share of the first motion does not show it.
const MOST_NOISE: f64 = 0.7;

/// Late by so much, s: the median of `onsets` less the first motion of the mean of `motions` (seconds after the command, degrees of motion).
/// None where there are too few steps, or their mean is too noisy.
pub fn bias(onsets: &[f64], motions: &[Vec<(f64, f64)>], noise_deg: f64) -> Option<Estimate> {
    if motions.len() < LEAST_STEPS || onsets.len() < LEAST_STEPS {
        return None;
    }
    // All of them up to where the first of them is surely under way.
    let end = motions.iter().filter_map(|m| m.last()).map(|m| m.0).fold(f64::INFINITY, f64::min);
    let bins = (end / BIN_S) as usize + 1;
    if !end.is_finite() || bins > 10_000 {
        return None;
    }
    let mut sums = vec![(0.0, 0.0, 0.0); bins];
    for (t, y) in motions.iter().flatten().filter(|m| m.0 >= 0.0 && m.0 <= end) {
        let sum = &mut sums[(t / BIN_S) as usize];
        *sum = (sum.0 + t, sum.1 + y, sum.2 + 1.0);
    }
    let mean: Vec<(f64, f64, f64)> =
        sums.iter().filter(|s| s.2 > 0.0).map(|s| (s.0 / s.2, s.1 / s.2, s.2)).collect();
    // Back from sure motion to the last moment before the first.
    let after = mean.iter().rposition(|m| m.1 < FIRST_MOTION_DEG)? + 1;
    let (a, b) = (mean[after - 1], *mean.get(after)?);
    let slope = (b.1 - a.1) / (b.0 - a.0);
    let first = a.0 + (FIRST_MOTION_DEG - a.1) / slope;
    let noise = noise_deg / a.2.min(b.2).sqrt();
    // How fast it goes there, from a way that noise does not make.
    let later = mean[after..].iter().find(|m| m.1 >= LATER * FIRST_MOTION_DEG)?;
    let speed = (LATER - 1.0) * FIRST_MOTION_DEG / (later.0 - first).max(BIN_S);
    if noise > MOST_NOISE * FIRST_MOTION_DEG || !first.is_finite() {
        return None;
    }
    let mut all = onsets.to_vec();
    let middle = Estimate::median_of(&all, 0.0)?;
    let median = statistics::median(&mut all)?;
    Estimate::new(median - first, middle.uncertainty.hypot(noise / speed).hypot(READING_S))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::statistics::Resampler;

    /// Noise of the mean of two lines of 0.02 degrees each.
    const NOISE_DEG: f64 = 0.014;

    /// Steps that begin at `begins_s` and go as a cube, seen at 5 kHz at any phase; and their true first motion.
    fn steps(n: usize, begins_s: f64, random: &mut Resampler) -> (Vec<Vec<(f64, f64)>>, f64) {
        let rate = 0.004 / 2e-4f64.powi(3);
        let one = |random: &mut Resampler| {
            let phase = 2e-4 * random.uniform();
            let samples = (0..20).map(|k| phase + 2e-4 * f64::from(k));
            samples
                .map(|t| (t, rate * (t - begins_s).max(0.0).powi(3) + NOISE_DEG * random.normal()))
                .collect()
        };
        ((0..n).map(|_| one(random)).collect(), begins_s + 2e-4)
    }

    #[test]
    fn the_bias_of_single_onsets_comes_back_from_steps_laid_over_each_other() {
        let mut random = Resampler::new(4);
        for late in [-5e-4, 0.0, 2.4e-4] {
            let (motions, first) = steps(100, 1.2e-3, &mut random);
            let onsets: Vec<f64> = (0..100).map(|_| first + late + 1e-4 * random.normal()).collect();
            let found = bias(&onsets, &motions, NOISE_DEG).expect("sixty steps");
            assert!((found.value - late).abs() < 3.0 * found.uncertainty, "{found:?} for {late}");
            assert!(found.uncertainty < 1.5e-4, "{found:?}");
        }
    }

    #[test]
    fn a_few_steps_tell_none() {
        let (motions, _) = steps(5, 1e-3, &mut Resampler::new(1));
        assert_eq!(bias(&[1e-3; 5], &motions, NOISE_DEG), None);
    }
}
