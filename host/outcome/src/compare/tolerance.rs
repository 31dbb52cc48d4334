//! Factors of normal tolerance bounds: `mean ± k·s` of n values that cover a share of the population with a stated confidence.
//! It does not know what the values are, nor whether they are normal.
//!
//! Exact, by one numerical integration each:
//! - one-sided: k·√n is a quantile of the noncentral t distribution with n − 1 degrees of freedom and noncentrality z_P·√n
//!   (NIST/SEMATECH e-Handbook 7.2.6.3). Here as the integral over the mean's error z of the probability that s is large enough.
//! - two-sided: for each error of the mean the half width r that covers P is Φ(x + r) − Φ(x − r) = P; s must reach r/k (Odeh, Owen,
//!   Tables for Normal Tolerance Limits, 1980; Eberhardt, Mee, Reeve, Commun. Stat. Simul. 18, 1989, 397).

use crate::analysis::statistics::{normal_quantile as quantile, normal_tail};
use crate::verdict::GAUSS;
use serde::Serialize;
use statrs::function::gamma::gamma_ur;

/// Beyond so many standard deviations a normal density counts for nothing: 1e-19.
const FAR: f64 = 9.0;
/// Panels of the integration.
const PANELS: usize = 48;

/// Which share of a population is to be covered, and how sure that is to be.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct Claim {
    /// Share of the population, 0.5..1.
    #[cfg_attr(feature = "schemas", schemars(range(min = 0, max = 1)))]
    pub coverage: f64,
    /// Probability that at least that share is covered, 0.5..1.
    #[cfg_attr(feature = "schemas", schemars(range(min = 0, max = 1)))]
    pub confidence: f64,
}

/// Why there is no factor.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
pub enum NoFactor {
    /// Too few values to know a spread.
    #[error("{0} values tell no spread; 2 at least")]
    TooFew(usize),
    /// A share or a probability that means nothing here.
    #[error("{what} {value} is not possible; give at least 0.5 and less than 1, 0.95 for example")]
    Range {
        /// `coverage` or `confidence`.
        what: &'static str,
        /// As given.
        value: f64,
    },
}

impl Claim {
    /// Checks both numbers.
    ///
    /// # Errors
    /// [`NoFactor::Range`] when one of them is below 0.5, or not below 1.
    pub fn new(coverage: f64, confidence: f64) -> Result<Self, NoFactor> {
        for (what, value) in [("coverage", coverage), ("confidence", confidence)] {
            if !(0.5..1.0).contains(&value) {
                return Err(NoFactor::Range { what, value });
            }
        }
        Ok(Self { coverage, confidence })
    }

    /// k of a bound on one side, for `n` values.
    ///
    /// # Errors
    /// [`NoFactor::TooFew`] below two values.
    pub fn one_sided(&self, n: usize) -> Result<f64, NoFactor> {
        let (root, freedom) = size(n)?;
        let z = quantile(self.coverage);
        // Where the mean errs by more than the whole way to the covered quantile, any spread is large enough.
        let kink = -z * root;
        let sure = normal_tail(-kink);
        let nodes = nodes(kink.max(-FAR), FAR, |e| z + e / root);
        Ok(solve(|k| sure + reached(&nodes, k, freedom), self.confidence))
    }

    /// k of bounds on both sides, for `n` values.
    ///
    /// # Errors
    /// [`NoFactor::TooFew`] below two values.
    pub fn two_sided(&self, n: usize) -> Result<f64, NoFactor> {
        let (root, freedom) = size(n)?;
        // Both signs of the mean's error need the same width.
        let nodes = nodes(0.0, FAR, |e| half_width(e / root, self.coverage));
        Ok(solve(|k| 2.0 * reached(&nodes, k, freedom), self.confidence))
    }
}

/// √n and the degrees of freedom of s.
fn size(n: usize) -> Result<(f64, f64), NoFactor> {
    if n < 2 {
        return Err(NoFactor::TooFew(n));
    }
    Ok(((n as f64).sqrt(), (n - 1) as f64))
}

/// Weights (with the normal density) and needed widths at the points of the rule between `from` and `to`.
fn nodes(from: f64, to: f64, needed: impl Fn(f64) -> f64) -> Vec<(f64, f64)> {
    let half = 0.5 * (to - from) / PANELS as f64;
    let density = |e: f64| (-0.5 * e * e).exp() / (2.0 * std::f64::consts::PI).sqrt();
    let mut nodes = Vec::with_capacity(PANELS * 10);
    for panel in 0..PANELS {
        let middle = from + half * (2 * panel + 1) as f64;
        for (x, weight) in GAUSS {
            for e in [middle - half * x, middle + half * x] {
                nodes.push((half * weight * density(e), needed(e)));
            }
        }
    }
    nodes
}

