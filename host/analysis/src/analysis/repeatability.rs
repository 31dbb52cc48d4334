//! Repeatability of one line: the largest spread at one angle among the strokes of one direction, % of span.
//!
//! 43 CFR 3175.135: the largest spread at one input among the readings of one direction. Means over 0.5° are compared. Noise
//! alone would give a spread too, larger with more strokes: its expected largest spread (same strokes, same windows, seeded
//! simulation) is taken off in quadrature, so a part that only adds noise reads 0. A hand that hesitates and turns back on the way has
//! made one stroke all the same: its pieces are laid together.

use super::Figure;
use super::binning::StrokeCurve;
use super::budget::{Budget, Source};
use super::curve::{Curves, window_mean};
use super::prepared::Direction;
use super::smoothing::SMOOTHING_DEG;
use super::statistics::{self, Resampler};
use super::uncertainty::Calibration;
use crate::quantity::{Channel, Condition, FigureName};

/// Repeats of the simulation.
const REPEATS: usize = 25;
/// Strokes simulated at most.
const MOST_STROKES: usize = 12;

/// The largest spread of the strokes of one direction.
#[derive(Clone, Copy, Debug)]
struct Largest {
    /// Without what noise alone would give, ratio of supply.
    real: f64,
    /// Its standard error.
    error: f64,
    /// Where, degrees.
    at_deg: f64,
    /// Strokes compared.
    strokes: usize,
}

/// Repeatability of a line. None with fewer than 2 strokes of a direction.
pub fn analyse(curves: &Curves, line: usize, calibration: &Calibration) -> Option<Figure> {
    let curve = curves.line[line].as_ref()?;
    let Largest { real: value, error, at_deg: at, strokes: n } =
        largest(curves, &curves.strokes, line, curve.slope)?;
    let percent = 100.0 / curve.span;
    let step = std::f64::consts::SQRT_2 * calibration.smoothed_step(line, curve.slope, SMOOTHING_DEG);
    Some(Figure {
        name: FigureName::Repeatability,
        channel: Some(Channel::SENSORS[line]),
        value: percent * value,
        budget: Budget::of(Source::Scatter, error).with(Source::Steps, step).scaled(percent),
        upper_bound: None,
        added: 0.0,
        at_deg: Some(at),
        condition: Condition::NONE,
        definition: format!(
            "largest spread at one angle among {n} strokes of one direction, means over {SMOOTHING_DEG} deg, what noise alone \
             would give taken off in quadrature{}",
            if n < 3 { "; fewer than 3 strokes say little" } else { "" }
        ),
    })
}

/// By how much of a line's repeatability, % of its span, the other line would have moved with it as if both were turned: the angle moved, or the
/// whole sensor. None without both lines or with fewer than 2 strokes of a direction; 0 where the lines do not go along.
pub(super) fn by_the_angle(curves: &Curves, line: usize) -> Option<f64> {
    let (own, other) = (curves.line[line].as_ref()?, curves.line[1 - line].as_ref()?);
    if other.slope == 0.0 {
        return None;
    }
    let whole = largest(curves, &curves.strokes, line, own.slope)?;
    // What is left where the other line shows how far it was turned: no motion is in it, and no slope.
    let by = own.slope / other.slope;
    let mut strokes = curves.strokes.clone();
    for stroke in &mut strokes {
        let [first, second] = &mut stroke.ratio;
        let (of, told) = if line == 0 { (first, second) } else { (second, first) };
        of.iter_mut().zip(told.iter()).for_each(|(v, t)| *v -= by * t);
    }
    let left = largest(curves, &strokes, line, 0.0)?;
    let square = whole.real * whole.real - left.real * left.real;
    Some(100.0 / own.span * square.max(0.0).sqrt())
}

