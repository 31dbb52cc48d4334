//! One line from stop to stop, as the definitions of linearity ask for it: both ends are points of it. It judges nothing.
//!
//! - Its ends are the outputs at rest on both stops, or where the line turned round (`ends`, `turns`); between them lies the average of both
//!   directions, bin by bin (`curve`). The average may be taken at one angle, or after each direction is moved by half the play against the other:
//!   the play of the coupling is then no bend of the line.
//! - Noise is smoothed only as far as that makes the whole course truer: by parabolas over 1, 5 or 7 bins (Savitzky, Golay, Analytical
//!   Chemistry 36, 1964, 1627), whichever Mallows' C_p finds the best (Mallows, Technometrics 15, 1973, 661): a parabola keeps what
//!   bends slowly, and what bends fast and is more than noise keeps the window small.
//! - A largest deviation lies between two bins as a rule: the parabola through the three bins next to it shows where, and how large.

use super::curve::{Curves, LineCurve};
use super::ends::{self, End};
use super::line::{self, Line};
use super::prepared::Prepared;
use super::statistics;

/// Windows that smoothing may have, bins.
const WINDOWS: [usize; 3] = [1, 5, 7];
/// Fewer points make no course.
const LEAST_POINTS: usize = 10;
/// Deviations less than this share of the largest need no vertex.
const WORTH_A_VERTEX: f64 = 0.5;

/// Neighbours of which one is this many times as far away as the other show no vertex: the noise of the nearer would be carried as many times
/// as far.
const MOST_UNEVEN: f64 = 2.0;

/// A line from its closed to its open end.
#[derive(Clone, Debug, PartialEq)]
pub struct Course {
    /// Angles, degrees, rising; the first and the last are the ends.
    pub deg: Vec<f64>,
    /// Ratios of supply as measured.
    pub ratio: Vec<f64>,
    /// Standard errors of the ratios.
    pub error: Vec<f64>,
    /// Bins over which it is smoothed; 1 = not at all.
    pub window: usize,
    weights: Vec<Weights>,
}

/// How a smoothed point is formed: of points from `from` on.
#[derive(Clone, Debug, PartialEq)]
struct Weights {
    from: usize,
    of: Vec<f64>,
}

impl Weights {
    /// The smoothed point.
    fn applied(&self, ratio: &[f64]) -> f64 {
        self.of.iter().zip(&ratio[self.from..]).map(|(w, y)| w * y).sum()
    }
}

/// How both directions are averaged.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Average {
    /// Each moved by half the play against the other.
    WithoutPlay,
    /// At one angle, as 43 CFR 3175.135 has it.
    AtOneAngle,
}

impl Course {
    /// The course of line `index`. None without its curve or with too few bins.
    pub fn of(prepared: &Prepared<'_>, curves: &Curves, index: usize, average: Average) -> Option<Self> {
        let curve = curves.line[index].as_ref()?;
        let half = match average {
            Average::WithoutPlay => 0.5 * curve.hysteresis_deg.unwrap_or(0.0),
            Average::AtOneAngle => 0.0,
        };
        let bin = |k: usize| match average {
            Average::WithoutPlay => (curve.mean[k], curve.mean_error[k]),
            Average::AtOneAngle => curve.at_one_angle(k),
        };
        let [closed, open] = ends_of(prepared, curves, curve, index, half)?;
        let apart = 1e-3 * curves.step_deg;
        let between = (0..curves.len())
            .filter(|k| curves.deg[*k] > closed.0 + apart && curves.deg[*k] < open.0 - apart);
        let middle = between.filter_map(|k| {
            let (mean, error) = bin(k);
            mean.is_finite().then_some((curves.deg[k], mean, if error.is_finite() { error } else { 0.0 }))
        });
        let points: Vec<(f64, f64, f64)> = [closed].into_iter().chain(middle).chain([open]).collect();
        Self::through(&points, curves.step_deg)
    }