/// Probability that `k·s/σ` reaches what is needed: χ² with `freedom` degrees above `freedom·(needed/k)²`.
fn reached(nodes: &[(f64, f64)], k: f64, freedom: f64) -> f64 {
    let chance = |needed: f64| {
        let x = 0.5 * freedom * (needed / k).powi(2);
        if x > 0.0 { gamma_ur(0.5 * freedom, x) } else { 1.0 }
    };
    nodes.iter().map(|(weight, needed)| weight * chance(*needed)).sum()
}

/// Half width r around a centre that is `x` off (both in standard deviations) so that the share `p` lies inside: Newton's rule
/// from a width that is too large, where the share is concave.
fn half_width(x: f64, p: f64) -> f64 {
    let beyond = |r: f64| normal_tail(r + x) + normal_tail(r - x);
    let density = |y: f64| (-0.5 * y * y).exp() / (2.0 * std::f64::consts::PI).sqrt();
    let (mut low, mut high) = (0.0, x.abs() + quantile(p).max(0.0) + 2.0);
    let mut r = x.abs() + quantile(p);
    for _ in 0..100 {
        let excess = beyond(r) - (1.0 - p);
        if excess > 0.0 {
            low = r
        } else {
            high = r
        }
        let step = excess / (density(r + x) + density(r - x));
        let next = r + step;
        let next = if next > low && next < high { next } else { 0.5 * (low + high) };
        if (next - r).abs() <= 1e-14 * next {
            return next;
        }
        r = next;
    }
    r
}

/// The k at which a rising probability reaches `confidence`: bracketed, then halved to the last digits.
fn solve(probability: impl Fn(f64) -> f64, confidence: f64) -> f64 {
    let (mut low, mut high) = (0.0, 1.0);
    while probability(high) < confidence && high < 1e12 {
        (low, high) = (high, 2.0 * high);
    }
    for _ in 0..200 {
        let middle = 0.5 * (low + high);
        if high - low <= 1e-12 * high || middle <= low || middle >= high {
            break;
        }
        if probability(middle) < confidence { low = middle } else { high = middle }
    }
    0.5 * (low + high)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check(n: usize, coverage: f64, one: &str, two: &str) {
        let claim = Claim::new(coverage, 0.95).unwrap();
        assert_eq!(format!("{:.4}", claim.one_sided(n).unwrap()), one, "one-sided, n = {n}");
        assert_eq!(format!("{:.4}", claim.two_sided(n).unwrap()), two, "two-sided, n = {n}");
    }

    // NIST/SEMATECH e-Handbook of Statistical Methods 7.2.6.3 (the method), numbers computed independently and exactly.
    #[test]
    fn factors_are_the_reference_values_to_their_last_digit() {
        check(10, 0.90, "2.3546", "2.8563");
        check(10, 0.95, "2.9110", "3.3934");
        check(20, 0.95, "2.3960", "2.7603");
        check(50, 0.99, "2.8624", "3.1288");
    }

    // NIST/SEMATECH e-Handbook 7.2.6.3, its example: n = 43, P = 0.90, confidence 0.99 (from memory): one-sided 1.8740.
    #[test]
    fn the_handbooks_example_comes_out() {
        let k = Claim::new(0.90, 0.99).unwrap().one_sided(43).unwrap();
        assert_eq!(format!("{k:.4}"), "1.8740");
    }

    #[test]
    fn many_values_need_no_more_than_the_normal_quantile_and_two_values_very_much_more() {
        let claim = Claim::new(0.95, 0.95).unwrap();
        let (one, two) = (claim.one_sided(1_000_000).unwrap(), claim.two_sided(1_000_000).unwrap());
        assert!((one - 1.644_854).abs() < 0.005 && (two - 1.959_964).abs() < 0.005, "{one} {two}");
        assert!(claim.one_sided(2).unwrap() > 20.0 && claim.two_sided(2).unwrap() > 30.0);
    }

    #[test]
    fn at_half_coverage_and_half_confidence_the_mean_itself_is_the_bound() {
        let k = Claim::new(0.5, 0.5).unwrap().one_sided(12).unwrap();
        assert!(k.abs() < 1e-9, "{k}");
    }

    #[test]
    fn what_means_nothing_is_refused_by_name() {
        assert!(Claim::new(1.0, 0.95).unwrap_err().to_string().starts_with("coverage 1"));
        assert!(Claim::new(0.95, 0.3).unwrap_err().to_string().starts_with("confidence 0.3"));
        assert!(Claim::new(f64::NAN, 0.95).is_err());
        assert_eq!(Claim::new(0.9, 0.9).unwrap().two_sided(1), Err(NoFactor::TooFew(1)));
    }
}
