//! Time by which a line, or one line against another, lags, and what differs between directions: separated from slow drift.
//!
//! At speed v a lag of τ moves a line by −slope·v·τ; play does not change with speed. So τ is the regression of the reading on
//! speed within each direction and place. What drifts slowly (supply, warmth) changes between strokes of different speed as well:
//! offset and gain of the reading are therefore let drift as polynomials of time beside it (partial regression: Frisch, Waugh,
//! Econometrica 1, 1933, 387). The uncertainty comes from leaving out one stroke after the other (jackknife: Efron, Tibshirani,
//! An Introduction to the Bootstrap, 1993, ch. 11), widened by Student's t, because what disturbs a reading disturbs a whole stroke.
//! It is not a figure.

use super::binning::StrokeCurve;
use super::prepared::Direction;
use super::statistics;

/// Least spread of speeds that drift does not explain, relative (1 sd), for the regression.
const SPREAD: f64 = 0.10;
/// Fewest readings beyond one per place and direction.
const FEWEST: u64 = 100;
/// Fewest strokes: two of each direction, or nothing is known of drift.
pub const FEWEST_STROKES: usize = 4;
/// Speed at a place is taken from this far before to as far after it, degrees.
const REACH_DEG: f64 = 0.5;
/// Standard errors by which one line must lag the other to have a lag of its own.
const APART: f64 = 3.0;
/// Terms of the regression at most: the cause, three powers of time for the offset, two for the gain.
const MOST_TERMS: usize = 6;

/// A lag.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Lag {
    /// Seconds; positive = later.
    pub seconds: f64,
    /// Its standard error.
    pub error: f64,
}

/// A coefficient with its standard error.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Coefficient {
    /// Change of the reading per unit of the cause.
    pub value: f64,
    /// Standard error from leaving out strokes.
    pub error: f64,
}

/// Lag of `weights[0]·first + weights[1]·second`, whose slope is `slope` (ratio per degree), on a grid of angles `deg` with
/// pitch `step_deg`. None when the speeds are too much alike or change as slowly as a drift would, when there are too few strokes,
/// or when a line that counts was not recorded.
pub fn by_speed(
    deg: &[f64],
    strokes: &[StrokeCurve],
    step_deg: f64,
    weights: [f64; 2],
    slope: f64,
) -> Option<Lag> {
    let readings: Vec<Reading<'_>> = strokes
        .iter()
        .filter(|s| (0..2).all(|line| weights[line] == 0.0 || !s.ratio[line].is_empty()))
        .map(|s| Reading { stroke: s, cause: speeds(deg, s, step_deg) })
        .collect();
    let found = regression(deg, &readings, weights, true)?;
    (slope != 0.0).then(|| Lag { seconds: -found.value / slope, error: (found.error / slope).abs() })
}

/// Lags of both lines, whose slopes these are. Both are read against one angle: unless the pair itself shows that one lags the other, they share
/// one lag, or what it is uncertain by would stand between lines that were read at one time.
pub fn of_both(deg: &[f64], strokes: &[StrokeCurve], step_deg: f64, slopes: [f64; 2]) -> [Option<Lag>; 2] {
    let found = [([1.0, 0.0], slopes[0]), ([0.0, 1.0], slopes[1])]
        .map(|(weights, slope)| by_speed(deg, strokes, step_deg, weights, slope));
    let [Some(first), Some(second)] = found else { return found };
    let pair = by_speed(deg, strokes, step_deg, without_motion(slopes), slopes[1]);
    if pair.is_some_and(|apart| apart.seconds.abs() > APART * apart.error) {
        return found;
    }
    // What disturbs a stroke disturbs both lines of it: their errors are not independent.
    let weight = [first, second].map(|lag| lag.error.max(f64::MIN_POSITIVE).powi(-2));
    let mean = |a: f64, b: f64| (weight[0] * a + weight[1] * b) / (weight[0] + weight[1]);
    [Some(Lag { seconds: mean(first.seconds, second.seconds), error: mean(first.error, second.error) }); 2]
}

/// Weights by which lines of these slopes add up to the second without what both show of one motion.
pub fn without_motion(slopes: [f64; 2]) -> [f64; 2] {
    [-slopes[1] / slopes[0], 1.0]
}

