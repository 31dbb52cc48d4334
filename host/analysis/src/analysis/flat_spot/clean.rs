//! A line's averages without the bins that a dropout touches. The curves leave out what jumps away and back within a stroke;
//! a bin that a dropout touches only partly needs the dropout's own scans.

use crate::analysis::curve::{Curves, LineCurve};
use crate::analysis::dropout::Event;
use crate::analysis::prepared::{Direction, Prepared};

/// Travel left out on each side of a dropout, degrees.
const MARGIN_DEG: f64 = 0.15;

/// Up, down and mean of a line.
pub(super) struct Averages {
    pub up: Vec<f64>,
    pub down: Vec<f64>,
    pub mean: Vec<f64>,
}

/// The curve's own averages, or new ones where dropouts touched it.
pub(super) fn averages(
    prepared: &Prepared<'_>,
    curves: &Curves,
    curve: &LineCurve,
    line: usize,
    events: &[&Event],
) -> Averages {
    if !events.iter().any(|e| e.stroke.is_some()) {
        return Averages { up: curve.up.clone(), down: curve.down.clone(), mean: curve.mean.clone() };
    }
    let spoiled = spoiled(prepared, curves, events);
    let up = average(curves, line, Direction::Up, &spoiled);
    let down = average(curves, line, Direction::Down, &spoiled);
    // Each direction is moved by half of the hysteresis, as for the curve's own mean.
    let half = 0.5 * curve.hysteresis_deg.unwrap_or(0.0) / curves.step_deg;
    let (a, b) = (moved(&up, half), moved(&down, -half));
    let mean = a
        .iter()
        .zip(&b)
        .map(|(a, b)| match (a.is_finite(), b.is_finite()) {
            (true, true) => 0.5 * (a + b),
            (true, false) => *a,
            _ => *b,
        })
        .collect();
    Averages { up, down, mean }
}

/// Per stroke of the curves: stretches of travel that a dropout touches.
fn spoiled(prepared: &Prepared<'_>, curves: &Curves, events: &[&Event]) -> Vec<Vec<(f64, f64)>> {
    let mut out = vec![Vec::new(); curves.strokes.len()];
    for (stroke, places) in curves.strokes.iter().zip(&mut out) {
        let scans = &prepared.strokes[stroke.stroke].range;
        for e in events.iter().filter(|e| e.scans.start < scans.end && e.scans.end + 3 > scans.start) {
            let touched = e.scans.start.saturating_sub(2).max(scans.start)..(e.scans.end + 3).min(scans.end);
            let (low, high) = prepared.deg[touched]
                .iter()
                .filter(|d| d.is_finite())
                .fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), d| {
                    (a.min(f64::from(*d)), b.max(f64::from(*d)))
                });
            places.push((low - MARGIN_DEG, high + MARGIN_DEG));
        }
    }
    out
}

/// Mean over the strokes of one direction, without the spoiled places.
fn average(curves: &Curves, line: usize, direction: Direction, spoiled: &[Vec<(f64, f64)>]) -> Vec<f64> {
    let n = curves.len();
    let (mut sum, mut count) = (vec![0.0; n], vec![0u32; n]);
    for (stroke, places) in curves.strokes.iter().zip(spoiled).filter(|(s, _)| s.direction == direction) {
        for (k, value) in stroke.ratio[line].iter().enumerate().filter(|(_, v)| v.is_finite()) {
            let deg = curves.deg[k];
            if !places.iter().any(|(a, b)| (*a..=*b).contains(&deg)) {
                sum[k] += value;
                count[k] += 1;
            }
        }
    }
    sum.iter().zip(&count).map(|(s, c)| if *c > 0 { s / f64::from(*c) } else { f64::NAN }).collect()
}

/// Values at `k + by` bins, linear between bins.
fn moved(values: &[f64], by: f64) -> Vec<f64> {
    let whole = by.floor();
    let fraction = by - whole;
    let at = |k: i64| usize::try_from(k).ok().and_then(|k| values.get(k)).copied().unwrap_or(f64::NAN);
    (0..values.len() as i64)
        .map(|k| {
            let k = k + whole as i64;
            if fraction == 0.0 { at(k) } else { at(k) * (1.0 - fraction) + at(k + 1) * fraction }
        })
        .collect()
}
