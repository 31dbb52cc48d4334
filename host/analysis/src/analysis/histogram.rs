//! Deviations into histograms: equal weight for equal travel, because every value is one bin of travel.

use super::Histogram;
use crate::quantity::{Channel, Condition, Unit};

/// Finest bin, in the unit of the values (%).
const WIDTH: f64 = 0.05;
/// Most bins; wider values get wider bins.
const MOST: f64 = 240.0;

/// A histogram of `values`, all finite; none when empty. Edges are multiples of the width.
pub fn of(name: &'static str, channel: Option<Channel>, unit: Unit, values: &[f64]) -> Option<Histogram> {
    let (low, high) =
        values.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), v| (a.min(*v), b.max(*v)));
    if !(low.is_finite() && high.is_finite()) {
        return None;
    }
    let width = WIDTH * ((high - low) / (WIDTH * MOST)).ceil().max(1.0);
    let first = (low / width).floor();
    let bins = ((high / width).floor() - first) as usize + 1;
    let mut counts = vec![0u64; bins];
    for v in values {
        counts[(((v / width).floor() - first) as usize).min(bins - 1)] += 1;
    }
    Some(Histogram { name, condition: Condition::NONE, channel, unit, low: first * width, width, counts })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_value_is_counted_once_in_its_bin() {
        let h =
            of("linearity_deviation", None, Unit::PercentSpan, &[-0.06, -0.01, 0.0, 0.049, 0.12]).unwrap();
        assert!((h.low + 0.1).abs() < 1e-12 && (h.width - 0.05).abs() < 1e-12);
        assert_eq!(h.counts, [1, 1, 2, 0, 1]);
    }

    #[test]
    fn a_huge_range_gets_wider_bins_instead_of_more() {
        let h = of("correlation_deviation", None, Unit::PercentSupply, &[-100.0, 100.0]).unwrap();
        assert!(h.counts.len() <= 241 && h.counts.iter().sum::<u64>() == 2);
        assert_eq!(of("correlation_deviation", None, Unit::PercentSupply, &[]), None);
    }
}
