//! Whether values look normal: Anderson and Darling's A² with mean and variance from the values. It does not know what they are.
//!
//! Statistic, correction for n and probability: R. B. D'Agostino, M. A. Stephens, Goodness-of-Fit Techniques, 1986, section 4.8.5,
//! table 4.9 (case 3).

use crate::analysis::statistics::{mean, standard_deviation};
use serde::Serialize;
use statrs::distribution::{ContinuousCDF, Normal};

/// Fewer values say nothing of their shape.
pub const LEAST_VALUES: usize = 8;
/// Below this probability a normal shape is doubtful.
pub const DOUBTFUL: f64 = 0.05;
/// Below this probability it is refuted.
pub const REFUTED: f64 = 0.01;

/// What the values say of their shape.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
#[serde(rename_all = "snake_case")]
pub enum Shape {
    /// Nothing speaks against a normal distribution.
    Plausible,
    /// Once in 20 normal samples looks so.
    Doubtful,
    /// Less than once in 100.
    Refuted,
    /// Too few values, or all alike.
    Unknown,
}

/// The test's result.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct AndersonDarling {
    /// A², corrected for n.
    pub statistic: f64,
    /// Probability of at least so much when the values are normal, 0..1.
    pub p: f64,
}

impl AndersonDarling {
    /// Of finite values; none below [`LEAST_VALUES`], or when all are alike.
    pub fn of(values: &[f64]) -> Option<Self> {
        let (centre, sd) = (mean(values)?, standard_deviation(values)?);
        let n = values.len();
        if n < LEAST_VALUES || sd <= 0.0 || sd <= 1e-12 * centre.abs() {
            return None;
        }
        let mut sorted: Vec<f64> = values.iter().map(|v| (v - centre) / sd).collect();
        sorted.sort_by(f64::total_cmp);
        let normal = Normal::standard();
        // ln(1 − Φ(y)) as ln Φ(−y): exact in the tail too.
        let log = |y: f64| normal.cdf(y).max(f64::MIN_POSITIVE).ln();
        let sum: f64 = (0..n).map(|i| (2 * i + 1) as f64 * (log(sorted[i]) + log(-sorted[n - 1 - i]))).sum();
        let count = n as f64;
        let plain = -count - sum / count;
        let statistic = plain * (1.0 + 0.75 / count + 2.25 / (count * count));
        Some(Self { statistic, p: probability(statistic) })
    }
}

/// Table 4.9.
fn probability(a: f64) -> f64 {
    let p = if a < 0.2 {
        1.0 - (-13.436 + 101.14 * a - 223.73 * a * a).exp()
    } else if a < 0.34 {
        1.0 - (-8.318 + 42.796 * a - 59.938 * a * a).exp()
    } else if a < 0.6 {
        (0.9177 - 4.279 * a - 1.38 * a * a).exp()
    } else if a < 13.0 {
        (1.2937 - 5.709 * a + 0.0186 * a * a).exp()
    } else {
        0.0
    };
    p.clamp(0.0, 1.0)
}

/// What values say of their shape.
pub fn shape(values: &[f64]) -> Shape {
    match AndersonDarling::of(values).map(|a| a.p) {
        None => Shape::Unknown,
        Some(p) if p < REFUTED => Shape::Refuted,
        Some(p) if p < DOUBTFUL => Shape::Doubtful,
        Some(_) => Shape::Plausible,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::statistics::Resampler;

    #[test]
    fn the_published_points_have_their_probabilities() {
        // D'Agostino, Stephens, table 4.7, case 3, from memory: 10 % 0.631, 5 % 0.752, 1 % 1.035.
        for (a, p) in [(0.631, 0.10), (0.752, 0.05), (1.035, 0.01)] {
            assert!((probability(a) - p).abs() < 0.03 * p, "{a}: {}", probability(a));
        }
    }

    #[test]
    fn normal_samples_are_doubted_as_often_as_stated() {
        let mut random = Resampler::new(11);
        let doubted = (0..4000)
            .filter(|_| {
                let values: Vec<f64> = (0..15).map(|_| random.normal()).collect();
                matches!(shape(&values), Shape::Doubtful | Shape::Refuted)
            })
            .count();
        // Binomial(4000, 0.05): 200 ± 4·13.8.
        assert!((145..=255).contains(&doubted), "{doubted}");
    }

    #[test]
    fn a_lone_outlier_and_a_heap_of_equal_values_are_seen() {
        let mut values: Vec<f64> = (0..20).map(|k| f64::from(k) / 10.0).collect();
        assert_eq!(shape(&values), Shape::Plausible);
        values.push(40.0);
        assert_eq!(shape(&values), Shape::Refuted);
        assert_eq!(shape(&[1.0; 30]), Shape::Unknown);
        assert_eq!(shape(&[1.0, 2.0, 3.0]), Shape::Unknown);
    }
}
