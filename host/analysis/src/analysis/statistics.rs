//! Quantiles, robust spread, least squares and interval bounds, with their published checks.
//! It knows nothing of traces or angles.

use rand_core::Rng;
use rand_pcg::Lcg64Xsh32;
use statrs::distribution::{Beta, ChiSquared, ContinuousCDF, Normal, StudentsT};

pub use crate::quantity::order::{median, quantile};

/// Standard deviation of a normal distribution over its median absolute deviation: 1/Φ⁻¹(3/4).
pub const MAD_TO_SD: f64 = 1.482_602_218_505_602;

/// Mean of the finite values by two passes (the second takes the rounding of the first away); none when there is none.
pub fn mean(values: &[f64]) -> Option<f64> {
    let n = values.iter().filter(|v| v.is_finite()).count();
    if n == 0 {
        return None;
    }
    let finite = || values.iter().copied().filter(|v| v.is_finite());
    let first = finite().sum::<f64>() / n as f64;
    Some(first + finite().map(|v| v - first).sum::<f64>() / n as f64)
}

/// Sample standard deviation (n − 1) of the finite values by the corrected two-pass algorithm (Chan, Golub, LeVeque 1983);
/// none with fewer than two.
pub fn standard_deviation(values: &[f64]) -> Option<f64> {
    let centre = mean(values)?;
    let (mut n, mut sum, mut squares) = (0u64, 0.0, 0.0);
    for v in values.iter().copied().filter(|v| v.is_finite()) {
        let d = v - centre;
        n += 1;
        sum += d;
        squares += d * d;
    }
    (n >= 2).then(|| ((squares - sum * sum / n as f64) / (n - 1) as f64).max(0.0).sqrt())
}

/// Median absolute deviation × 1.4826: the standard deviation of normal data, blind to outliers. Overwrites `values`.
pub fn robust_sd(values: &mut [f64]) -> Option<f64> {
    let centre = median(values)?;
    for v in values.iter_mut() {
        *v = (*v - centre).abs();
    }
    median(values).map(|m| MAD_TO_SD * m)
}

/// A straight line with what is known of it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LineFit {
    /// Value at x = 0.
    pub intercept: f64,
    /// Slope.
    pub slope: f64,
    /// Standard error of the intercept.
    pub intercept_error: f64,
    /// Standard error of the slope.
    pub slope_error: f64,
    /// Correlation of intercept and slope.
    pub correlation: f64,
    /// Standard deviation of the residuals, n − 2 degrees of freedom.
    pub residual_sd: f64,
    /// Points used.
    pub n: usize,
}

impl LineFit {
    /// Value of the line at `x`.
    pub fn at(&self, x: f64) -> f64 {
        self.intercept + self.slope * x
    }

    /// Standard error of the line's value at `x` (GUM H.3.4).
    pub fn error_at(&self, x: f64) -> f64 {
        let (a, b) = (self.intercept_error, self.slope_error * x);
        (a * a + b * b + 2.0 * a * b * self.correlation).max(0.0).sqrt()
    }
}

/// A parabola a + b·x + c·x² with what is known of its value at 0.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ParabolaFit {
    /// Value at x = 0.
    pub value: f64,
    /// Slope at x = 0.
    pub slope: f64,
    /// Half of the second derivative.
    pub bend: f64,
    /// Standard error of the value at 0 from the residuals, n − 3 degrees of freedom; 0 with 3 points.
    pub value_error: f64,
    /// Weight of a point at x = 0 in its own fit.
    pub leverage: f64,
}

/// Least squares by a parabola through points near x = 0. None with fewer than 3 points or three x that do not differ.
pub fn fit_parabola(points: &[(f64, f64)]) -> Option<ParabolaFit> {
    let n = points.len();
    if n < 3 {
        return None;
    }
    let reach = points.iter().fold(0.0f64, |a, p| a.max(p.0.abs()));
    if reach <= 0.0 {
        return None;
    }
    // Gram-Schmidt on 1, x, x² over these points: stable where a normal matrix is not.
    let count = n as f64;
    let x: Vec<f64> = points.iter().map(|p| p.0 / reach).collect();
    let middle = x.iter().sum::<f64>() / count;
    let first: Vec<f64> = x.iter().map(|x| x - middle).collect();
    let s1: f64 = first.iter().map(|v| v * v).sum();
    let (mean_square, along) = (
        x.iter().map(|x| x * x).sum::<f64>() / count,
        x.iter().zip(&first).map(|(x, v)| x * x * v).sum::<f64>() / s1,
    );
    let second: Vec<f64> = x.iter().zip(&first).map(|(x, v)| x * x - mean_square - along * v).collect();
    let s2: f64 = second.iter().map(|v| v * v).sum();
    if s1.is_nan() || s1 < 1e-12 || s2 < 1e-12 {
        return None;
    }
    let mean_y = points.iter().map(|p| p.1).sum::<f64>() / count;
    let b1 = points.iter().zip(&first).map(|(p, v)| (p.1 - mean_y) * v).sum::<f64>() / s1;
    let b2 = points.iter().zip(&second).map(|(p, v)| (p.1 - mean_y) * v).sum::<f64>() / s2;
    let (at1, at2) = (-middle, -mean_square + along * middle);
    let squares: f64 = (0..n).map(|i| (points[i].1 - mean_y - b1 * first[i] - b2 * second[i]).powi(2)).sum();
    let leverage = 1.0 / count + at1 * at1 / s1 + at2 * at2 / s2;
    let residual = if n > 3 { squares / (count - 3.0) } else { 0.0 };
    Some(ParabolaFit {
        value: mean_y + b1 * at1 + b2 * at2,
        slope: (b1 - along * b2) / reach,
        bend: b2 / (reach * reach),
        value_error: (residual * leverage).sqrt(),
        leverage,
    })
}

