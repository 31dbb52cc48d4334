//! Bounds of a quantile that hold whatever the distribution: ranks of the ordered sample. It knows nothing of latencies.
//!
//! The number of n values below the p-quantile is binomial(n, p); so the quantile lies between the order statistics l and u with
//! probability P(l ≤ X < u) (Hahn, Meeker, Statistical Intervals, 1991, 5.2; David, Nagaraja, Order Statistics, 2003, 7.1).

use statrs::distribution::{Binomial, DiscreteCDF};

/// Ranks (from 1) of the ordered sample that bound a quantile.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Ranks {
    /// Lower bound; none where the sample is too small for one.
    pub low: Option<u64>,
    /// Upper bound; none where the sample is too small for one.
    pub high: Option<u64>,
}

/// Two-sided ranks with equal tails for the quantile `p` (0..1) of `n` values at `confidence` (0..1).
pub fn ranks(n: u64, p: f64, confidence: f64) -> Ranks {
    let none = Ranks { low: None, high: None };
    let Ok(binomial) = Binomial::new(p, n) else { return none };
    let tail = 0.5 * (1.0 - confidence);
    if n == 0 || !(tail > 0.0 && tail < 0.5) {
        return none;
    }
    let low = percent_point(&binomial, n, tail);
    let high = percent_point(&binomial, n, 1.0 - tail) + 1;
    Ranks { low: (low >= 1).then_some(low), high: (high <= n).then_some(high) }
}

/// Probability that the quantile `p` lies between two ranks of `n` values.
pub fn coverage(n: u64, p: f64, low: u64, high: u64) -> f64 {
    let Ok(binomial) = Binomial::new(p, n) else { return 0.0 };
    let below = |rank: u64| if rank == 0 { 0.0 } else { binomial.cdf(rank - 1) };
    below(high) - below(low)
}

/// Smallest sample whose largest value is above the quantile `p` with `confidence`: ln(1 − confidence)/ln p.
pub fn values_for_upper_bound(p: f64, confidence: f64) -> u64 {
    ((1.0 - confidence).ln() / p.ln()).ceil() as u64
}

/// Smallest k with P(X ≤ k) ≥ q, by halving.
fn percent_point(binomial: &Binomial, n: u64, q: f64) -> u64 {
    let (mut low, mut high) = (0, n);
    while low < high {
        let middle = low + (high - low) / 2;
        if binomial.cdf(middle) >= q {
            high = middle;
        } else {
            low = middle + 1;
        }
    }
    low
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ranks_of_the_99th_percentile_are_scipys() {
        // scipy.stats.binom: ppf(0.025, n, 0.99), ppf(0.975, n, 0.99) + 1, and the probability between them.
        for (n, low, high) in [(1000, 983, 997), (2000, 1971, 1989), (500, 490, 500)] {
            assert_eq!(ranks(n, 0.99, 0.95), Ranks { low: Some(low), high: Some(high) }, "{n}");
        }
        assert!((coverage(1000, 0.99, 983, 997) - 0.976).abs() < 5e-4);
    }

    #[test]
    fn a_median_of_ten_lies_between_the_second_and_the_ninth() {
        // Hahn, Meeker, table A.15a; by hand: 1 − 2·(1 + 10)/1024 = 0.9785.
        assert_eq!(ranks(10, 0.5, 0.95), Ranks { low: Some(2), high: Some(9) });
        assert!((coverage(10, 0.5, 2, 9) - (1.0 - 22.0 / 1024.0)).abs() < 1e-12);
    }

    #[test]
    fn too_few_values_give_no_upper_bound() {
        assert_eq!(ranks(100, 0.99, 0.95).high, None);
        assert_eq!(ranks(0, 0.5, 0.95), Ranks { low: None, high: None });
        // 0.99²⁹⁹ = 0.0495 (the sample size of NIST's one-sided 95/99 tolerance bound).
        assert_eq!(values_for_upper_bound(0.99, 0.95), 299);
        assert_eq!(values_for_upper_bound(0.5, 0.95), 5);
    }
}
