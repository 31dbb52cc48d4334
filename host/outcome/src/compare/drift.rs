//! Whether a series drifts, by how much, and how sure that is; holes and uneven times allowed. It knows numbers, not figures.
//!
//! Slope: median of the slopes of all pairs; its interval from the ranks of those slopes (P. K. Sen, J. Am. Stat. Assoc. 63, 1968, 1379).
//! Significance: Kendall's S against its variance with ties (H. B. Mann, Econometrica 13, 1945, 245; M. G. Kendall, Rank Correlation
//! Methods, 1975), with continuity. Neighbours that resemble each other beside the line widen that variance by the factor of
//! K. H. Hamed, A. R. Rao, J. Hydrology 204, 1998, 182, equation 15, taken for a first-order autoregression whose coefficient is the
//! residuals' own, freed of its bias (F. H. C. Marriott, J. A. Pope, Biometrika 41, 1954, 390), and only where it is larger than chance
//! makes it; else every short series would be widened at random. Neighbours across a hole are no neighbours.

use crate::analysis::statistics::{median, normal_quantile};
use crate::compare::family::by_chance;

/// Fewer values make no drift: below, the normal approximation of Kendall's S fails (Kendall 1975, 4.8).
pub const LEAST_VALUES: usize = 10;
/// More values are averaged in blocks first, so that work and memory stay bounded.
const MOST_VALUES: usize = 300;
/// Coverage of the interval.
const COVERAGE: f64 = 0.95;
/// A step this many times the usual one is a hole.
const HOLE: f64 = 2.5;
/// Resemblance of neighbours is believed from this many of its standard errors on.
const BELIEVED: f64 = 1.0;

/// A drift.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Drift {
    /// Slope in the unit per unit of time.
    pub slope: f64,
    /// Lower end of its 95 % interval.
    pub lower: f64,
    /// Upper end.
    pub upper: f64,
    /// Value of the line at time 0.
    pub at_zero: f64,
    /// Two-sided probability without a drift, 0..1.
    pub p: f64,
    /// Autocorrelation of neighbours that was taken into account, 0..1.
    pub resemblance: f64,
}

/// The drift of values over rising times. None for fewer than [`LEAST_VALUES`], or when all are of one time.
pub fn drift(times: &[f64], values: &[f64]) -> Option<Drift> {
    if times.len() != values.len() || times.len() < LEAST_VALUES {
        return None;
    }
    let (t, y) = blocks(times, values, MOST_VALUES);
    let mut slopes = Vec::with_capacity(t.len() * (t.len() - 1) / 2);
    let mut s = 0.0;
    for i in 0..t.len() {
        for j in i + 1..t.len() {
            if t[j] > t[i] {
                slopes.push((y[j] - y[i]) / (t[j] - t[i]));
                s += (y[j] - y[i]).partial_cmp(&0.0).map_or(0.0, |o| f64::from(o as i8));
            }
        }
    }
    let slope = median(&mut slopes)?;
    let at_zero = median(&mut t.iter().zip(&y).map(|(t, y)| y - slope * t).collect::<Vec<_>>())?;
    let residuals: Vec<f64> = t.iter().zip(&y).map(|(t, y)| y - at_zero - slope * t).collect();
    let resemblance = resemblance(&t, &residuals);
    let variance = variance_of_s(&y) * widening(t.len(), resemblance);
    let sigmas = if variance > 0.0 { (s.abs() - 1.0).max(0.0) / variance.sqrt() } else { 0.0 };
    let (lower, upper) = interval(&mut slopes, variance, COVERAGE);
    Some(Drift { slope, lower, upper, at_zero, p: by_chance(sigmas), resemblance })
}

/// Means of equally many neighbours, at most `most` of them.
pub fn blocks(times: &[f64], values: &[f64], most: usize) -> (Vec<f64>, Vec<f64>) {
    let size = times.len().div_ceil(most).max(1);
    let mean = |all: &[f64]| all.iter().sum::<f64>() / all.len() as f64;
    (times.chunks(size).map(mean).collect(), values.chunks(size).map(mean).collect())
}

/// Variance of S without a drift, for independent values with ties.
fn variance_of_s(y: &[f64]) -> f64 {
    let term = |n: f64| n * (n - 1.0) * (2.0 * n + 5.0);
    let mut sorted = y.to_vec();
    sorted.sort_by(f64::total_cmp);
    let ties: f64 = sorted.chunk_by(|a, b| a == b).map(|tied| term(tied.len() as f64)).sum();
    (term(y.len() as f64) - ties) / 18.0
}

/// Hamed and Rao's factor for an autoregression of first order.
fn widening(count: usize, rho: f64) -> f64 {
    let n = count as f64;
    let sum: f64 = (1..count.saturating_sub(2))
        .map(|i| {
            let left = n - i as f64;
            left * (left - 1.0) * (left - 2.0) * rho.powi(i as i32)
        })
        .sum();
    1.0 + 2.0 * sum / (n * (n - 1.0) * (n - 2.0))
}

/// Autocorrelation of the ranks of neighbours, 0..0.98; 0 where it may be chance.
fn resemblance(times: &[f64], residuals: &[f64]) -> f64 {
    let mut steps: Vec<f64> = times.windows(2).map(|w| w[1] - w[0]).collect();
    let usual = median(&mut steps).unwrap_or(0.0);
    let ranks = ranks(residuals);
    let centre = 0.5 * (ranks.len() as f64 + 1.0);
    let pairs = (1..ranks.len()).filter(|k| times[*k] - times[k - 1] <= HOLE * usual);
    let (mut product, mut count) = (0.0, 0.0);
    for k in pairs {
        product += (ranks[k] - centre) * (ranks[k - 1] - centre);
        count += 1.0;
    }
    let n = ranks.len() as f64;
    let square = ranks.iter().map(|r| (r - centre).powi(2)).sum::<f64>() / n;
    if count < 3.0 || square <= 0.0 {
        return 0.0;
    }
    let found = product / count / square;
    // Two numbers, level and slope, were taken from the same values.
    let freed = (found + (1.0 + 4.0 * found.max(0.0)) / n).min(0.98);
    if freed > BELIEVED / n.sqrt() { freed } else { 0.0 }
}

/// Ranks from 1, ties averaged.
fn ranks(values: &[f64]) -> Vec<f64> {
    let mut order: Vec<usize> = (0..values.len()).collect();
    order.sort_by(|a, b| values[*a].total_cmp(&values[*b]));
    let mut ranks = vec![0.0; values.len()];
    let mut begin = 0;
    for tied in order.chunk_by(|a, b| values[*a] == values[*b]) {
        let rank = begin as f64 + 0.5 * (tied.len() as f64 + 1.0);
        tied.iter().for_each(|k| ranks[*k] = rank);
        begin += tied.len();
    }
    ranks
}

/// Sen's interval: the slopes whose ranks lie half the width of S's interval about the middle.
fn interval(slopes: &mut [f64], variance: f64, coverage: f64) -> (f64, f64) {
    slopes.sort_by(f64::total_cmp);
    let (count, half) = (slopes.len() as f64, normal_quantile(0.5 + 0.5 * coverage) * variance.sqrt());
    let low = ((count - half) / 2.0).round() - 1.0;
    let high = ((count + half) / 2.0).round();
    let at = |rank: f64| slopes[(rank.max(0.0) as usize).min(slopes.len() - 1)];
    (at(low), at(high))
}

#[cfg(test)]
#[path = "drift_tests.rs"]
mod tests;
