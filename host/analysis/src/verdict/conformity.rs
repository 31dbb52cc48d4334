//! Whether a value with its uncertainty conforms to a limit. Numbers in, verdict out; it knows nothing of figures.
//!
//! Rule: ISO 14253-1:2017 (from memory), default decision rule: `within` and `outside` each need 95 % probability. For one
//! limit that is a guard band of 1.645 standard uncertainties on both sides of it. For two limits the probability is
//! computed from the normal distribution (JCGM 106:2012, 7.2 to 7.4, from memory).

use super::Verdict;
use crate::analysis::statistics::{normal_quantile, normal_tail};

/// Probability that `within` and `outside` must have.
pub const CONFORMANCE_PROBABILITY: f64 = 0.95;

/// Guard band of one limit in standard uncertainties: the 95 % point of the normal distribution.
// Computed (Python scipy.stats.norm.ppf(0.95)); ISO 14253-1:2017 rounds it to 1.65.
pub const GUARD_FACTOR: f64 = 1.644_853_626_951_472_2;

/// Guard band of one limit in standard uncertainties, where `within` and `outside` need the probability `sure`, 0.5..1.
pub fn guard_factor(sure: f64) -> f64 {
    if sure == CONFORMANCE_PROBABILITY { GUARD_FACTOR } else { normal_quantile(sure) }
}

/// What can be said of a value against its limits.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Conformity {
    /// The verdict.
    pub verdict: Verdict,
    /// Probability that the true value keeps the limits, 0..1; NaN when value or uncertainty is unknown.
    pub probability: f64,
    /// Distance of the value to the nearest limit, in the value's unit; positive inside, negative outside.
    pub margin: f64,
    /// Guard band at one limit, in the value's unit.
    pub guard: f64,
}

/// Probability that the true value lies below a limit, for a measured `value` with standard uncertainty `u`.
/// Without uncertainty it is 1 at the limit: a limit belongs to its zone.
pub(super) fn below(value: f64, u: f64, limit: f64) -> f64 {
    if u > 0.0 { normal_tail((value - limit) / u) } else { f64::from(value <= limit) }
}

/// Probability that the true value keeps its limits: JCGM 106:2012, equations of 7.2 to 7.4 for a normal distribution.
/// A missing limit is open. NaN when `value` or `u` is not finite or `u` is negative.
pub fn probability(value: f64, u: f64, min: Option<f64>, max: Option<f64>) -> f64 {
    if !value.is_finite() || !u.is_finite() || u < 0.0 {
        return f64::NAN;
    }
    let too_high = max.map_or(0.0, |max| 1.0 - below(value, u, max));
    let too_low = min.map_or(0.0, |min| 1.0 - below(-value, u, -min));
    (1.0 - too_high - too_low).clamp(0.0, 1.0)
}

/// Judges a value against its limits.
pub fn conformity(value: f64, u: f64, min: Option<f64>, max: Option<f64>) -> Conformity {
    conformity_at(CONFORMANCE_PROBABILITY, value, u, min, max)
}

