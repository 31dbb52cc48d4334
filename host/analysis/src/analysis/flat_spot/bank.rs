//! The matched filters for flat spots and the scale that their outputs are measured by.
//!
//! A curve's deviation from its straight line, in degrees, is filtered with {snap, catch-up, permanent} × widths, each with a
//! local quadratic removed, and with a 1° local slope. Output 1 = full loss of slope. Each output is divided by its own
//! spread along the sweep (constant false alarm rate): median and the rms of the smallest three quarters. Wide filters have
//! few independent places, so their spread is itself uncertain; outputs are brought to one scale by the normal
//! equivalent of Student's t (Wallace, Ann. Math. Statist. 30, 1959, 1124).

use crate::analysis::statistics;

/// Widths that are searched, degrees.
pub(super) const WIDTHS_DEG: [f64; 7] = [0.3, 0.5, 0.7, 1.0, 1.4, 2.0, 2.8];
/// Length over which the local slope is taken, degrees.
const SLOPE_DEG: f64 = 1.0;
/// Shortest length over which a track's own texture is alike, degrees: narrower filters have no more independent places.
const TEXTURE_DEG: f64 = 0.4;
/// Rms of the smallest three quarters of |x| of a standard normal: sqrt(1 − 2cφ(c)/0.75) with c = Φ⁻¹(0.875).
const TRIMMED_RMS: f64 = 0.607_08;
/// Degrees of freedom that this spread is worth per independent place (against 1 of the plain one, 0.37 of the MAD).
const EFFICIENCY: f64 = 0.55;

/// How the output comes back.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Shape {
    /// Jumps back at the end.
    Snap,
    /// Catches up over another width.
    CatchUp,
    /// Stays behind.
    Permanent,
}

impl Shape {
    pub(super) const ALL: [Self; 3] = [Self::Snap, Self::CatchUp, Self::Permanent];

    /// Travel lost at `x` degrees after the start of a spot of `width` with full loss.
    pub(super) fn lost(self, x: f64, width: f64) -> f64 {
        match self {
            Self::Snap => {
                if x > 0.0 && x < width {
                    x
                } else {
                    0.0
                }
            }
            Self::CatchUp => x.min(2.0 * width - x).clamp(0.0, width),
            Self::Permanent => x.clamp(0.0, width),
        }
    }
}

/// One filter.
#[derive(Clone, Debug)]
pub(super) struct Filter {
    /// Width of the spot, degrees.
    pub width_deg: f64,
    /// Its shape; none for the local slope.
    pub shape: Option<Shape>,
    /// Taps, an odd number; the output is minus their sum of products.
    pub taps: Vec<f64>,
}

/// The filters for a grid of `step` degrees; none narrower than three steps.
pub(super) fn bank(step: f64) -> Vec<Filter> {
    let mut out = Vec::new();
    for width in WIDTHS_DEG.into_iter().filter(|w| *w >= 2.9 * step) {
        for shape in Shape::ALL {
            out.push(matched(width, shape, step));
        }
    }
    let half = (0.5 * SLOPE_DEG / step).round() as i64;
    if half >= 2 {
        let x: Vec<f64> = (-half..=half).map(|k| k as f64 * step).collect();
        let xx: f64 = x.iter().map(|v| v * v).sum();
        out.push(Filter { width_deg: SLOPE_DEG, shape: None, taps: x.iter().map(|v| v / xx).collect() });
    }
    out
}

fn matched(width: f64, shape: Shape, step: f64) -> Filter {
    let half = ((1.2f64).max(1.8 * width) / step).round() as i64;
    let x: Vec<f64> = (-half..=half).map(|k| k as f64 * step).collect();
    let template: Vec<f64> = x.iter().map(|v| shape.lost(v + 0.5 * width, width)).collect();
    let nuisance = Nuisance::new(&x, 2);
    let mut clean = template.clone();
    nuisance.remove(&mut clean);
    let gain: f64 = clean.iter().zip(&template).map(|(a, b)| a * b).sum();
    Filter { width_deg: width, shape: Some(shape), taps: clean.iter().map(|v| v / gain).collect() }
}

/// Polynomials up to a degree on given points, orthonormal: what is removed before a spot is looked for.
pub(super) struct Nuisance(Vec<Vec<f64>>);

impl Nuisance {
    /// On points `x`.
    pub(super) fn new(x: &[f64], degree: usize) -> Self {
        let largest = x.iter().fold(0.0f64, |a, v| a.max(v.abs())).max(1e-9);
        let mut basis: Vec<Vec<f64>> = Vec::with_capacity(degree + 1);
        for d in 0..=degree {
            let mut v: Vec<f64> = x.iter().map(|p| (p / largest).powi(d as i32)).collect();
            // Twice is enough (Giraud, Langou, Rozložník 2005).
            for _ in 0..2 {
                for b in &basis {
                    let dot: f64 = v.iter().zip(b).map(|(a, c)| a * c).sum();
                    v.iter_mut().zip(b).for_each(|(a, c)| *a -= dot * c);
                }
            }
            let norm = v.iter().map(|a| a * a).sum::<f64>().sqrt();
            if norm > 1e-9 {
                v.iter_mut().for_each(|a| *a /= norm);
                basis.push(v);
            }
        }
        Self(basis)
    }

