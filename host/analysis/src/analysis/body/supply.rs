//! The sensors' supply as the feedback lines saw it, scan by scan. It knows no angle.
//!
//! Lines are ratios of the supply at the same moment: a supply that dips with the motor's current takes the lines along at once, so a
//! mean over time would turn the dip into motion. But the meter's own noise on the supply must not become the angle's. How much of
//! what the supply does from scan to scan is real is what the lines share of it: the regression of their second differences on the
//! supply's own (slope 1 = all of it). Between a mean over 25 scans and the scan itself the estimate lies as a Wiener filter puts
//! it (Wiener, Extrapolation, Interpolation, and Smoothing of Stationary Time Series, 1949): the share of the variance about the mean that
//! is not the meter's.

use super::super::statistics;

/// Half of the mean's window, scans.
const HALF: usize = 12;
/// Variance about the mean below this many times the meter's is the meter's: 25 scans scatter by a fifth of it.
const NOISE_ROOM: f64 = 1.6;
/// Second differences beyond this many spreads are events, not noise.
const EVENT: f64 = 4.0;
/// At most so many scans show the noise.
const MOST: usize = 40_000;

/// Supply at each scan, V; NaN where none was recorded near it.
pub fn as_seen(supply: &[f32], lines: &[&[f32]]) -> Vec<f64> {
    let raw: Vec<f64> = supply.iter().map(|v| f64::from(*v)).collect();
    let mean = windowed(&raw);
    let off: Vec<f64> = raw.iter().zip(&mean).map(|(r, m)| r - m).collect();
    let squares: Vec<f64> = off.iter().map(|d| d * d).collect();
    let variance = windowed(&squares);
    let meter = meter_variance(&raw, lines);
    let real = |variance: f64| {
        if variance > 0.0 { (1.0 - NOISE_ROOM * meter / variance).clamp(0.0, 1.0) } else { 0.0 }
    };
    (0..raw.len())
        .map(|k| if off[k].is_finite() { mean[k] + real(variance[k]) * off[k] } else { mean[k] })
        .collect()
}

/// Variance of the meter's own noise on the supply, V²: what the lines do not share of it.
fn meter_variance(supply: &[f64], lines: &[&[f32]]) -> f64 {
    let every = (supply.len() / MOST).max(1);
    let second = |at: &dyn Fn(usize) -> f64, k: usize| at(k + 1) - 2.0 * at(k) + at(k - 1);
    let own = |k: usize| second(&|i| supply[i], k);
    let places: Vec<usize> = (1..supply.len().saturating_sub(1)).step_by(every).collect();
    let mut all: Vec<f64> = places.iter().map(|k| own(*k)).filter(|d| d.is_finite()).collect();
    let Some(sd) = statistics::robust_sd(&mut all).filter(|sd| *sd > 0.0) else { return 0.0 };
    let (mut shared, mut squares) = (0.0, 0.0);
    for line in lines.iter().filter(|l| l.len() == supply.len()) {
        let of = |k: usize| second(&|i| f64::from(line[i]), k);
        let mut theirs: Vec<f64> = places.iter().map(|k| of(*k)).filter(|d| d.is_finite()).collect();
        let Some(line_sd) = statistics::robust_sd(&mut theirs) else { continue };
        for k in &places {
            let (s, l) = (own(*k), of(*k));
            // Where the line is, as a ratio, says how much of the supply it takes along.
            let ratio = f64::from(line[*k]) / supply[*k];
            if s.abs() < EVENT * sd && l.abs() < EVENT * line_sd && ratio.is_finite() {
                shared += ratio * s * l;
                squares += (ratio * s).powi(2);
            }
        }
    }
    let real = if squares > 0.0 { (shared / squares).clamp(0.0, 1.0) } else { 0.0 };
    // White noise σ gives second differences √6 σ.
    sd * sd / 6.0 * (1.0 - real)
}

/// Mean of the finite values within [`HALF`] scans.
fn windowed(values: &[f64]) -> Vec<f64> {
    let mut sums = Vec::with_capacity(values.len() + 1);
    let (mut sum, mut n) = (0.0, 0u32);
    sums.push((sum, n));
    for v in values {
        if v.is_finite() {
            (sum, n) = (sum + v, n + 1);
        }
        sums.push((sum, n));
    }
    (0..values.len())
        .map(|k| {
            let (a, b) = (sums[k.saturating_sub(HALF)], sums[(k + HALF + 1).min(values.len())]);
            if b.1 > a.1 { (b.0 - a.0) / f64::from(b.1 - a.1) } else { f64::NAN }
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::statistics::Resampler;

    /// A line at `ratio` of a supply that dips by `dip` V for 8 scans in every 200, both with noise; worst error of the line's ratio
    /// away from noise, and its spread where the supply stands.
    fn ratio_errors(dip: f64, meter: f64, real_noise: f64) -> (f64, f64) {
        let mut random = Resampler::new(3);
        let truth: Vec<f64> = (0..20_000)
            .map(|k| 5.0 - if k % 200 < 8 { dip } else { 0.0 } + real_noise * random.normal())
            .collect();
        let supply: Vec<f32> = truth.iter().map(|v| (v + meter * random.normal()) as f32).collect();
        let line: Vec<f32> = truth.iter().map(|v| (0.8 * v + 2e-4 * random.normal()) as f32).collect();
        let seen = as_seen(&supply, &[&line]);
        let off: Vec<f64> = line.iter().zip(&seen).map(|(l, s)| f64::from(*l) / s - 0.8).collect();
        let worst = |r: std::ops::Range<usize>| off[r].iter().fold(0.0f64, |a, b| a.max(b.abs()));
        let still: Vec<f64> =
            off.iter().enumerate().filter(|(k, _)| (80..140).contains(&(k % 200))).map(|o| *o.1).collect();
        (worst(1000..19_000), statistics::standard_deviation(&still).unwrap_or(f64::NAN))
    }

    #[test]
    fn a_dip_that_the_line_shares_is_no_motion() {
        // 30 mV of dip would be 0.8·0.006 = 0.48 % of the supply, half a degree of plate.
        let (worst, _) = ratio_errors(0.03, 3e-4, 0.0);
        assert!(worst < 6e-4, "{worst}");
    }

    #[test]
    fn noise_of_the_meter_alone_does_not_become_the_angles() {
        // Scan by scan it would be 0.8·1 mV/5 V = 1.6e-4; the line's own noise is 0.4e-4.
        let (_, still) = ratio_errors(0.0, 1e-3, 0.0);
        assert!(still < 7e-5, "{still}");
    }

    #[test]
    fn noise_that_the_line_shares_is_divided_out() {
        let (_, still) = ratio_errors(0.0, 1e-5, 2e-3);
        assert!(still < 6e-5, "{still}");
    }
}
