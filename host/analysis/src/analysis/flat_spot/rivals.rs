//! What else makes a stretch of less slope, and leaves the line following all the same: a bend without edges, or a grain that raises the
//! curve before it falls back. A flat spot loses travel from its edge on; where a rival with as many parameters fits clearly better, it is the rival.
//!
//! Every model has the local quadratic that the bank removes, and three parameters of its own: start, width and loss of the spot; the three
//! further powers of a bend; place, width and height of a grain. The least sum of squares decides, since none has more freedom than another.

use super::bank::{Nuisance, Shape};
use super::refine::Spot;

/// Window on each side of the spot, in its widths and degrees.
const BESIDE: (f64, f64) = (1.5, 1.5);
/// Degree of a bend's polynomial: the quadratic and three more.
const BEND_DEGREE: usize = 5;
/// Standard deviations of a grain's bell that are tried, degrees.
const GRAINS_DEG: [f64; 8] = [0.1, 0.14, 0.2, 0.28, 0.4, 0.56, 0.8, 1.1];
/// Step of places, degrees, and of the spot's width.
const STEP_DEG: f64 = 0.05;
/// The spot's own start and width are looked for again this far around, degrees: they were found by other weights.
const AROUND_DEG: f64 = 0.3;
/// A rival leaves less than this share of the sum of squares that the spot leaves: between like ones the texture decides by chance.
const CLEARLY: f64 = 0.75;
/// Points that a comparison needs.
const ENOUGH: usize = 16;

/// Whether a bend or a grain explains `y` (deviation in degrees on angles `deg`) around a spot better than the spot.
pub(super) fn explain(deg: &[f64], y: &[f64], spot: &Spot) -> bool {
    // What comes back to the line by itself has been somewhere else meanwhile: that is a spot.
    if spot.shape != Shape::Permanent {
        return false;
    }
    let centre = spot.start_deg + 0.5 * spot.width_deg;
    let reach = (0.5 + BESIDE.0) * spot.width_deg + BESIDE.1;
    let near = |d: &f64| (d - centre).abs() <= reach;
    let (x, values): (Vec<f64>, Vec<f64>) =
        deg.iter().zip(y).filter(|(d, v)| near(d) && v.is_finite()).map(|(d, v)| (d - centre, *v)).unzip();
    if x.len() < ENOUGH {
        return false;
    }
    let quadratic = Nuisance::new(&x, 2);
    let mut clean = values.clone();
    quadratic.remove(&mut clean);
    let all = energy(&clean);
    // What a model of one size on top of the quadratic explains; nothing where its sign is the wrong one.
    let explains = |shape: &dyn Fn(f64) -> f64| {
        let mut template: Vec<f64> = x.iter().map(|d| shape(*d)).collect();
        quadratic.remove(&mut template);
        let own = energy(&template);
        let product: f64 = template.iter().zip(&clean).map(|(t, v)| t * v).sum();
        if own > 1e-9 && product > 0.0 { product * product / own } else { 0.0 }
    };
    let places = |around: f64| {
        let n = (around / STEP_DEG).round() as i64;
        (-n..=n).map(|k| k as f64 * STEP_DEG)
    };
    let of_spot = places(AROUND_DEG)
        .flat_map(|by| places(AROUND_DEG).map(move |wider| (by, wider)))
        .filter(|(_, wider)| spot.width_deg + wider >= 2.0 * STEP_DEG)
        .map(|(by, wider)| {
            let width = spot.width_deg + wider;
            explains(&|d| -spot.shape.lost(d + 0.5 * spot.width_deg - by, width))
        })
        .fold(0.0, f64::max);
    let of_grain = GRAINS_DEG
        .iter()
        .flat_map(|sd| places(0.5 * spot.width_deg + 1.0).map(move |at| (*sd, at)))
        .map(|(sd, at)| explains(&|d| (-0.5 * ((d - at) / sd).powi(2)).exp()))
        .fold(0.0, f64::max);
    let mut left = values;
    Nuisance::new(&x, BEND_DEGREE).remove(&mut left);
    let of_bend = all - energy(&left);
    all - of_grain.max(of_bend) < CLEARLY * (all - of_spot)
}

fn energy(values: &[f64]) -> f64 {
    values.iter().map(|v| v * v).sum()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::statistics::Resampler;

    const STEP: f64 = 0.1;

    fn curve(seed: u64, noise: f64, shape: impl Fn(f64) -> f64) -> (Vec<f64>, Vec<f64>) {
        let mut random = Resampler::new(seed);
        let deg: Vec<f64> = (0..750).map(|k| k as f64 * STEP).collect();
        let y = deg.iter().map(|d| shape(*d) + noise * random.normal()).collect();
        (deg, y)
    }

    #[test]
    fn spots_with_edges_stay_spots_in_noise_of_a_tenth_of_their_depth() {
        for seed in 1..=10 {
            for shape in Shape::ALL {
                for width_deg in [0.4, 1.0, 2.0] {
                    let spot = Spot { start_deg: 30.0, width_deg, loss: 0.5, shape };
                    let noise = 0.1 * spot.loss * width_deg;
                    let (deg, y) = curve(seed, noise, |d| -spot.lost_at(d));
                    assert!(!explain(&deg, &y, &spot), "{seed} {spot:?}");
                }
            }
        }
    }

    #[test]
    fn a_wave_of_the_line_and_a_grain_that_rises_first_are_no_spots() {
        for seed in 1..=10 {
            // Seven waves over the travel of 0.3 % of it: the slope is less by a seventh for two degrees.
            let wave = |d: f64| 0.23 * (d * std::f64::consts::TAU * 7.0 / 75.0).sin();
            let (deg, y) = curve(seed, 0.01, wave);
            // Falling through zero at half a wave: 5.36 deg.
            let fallen = Spot { start_deg: 4.3, width_deg: 2.2, loss: 0.13, shape: Shape::Permanent };
            assert!(explain(&deg, &y, &fallen), "{seed}");
            let grain = |d: f64| 0.1 * (-0.5 * ((d - 20.0) / 0.3f64).powi(2)).exp();
            let (deg, y) = curve(seed, 0.01, grain);
            let fallen = Spot { start_deg: 20.1, width_deg: 0.5, loss: 0.2, shape: Shape::Permanent };
            assert!(explain(&deg, &y, &fallen), "{seed}");
        }
    }
}
