//! Predicted trips against the closed form and against a monitor played step by step.

use super::*;
use crate::analysis::statistics::Resampler;
use crate::analysis::synthetic::{Dropout, Synthetic};

fn played(part: &Synthetic, monitor: Monitor) -> Report {
    let mut sheet = part.sheet();
    sheet.monitor = monitor;
    let trace = part.trace();
    predict(&Prepared::new(&trace, &sheet), &sheet)
}

const MONITOR: Monitor = Monitor { threshold_percent: 5.0, rails: (0.03, 0.97), period_ms: 5.0, debounce: 4 };

#[test]
fn one_open_trips_with_the_probability_of_the_closed_form() {
    // P(trip | τ) = clip((τ − (N − 1)·T)/T, 0, 1).
    for (length_ms, wanted) in [(14.0, 0.0), (16.0, 0.2), (17.5, 0.5), (19.0, 0.8), (21.0, 1.0), (200.0, 1.0)]
    {
        let mut part = Synthetic::hall(1);
        part.dropouts =
            vec![Dropout { lines: [true, false], at_s: 0.7, length_s: length_ms * 1e-3, level: 0.0 }];
        let report = played(&part, MONITOR);
        assert_eq!(report.events.len(), 1);
        // A phase step is 1/64 and a scan is 0.2 ms = 4 % of the period.
        assert!((report.by_consecutive - wanted).abs() < 0.06, "{length_ms}: {}", report.by_consecutive);
        let u = report.figure.unwrap().standard_uncertainty();
        assert!((u - (wanted * (1.0 - wanted)).sqrt()).abs() < 0.1, "{length_ms}: {u}");
    }
}

#[test]
fn bursts_give_both_counters_what_a_monitor_played_by_brute_force_gets() {
    let mut r = Resampler::new(7);
    let mut t = 0.5;
    let mut dropouts = Vec::new();
    for _ in 0..60 {
        let length_s = -0.012 * r.uniform().ln();
        dropouts.push(Dropout { lines: [false, true], at_s: t, length_s, level: 0.0 });
        t += length_s - 0.006 * r.uniform().ln();
    }
    let part = Synthetic { dropouts: dropouts.clone(), hold_s: 0.2, ..Synthetic::hall(2) };
    let report = played(&part, MONITOR);
    let (mut row, mut level) = (0.0, 0.0);
    let n = 500;
    for _ in 0..n {
        let (a, b) = brute(&dropouts, r.uniform() * 0.005);
        row += a / f64::from(n);
        level += b / f64::from(n);
    }
    // Both are means over the phase of one fixed burst: what is left is the sampling of the trace.
    assert!((report.by_consecutive - row).abs() < 0.35, "{} {row}", report.by_consecutive);
    assert!((report.by_up_down - level).abs() < 0.35, "{} {level}", report.by_up_down);
    assert!(row > 1.0);
}

/// A monitor of 5 ms and 4 samples on opens in seconds, sampled from `phase` on.
fn brute(dropouts: &[Dropout], phase: f64) -> (f64, f64) {
    let (mut row, mut level, mut tripped) = (0, 0, [false; 2]);
    let mut out = (0.0, 0.0);
    for k in 0..1000 {
        let t = phase + 0.005 * f64::from(k);
        let bad = dropouts.iter().any(|d| t >= d.at_s && t < d.at_s + d.length_s);
        row = if bad { row + 1 } else { 0 };
        level = if bad { (level + 1).min(4) } else { (level - 1).max(0) };
        if row == 0 {
            tripped[0] = false;
        }
        if level == 0 {
            tripped[1] = false;
        }
        if row >= 4 && !std::mem::replace(&mut tripped[0], true) {
            out.0 += 1.0;
        }
        if level >= 4 && !std::mem::replace(&mut tripped[1], true) {
            out.1 += 1.0;
        }
    }
    out
}

#[test]
fn a_healthy_sweep_trips_nothing_and_a_shifted_pair_trips_once() {
    let part = Synthetic::hall(3);
    let report = played(&part, MONITOR);
    assert_eq!((report.by_consecutive, report.by_up_down, report.events.len()), (0.0, 0.0, 0));
    let shifted = Synthetic { offset: [0.08, 0.0], ..Synthetic::hall(3) };
    let report = played(&shifted, MONITOR);
    assert_eq!((report.by_consecutive, report.by_up_down), (1.0, 1.0));
}

#[test]
fn one_line_is_watched_at_its_rails_and_nothing_without_lines() {
    let mut part = Synthetic { without: vec![crate::quantity::Channel::Falling], ..Synthetic::hall(3) };
    part.dropouts = vec![Dropout { lines: [true, false], at_s: 0.7, length_s: 0.1, level: 0.0 }];
    let report = played(&part, MONITOR);
    assert_eq!(report.by_consecutive, 1.0);
    assert_eq!(report.not_testable.len(), 1);
    part.without.push(crate::quantity::Channel::Rising);
    assert!(played(&part, MONITOR).figure.is_none());
}
