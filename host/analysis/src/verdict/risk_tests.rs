//! Risks against published examples, Monte Carlo and the rule that verdicts follow.

use super::*;
use crate::analysis::statistics::Resampler;
use crate::verdict::{CONFORMANCE_PROBABILITY, Verdict, conformity};
use proptest::prelude::*;
use statrs::function::gamma::ln_gamma;

/// Accept whatever is measured between two values, and call all else outside: the two decisions that JCGM 106 knows.
fn simple(low: f64, high: f64) -> Zones {
    Zones { accepted: Some((low, high)), outside_below: low, outside_above: high }
}

#[track_caller]
fn near(found: f64, expected: f64, within: f64) {
    assert!((found - expected).abs() <= within, "{found} is not {expected} ± {within}");
}

/// A gamma density.
fn gamma(shape: f64, scale: f64) -> impl Fn(f64) -> f64 {
    move |x: f64| {
        let log = (shape - 1.0) * (x / scale).ln() - x / scale - ln_gamma(shape);
        if x > 0.0 { log.exp() / scale } else { 0.0 }
    }
}

// JCGM 106:2012, 9.5.4: radial error motion of ball bearings, at most 2 µm, gamma-distributed with mean 1 µm and standard deviation
// 0.5 µm, measured with u = 0.25 µm (recalled). Published to two digits: 4.2 % do not conform, Rc 0.8 %, Rp 1.7 %; with acceptance up to
// 1.67 µm Rc 0.1 % and Rp 7.5 %. Further digits computed independently with scipy.
#[test]
fn the_ball_bearings_have_their_published_risks() {
    let bearings = Measured { min: None, max: Some(2.0), u: 0.25 };
    let risks =
        |high: f64| bearings.risks(&simple(f64::NEG_INFINITY, high), (0.0, 20.0), 0.5, gamma(4.0, 0.25));
    let plain = risks(2.0);
    near(plain.beyond, 0.042_380_111_991_683_96, 1e-9);
    near(plain.consumer, 0.008_019_111_884_287_177, 1e-9);
    near(plain.producer, 0.017_444_569_229_783_605, 1e-9);
    let guarded = risks(1.671_828_771_555_958_8);
    near(guarded.consumer, 0.001, 1e-9);
    near(guarded.producer, 0.075_493_876_102_497_76, 1e-9);
}

// Deaver, Guardbanding with Confidence, NCSL Workshop 1994, pages 7 and 10 (read through the tests of an open uncertainty calculator):
// limits at 2 standard deviations of the parts; ratio 4 without guard band: consumer 0.8 %, producer 1.5 %; ratio 2 with acceptance
// limits at 0.91 of the limits: 0.8 % and 6.6 %. Limits at 2.5 standard deviations, ratio 4: consumer 0.25 %.
#[test]
fn parts_spread_normally_have_the_published_risks() {
    let check = |limit: f64, u: f64, share: f64, consumer: (f64, f64), producer: Option<(f64, f64)>| {
        let measured = Measured { min: Some(-limit), max: Some(limit), u };
        let risks = measured.risks_of_normal(&simple(-share * limit, share * limit), 0.0, 1.0);
        near(risks.consumer, consumer.0, consumer.1);
        producer.into_iter().for_each(|(expected, within)| near(risks.producer, expected, within));
        near(risks.said.accepted + risks.said.outside + risks.said.undecided, 1.0, 1e-9);
    };
    check(2.0, 0.25, 1.0, (0.008, 0.0005), Some((0.015, 0.0005)));
    check(2.0, 0.5, 0.91, (0.008, 0.0005), Some((0.066, 0.001)));
    check(2.5, 0.25, 1.0, (0.0025, 0.0001), None);
}

// JCGM 106:2012, 8.3.2: a guard band of U = 2u leaves at most 2.3 % (one limit, from memory); 1.645 u leaves 5 %.
#[test]
fn a_part_at_its_limit_is_accepted_as_often_as_the_rule_says() {
    for (sure, risk) in [(0.95, 0.05), (0.977_249_868_051_820_8, 0.022_750_131_948_179_195), (0.99, 0.01)] {
        for (min, max, at) in [(None, Some(2.0), 2.0), (Some(-3.0), None, -3.0)] {
            let measured = Measured { min, max, u: 0.1 };
            let said = measured.said(at, &measured.zones(sure));
            near(said.accepted, risk, 1e-9);
            near(said.outside, risk, 1e-9);
            near(said.undecided, 1.0 - 2.0 * risk, 1e-9);
        }
    }
}

