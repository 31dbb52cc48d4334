//! Quantiles and longest values of two samples of which only histograms are stored: tests that hold whatever the distribution.
//!
//! - A quantile: were its value t in both, the count below t of each sample would be binomial. Both probabilities are combined by
//!   R. A. Fisher's method, and the t that fits best counts (Hahn, Meeker, Statistical Intervals, 1991, 5.2, for one sample).
//! - A longest value: if both samples came from one distribution, the k largest of all would come from one of them with a
//!   probability of combinations (P. Rosenbaum's exceedance test, Biometrika 41, 1954, 301).
//!
//! Where a value lies in its bin is not known: the place that makes a change least likely counts.

use crate::outcome::OutcomeHistogram;
use statrs::distribution::{Binomial, DiscreteCDF};

/// One sample, as the histograms of it that are stored.
#[derive(Clone, Debug, Default)]
pub struct Sample<'a> {
    histograms: Vec<&'a OutcomeHistogram>,
}

impl<'a> Sample<'a> {
    /// Of histograms that belong together.
    pub fn new(histograms: impl IntoIterator<Item = &'a OutcomeHistogram>) -> Self {
        let usable = |h: &&OutcomeHistogram| h.width > 0.0 && h.low.is_finite() && h.width.is_finite();
        Self { histograms: histograms.into_iter().filter(usable).collect() }
    }

    /// How many values.
    pub fn len(&self) -> u64 {
        self.histograms.iter().flat_map(|h| &h.counts).sum()
    }

    /// Whether there is none.
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }

    /// Edges of every bin that holds a value.
    fn edges(&self) -> impl Iterator<Item = f64> {
        let of = |h: &'a OutcomeHistogram| {
            let filled = h.counts.iter().enumerate().filter(|(_, c)| **c > 0);
            filled.flat_map(move |(k, _)| [h.low + k as f64 * h.width, h.low + (k + 1) as f64 * h.width])
        };
        self.histograms.iter().copied().flat_map(of)
    }

    /// Values surely below `at`, and values possibly below it.
    fn below(&self, at: f64) -> (u64, u64) {
        let (mut surely, mut possibly) = (0, 0);
        for h in &self.histograms {
            let hair = 1e-9 * h.width;
            for (k, count) in h.counts.iter().enumerate() {
                let low = h.low + k as f64 * h.width;
                surely += if low + h.width <= at + hair { *count } else { 0 };
                possibly += if low < at - hair { *count } else { 0 };
            }
        }
        (surely, possibly)
    }

    /// Lower and upper edge of the highest filled bin.
    fn top(&self) -> Option<(f64, f64)> {
        let of = |h: &&OutcomeHistogram| {
            let last = h.counts.iter().rposition(|c| *c > 0)?;
            Some((h.low + last as f64 * h.width, h.low + (last + 1) as f64 * h.width))
        };
        self.histograms.iter().filter_map(of).max_by(|a, b| a.0.total_cmp(&b.0))
    }
}

/// Two-sided binomial probability of `count` of `n` where `p` are expected, made the largest over a range of counts.
fn fitting(n: u64, p: f64, (least, most): (u64, u64)) -> f64 {
    let Ok(binomial) = Binomial::new(p, n) else { return 1.0 };
    let of = |count: u64| {
        let at_most = binomial.cdf(count);
        let at_least = count.checked_sub(1).map_or(1.0, |below| binomial.sf(below));
        (2.0 * at_most.min(at_least)).min(1.0)
    };
    let expected = ((p * n as f64).round() as u64).clamp(least, most);
    [least, most, expected].into_iter().map(of).fold(0.0, f64::max)
}

/// Probability that samples of one and the same quantile `p` (0..1) are as far apart as these, or farther; none when one is empty.
pub fn quantile_by_chance(before: &Sample<'_>, after: &Sample<'_>, p: f64) -> Option<f64> {
    let (n, m) = (before.len(), after.len());
    if n == 0 || m == 0 {
        return None;
    }
    let mut edges: Vec<f64> = before.edges().chain(after.edges()).collect();
    edges.sort_by(f64::total_cmp);
    // Between two edges the counts are anything between those at both.
    let between = |pair: &[f64]| {
        let range = |s: &Sample<'_>| (s.below(pair[0]).0, s.below(pair[1]).1);
        let product = fitting(n, p, range(before)) * fitting(m, p, range(after));
        if product > 0.0 { product * (1.0 - product.ln()) } else { 0.0 }
    };
    Some(edges.windows(2).map(between).fold(0.0, f64::max).min(1.0))
}