/// Half of what `weights[0]·first + weights[1]·second` reads more on the way up than on the way down at one place. None with
/// fewer than two strokes of each direction.
pub fn by_direction(deg: &[f64], strokes: &[StrokeCurve], weights: [f64; 2]) -> Option<Coefficient> {
    let sign = |d: Direction| if d == Direction::Up { 1.0 } else { -1.0 };
    let readings: Vec<Reading<'_>> = strokes
        .iter()
        .filter(|s| (0..2).all(|line| weights[line] == 0.0 || !s.ratio[line].is_empty()))
        .map(|s| Reading { stroke: s, cause: vec![sign(s.direction); deg.len()] })
        .collect();
    let of = |d: Direction| readings.iter().filter(|r| r.stroke.direction == d).count();
    if of(Direction::Up) < 2 || of(Direction::Down) < 2 {
        return None;
    }
    regression(deg, &readings, weights, false)
}

/// One stroke and what may move its reading at each place.
struct Reading<'a> {
    stroke: &'a StrokeCurve,
    cause: Vec<f64>,
}

/// What one stroke adds to the normal equations.
#[derive(Clone, Copy, Default)]
struct Sums {
    xx: [[f64; MOST_TERMS]; MOST_TERMS],
    xy: [f64; MOST_TERMS],
    yy: f64,
}

impl Sums {
    fn add(&mut self, other: &Self, sign: f64) {
        for i in 0..MOST_TERMS {
            self.xy[i] += sign * other.xy[i];
            for j in 0..MOST_TERMS {
                self.xx[i][j] += sign * other.xx[i][j];
            }
        }
        self.yy += sign * other.yy;
    }

    /// Coefficient of the cause, what of the cause no drift explains (sum of squares), and the residual's sum of squares. None
    /// where drift explains all of it.
    fn solve(&self, terms: usize) -> Option<(f64, f64, f64)> {
        let mut a = self.xx;
        let mut b = self.xy;
        let mut yy = self.yy;
        // Drift first, the cause last: what is left of its diagonal is what drift does not explain.
        for i in (1..terms).chain([0]) {
            let pivot = a[i][i];
            if pivot <= 1e-9 * self.xx[i][i].max(f64::MIN_POSITIVE) {
                if i == 0 {
                    return None;
                }
                continue;
            }
            if i == 0 {
                return Some((b[0] / pivot, pivot, (yy - b[0] * b[0] / pivot).max(0.0)));
            }
            for j in (0..terms).filter(|j| *j == 0 || *j > i) {
                let factor = a[j][i] / pivot;
                for k in 0..terms {
                    a[j][k] -= factor * a[i][k];
                }
                b[j] -= factor * b[i];
            }
            yy -= b[i] * b[i] / pivot;
        }
        None
    }
}

