//! Drifts against published examples, computed values, and how often they are seen falsely.

use super::*;
use crate::analysis::statistics::{Resampler, clopper_pearson};

/// First-order autoregression about a line.
fn series(count: usize, rho: f64, per_step: f64, random: &mut Resampler) -> (Vec<f64>, Vec<f64>) {
    let mut state = random.normal();
    let fresh = (1.0 - rho * rho).sqrt();
    let values = (0..count).map(|k| {
        state = rho * state + fresh * random.normal();
        per_step * k as f64 + state
    });
    let values = values.collect();
    ((0..count).map(|k| k as f64).collect(), values)
}

#[test]
fn the_example_of_sen_has_his_slope_and_interval() {
    // Sen 1968, section 6: slope 4, interval 3.71 to 4.38 with a confidence of about 93 %.
    let (x, y) = ([1.0, 2.0, 3.0, 4.0, 10.0, 12.0, 18.0], [9.0, 15.0, 19.0, 20.0, 45.0, 55.0, 78.0]);
    let mut slopes: Vec<f64> = (0..7)
        .flat_map(|i| (i + 1..7).map(move |j| (i, j)))
        .map(|(i, j)| (y[j] - y[i]) / (x[j] - x[i]))
        .collect();
    assert_eq!(median(&mut slopes.clone()), Some(4.0));
    let (low, high) = interval(&mut slopes, variance_of_s(&y), 0.93);
    assert!((low - 3.71).abs() < 0.01 && (high - 4.38).abs() < 0.01, "{low} {high}");
}

#[test]
fn significance_is_that_of_kendalls_s_with_ties() {
    let t: Vec<f64> = (0..12).map(f64::from).collect();
    let y = [1.0, 3.0, 2.0, 2.0, 4.0, 3.0, 5.0, 5.0, 4.0, 6.0, 7.0, 6.0];
    // By counting: S = 49; of the ties five are pairs (18 each): (12·11·29 − 5·18)/18 = 207.67.
    assert!((variance_of_s(&y) - (3828.0 - 90.0) / 18.0).abs() < 1e-9);
    let found = drift(&t, &y).expect("enough values");
    let sigmas = 48.0 / ((3828.0 - 90.0) / 18.0_f64).sqrt();
    assert!(found.resemblance == 0.0 && (found.p - by_chance(sigmas)).abs() < 1e-12, "{found:?}");
}

#[test]
fn holes_and_uneven_times_leave_a_straight_line_straight() {
    let t: Vec<f64> = (0..40).map(|k| if k < 20 { f64::from(k) } else { f64::from(k) + 500.0 }).collect();
    let y: Vec<f64> = t.iter().map(|t| 3.0 + 0.25 * t).collect();
    let found = drift(&t, &y).expect("enough values");
    assert!((found.slope - 0.25).abs() < 1e-12 && (found.at_zero - 3.0).abs() < 1e-9, "{found:?}");
    assert!(found.p < 1e-6);
}

#[test]
fn few_values_and_constant_ones_do_not_drift() {
    assert_eq!(drift(&[0.0; 9], &[1.0; 9]), None);
    let t: Vec<f64> = (0..30).map(f64::from).collect();
    let found = drift(&t, &[2.0; 30]).expect("enough values");
    assert_eq!((found.slope, found.p), (0.0, 1.0));
    assert_eq!(drift(&[1.0; 30], &[2.0; 30]), None);
}

#[test]
fn many_values_are_averaged_in_blocks_and_none_is_left_out() {
    let t: Vec<f64> = (0..1001).map(f64::from).collect();
    let (x, y) = blocks(&t, &t, 300);
    assert!(x.len() <= 300 && x == y);
    assert_eq!(x[0], 1.5);
    assert_eq!(x[x.len() - 1], 1000.0);
}

/// Share of series without a drift in which one is seen at 5 %, with its exact 95 % bounds.
fn false_alarms(count: usize, rho: f64) -> (f64, f64) {
    let mut random = Resampler::new(9);
    let trials = 1000;
    let alarms = (0..trials)
        .filter(|_| {
            let (t, y) = series(count, rho, 0.0, &mut random);
            drift(&t, &y).is_some_and(|d| d.p <= 0.05)
        })
        .count();
    clopper_pearson(alarms as u64, trials, 0.95)
}

#[test]
fn without_a_drift_one_is_seen_about_as_often_as_stated() {
    for count in [12, 60, 400] {
        let (low, high) = false_alarms(count, 0.0);
        assert!(low < 0.06 && high > 0.02, "{count}: {low} {high}");
    }
    // Neighbours that resemble each other would be taken for a drift in three series of ten otherwise.
    let (low, _) = false_alarms(200, 0.5);
    assert!(low < 0.07, "{low}");
}
