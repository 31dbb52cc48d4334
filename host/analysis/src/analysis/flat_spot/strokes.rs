//! In which strokes a flat spot shows, and what that makes of it.
//!
//! A defect of a track is passed by every stroke and shows in nearly all of them; a hesitation, a knock or a slip of the coupling
//! shows in one. So each stroke that passed the place is asked by itself: does the spot's own shape, by least squares, take more
//! than half of the loss there? How often the answer is yes without a spot, and no with one, is counted in this recording: the
//! same question, at every other place of the travel, to what each stroke differs by from the others of its direction. What
//! repeats (grain, bend, the reference's errors) drops out of that difference; what does not (noise, hum, hesitations, grain of a
//! coarse reference) is what it is made of.
//!
//! The odds that what was found is an accident: number of places, over the share of parts that have a spot, over the likelihood
//! ratio of the answers (binomial). With one stroke nothing repeats, and nothing is sure.

use super::refine::{self, Spot};
use crate::analysis::curve::{Curves, LineCurve, shifted};
use crate::analysis::prepared::Direction;
use crate::analysis::statistics;

/// Share of tested parts that have a flat spot. Assumption, no source; the same as for the score.
const PRIOR: f64 = 0.02;
/// With fewer answers than this at other places, the test is taken to be this bad.
const FEWEST: (usize, f64) = (10, 0.3);
/// Pseudo-counts of the share of false answers (a beta distribution that knows little: mean 0.1).
const PSEUDO: (f64, f64) = (0.2, 2.0);
/// A test is never believed to be better than this: what spoils one stroke in a thousand shows in no recording.
const BEST: f64 = 1e-3;
/// A spot that shows in one direction alone was looked for in three ways.
const ONE_WAY: f64 = 3.0;

/// What the strokes say of a spot.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Repeats {
    /// Strokes up that show it, of those that passed it.
    pub up: (u32, u32),
    /// Strokes down.
    pub down: (u32, u32),
    /// Share of strokes that would show it without a spot.
    pub false_share: f64,
    /// Share that would show it with one.
    pub power: f64,
    /// Odds that it is an accident and not a spot, > 0.
    pub odds: f64,
    /// Whether the answers speak for a spot at all.
    pub likelier: bool,
    /// Standard error of the loss from its scatter between strokes; none with one stroke.
    pub loss_error: Option<f64>,
}

/// A line's strokes as deviation in degrees, both directions laid over each other.
pub(super) struct Strokes {
    direction: Vec<Direction>,
    /// Deviation of each stroke, lost travel negative.
    own: Vec<Vec<f64>>,
    /// What each differs by from the others, scaled to the scatter of one stroke.
    apart: Vec<Vec<f64>>,
}

impl Strokes {
    /// Of line `line`; `sign` −1 turns a gain of slope into a loss.
    pub(super) fn new(curves: &Curves, line: usize, curve: &LineCurve, sign: f64) -> Self {
        let half = 0.5 * curve.hysteresis_deg.unwrap_or(0.0) / curves.step_deg;
        let (mut direction, mut own) = (Vec::new(), Vec::new());
        for stroke in curves.strokes.iter().filter(|s| !s.ratio[line].is_empty()) {
            let by = if stroke.direction == Direction::Up { half } else { -half };
            let y = shifted(&stroke.ratio[line], by);
            own.push(
                y.iter().zip(&curves.deg).map(|(v, d)| sign * (v / curve.slope - d)).collect::<Vec<f64>>(),
            );
            direction.push(stroke.direction);
        }
        let apart = (0..own.len()).map(|s| apart(&own, &direction, s)).collect();
        Self { direction, own, apart }
    }