    /// Removes them from `y`.
    pub(super) fn remove(&self, y: &mut [f64]) {
        for b in &self.0 {
            let dot: f64 = y.iter().zip(b).map(|(a, c)| a * c).sum();
            y.iter_mut().zip(b).for_each(|(a, c)| *a -= dot * c);
        }
    }
}

impl Filter {
    /// Output at every bin: loss of slope, 1 = full; NaN where the filter touches an unmeasured bin.
    pub(super) fn run(&self, y: &[f64]) -> Vec<f64> {
        let half = self.taps.len() / 2;
        let mut out = vec![f64::NAN; y.len()];
        for k in half..y.len().saturating_sub(half) {
            let window = &y[k - half..=k + half];
            out[k] = -window.iter().zip(&self.taps).map(|(a, b)| a * b).sum::<f64>();
        }
        out
    }

    /// Variance of the output at bin `k` for independent noise of the given variance per bin.
    pub(super) fn variance(&self, per_bin: &[f64], k: usize) -> f64 {
        let half = self.taps.len() / 2;
        per_bin[k - half..=k + half].iter().zip(&self.taps).map(|(v, t)| v * t * t).sum()
    }

    /// Degrees of freedom of the spread over `travel` degrees.
    pub(super) fn freedom(&self, travel: f64) -> f64 {
        (EFFICIENCY * travel / self.width_deg.max(TEXTURE_DEG)).max(1.0)
    }
}

/// Median and spread of a filter's outputs along the sweep; none with fewer than 20 of them.
pub(super) fn spread(outputs: &[f64]) -> Option<(f64, f64)> {
    let mut finite: Vec<f64> = outputs.iter().copied().filter(|v| v.is_finite()).collect();
    if finite.len() < 20 {
        return None;
    }
    let centre = statistics::median(&mut finite)?;
    finite.iter_mut().for_each(|v| *v = (*v - centre).abs());
    finite.sort_unstable_by(f64::total_cmp);
    let kept = &finite[..finite.len() * 3 / 4];
    let rms = (kept.iter().map(|v| v * v).sum::<f64>() / kept.len() as f64).sqrt();
    Some((centre, rms / TRIMMED_RMS))
}

/// Normal equivalent of Student's t.
pub(super) fn normal_equivalent(t: f64, freedom: f64) -> f64 {
    let shrink = (8.0 * freedom + 1.0) / (8.0 * freedom + 3.0);
    t.signum() * shrink * (freedom * (t * t / freedom).ln_1p()).sqrt()
}

/// The t whose normal equivalent is `z`.
pub(super) fn t_of(z: f64, freedom: f64) -> f64 {
    let shrink = (8.0 * freedom + 1.0) / (8.0 * freedom + 3.0);
    (freedom * ((z / shrink).powi(2) / freedom).exp_m1()).sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_filter_gives_one_for_a_full_loss_of_its_own_shape() {
        for filter in bank(0.1) {
            let Some(shape) = filter.shape else { continue };
            let y: Vec<f64> = (0..201)
                .map(|k| -shape.lost((k as f64 - 100.0) * 0.1 + 0.5 * filter.width_deg, filter.width_deg))
                .collect();
            let out = filter.run(&y);
            assert!((out[100] - 1.0).abs() < 1e-9, "{} {shape:?}: {}", filter.width_deg, out[100]);
        }
    }

    #[test]
    fn a_parabola_leaves_every_matched_filter_silent() {
        let y: Vec<f64> = (0..201).map(|k| 3.0 + 0.2 * k as f64 + 0.01 * (k * k) as f64).collect();
        for filter in bank(0.1).iter().filter(|f| f.shape.is_some()) {
            assert!(filter.run(&y).iter().filter(|v| v.is_finite()).all(|v| v.abs() < 1e-7));
        }
    }

    #[test]
    fn normal_equivalents_agree_with_students_t() {
        // Student's quantiles come from statrs.
        for (p, freedom) in [(0.999, 10.0), (0.999_9, 25.0), (0.999_99, 60.0)] {
            let z = statistics::normal_quantile(p);
            let got = normal_equivalent(statistics::t_quantile(p, freedom), freedom);
            assert!((got - z).abs() < 0.01, "{got} {z}");
            assert!((normal_equivalent(t_of(z, freedom), freedom) - z).abs() < 1e-12);
        }
    }

    #[test]
    fn the_spread_of_normal_data_is_its_standard_deviation_and_a_quarter_of_outliers_hardly_moves_it() {
        let mut r = statistics::Resampler::new(5);
        let mut values: Vec<f64> = (0..40_000).map(|_| 2.0 + 0.5 * r.normal()).collect();
        let (centre, sd) = spread(&values).unwrap();
        assert!((centre - 2.0).abs() < 0.02 && (sd - 0.5).abs() < 0.01, "{centre} {sd}");
        values.iter_mut().step_by(10).for_each(|v| *v = 100.0);
        let (_, sd) = spread(&values).unwrap();
        assert!((sd - 0.5).abs() < 0.12, "{sd}");
    }
}
