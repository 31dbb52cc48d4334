//! Where a line turns round at an end of travel without a rest: the last scans of the strokes that came furthest, and what the line's
//! own course over its last degree says of the same place; the two are weighed by their variances. It computes no figure.

use super::curve::{Curves, LineCurve};
use super::ends::End;
use super::prepared::{Direction, Prepared};
use super::statistics;

/// Scans within so many standard deviations of the angle's noise of the furthest one have turned with it.
const WITH_IT: f64 = 4.0;
/// The line's course towards its end is a parabola over so much, degrees.
const COURSE_DEG: f64 = 1.0;
/// Least bins of that course.
const LEAST_BINS: usize = 6;
/// Scans before a turn that show its noise.
const NOISE_SCANS: usize = 200;
/// A single-precision angle of a few hundred degrees shows no less than this, degrees.
pub const LEAST_DEG: f64 = 2e-5;
/// A ratio formed of single-precision volts is no better than this.
const LEAST_RATIO: f64 = 3e-8;

/// The place of a line at which it turned round.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Turn {
    /// Degrees.
    pub deg: f64,
    /// Ratio of supply.
    pub ratio: f64,
    /// Its standard error.
    pub error: f64,
}

/// Mean angle and ratio of the scans that turned furthest. None where no stroke turns at this end.
fn scans(prepared: &Prepared<'_>, ratio: &[f32], slope: f64, end: End) -> Option<Turn> {
    let outwards = if end == End::Open { 1.0 } else { -1.0 };
    let within = WITH_IT * prepared.angle_scatter_deg + LEAST_DEG;
    let arriving = if end == End::Open { Direction::Up } else { Direction::Down };
    let mut turns: Vec<(f64, f64, f64, f64)> = Vec::new();
    for (k, stroke) in prepared.strokes.iter().enumerate() {
        if stroke.direction != arriving {
            continue;
        }
        let next = prepared.strokes.get(k + 1).map_or(prepared.trace.len(), |s| s.range.start + 1);
        // The rest at the end of a stroke is cut off it: its furthest scan may come after it.
        let candidates = stroke.range.end.saturating_sub(1)..next.max(stroke.range.end);
        let along = |i: usize| outwards * f64::from(prepared.deg[i]);
        let Some(furthest) = candidates
            .filter(|i| prepared.deg[*i].is_finite())
            .max_by(|a, b| along(*a).total_cmp(&along(*b)))
        else {
            continue;
        };
        let with_it = |i: &usize| (along(*i) - along(furthest)).abs() <= within;
        let before = (0..furthest).rev().take_while(with_it).count();
        let after = (furthest + 1..prepared.trace.len()).take_while(with_it).count();
        let (deg, y): (Vec<f64>, Vec<f64>) = (furthest - before..furthest + after + 1)
            .filter(|i| ratio[*i].is_finite())
            .map(|i| (f64::from(prepared.deg[i]), f64::from(ratio[i])))
            .unzip();
        if let (Some(place), Some(mean)) = (statistics::mean(&deg), statistics::mean(&y)) {
            let until = furthest + after + 1;
            let before = &ratio[until.saturating_sub(NOISE_SCANS)..until];
            let noise = statistics::sd_beside_bend(before.iter().map(|v| f64::from(*v)));
            turns.push((place, mean, noise * noise, y.len() as f64));
        }
    }
    let furthest = turns.iter().map(|t| outwards * t.0).fold(f64::NEG_INFINITY, f64::max);
    turns.retain(|t| furthest - outwards * t.0 <= within);
    let n: f64 = turns.iter().map(|t| t.3).sum();
    let count = turns.len() as f64;
    let place = turns.iter().map(|t| t.0).sum::<f64>() / count;
    let mean = turns.iter().map(|t| t.1).sum::<f64>() / count;
    let inner = turns.iter().map(|t| t.2).sum::<f64>() / count;
    let values: Vec<f64> = turns.iter().map(|t| t.1).collect();
    let between = statistics::standard_deviation(&values).unwrap_or(0.0) / count.sqrt();
    let error = (inner / n).sqrt().max(between).hypot(slope.abs() * prepared.angle_scatter_deg / n.sqrt());
    (!turns.is_empty()).then(|| Turn { deg: place, ratio: mean, error: error.hypot(LEAST_RATIO) })
}

/// What the line's mean over its last degree says of its value at an angle, moved by `inwards` degrees on the mean's own grid.
fn carried_on(curves: &Curves, curve: &LineCurve, end: End, deg: f64, inwards: f64) -> Option<Turn> {
    let at = deg + inwards;
    let known = |k: &usize| curve.mean[*k].is_finite();
    let near = |k: &usize| (curves.deg[*k] - at).abs() <= COURSE_DEG.max(LEAST_BINS as f64 * curves.step_deg);
    let inside = |k: &usize| if end == End::Closed { curves.deg[*k] >= at } else { curves.deg[*k] <= at };
    let points: Vec<(f64, f64)> = (0..curves.len())
        .filter(|k| known(k) && near(k) && inside(k))
        .map(|k| (curves.deg[k] - at, curve.mean[k]))
        .collect();
    if points.len() < LEAST_BINS {
        return None;
    }
    let fit = statistics::fit_parabola(&points)?;
    // A line that bends otherwise than a parabola shows it by residuals that resemble their neighbours.
    let (mut squares, mut neighbours, mut last) = (0.0, 0.0, 0.0);
    for (x, y) in &points {
        let r = y - fit.value - fit.slope * x - fit.bend * x * x;
        squares += r * r;
        neighbours += r * last;
        last = r;
    }
    let rho = if squares > 0.0 { (neighbours / squares).clamp(0.0, 0.9) } else { 0.0 };
    let error = fit.value_error * ((1.0 + rho) / (1.0 - rho)).sqrt();
    Some(Turn { deg, ratio: fit.value, error: error.hypot(LEAST_RATIO) })
}

/// The turn of a line at an end: its angle as recorded, its ratio. None without a curve.
pub fn turn(prepared: &Prepared<'_>, curves: &Curves, line: usize, end: End) -> Option<Turn> {
    let curve = curves.line[line].as_ref()?;
    let half = 0.5 * curve.hysteresis_deg.unwrap_or(0.0);
    let inwards = if end == End::Closed { half } else { -half };
    let (low, high) = prepared.travel_deg?;
    let ratio = prepared.ratio[line].as_ref()?;
    let seen = scans(prepared, ratio, curve.slope, end);
    let deg = seen.map_or(if end == End::Closed { low } else { high }, |t| t.deg);
    match (seen, carried_on(curves, curve, end, deg, inwards)) {
        (Some(a), Some(b)) => {
            let (wa, wb) = (a.error.powi(-2), b.error.powi(-2));
            // Where the two differ by more than their errors explain, the error is that much larger (Birge).
            let apart = ((a.ratio - b.ratio).powi(2) / (a.error.powi(2) + b.error.powi(2))).max(1.0);
            let ratio = (wa * a.ratio + wb * b.ratio) / (wa + wb);
            Some(Turn { deg, ratio, error: (apart / (wa + wb)).sqrt() })
        }
        (one, other) => one.or(other),
    }
}
