//! How sure a defect is, from how rarely a healthy body would show the same. It knows no defect.
//!
//! Posterior of a defect that shows itself with probability [`FOUND`], after an observation that a healthy body exceeds with
//! probability p: π·d/(π·d + (1 − π)·p) (Bayes; p is a tail, which makes the answer cautious). What healthy bodies are like comes from
//! simulation (the physics study, part B): engineering assumptions until bodies are measured.

use super::estimate::Estimate;
use crate::analysis::statistics::normal_tail;

/// A defect that is there exceeds the same with this probability.
pub const FOUND: f64 = 0.9;
/// One body in a hundred has one given defect. Engineering assumption.
pub const PRIOR: f64 = 0.01;
/// Worn teeth are the commonest: one in fifty. Engineering assumption.
pub const PRIOR_TEETH: f64 = 0.02;
/// Never surer than this: the model of healthy bodies may be wrong.
pub const SUREST: f64 = 0.999;

/// Mean and standard deviation of a quantity over healthy bodies.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Healthy {
    /// Mean.
    pub mean: f64,
    /// Standard deviation, > 0.
    pub sd: f64,
}

impl Healthy {
    /// Probability that a healthy body measures this or more.
    pub fn above(&self, e: Estimate) -> f64 {
        normal_tail((e.value - self.mean) / self.sd.hypot(e.uncertainty))
    }

    /// Probability that a healthy body measures this or less.
    pub fn below(&self, e: Estimate) -> f64 {
        normal_tail((self.mean - e.value) / self.sd.hypot(e.uncertainty))
    }

    /// Probability that a healthy body lies this far off or further, either way.
    pub fn off(&self, e: Estimate) -> f64 {
        2.0 * self.above(e).min(self.below(e))
    }
}

/// Confidence, 0..[`SUREST`], that there is a defect of a prior probability, when healthy bodies show the same with `tail`.
pub fn confidence(prior: f64, tail: f64) -> f64 {
    if !tail.is_finite() {
        return 0.0;
    }
    (prior * FOUND / (prior * FOUND + (1.0 - prior) * tail.clamp(0.0, 1.0))).min(SUREST)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_one_healthy_body_in_two_thousand_shows_makes_a_defect_sure_to_95_per_cent() {
        // 0.01·0.9/(0.009 + 0.99·0.0005) = 0.9479.
        assert!((confidence(PRIOR, 5e-4) - 0.9479).abs() < 1e-4);
        assert!(confidence(PRIOR, 0.5) < 0.02);
        assert!(confidence(PRIOR, f64::NAN) == 0.0 && confidence(PRIOR, 0.0) == SUREST);
    }

    #[test]
    fn a_tail_is_that_of_the_spread_and_the_measurement_together() {
        let healthy = Healthy { mean: 1.0, sd: 0.3 };
        // (2 − 1)/√(0.3² + 0.4²) = 2: 0.02275.
        let e = Estimate { value: 2.0, uncertainty: 0.4 };
        assert!((healthy.above(e) - 0.022_750).abs() < 1e-6);
        assert!((healthy.below(e) - (1.0 - 0.022_750)).abs() < 1e-6);
    }
}
