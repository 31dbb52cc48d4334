//! How sure an excursion is a lost contact: it must stand out of the level on both sides, and out of what the series does
//! nearby on the same scale. Grain of a track, the tip of a flat spot, a turn within the play and a noisy stretch do not.

use crate::analysis::statistics;
use std::ops::Range;

/// Longest excursion that is held against its surroundings, samples: a longer one is told by its sharp edges.
const LONGEST: usize = 64;
/// Samples of the level on each side, and how far from the excursion they begin.
const SIDE: usize = 12;
const CLEAR: usize = 2;
/// Fewest samples of a side's level.
const FEWEST: usize = 4;
/// Samples on each side that show what the series does on the excursion's scale.
const NEAR: usize = 256;
/// The excursion must exceed so many robust standard deviations of that …
const SIGMAS: f64 = 7.0;
/// … and so many root mean squares of it close by: there a noisy stretch may be shorter than a robust measure sees.
const ROOT_MEAN_SQUARES: f64 = 6.0;

/// Size of an excursion over what it must exceed to be one at all: 1 = just. Infinite when it is too long to ask.
///
/// `least` is the least depth that counts, in the unit of the values.
pub(super) fn score(
    values: &[f32],
    run: &Range<usize>,
    samples: &Range<usize>,
    peak: usize,
    least: f64,
) -> f64 {
    if samples.len() > LONGEST {
        return f64::INFINITY;
    }
    let from_both = from_both_sides(values, run, samples, peak);
    let (robust, close) = surroundings(values, run, samples);
    let needed = least.max(SIGMAS * robust).max(ROOT_MEAN_SQUARES * close);
    from_both / needed
}

/// Deviation of the peak from the straight level of either side carried on to it: the smaller of both, 0 when they disagree.
fn from_both_sides(values: &[f32], run: &Range<usize>, samples: &Range<usize>, peak: usize) -> f64 {
    let left = samples.start.saturating_sub(CLEAR + SIDE).max(run.start)
        ..samples.start.saturating_sub(CLEAR).max(run.start);
    let right = (samples.end + CLEAR).min(run.end)..(samples.end + CLEAR + SIDE).min(run.end);
    let deviation = |side: Range<usize>| {
        if side.len() < FEWEST {
            return None;
        }
        let x: Vec<f64> = side.clone().map(|j| j as f64 - peak as f64).collect();
        let y: Vec<f64> = side.map(|j| f64::from(values[j])).collect();
        statistics::fit_line(&x, &y).map(|fit| f64::from(values[peak]) - fit.intercept)
    };
    match (deviation(left), deviation(right)) {
        (Some(a), Some(b)) if a * b <= 0.0 => 0.0,
        (Some(a), Some(b)) => a.abs().min(b.abs()),
        (Some(a), None) | (None, Some(a)) => a.abs(),
        (None, None) => f64::INFINITY,
    }
}

/// What the series does nearby on the scale of the excursion, without it: second differences at that lag, their robust standard
/// deviation over [`NEAR`] samples on each side, and their root mean square over the nearest.
fn surroundings(values: &[f32], run: &Range<usize>, samples: &Range<usize>) -> (f64, f64) {
    let lag = samples.len() / 2 + CLEAR;
    let mut all = Vec::with_capacity(2 * NEAR);
    let (mut squares, mut n) = (0.0, 0u32);
    let reach = 2 * lag + SIDE;
    let (before, after) = (samples.start.saturating_sub(lag + CLEAR), samples.end + lag + CLEAR);
    let first = samples.start.saturating_sub(NEAR + lag).max(run.start + lag);
    let last = (samples.end + NEAR + lag).min(run.end.saturating_sub(lag));
    for j in (first..before.max(first)).chain(after..last.max(after)) {
        let d = f64::from(values[j]) - 0.5 * (f64::from(values[j - lag]) + f64::from(values[j + lag]));
        all.push(d);
        if j + reach >= before && j < after + reach {
            squares += d * d;
            n += 1;
        }
    }
    let robust = statistics::robust_sd(&mut all).unwrap_or(0.0);
    (robust, if n > 0 { (squares / f64::from(n)).sqrt() } else { 0.0 })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::statistics::Resampler;

    /// Score of what `shape` adds to noise of 1 within ±`half` of sample 1000.
    fn score_of(half: usize, shape: impl Fn(f64) -> f64) -> f64 {
        let mut random = Resampler::new(3);
        let values: Vec<f32> =
            (0..2000).map(|j| (random.normal() + shape(f64::from(j) - 1000.0)) as f32).collect();
        score(&values, &(0..2000), &(1000 - half..1000 + half + 1), 1000, 7.0)
    }

    #[test]
    fn a_box_stands_out_and_the_tip_of_a_ramp_does_not() {
        let inside = |x: f64, half: f64| x.abs() <= half;
        assert!(score_of(3, |x| if inside(x, 3.0) { 30.0 } else { 0.0 }) > 2.0);
        assert!(score_of(0, |x| if x == 0.0 { 30.0 } else { 0.0 }) > 2.0);
        // A flat spot that catches up: a triangle whose tip stands above any level a few samples before it.
        assert!(score_of(3, |x| (60.0 - 2.0 * x.abs()).max(0.0)) < 1.0);
        // A flat spot that snaps: a ramp that jumps back.
        assert!(score_of(3, |x| if x > 0.0 { 0.0 } else { (60.0 + 2.0 * x).max(0.0) }) < 1.0);
    }

    #[test]
    fn what_stands_in_a_noisy_stretch_must_be_larger() {
        let mut other = Resampler::new(8);
        let rough: Vec<f64> = (0..2000).map(|_| 8.0 * other.normal()).collect();
        let noisy = |x: f64| if x.abs() < 20.0 { rough[(x + 1000.0) as usize] } else { 0.0 };
        let quiet = score_of(0, |x| if x == 0.0 { 40.0 } else { 0.0 });
        let within = score_of(0, |x| if x == 0.0 { 40.0 } else { noisy(x) });
        assert!(quiet > 3.0 && within < 1.3, "{quiet} {within}");
    }

    #[test]
    fn a_long_excursion_is_left_to_its_edges_and_an_end_of_a_run_is_survived() {
        assert_eq!(score(&[0.0; 500], &(0..500), &(100..300), 150, 1.0), f64::INFINITY);
        for at in [0usize, 1, 8, 9] {
            let mut values = [0.0f32; 10];
            values[at] = 10.0;
            score(&values, &(0..10), &(at..at + 1), at, 1.0);
        }
    }
}
