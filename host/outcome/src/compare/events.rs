//! Rates and counts of events: two Poisson counts against each other, exactly. It does not know which events.
//!
//! Given their sum, one of two Poisson counts with the same rate is binomial with the share of its time (Przyborowski, Wilenski,
//! Biometrika 31, 1940, 313). Events are taken as independent: bursts of one cause make the stated probability too small.

use crate::analysis::statistics::poisson_upper;
use statrs::distribution::{Binomial, DiscreteCDF};

/// Confidence of the bound that an outcome states beside a rate.
const BOUND: f64 = 0.95;
/// Counts above this are not searched for.
const MOST_EVENTS: u64 = 5000;

/// Events and how long they were watched for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Watched {
    /// Events.
    pub events: u64,
    /// Minutes, > 0.
    pub minutes: f64,
}

impl Watched {
    /// From a rate (1/min) and its 95 % upper bound, which is exact for a whole number of events at least as large: so the rate
    /// alone does not show the time, but both together do. Without an event, no doubtful one is assumed either: then less time was
    /// watched, which shows less. None when no whole numbers fit.
    pub fn from_rate(rate: f64, upper_bound: f64) -> Option<Self> {
        if !(rate >= 0.0 && rate.is_finite() && upper_bound > rate && upper_bound.is_finite()) {
            return None;
        }
        if rate == 0.0 {
            return Some(Self { events: 0, minutes: poisson_upper(0, BOUND) / upper_bound });
        }
        (1..=MOST_EVENTS).find_map(|events| {
            let minutes = events as f64 / rate;
            let wanted = upper_bound * minutes;
            fits(events, wanted).then_some(Self { events, minutes })
        })
    }
}

/// Whether a bound belongs to a whole number of events, `least` or more.
fn fits(least: u64, wanted: f64) -> bool {
    // The bound lies about 1 + 1.65·√n above its count.
    let near = wanted + 0.5 - 1.645 * (wanted + 0.5).sqrt();
    let from = (near.floor().max(0.0) as u64).saturating_sub(2).max(least);
    (from..from + 6).any(|n| (poisson_upper(n, BOUND) - wanted).abs() <= 1e-11 * wanted)
}

/// Two-sided probability that one rate gives counts as far apart or farther: twice the smaller tail.
pub fn by_chance(before: Watched, after: Watched) -> f64 {
    let all = before.events + after.events;
    let share = after.minutes / (before.minutes + after.minutes);
    let Some(binomial) = Binomial::new(share, all).ok().filter(|_| all > 0) else { return 1.0 };
    let at_most = binomial.cdf(after.events);
    let at_least = after.events.checked_sub(1).map_or(1.0, |below| binomial.sf(below));
    (2.0 * at_most.min(at_least)).min(1.0)
}

/// The rate after, 1/min, that would be distinguished from what was seen before at the level `enough` with probability `power`; none when
/// so little was watched that no rate would.
pub fn least_rate_shown(before: Watched, minutes: f64, enough: f64, power: f64) -> Option<f64> {
    let least = (before.events..before.events + MOST_EVENTS).find(|events| {
        *events as f64 / minutes > before.events as f64 / before.minutes
            && by_chance(before, Watched { events: *events, minutes }) <= enough
    })?;
    Some(poisson_upper(least.checked_sub(1)?, power) / minutes)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn watched(events: u64, minutes: f64) -> Watched {
        Watched { events, minutes }
    }

    #[test]
    fn counts_against_each_other_have_their_exact_probability() {
        // By hand: 0 and 5 events in equal times: 2·(1/2)⁵.
        assert!((by_chance(watched(0, 1.0), watched(5, 1.0)) - 0.0625).abs() < 1e-12);
        // Computed (sum of binomial terms, n = 13, p = 0.25): 2·P(X ≥ 8).
        assert!((by_chance(watched(5, 3.0), watched(8, 1.0)) - 0.011_298_656_464).abs() < 1e-9);
        assert_eq!(by_chance(watched(0, 1.0), watched(0, 9.0)), 1.0);
        let (a, b) = (watched(3, 2.0), watched(11, 1.5));
        assert!((by_chance(a, b) - by_chance(b, a)).abs() < 1e-12);
    }

    #[test]
    fn the_time_watched_follows_from_a_rate_and_its_bound() {
        for (events, doubtful, minutes) in [(1, 0, 0.31), (7, 2, 1.037), (240, 0, 12.0), (0, 0, 0.3)] {
            let rate = events as f64 / minutes;
            let bound = poisson_upper(events + doubtful, 0.95) / minutes;
            let got = Watched::from_rate(rate, bound).expect("whole numbers fit");
            assert_eq!(got.events, events);
            assert!((got.minutes - minutes).abs() < 1e-9 * minutes, "{got:?}");
        }
        assert_eq!(Watched::from_rate(3.3, 17.123), None);
        assert_eq!(Watched::from_rate(f64::NAN, 1.0), None);
    }

    #[test]
    fn the_rate_that_would_be_shown_is_shown_that_often() {
        let (before, minutes, enough) = (watched(2, 1.0), 2.0, 0.01);
        let rate = least_rate_shown(before, minutes, enough, 0.95).expect("there is one");
        // Poisson probabilities summed up to the least count that counts.
        let mean = rate * minutes;
        let mut term = (-mean).exp();
        let mut shown = 0.0;
        for events in 0..200_u64 {
            if by_chance(before, watched(events, minutes)) <= enough && events > 4 {
                shown += term;
            }
            term *= mean / (events + 1) as f64;
        }
        assert!((shown - 0.95).abs() < 1e-6, "{shown}");
    }
}