/// Two-sided probability that so many of the largest values come from one sample by chance; none when one is empty.
pub fn longest_by_chance(before: &Sample<'_>, after: &Sample<'_>) -> Option<f64> {
    let (n, m) = (before.len(), after.len());
    let (top_before, top_after) = (before.top()?, after.top()?);
    // Values surely beyond the other sample's longest.
    let beyond = |s: &Sample<'_>, at: f64| s.len() - s.below(at + 1e-9).1.min(s.len());
    let (more_after, more_before) = (beyond(after, top_before.1), beyond(before, top_after.1));
    let (own, other, k) = if more_after > 0 { (m, n, more_after) } else { (n, m, more_before) };
    let chance: f64 = (0..k).map(|i| (own - i) as f64 / (own + other - i) as f64).product();
    Some((2.0 * chance).min(1.0))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::statistics::Resampler;
    use crate::quantity::{Condition, Unit};

    fn histogram(low: f64, width: f64, counts: Vec<u64>) -> OutcomeHistogram {
        OutcomeHistogram {
            name: "latency".to_owned(),
            channel: None,
            condition: Condition::NONE,
            unit: Unit::Microsecond,
            low,
            width,
            counts,
            limits: vec![],
        }
    }

    fn drawn(random: &mut Resampler, n: u64, shift: f64) -> OutcomeHistogram {
        let mut counts = vec![0; 80];
        for _ in 0..n {
            // Skewed, as latencies are.
            let value = 20.0 + shift - 8.0 * (1.0 - random.uniform()).ln();
            counts[(value as usize).min(79)] += 1;
        }
        histogram(0.0, 1.0, counts)
    }

    /// How often of 400 pairs a test says p ≤ 0.05.
    fn told(shift: f64, test: impl Fn(&Sample<'_>, &Sample<'_>) -> Option<f64>) -> usize {
        let mut random = Resampler::new(5);
        (0..400)
            .filter(|_| {
                let (a, b) = (drawn(&mut random, 60, 0.0), drawn(&mut random, 60, shift));
                test(&Sample::new([&a]), &Sample::new([&b])).is_some_and(|p| p <= 0.05)
            })
            .count()
    }

    #[test]
    fn the_same_distribution_is_told_apart_no_more_often_than_stated() {
        // Binomial(400, 0.05): 20, and five standard deviations more.
        assert!(told(0.0, |a, b| quantile_by_chance(a, b, 0.5)) <= 42);
        assert!(told(0.0, |a, b| quantile_by_chance(a, b, 0.9)) <= 42);
        assert!(told(0.0, longest_by_chance) <= 42);
    }

    #[test]
    fn a_shift_of_the_whole_distribution_is_seen_in_its_median() {
        assert!(told(12.0, |a, b| quantile_by_chance(a, b, 0.5)) >= 380);
    }

    #[test]
    fn five_of_ten_beyond_the_longest_of_ten_have_the_probability_of_combinations() {
        let before = histogram(0.0, 1.0, vec![10]);
        let after = histogram(0.0, 1.0, vec![5, 0, 5]);
        let p = longest_by_chance(&Sample::new([&before]), &Sample::new([&after])).unwrap();
        // By hand: 2·(10·9·8·7·6)/(20·19·18·17·16) = 2·252/15504.
        assert!((p - 2.0 * 252.0 / 15_504.0).abs() < 1e-12, "{p}");
        assert_eq!(longest_by_chance(&Sample::new([&before]), &Sample::default()), None);
    }

    #[test]
    fn bins_that_can_not_tell_do_not_tell() {
        let (one, other) = (histogram(0.0, 100.0, vec![50]), histogram(0.0, 1.0, vec![0, 0, 50]));
        let p = quantile_by_chance(&Sample::new([&one]), &Sample::new([&other]), 0.5).unwrap();
        assert!(p > 0.99, "{p}");
    }
}
