//! The shortest open that a search would have seen.

use crate::analysis::prepared::Prepared;
use crate::analysis::{Detail, DetectionLimit, statistics};
use crate::quantity::{Channel, FindingKind};

/// An open from half supply to ground, ratio: what the limit is stated for.
const HALF_SUPPLY: f64 = 0.5;

/// Shortest full open seen with 99 % probability in any phase of the sampling, µs. Behind an RC filter `tau_us` an event
/// leaves (1 − e^(−t/τ)) of its depth, of which e^(−period/τ) is left at the latest when the next scan is taken; without a
/// filter only an event of a whole period is sure to meet a scan.
pub(super) fn shortest_open_us(period_us: f64, tau_us: f64, threshold: f64, sigma: f64) -> f64 {
    let needed = (threshold + statistics::normal_quantile(0.99) * sigma) / HALF_SUPPLY;
    if tau_us <= 0.0 {
        return period_us;
    }
    let left = 1.0 - needed * (period_us / tau_us).exp();
    if left <= 0.0 { period_us } else { (-tau_us * left.ln()).min(period_us) }
}

/// One limit per recorded line.
pub(super) fn limits(
    prepared: &Prepared<'_>,
    threshold: Option<f64>,
    lines: &[usize],
    watched_min: f64,
) -> Vec<DetectionLimit> {
    let Some(threshold) = threshold else { return Vec::new() };
    lines.iter().map(|line| limit(prepared, threshold, Channel::SENSORS[*line], watched_min)).collect()
}

fn limit(prepared: &Prepared<'_>, threshold: f64, channel: Channel, watched_min: f64) -> DetectionLimit {
    let filter_us = prepared.trace.provenance.filter_us(channel);
    // Where 7 standard deviations are not what sets the threshold, this overstates the noise a little: the safe side.
    let sigma = threshold / 7.0;
    let shortest = shortest_open_us(prepared.period_us, filter_us, threshold, sigma);
    let text = if watched_min <= 0.0 {
        format!("the {channel} line was not watched: a dropout of any length would not have been seen")
    } else if filter_us > 0.0 {
        format!(
            "an open of the {channel} line shorter than {shortest:.1} us, or shallower than {:.0} mV at 5 V, would not have \
             been seen for certain",
            5000.0 * threshold
        )
    } else {
        format!(
            "without an input filter no event shorter than one scan ({shortest:.0} us) can be promised; shallower than \
             {:.0} mV at 5 V none would have been seen",
            5000.0 * threshold
        )
    };
    DetectionLimit {
        kind: FindingKind::Dropout,
        channel: Some(channel),
        text,
        details: vec![
            Detail { name: "shortest_open", value: shortest, unit: "us" },
            Detail { name: "least_depth", value: 5000.0 * threshold, unit: "mV at 5 V" },
            Detail { name: "input_filter", value: filter_us, unit: "us" },
            Detail { name: "scan_period", value: prepared.period_us, unit: "us" },
            Detail { name: "watched", value: watched_min, unit: "min" },
        ],
    }
}

#[cfg(test)]
mod tests {
    use super::super::detect;
    use super::*;

    // Simulated with a random phase of the sampling, 2.5 V open, 7.5 mV threshold, noise 1.2 mV (400 phases per length):
    // 2.4 µs at 5 kHz behind 100 µs; 206 µs, one scan, without a filter.
    #[test]
    fn the_limit_is_what_a_simulation_of_the_filter_gives() {
        let behind = shortest_open_us(200.0, 100.0, 0.0015, 0.00024);
        assert!((2.0..3.5).contains(&behind), "{behind}");
        assert_eq!(shortest_open_us(200.0, 0.0, 0.0015, 0.00024), 200.0);
    }

    #[test]
    fn a_fast_filter_at_a_slow_rate_promises_one_scan() {
        assert_eq!(shortest_open_us(1000.0, 20.0, 0.002, 0.0003), 1000.0);
    }

    #[test]
    fn the_threshold_is_seven_sigmas_or_ten_millivolts() {
        assert_eq!(detect::threshold(0.0), 0.002);
        assert!((detect::threshold(0.001) - 0.007).abs() < 1e-12);
    }
}