/// Ordinary least squares through the points where both are finite (GUM H.3). None with fewer than 3 points or one x.
pub fn fit_line(x: &[f64], y: &[f64]) -> Option<LineFit> {
    let points = || x.iter().zip(y).filter(|(a, b)| a.is_finite() && b.is_finite());
    let n = points().count();
    if n < 3 {
        return None;
    }
    let count = n as f64;
    let (mut mx, mut my) = (0.0, 0.0);
    for (a, b) in points() {
        mx += a / count;
        my += b / count;
    }
    let (mut sxx, mut sxy) = (0.0, 0.0);
    for (a, b) in points() {
        sxx += (a - mx) * (a - mx);
        sxy += (a - mx) * (b - my);
    }
    if sxx <= 0.0 {
        return None;
    }
    let slope = sxy / sxx;
    let intercept = my - slope * mx;
    let squares: f64 = points().map(|(a, b)| (b - my - slope * (a - mx)).powi(2)).sum();
    let residual_sd = (squares / (count - 2.0)).sqrt();
    let intercept_error = residual_sd * (1.0 / count + mx * mx / sxx).sqrt();
    let correlation = -mx / (sxx / count + mx * mx).sqrt();
    Some(LineFit {
        intercept,
        slope,
        intercept_error,
        slope_error: residual_sd / sxx.sqrt(),
        correlation,
        residual_sd,
        n,
    })
}

/// Theil–Sen line: median of the slopes of all pairs, then median of y − slope·x (Sen, J. Am. Stat. Assoc. 63, 1968, 1379).
/// More than 400 points are thinned evenly first. None when no pair has two different x.
pub fn theil_sen(x: &[f64], y: &[f64]) -> Option<(f64, f64)> {
    let points: Vec<(f64, f64)> =
        x.iter().copied().zip(y.iter().copied()).filter(|(a, b)| a.is_finite() && b.is_finite()).collect();
    let every = points.len().div_ceil(400).max(1);
    let points: Vec<(f64, f64)> = points.into_iter().step_by(every).collect();
    let mut slopes = Vec::with_capacity(points.len() * points.len() / 2);
    for (i, a) in points.iter().enumerate() {
        for b in &points[i + 1..] {
            if b.0 != a.0 {
                slopes.push((b.1 - a.1) / (b.0 - a.0));
            }
        }
    }
    let slope = median(&mut slopes)?;
    let mut rest: Vec<f64> = points.iter().map(|p| p.1 - slope * p.0).collect();
    median(&mut rest).map(|intercept| (slope, intercept))
}

/// One standard deviation of the noise of a smooth column, from its fourth differences (1, −4, 6, −4, 1: 70 variances), to which a bend adds
/// little; 0 with too few values.
pub fn sd_beside_bend(values: impl IntoIterator<Item = f64>) -> f64 {
    let values: Vec<f64> = values.into_iter().collect();
    let mut fourth: Vec<f64> = values
        .windows(5)
        .map(|w| w[0] - 4.0 * w[1] + 6.0 * w[2] - 4.0 * w[3] + w[4])
        .filter(|d| d.is_finite())
        .collect();
    robust_sd(&mut fourth).map_or(0.0, |s| s / 70.0f64.sqrt())
}

/// The step that a quantised column moves in: the smallest difference of neighbours of which 95 % of all differences are
/// multiples (within 5 % of a step); 0 when there is none. Looks at 20 000 neighbours at most.
pub fn quantum(values: &[f32]) -> f64 {
    let every = (values.len() / 20_000).max(1);
    let differences: Vec<f64> = values
        .windows(2)
        .step_by(every)
        .map(|w| (f64::from(w[1]) - f64::from(w[0])).abs())
        .filter(|d| d.is_finite())
        .collect();
    let largest =
        values.iter().step_by(every).filter(|v| v.is_finite()).fold(0.0f64, |a, v| a.max(f64::from(v.abs())));
    // A difference of two f32 is uncertain by about this much.
    let rounding = largest * f64::from(f32::EPSILON);
    let mut moved: Vec<f64> = differences.into_iter().filter(|d| *d > 4.0 * rounding).collect();
    if moved.len() < 20 {
        return 0.0;
    }
    let Some(step) = quantile(&mut moved, 0.02) else { return 0.0 };
    let fits = moved
        .iter()
        .filter(|d| ((*d / step).round() - *d / step).abs() * step < 0.05 * step + rounding)
        .count();
    if step > 20.0 * rounding && fits * 100 >= moved.len() * 95 { step } else { 0.0 }
}

