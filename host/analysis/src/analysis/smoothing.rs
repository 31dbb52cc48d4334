//! Running mean over half a degree that leaves a straight line straight. For residuals and reversals; linearity has its own (`course`).

use super::curve::{Curves, window_mean};

/// Residuals are smoothed over this much before a maximum is taken, degrees.
pub const SMOOTHING_DEG: f64 = 0.5;

/// Smoothing that does not bend at the ends: a straight line is taken out first.
pub struct Smoother {
    half: usize,
    trend: Vec<f64>,
}

impl Smoother {
    /// For curves with about this slope, ratio per degree.
    pub fn new(curves: &Curves, slope: f64) -> Self {
        let half = curves.bins_in(SMOOTHING_DEG) / 2;
        Self { half, trend: curves.deg.iter().map(|d| slope * d).collect() }
    }

    /// Smoothed; NaN where `y` is NaN.
    pub fn apply(&self, y: &[f64]) -> Vec<f64> {
        let flat: Vec<f64> = y.iter().zip(&self.trend).map(|(y, t)| y - t).collect();
        let mut out = window_mean(&flat, self.half);
        for k in 0..y.len() {
            out[k] = if y[k].is_finite() { out[k] + self.trend[k] } else { f64::NAN };
        }
        out
    }
}