    /// Through points (degrees, ratio, standard error), rising; the first and last are ends.
    fn through(points: &[(f64, f64, f64)], step_deg: f64) -> Option<Self> {
        if points.len() < LEAST_POINTS {
            return None;
        }
        let deg: Vec<f64> = points.iter().map(|p| p.0).collect();
        let ratio: Vec<f64> = points.iter().map(|p| p.1).collect();
        let error: Vec<f64> = points.iter().map(|p| p.2).collect();
        let candidates = WINDOWS.map(|window| (window, weights(&deg, window, step_deg)));
        let (window, weights) = candidates
            .into_iter()
            .map(|c| (mallows(&ratio, &error, &c.1), c))
            .min_by(|a, b| a.0.total_cmp(&b.0))
            .map(|(_, c)| c)?;
        Some(Self { deg, ratio, error, window, weights })
    }

    /// Values of the course, smoothed; the ends stay as they are.
    pub fn smoothed(&self, ratio: &[f64]) -> Vec<f64> {
        self.weights.iter().map(|w| w.applied(ratio)).collect()
    }

    /// Output at the open end less that at the closed one, magnitude, ratio.
    pub fn span(&self) -> f64 {
        (self.ratio[self.ratio.len() - 1] - self.ratio[0]).abs()
    }

    /// Independent, terminal and zero-based line of values of this course.
    pub fn lines(&self, ratio: &[f64]) -> Option<[Line; 3]> {
        let smoothed = self.smoothed(ratio);
        let points: Vec<(f64, f64)> = self.deg.iter().copied().zip(smoothed).collect();
        let (closed, open) = (*points.first()?, *points.last()?);
        Some([
            through_vertices(&points, line::minimax)?,
            through_vertices(&points, |p| line::terminal(p, closed, open))?,
            through_vertices(&points, |p| line::zero_based(p, closed))?,
        ])
    }
}

/// Both ends as (degrees, ratio, standard error). What is read at an angle that was reached from the other end belongs half a play further on:
/// `half`, where the play is taken out.
fn ends_of(
    prepared: &Prepared<'_>,
    curves: &Curves,
    curve: &LineCurve,
    index: usize,
    half: f64,
) -> Option<[(f64, f64, f64); 2]> {
    let end = |end: End, inwards: f64| {
        let stop = ends::stop(prepared, curves, index, end)?;
        // At rest the angle is known to its resolution, which shifts an end along the line.
        let place =
            if stop.stood { curve.slope.abs() * prepared.angle_noise_deg / 12.0f64.sqrt() } else { 0.0 };
        Some((stop.deg + inwards, stop.ratio, stop.scatter.hypot(place)))
    };
    Some([end(End::Closed, half)?, end(End::Open, -half)?])
}

/// Weights of the parabola through the points within half a window of each, for its value there.
fn weights(deg: &[f64], window: usize, step_deg: f64) -> Vec<Weights> {
    let reach = (window / 2) as f64 * step_deg + 1e-6;
    let itself = |k: usize| Weights { from: k, of: vec![1.0] };
    // Away from ends and gaps all windows are alike.
    let half = window / 2;
    let even: Vec<f64> = (0..window).map(|i| (i as f64 - half as f64) * step_deg).collect();
    let usual = parabola_weights(&even, 0.0);
    (0..deg.len())
        .map(|k| {
            if window == 1 || k == 0 || k + 1 == deg.len() {
                return itself(k);
            }
            let from = deg.partition_point(|d| *d < deg[k] - reach);
            let to = deg.partition_point(|d| *d <= deg[k] + reach);
            let is_even = |i: usize| (deg[from + i] - deg[k] - even[i]).abs() < 1e-9;
            if let Some(of) = usual.as_ref().filter(|_| to - from == window && (0..window).all(is_even)) {
                return Weights { from, of: of.clone() };
            }
            parabola_weights(&deg[from..to], deg[k]).map_or_else(|| itself(k), |of| Weights { from, of })
        })
        .collect()
}