    /// Asks every stroke. `known`: every spot of the line; `range`: the bins that were searched.
    pub(super) fn repeats(
        &self,
        curves: &Curves,
        spot: &Spot,
        known: &[Spot],
        range: (usize, usize),
    ) -> Repeats {
        let deg = &curves.deg;
        let mut out = Repeats::default();
        let mut losses = Vec::new();
        for (y, direction) in self.own.iter().zip(&self.direction) {
            let Some(loss) = passed(deg, y, spot, curves.step_deg) else { continue };
            let hit = u32::from(loss > 0.5 * spot.loss);
            let seen = if *direction == Direction::Up { &mut out.up } else { &mut out.down };
            *seen = (seen.0 + hit, seen.1 + 1);
            losses.push(loss);
        }
        let at = |k: usize| deg[k.min(deg.len() - 1)];
        let (low, high) = (at(range.0), at(range.1.saturating_sub(1)));
        (out.false_share, out.power) = self.quality(curves, spot, known, (low, high));
        let evidence = |(k, n): (u32, u32)| {
            f64::from(k) * (out.power / out.false_share).ln()
                + f64::from(n - k) * ((1.0 - out.power) / (1.0 - out.false_share)).ln()
        };
        let (up, down) = (evidence(out.up), evidence(out.down));
        let best = (up + down).max(up.max(down) - ONE_WAY.ln());
        let places = ((high - low) / (spot.width_deg + 1.0)).max(1.0);
        out.odds = places / PRIOR * (-best).exp();
        out.likelier = best > 0.0;
        let n = losses.len() as f64;
        out.loss_error = statistics::standard_deviation(&losses).filter(|_| n > 1.0).map(|sd| sd / n.sqrt());
        out
    }

    /// How often a stroke shows a spot of this size where there is none, and where there is one.
    fn quality(&self, curves: &Curves, spot: &Spot, known: &[Spot], (low, high): (f64, f64)) -> (f64, f64) {
        let stride = spot.width_deg.max(0.5);
        let centre = |s: &Spot| s.start_deg + 0.5 * s.width_deg;
        let free =
            |c: f64| known.iter().all(|s| (c - centre(s)).abs() > 0.6 + 0.5 * (s.width_deg + spot.width_deg));
        let count = ((high - low) / stride).floor().max(0.0) as usize;
        let places: Vec<f64> =
            (0..count).map(|k| low + (k as f64 + 0.5) * stride).filter(|c| free(*c)).collect();
        let mut answers = Vec::with_capacity(places.len() * self.apart.len());
        for y in &self.apart {
            for c in &places {
                let there = Spot { start_deg: c - 0.5 * spot.width_deg, ..*spot };
                answers.extend(passed(&curves.deg, y, &there, curves.step_deg));
            }
        }
        let n = answers.len();
        if n < FEWEST.0 {
            return (FEWEST.1, 1.0 - FEWEST.1);
        }
        let half = 0.5 * spot.loss;
        let share = |wrong: &dyn Fn(f64) -> bool| {
            (answers.iter().filter(|v| wrong(**v)).count() as f64 + PSEUDO.0) / (n as f64 + PSEUDO.1)
        };
        let (above, below) = (share(&|v| v > half), share(&|v| v < -half));
        let sd = statistics::robust_sd(&mut answers).unwrap_or(0.0);
        let tail = if sd > 0.0 { statistics::normal_tail(half / sd) } else { 0.0 };
        (above.max(tail).clamp(BEST, 0.5), 1.0 - below.max(tail).clamp(BEST, 0.5))
    }
}

/// What stroke `s` differs by from the mean of the others: those of its direction where there are any.
fn apart(own: &[Vec<f64>], direction: &[Direction], s: usize) -> Vec<f64> {
    let alike = (0..own.len()).any(|o| o != s && direction[o] == direction[s]);
    let others: Vec<&Vec<f64>> = (0..own.len())
        .filter(|o| *o != s && (!alike || direction[*o] == direction[s]))
        .map(|o| &own[o])
        .collect();
    // Alone, its own grain is all there is to hold it against.
    if others.is_empty() {
        return own[s].clone();
    }
    (0..own[s].len())
        .map(|k| {
            let (mut n, mut sum) = (0.0, 0.0);
            for v in others.iter().map(|y| y[k]).filter(|v| v.is_finite()) {
                (n, sum) = (n + 1.0, sum + v);
            }
            if n > 0.0 { (own[s][k] - sum / n) / f64::sqrt(1.0 + 1.0 / n) } else { f64::NAN }
        })
        .collect()
}

/// Loss of the spot's shape in one stroke; none where the stroke did not pass the whole place.
fn passed(deg: &[f64], y: &[f64], spot: &Spot, step: f64) -> Option<f64> {
    let (from, to) = (spot.start_deg - 0.5 * step, spot.end_deg() + 0.5 * step);
    let inside = deg.iter().zip(y).filter(|(d, _)| (from..=to).contains(*d));
    let (all, known) = inside.fold((0u32, 0u32), |(a, k), (_, v)| (a + 1, k + u32::from(v.is_finite())));
    (10 * known >= 8 * all).then(|| refine::loss_in(deg, y, spot)).flatten()
}