/// The largest spread of a line in some strokes whose line has this slope, of both directions.
fn largest(curves: &Curves, strokes: &[StrokeCurve], line: usize, slope: f64) -> Option<Largest> {
    let mut best: Option<Largest> = None;
    for direction in [Direction::Up, Direction::Down] {
        let whole = passages(curves, strokes, direction, line);
        let strokes: Vec<&StrokeCurve> = whole.iter().filter(|s| covers(curves, s, line)).collect();
        if strokes.len() < 2 {
            continue;
        }
        let Some((spread, at_deg, noise)) = spread(curves, &strokes, line, slope) else { continue };
        let half = curves.bins_in(SMOOTHING_DEG) / 2;
        let (expected, sd) = noise_spread(strokes.len(), curves.len(), half, noise);
        // The noise itself is known to a few per cent.
        let sd = sd.hypot(0.05 * expected);
        let real = (spread * spread - expected * expected).max(0.0).sqrt();
        // Propagated through the root, which is steep near zero: there no more than the root of the square's own spread.
        let steepest = (2.0 * expected * sd).sqrt();
        let error = (sd * spread).max(steepest * steepest) / real.max(steepest);
        if best.is_none_or(|b| real > b.real) {
            best = Some(Largest { real, error, at_deg, strokes: strokes.len() });
        }
    }
    best
}

/// Strokes of one direction, with the pieces of each that reversals on the way have cut laid together: a piece that begins where the
/// one before has been and goes beyond its end.
fn passages(curves: &Curves, strokes: &[StrokeCurve], direction: Direction, line: usize) -> Vec<StrokeCurve> {
    let known = |s: &StrokeCurve| {
        let ratio = &s.ratio[line];
        let first = ratio.iter().position(|v| v.is_finite())?;
        let last = ratio.iter().rposition(|v| v.is_finite())?;
        // Along the stroke.
        Some(if direction == Direction::Up {
            (first as i64, last as i64)
        } else {
            (-(last as i64), -(first as i64))
        })
    };
    let away = curves.bins_in(1.0) as i64;
    let mut out: Vec<StrokeCurve> = Vec::new();
    for stroke in strokes.iter().filter(|s| s.direction == direction) {
        let continues = out
            .last()
            .and_then(known)
            .zip(known(stroke))
            .is_some_and(|((a, b), (from, to))| from > a + away && from <= b + away && to > b);
        match out.last_mut().filter(|_| continues) {
            Some(before) => {
                let pieces = before.ratio[line].iter_mut().zip(&stroke.ratio[line]);
                pieces.filter(|(v, _)| v.is_nan()).for_each(|(v, later)| *v = *later);
            }
            None => out.push(stroke.clone()),
        }
    }
    out
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
    let mut second: Vec<f64> = strokes
        .iter()
        .flat_map(|s| s.ratio[line].windows(3).map(|w| w[2] - 2.0 * w[1] + w[0]))
        .filter(|d| d.is_finite())
        .collect();
    let noise = statistics::robust_sd(&mut second)? / 6.0f64.sqrt() / ((2 * half + 1) as f64).sqrt();
    let mut best: Option<(f64, f64)> = None;
    // The first and last window hold the turn.
    for k in 2 * half + 1..curves.len().saturating_sub(2 * half + 1) {
        let range = range_at(&smooth, k);
        if range > best.map_or(-1.0, |b| b.0) {
            best = Some((range, curves.deg[k]));
        }
    }
    best.map(|(spread, at)| (spread, at, noise))
}

/// Mean and sd of the largest range of `strokes` sliding means over `bins` bins, each mean with sd `noise`.
fn noise_spread(strokes: usize, bins: usize, half: usize, noise: f64) -> (f64, f64) {
    let mut random = Resampler::new(0x4E9E);
    // The expected range grows as √ln n or so: above 12 it is scaled, not simulated.
    let simulated = strokes.min(MOST_STROKES);
    let growth = ((strokes as f64).ln() / (simulated as f64).ln()).sqrt();
    let scale = noise * growth * ((2 * half + 1) as f64).sqrt();
    let largest: Vec<f64> = (0..REPEATS)
        .map(|_| {
            let means: Vec<Vec<f64>> = (0..simulated)
                .map(|_| window_mean(&(0..bins).map(|_| random.normal()).collect::<Vec<_>>(), half))
                .collect();
            (2 * half + 1..bins.saturating_sub(2 * half + 1))
                .fold(0.0, |most: f64, k| most.max(range_at(&means, k)))
        })
        .collect();
    let mean = statistics::mean(&largest).unwrap_or(0.0);
    (scale * mean, scale * statistics::standard_deviation(&largest).unwrap_or(0.0))
}

/// Largest less smallest finite value at bin `k`; −∞ without any.
fn range_at(curves: &[Vec<f64>], k: usize) -> f64 {
    let here = curves.iter().map(|y| y[k]).filter(|v| v.is_finite());
    let (low, high) = here.fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), v| (a.min(v), b.max(v)));
    high - low
}