#[test]
fn limits_nearer_than_both_guard_bands_accept_nothing_and_wide_ones_are_two_single_ones() {
    let at = |width: f64| {
        let measured = Measured { min: Some(0.0), max: Some(width), u: 1.0 };
        measured.zones(CONFORMANCE_PROBABILITY).accepted
    };
    // 95 % of a normal distribution lie within ±1.96 standard deviations.
    assert_eq!(at(3.91), None);
    let narrow = at(3.93).unwrap();
    near(narrow.0, 1.965, 0.1);
    let wide = at(20.0).unwrap();
    near(wide.0, 1.644_853_627, 1e-6);
    near(wide.1, 20.0 - 1.644_853_627, 1e-6);
}

#[test]
fn without_uncertainty_nothing_is_risked() {
    let measured = Measured { min: Some(-1.0), max: Some(1.5), u: 0.0 };
    let risks = measured.risks_of_normal(&measured.zones(0.95), 0.2, 1.0);
    assert_eq!((risks.consumer, risks.producer, risks.held_back), (0.0, 0.0, 0.0));
    near(risks.said.accepted + risks.beyond, 1.0, 1e-9);
}

#[test]
fn the_integrals_are_what_drawn_parts_and_measurements_give() {
    const PARTS: u32 = 400_000;
    let mut random = Resampler::new(106);
    for (min, max, u, mean, sd) in [
        (Some(-1.0), Some(1.0), 0.3, 0.2, 0.6),
        (None, Some(0.5), 0.2, 0.0, 0.35),
        (Some(-1.0), Some(0.0), 0.27, -0.4, 0.5),
    ] {
        let measured = Measured { min, max, u };
        let risks = measured.risks_of_normal(&measured.zones(CONFORMANCE_PROBABILITY), mean, sd);
        let (mut consumer, mut producer, mut held_back, mut accepted) = (0u32, 0u32, 0u32, 0u32);
        for _ in 0..PARTS {
            let x = mean + sd * random.normal();
            let beyond = measured.is_beyond(x);
            let said = conformity(x + u * random.normal(), u, min, max).verdict;
            accepted += u32::from(said == Verdict::Within);
            consumer += u32::from(beyond && said == Verdict::Within);
            producer += u32::from(!beyond && said == Verdict::Outside);
            held_back += u32::from(!beyond && said == Verdict::Undecided);
        }
        for (found, count) in [
            (risks.consumer, consumer),
            (risks.producer, producer),
            (risks.held_back, held_back),
            (risks.said.accepted, accepted),
        ] {
            let share = f64::from(count) / f64::from(PARTS);
            // Five standard deviations of a binomial share.
            near(found, share, 5.0 * (found * (1.0 - found) / f64::from(PARTS)).sqrt());
        }
    }
}

proptest! {
    #[test]
    fn a_value_is_accepted_and_called_outside_just_where_its_verdict_says_so(
        value in -20.0..20.0f64, u in 0.01..5.0f64, low in -10.0..10.0f64, width in 0.0..15.0f64, shape in 0..3,
    ) {
        let (min, max) = match shape {
            0 => (Some(low), None),
            1 => (None, Some(low)),
            _ => (Some(low), Some(low + width)),
        };
        let zones = Measured { min, max, u }.zones(CONFORMANCE_PROBABILITY);
        let edges = [zones.outside_below, zones.outside_above].into_iter().chain(zones.accepted.into_iter().flat_map(|a| [a.0, a.1]));
        prop_assume!(edges.into_iter().all(|edge| (value - edge).abs() > 1e-6));
        let by_zone = if zones.accepted.is_some_and(|(from, to)| from <= value && value <= to) {
            Verdict::Within
        } else if value < zones.outside_below || value > zones.outside_above {
            Verdict::Outside
        } else {
            Verdict::Undecided
        };
        prop_assert_eq!(by_zone, conformity(value, u, min, max).verdict);
    }
}