/// How much each point counts in a least-squares parabola's value at `at`. None where a parabola would go through all of them.
fn parabola_weights(x: &[f64], at: f64) -> Option<Vec<f64>> {
    (x.len() > 3).then_some(())?;
    (0..x.len())
        .map(|i| {
            let unit: Vec<(f64, f64)> =
                x.iter().enumerate().map(|(j, x)| (x - at, if i == j { 1.0 } else { 0.0 })).collect();
            statistics::fit_parabola(&unit).map(|fit| fit.value)
        })
        .collect()
}

/// Mallows' C_p without its constant: squares of what smoothing changes, in standard errors, and twice the weight of each point in itself.
fn mallows(ratio: &[f64], error: &[f64], weights: &[Weights]) -> f64 {
    let mut sum = 0.0;
    for (k, w) in weights.iter().enumerate() {
        let changed = w.applied(ratio) - ratio[k];
        if changed != 0.0 {
            sum += (changed / error[k].max(f64::MIN_POSITIVE)).powi(2);
        }
        sum += 2.0 * w.of[k - w.from];
    }
    sum
}

/// A line through points and the vertices that the deviations from a first line have between them: what is left is of fourth order in a
/// bin's width.
fn through_vertices(points: &[(f64, f64)], draw: impl Fn(&[(f64, f64)]) -> Option<Line>) -> Option<Line> {
    let first = draw(points)?;
    let large = |v: &(f64, f64)| (v.1 - first.value(v.0)).abs() > WORTH_A_VERTEX * first.deviation;
    let mut finer = Vec::with_capacity(points.len() + 8);
    for (k, point) in points.iter().enumerate() {
        let inside = k > 0 && k + 1 < points.len();
        let vertex = inside.then(|| vertex(&points[k - 1..=k + 1], &first)).flatten().filter(large);
        finer.extend(vertex.filter(|v| v.0 < point.0));
        finer.push(*point);
        finer.extend(vertex.filter(|v| v.0 > point.0));
    }
    draw(&finer)
}

/// The vertex that deviations from a line have next to the middle one of three points, where that deviates furthest of them.
fn vertex(three: &[(f64, f64)], line: &Line) -> Option<(f64, f64)> {
    let off = |p: (f64, f64)| p.1 - line.value(p.0);
    let (a, b, c) = (off(three[0]), off(three[1]), off(three[2]));
    let (left, right) = (three[1].0 - three[0].0, three[2].0 - three[1].0);
    let even = left.max(right) <= MOST_UNEVEN * left.min(right) * (1.0 + 1e-9);
    if !even || (b - a) * (b - c) <= 0.0 || b * (b - a) < 0.0 {
        return None;
    }
    // Divided differences of the parabola through the three, about the middle one.
    let (to_left, to_right) = ((b - a) / left, (c - b) / right);
    let bend = (to_right - to_left) / (left + right);
    let slope = to_left + bend * left;
    let by = (-slope / (2.0 * bend)).clamp(-left, right);
    let at = three[1].0 + by;
    Some((at, line.value(at) + b + slope * by + bend * by * by))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_vertex_is_looked_for_between_even_neighbours_only() {
        let flat = Line { intercept: 0.0, slope: 0.0, deviation: 0.0, at: 0.0 };
        let (at, top) =
            vertex(&[(1.4, 3.64), (1.9, 3.99), (2.8, 3.36)], &flat).expect("a parabola 4 - (x - 2)^2");
        assert!((at - 2.0).abs() < 1e-12 && (top - 4.0).abs() < 1e-12, "{at} {top}");
        // Noise of 0.01 at a hundredth of the other neighbour's distance would make a vertex a quarter high.
        assert_eq!(vertex(&[(1.49, 3.74), (1.5, 3.75), (2.5, 3.74)], &flat), None);
    }
}
