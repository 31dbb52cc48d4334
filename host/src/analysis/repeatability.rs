//! Repeatability of one line: the largest spread at one angle among the strokes of one direction, % of span.
//!
//! 43 CFR 3175.135: the largest spread at one input among the readings of one direction. Means over 0.5° are compared. Noise
//! alone would give a spread too, larger with more strokes: its expected largest spread (same strokes, same windows, seeded
//! simulation) is taken off in quadrature, so a part that only adds noise reads 0.

use super::Figure;
use super::curve::{Curves, StrokeCurve, window_mean};
use super::linearity::SMOOTHING_DEG;
use super::prepared::Direction;
use super::statistics::{self, Resampler};
use super::uncertainty::Calibration;
use crate::quantity::{Channel, FigureName};

/// Repeats of the simulation.
const REPEATS: usize = 40;

/// Repeatability of a line. None with fewer than 2 strokes of a direction.
pub fn analyse(curves: &Curves, line: usize, calibration: &Calibration) -> Option<Figure> {
    let curve = curves.line[line].as_ref()?;
    let mut best: Option<(f64, f64, f64, usize)> = None;
    for direction in [Direction::Up, Direction::Down] {
        let strokes: Vec<&StrokeCurve> = curves.of(direction).filter(|s| covers(curves, s, line)).collect();
        if strokes.len() < 2 {
            continue;
        }
        let Some((spread, at, noise)) = spread(curves, &strokes, line, curve.slope) else { continue };
        let windows = (curves.deg[curves.len() - 1] - curves.deg[0]) / SMOOTHING_DEG;
        let (expected, sd) = noise_spread(strokes.len(), windows as usize + 1, noise);
        let real = (spread * spread - expected * expected).max(0.0).sqrt();
        // Near zero the root is steep: there the noise's own spread bounds it.
        let error = (sd * spread / real.max(expected).max(f64::MIN_POSITIVE)).max(sd);
        if best.is_none_or(|b| real > b.0) {
            best = Some((real, error, at, strokes.len()));
        }
    }
    let (value, error, at, n) = best?;
    let percent = 100.0 / curve.span;
    let step = std::f64::consts::SQRT_2 * calibration.smoothed_step(line, curve.slope, SMOOTHING_DEG);
    Some(Figure {
        name: FigureName::Repeatability,
        channel: Some(Channel::SENSORS[line]),
        value: percent * value,
        standard_uncertainty: percent * error.hypot(step),
        upper_bound: None,
        at_deg: Some(at),
        definition: format!(
            "largest spread at one angle among {n} strokes of one direction, means over {SMOOTHING_DEG} deg, what noise alone \
             would give taken off in quadrature{}",
            if n < 3 { "; fewer than 3 strokes say little" } else { "" }
        ),
    })
}

/// Whether a stroke covers at least 80 % of the travel.
fn covers(curves: &Curves, stroke: &StrokeCurve, line: usize) -> bool {
    !stroke.ratio[line].is_empty()
        && stroke.ratio[line].iter().filter(|v| v.is_finite()).count() * 10 >= curves.len() * 8
}

/// Largest spread, where, and the noise of one window mean.
fn spread(curves: &Curves, strokes: &[&StrokeCurve], line: usize, slope: f64) -> Option<(f64, f64, f64)> {
    let half = curves.bins_in(SMOOTHING_DEG) / 2;
    let smooth: Vec<Vec<f64>> = strokes
        .iter()
        .map(|s| {
            let y = &s.ratio[line];
            let flat: Vec<f64> = y.iter().zip(&curves.deg).map(|(y, d)| y - slope * d).collect();
            let mut out = window_mean(&flat, half);
            (0..y.len()).filter(|k| y[*k].is_nan()).for_each(|k| out[k] = f64::NAN);
            out
        })
        .collect();
    let mut noises: Vec<f64> = strokes
        .iter()
        .filter_map(|s| {
            let mut second: Vec<f64> = s.ratio[line]
                .windows(3)
                .map(|w| w[2] - 2.0 * w[1] + w[0])
                .filter(|d| d.is_finite())
                .collect();
            statistics::robust_sd(&mut second)
        })
        .collect();
    let noise = statistics::median(&mut noises)? / 6.0f64.sqrt() / ((2 * half + 1) as f64).sqrt();
    let mut best: Option<(f64, f64)> = None;
    // The first and last window hold the turn.
    for k in 2 * half + 1..curves.len().saturating_sub(2 * half + 1) {
        let here = smooth.iter().map(|y| y[k]).filter(|v| v.is_finite());
        let (low, high) = here.fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), v| (a.min(v), b.max(v)));
        if high - low > best.map_or(-1.0, |b| b.0) {
            best = Some((high - low, curves.deg[k]));
        }
    }
    best.map(|(spread, at)| (spread, at, noise))
}

/// Mean and sd of the largest range of `n` normal values over `windows` places.
fn noise_spread(n: usize, windows: usize, noise: f64) -> (f64, f64) {
    let mut random = Resampler::new(0x4E9E);
    // More than 30 strokes change the range little (it grows as √ln n); they cost time only.
    let n = n.min(30);
    let largest: Vec<f64> = (0..REPEATS)
        .map(|_| {
            (0..windows).fold(0.0f64, |most, _| {
                let (low, high) = (0..n)
                    .map(|_| random.normal())
                    .fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), v| (a.min(v), b.max(v)));
                most.max(high - low)
            })
        })
        .collect();
    let mean = statistics::mean(&largest).unwrap_or(0.0);
    (noise * mean, noise * statistics::standard_deviation(&largest).unwrap_or(0.0))
}