/// Probability that a standard normal variable is above `z`.
pub fn normal_tail(z: f64) -> f64 {
    0.5 * statrs::function::erf::erfc(z / std::f64::consts::SQRT_2)
}

/// Standard normal quantile.
pub fn normal_quantile(p: f64) -> f64 {
    Normal::standard().inverse_cdf(p)
}

/// Quantile of Student's t with `dof` > 0 degrees of freedom.
///
/// # Panics
/// Never for `dof` > 0; a smaller one is raised to a tiny positive number.
pub fn t_quantile(p: f64, dof: f64) -> f64 {
    StudentsT::new(0.0, 1.0, dof.max(1e-3)).map_or(f64::NAN, |t| t.inverse_cdf(p))
}

/// Exact one-sided upper bound of a Poisson mean after `count` events, at `confidence` (0..1):
/// χ²⁻¹(confidence; 2·count + 2)/2 (Garwood, Biometrika 28, 1936, 437). For 0 events −ln(1 − confidence).
pub fn poisson_upper(count: u64, confidence: f64) -> f64 {
    if count == 0 {
        return -(1.0 - confidence).ln();
    }
    ChiSquared::new(2.0 * count as f64 + 2.0).map_or(f64::NAN, |c| 0.5 * c.inverse_cdf(confidence))
}

/// Exact one-sided lower bound of a Poisson mean after `count` events; 0 for none. Source as [`poisson_upper`].
pub fn poisson_lower(count: u64, confidence: f64) -> f64 {
    if count == 0 {
        return 0.0;
    }
    ChiSquared::new(2.0 * count as f64).map_or(f64::NAN, |c| 0.5 * c.inverse_cdf(1.0 - confidence))
}

/// Two-sided exact interval of a proportion, `hits` of `trials` > 0, at `confidence` (Clopper, Pearson, Biometrika 26, 1934,
/// 404).
pub fn clopper_pearson(hits: u64, trials: u64, confidence: f64) -> (f64, f64) {
    let tail = 0.5 * (1.0 - confidence);
    let beta = |a: u64, b: u64, p: f64| Beta::new(a as f64, b as f64).map_or(f64::NAN, |d| d.inverse_cdf(p));
    let low = if hits == 0 { 0.0 } else { beta(hits, trials - hits + 1, tail) };
    let high = if hits >= trials { 1.0 } else { beta(hits + 1, trials - hits, 1.0 - tail) };
    (low, high)
}

/// Small seeded generator (PCG-XSH-RR 64/32, O'Neill 2014) for resampling that must give the same answer every time, in every version: what
/// is analysed again must come to the same figures. So the uniform and the normal numbers are made of its bits here.
#[derive(Clone, Debug)]
pub struct Resampler(Lcg64Xsh32);

impl Resampler {
    /// From a seed.
    pub fn new(seed: u64) -> Self {
        // The generator adds its increment, 2·STREAM + 1, before the first step.
        const STREAM: u64 = 721_347_520_444_481_703;
        let state = seed.wrapping_add(0x9E37_79B9_7F4A_7C15).wrapping_sub(2 * STREAM + 1);
        Self(Lcg64Xsh32::new(state, STREAM))
    }

    /// The next 32 random bits.
    pub fn next_u32(&mut self) -> u32 {
        self.0.next_u32()
    }

    /// Uniform on (0, 1).
    pub fn uniform(&mut self) -> f64 {
        (f64::from(self.next_u32()) + 0.5) / 4_294_967_296.0
    }

    /// Standard normal by the transform of Box and Muller (1958).
    pub fn normal(&mut self) -> f64 {
        let radius = (-2.0 * self.uniform().ln()).sqrt();
        radius * (std::f64::consts::TAU * self.uniform()).cos()
    }
}

/// What residuals that resemble their neighbours do to a fit: factor on its residual sd, and on its standard errors.
///
/// A first-order autoregression leaves n·(1 − ρ)/(1 + ρ) independent points, here at least 3; two of them the line has used.
pub fn widened_by_resemblance(x: &[f64], y: &[f64], fit: &LineFit) -> (f64, f64) {
    let residual: Vec<f64> = x.iter().zip(y).map(|(x, y)| y - fit.at(*x)).collect();
    let squares: f64 = residual.iter().map(|r| r * r).sum();
    let neighbours: f64 = residual.windows(2).map(|w| w[0] * w[1]).sum();
    let rho = if squares > 0.0 { (neighbours / squares).clamp(0.0, 0.99) } else { 0.0 };
    let n = residual.len() as f64;
    let free = (n * (1.0 - rho) / (1.0 + rho)).max(3.0);
    ((free / (free - 2.0)).sqrt(), (n / free).sqrt())
}

#[cfg(test)]
#[path = "statistics_tests.rs"]
mod tests;