/// The same where `within` and `outside` need the probability `sure`, 0.5..1.
///
/// `outside` needs it beyond one and the same limit: a value between two limits is never `outside`, however large its
/// uncertainty.
pub fn conformity_at(sure: f64, value: f64, u: f64, min: Option<f64>, max: Option<f64>) -> Conformity {
    let probability = probability(value, u, min, max);
    let margin =
        [min.map(|m| value - m), max.map(|m| m - value)].into_iter().flatten().fold(f64::INFINITY, f64::min);
    let beyond = |p: f64| 1.0 - p >= sure;
    let outside =
        max.is_some_and(|m| beyond(below(value, u, m))) || min.is_some_and(|m| beyond(below(-value, u, -m)));
    let verdict = if probability.is_nan() {
        Verdict::Undecided
    } else if outside {
        Verdict::Outside
    } else if probability >= sure {
        Verdict::Within
    } else {
        Verdict::Undecided
    };
    Conformity { verdict, probability, margin, guard: guard_factor(sure) * u }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[track_caller]
    fn check(value: f64, u: f64, min: Option<f64>, max: Option<f64>, expected: f64) {
        let p = probability(value, u, min, max);
        assert!((p - expected).abs() < 1e-9, "{p} is not {expected}");
    }

    // JCGM 106:2012, 7.3 example 1 (text from memory); numbers computed independently with scipy.
    #[test]
    fn the_zener_example_has_its_published_probability() {
        check(-5.47, 0.05, None, Some(-5.40), 0.919_243_340_766_227_3);
    }

    // JCGM 106:2012, 7.3 example 2 (text from memory); numbers computed independently with scipy.
    #[test]
    fn the_container_example_has_its_published_probability() {
        check(509.7, 8.6, Some(490.0), None, 0.989_009_547_384_822_2);
    }

    // JCGM 106:2012, 7.4 example (text from memory); numbers computed independently with scipy.
    #[test]
    fn the_motor_oil_example_has_its_published_probability() {
        check(13.6, 1.8, Some(12.5), Some(16.3), 0.662_629_786_495_307_9);
    }

    // ISO 14253-1:2017, from memory: one-sided guard band 1.65 u at 95 %.
    #[test]
    fn one_limit_has_a_guard_band_of_1_645_uncertainties_on_both_sides() {
        let at = |value| conformity(value, 0.1, None, Some(2.0)).verdict;
        assert_eq!(at(2.0 - 0.1645), Verdict::Within);
        assert_eq!(at(2.0 - 0.1644), Verdict::Undecided);
        assert_eq!(at(2.0 + 0.1644), Verdict::Undecided);
        assert_eq!(at(2.0 + 0.1645), Verdict::Outside);
    }

    #[test]
    fn without_uncertainty_the_limit_itself_still_conforms() {
        assert_eq!(conformity(2.0, 0.0, None, Some(2.0)).verdict, Verdict::Within);
        assert_eq!(conformity(2.0, 0.0, Some(2.0), None).verdict, Verdict::Within);
        assert_eq!(conformity(2.0 + 1e-9, 0.0, None, Some(2.0)).verdict, Verdict::Outside);
        assert_eq!(conformity(1.0, 0.0, Some(0.5), Some(2.0)).probability, 1.0);
    }

    #[test]
    fn what_is_not_known_is_undecided() {
        for (value, u) in
            [(f64::NAN, 0.1), (1.0, f64::NAN), (1.0, f64::INFINITY), (1.0, -0.1), (f64::INFINITY, 0.1)]
        {
            assert_eq!(conformity(value, u, Some(0.0), Some(2.0)).verdict, Verdict::Undecided, "{value} {u}");
        }
    }

    #[test]
    fn a_value_between_its_limits_is_never_outside_however_uncertain() {
        assert_eq!(conformity(1.0, 1e6, Some(0.9), Some(1.1)).verdict, Verdict::Undecided);
    }

    fn limits() -> impl Strategy<Value = (Option<f64>, Option<f64>)> {
        prop_oneof![
            (-10.0..10.0f64).prop_map(|m| (None, Some(m))),
            (-10.0..10.0f64).prop_map(|m| (Some(m), None)),
            (-10.0..10.0f64, 0.0..10.0f64).prop_map(|(m, w)| (Some(m), Some(m + w))),
        ]
    }

    proptest! {
        #[test]
        fn more_uncertainty_never_decides(value in -20.0..20.0f64, u in 0.0..5.0f64, more in 0.0..5.0f64, limits in limits()) {
            let sharp = conformity(value, u, limits.0, limits.1).verdict;
            let blunt = conformity(value, u + more, limits.0, limits.1).verdict;
            prop_assert!(blunt == sharp || blunt == Verdict::Undecided, "{sharp:?} became {blunt:?}");
        }

        #[test]
        fn a_verdict_agrees_with_its_probability(value in -20.0..20.0f64, u in 0.0..5.0f64, limits in limits()) {
            let c = conformity(value, u, limits.0, limits.1);
            match c.verdict {
                Verdict::Within => prop_assert!(c.probability >= 0.95 && c.margin >= 0.0),
                Verdict::Outside => prop_assert!(c.probability <= 0.05 + 1e-12 && c.margin < 0.0),
                Verdict::Undecided => prop_assert!(c.margin.abs() <= 2.0 * c.guard + 10.0),
            }
        }

        #[test]
        fn moving_away_from_an_upper_limit_never_helps(value in -20.0..20.0f64, step in 0.0..5.0f64, u in 0.0..5.0f64, max in -10.0..10.0f64) {
            let rank = |v| match conformity(v, u, None, Some(max)).verdict {
                Verdict::Within => 0,
                Verdict::Undecided => 1,
                Verdict::Outside => 2,
            };
            prop_assert!(rank(value + step) >= rank(value));
        }

        #[test]
        fn any_numbers_give_one_verdict(value: f64, u: f64, min: Option<f64>, max: Option<f64>) {
            let c = conformity(value, u, min, max);
            prop_assert!(c.probability.is_nan() || (0.0..=1.0).contains(&c.probability));
        }
    }
}