/// The coefficient of the cause. Readings are compared at one place, within one direction where `within` is true.
fn regression(deg: &[f64], readings: &[Reading<'_>], weights: [f64; 2], within: bool) -> Option<Coefficient> {
    let n = readings.len();
    if n < FEWEST_STROKES {
        return None;
    }
    // Offset and gain: as many powers of time as the strokes can separate from the cause.
    let (offset, gain) = if n < 8 {
        (1, 1)
    } else if n < 10 {
        (2, 2)
    } else {
        (3, 2)
    };
    let terms = 1 + offset + gain;
    let (sums, count, size) = sums(deg, readings, weights, within, (offset, gain));
    let mut all = Sums::default();
    sums.iter().for_each(|s| all.add(s, 1.0));
    let enough = |left: f64| left >= SPREAD * SPREAD * size && left > 0.0;
    let (value, left, residual) = all.solve(terms).filter(|s| enough(s.1))?;
    if count < FEWEST {
        return None;
    }
    let mut without = Vec::with_capacity(n);
    for s in &sums {
        let mut rest = all;
        rest.add(s, -1.0);
        without.push(rest.solve(terms).filter(|s| enough(2.0 * s.1))?.0);
    }
    let mean = statistics::mean(&without)?;
    let spread: f64 = without.iter().map(|v| (v - mean).powi(2)).sum();
    let jackknife = ((n - 1) as f64 / n as f64 * spread).sqrt();
    let plain = (residual / count as f64 / left).sqrt();
    // Of the strokes: their means, the cause, what drifts in offset; the gain's drift shows within them.
    let freedom = n.saturating_sub(usize::from(within) + 2 + offset).max(1) as f64;
    let widened = statistics::t_quantile(0.975, freedom) / statistics::normal_quantile(0.975);
    Some(Coefficient { value, error: (jackknife * widened).max(plain) })
}

/// The normal equations stroke by stroke, how many readings go beyond one per place, and the square of the cause's own size.
fn sums(
    deg: &[f64],
    readings: &[Reading<'_>],
    weights: [f64; 2],
    within: bool,
    (offset, gain): (usize, usize),
) -> (Vec<Sums>, u64, f64) {
    let mut out = vec![Sums::default(); readings.len()];
    let (mut count, mut size) = (0u64, 0.0);
    let (low, high) = readings
        .iter()
        .flat_map(|r| r.stroke.seconds.iter().filter(|s| s.is_finite()))
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), s| (a.min(*s), b.max(*s)));
    let time = |s: f64| 2.0 * (s - low) / (high - low).max(1e-9) - 1.0;
    let middle = 0.5 * (deg[0] + deg[deg.len() - 1]);
    let half = 0.5 * (deg[deg.len() - 1] - deg[0]).max(1e-9);
    let value = |s: &StrokeCurve, k: usize| -> f64 {
        (0..2).filter(|l| weights[*l] != 0.0).map(|l| weights[l] * s.ratio[l][k]).sum()
    };
    let groups: &[&[Direction]] =
        if within { &[&[Direction::Up], &[Direction::Down]] } else { &[&[Direction::Up, Direction::Down]] };
    let mut here: Vec<(usize, [f64; MOST_TERMS], f64)> = Vec::with_capacity(readings.len());
    for group in groups {
        for (k, d) in deg.iter().enumerate() {
            here.clear();
            for (index, r) in readings.iter().enumerate().filter(|(_, r)| group.contains(&r.stroke.direction))
            {
                let (y, t) = (value(r.stroke, k), time(r.stroke.seconds[k]));
                if !(y.is_finite() && t.is_finite() && r.cause[k].is_finite()) {
                    continue;
                }
                let mut x = [0.0; MOST_TERMS];
                x[0] = r.cause[k];
                (0..offset).for_each(|p| x[1 + p] = t.powi(p as i32 + 1));
                (0..gain).for_each(|p| x[1 + offset + p] = t.powi(p as i32 + 1) * (d - middle) / half);
                here.push((index, x, y));
            }
            if here.len() < 2 {
                continue;
            }
            let n = here.len() as f64;
            let mut mean = ([0.0; MOST_TERMS], 0.0);
            for (_, x, y) in &here {
                mean.0.iter_mut().zip(x).for_each(|(m, v)| *m += v / n);
                mean.1 += y / n;
            }
            count += here.len() as u64 - 1;
            for (index, x, y) in &here {
                size += x[0] * x[0];
                let x: [f64; MOST_TERMS] = std::array::from_fn(|i| x[i] - mean.0[i]);
                let y = y - mean.1;
                let s = &mut out[*index];
                for i in 0..MOST_TERMS {
                    s.xy[i] += x[i] * y;
                    (0..MOST_TERMS).for_each(|j| s.xx[i][j] += x[i] * x[j]);
                }
                s.yy += y * y;
            }
        }
    }
    (out, count, size)
}

/// Signed speed at each place, degrees per second.
pub(super) fn speeds(deg: &[f64], stroke: &StrokeCurve, step_deg: f64) -> Vec<f64> {
    let reach = ((REACH_DEG / step_deg).round() as usize).max(1);
    (0..deg.len())
        .map(|k| {
            let (a, b) = (k.saturating_sub(reach), (k + reach).min(deg.len() - 1));
            (deg[b] - deg[a]) / (stroke.seconds[b] - stroke.seconds[a])
        })
        .collect()
}
