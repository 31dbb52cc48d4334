//! Many questions at once: when a whole comparison may be wrong about a change only once in 20, however many figures it holds.
//! It knows probabilities, not figures.
//!
//! S. Holm, A Simple Sequentially Rejective Multiple Test Procedure, Scandinavian Journal of Statistics 6, 1979, 65: the
//! probability of one false "changed" or more is at most the level, whatever the dependence among the figures.

use crate::analysis::statistics::{normal_quantile as quantile, normal_tail};
use serde::Serialize;

/// A whole comparison says "changed" of anything that did not change at most this often.
pub const LEVEL: f64 = 0.05;
/// A change that would be seen this often counts as one that would have been shown.
pub const POWER: f64 = 0.95;

/// The questions that share one level.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct Family {
    /// Probability of one false answer or more.
    #[cfg_attr(feature = "schemas", schemars(range(min = 0, max = 1)))]
    pub level: f64,
    /// How many questions.
    pub questions: usize,
}

impl Family {
    /// So many questions at [`LEVEL`].
    pub const fn of(questions: usize) -> Self {
        Self { level: LEVEL, questions }
    }

    /// What is surely enough for one of them: Holm's first step.
    pub fn enough(&self) -> f64 {
        self.level / self.questions.max(1) as f64
    }

    /// Difference, in standard uncertainties, that is surely enough.
    pub fn enough_sigmas(&self) -> f64 {
        quantile(1.0 - 0.5 * self.enough())
    }

    /// True change, in standard uncertainties of the difference, that is shown with a probability of [`POWER`].
    pub fn shown_sigmas(&self) -> f64 {
        self.enough_sigmas() + quantile(POWER)
    }
}

/// Two-sided probability of a difference of `sigmas` standard uncertainties or more by chance.
pub fn by_chance(sigmas: f64) -> f64 {
    2.0 * normal_tail(sigmas.abs())
}

/// Holm's adjusted probabilities, in the order given: an answer holds for the family where its own is at most the level.
pub fn adjusted(p: &[f64]) -> Vec<f64> {
    let mut order: Vec<usize> = (0..p.len()).collect();
    order.sort_by(|a, b| p[*a].total_cmp(&p[*b]));
    let mut adjusted = vec![1.0; p.len()];
    let mut largest: f64 = 0.0;
    for (rank, index) in order.into_iter().enumerate() {
        largest = largest.max(((p.len() - rank) as f64 * p[index]).min(1.0));
        adjusted[index] = largest;
    }
    adjusted
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn probabilities_are_adjusted_as_a_statistics_package_does() {
        // By hand: 4·0.005, 3·0.01, 2·0.03, and 0.04 no less than the one before it.
        let got = adjusted(&[0.01, 0.04, 0.03, 0.005]);
        for (got, want) in got.iter().zip([0.03, 0.06, 0.06, 0.02]) {
            assert!((got - want).abs() < 1e-12, "{got} {want}");
        }
        assert!(adjusted(&[]).is_empty());
    }

    #[test]
    fn five_questions_need_the_99_percent_point_each() {
        // Computed (scipy.stats.norm.ppf(0.995)): 2.5758.
        assert!((Family::of(5).enough_sigmas() - 2.5758).abs() < 1e-4);
        assert!((by_chance(2.5758) - 0.01).abs() < 1e-5);
        assert!((Family::of(1).shown_sigmas() - (1.959_964 + 1.644_854)).abs() < 1e-5);
    }
}
