//! Known parts that stay, move slowly, jump, or scatter.

use super::*;
use crate::analysis::statistics::Resampler;
use crate::quantity::{Channel, Condition, FigureName};
use std::sync::LazyLock;

/// A figure whose stated standard uncertainty is 1, its limit far away.
fn figure(value: f64) -> OutcomeFigure {
    OutcomeFigure {
        figure: FigureName::ClosedVolts.into(),
        channel: Some(Channel::Rising.into()),
        condition: Condition::NONE,
        value,
        unit: FigureName::ClosedVolts.unit(),
        expanded_uncertainty: 2.0,
        upper_bound: None,
        at_deg: None,
        limit: Some(OutcomeLimit { min: None, max: Some(100.0), bound: None }),
        source: None,
        verdict: Some(if value > 100.0 { Verdict::Outside } else { Verdict::Within }),
        would_decide: None,
        definition: String::new(),
    }
}

/// The state after each sweep behind the first ones.
fn states(values: &[f64], first: usize) -> Vec<State> {
    static WIDTHS: LazyLock<Widths> = LazyLock::new(|| Widths::for_charts(1, RUN_LENGTH));
    let figures: Vec<OutcomeFigure> = values.iter().map(|v| figure(*v)).collect();
    let seen: Vec<Seen<'_>> = figures.iter().enumerate().collect();
    let state = |n: usize| watched(Quantity::of(&figures[0]), &seen[..n], n, first, *WIDTHS).map(|w| w.state);
    (first + 1..=values.len()).filter_map(state).collect()
}

/// A series that scatters by `sd`, moved by `offset` of its sweep after the first 20.
fn series(seed: u64, sd: f64, sweeps: usize, offset: impl Fn(usize) -> f64) -> Vec<f64> {
    let mut random = Resampler::new(seed);
    let moved = |k: usize| if k < 20 { 0.0 } else { offset(k - 19) };
    (0..20 + sweeps).map(|k| 50.0 + sd * random.normal() + moved(k)).collect()
}

#[test]
fn a_rig_that_stays_is_steady() {
    // 500 sweeps of one chart without a reason: 40 series of 25 sweeps are 1000; twice that number of words is beyond chance by far.
    let words: usize = (0..40)
        .map(|seed| {
            states(&series(seed, 0.2, 25, |_| 0.0), 20).iter().filter(|s| **s != State::Steady).count()
        })
        .sum();
    assert!(words <= 8, "{words} of 1000");
}

#[test]
fn a_slow_drift_is_warned_of_before_the_guard_band_is_used_up() {
    for seed in 0..40 {
        // 5 % of the guard band of 1.645 a sweep: it is used up at the 20th.
        let found = states(&series(seed, 0.2, 30, |k| 0.05 * GUARD_FACTOR * k as f64), 20);
        let moves = found.iter().position(|s| *s == State::Moves).expect("it is warned of") + 1;
        let misjudges = found.iter().position(|s| *s == State::Misjudges).expect("it is told") + 1;
        // A single value scatters by two and a half sweeps' worth: seven early is three of its standard deviations; the average lags.
        assert!(moves < 16 && moves < misjudges && (13..=24).contains(&misjudges), "{moves} {misjudges}");
    }
}

#[test]
fn a_jump_beyond_the_band_is_told_at_once_and_a_small_one_does_not_alarm() {
    let jump = states(&series(1, 0.1, 1, |_| 5.0), 20);
    assert_eq!(jump, [State::Misjudges]);
    // A tenth of the band: charts may signal, verdicts do not notice.
    let small = states(&series(1, 0.02, 20, |_| 0.1 * GUARD_FACTOR), 20);
    assert!(small.iter().all(|s| *s == State::Steady), "{small:?}");
}

#[test]
fn a_verdict_that_turned_round_misjudges() {
    let values: Vec<f64> = (0..20).map(|k| 99.0 + 0.2 * f64::from(k % 2)).chain([100.5]).collect();
    let sweeps: Vec<[OutcomeFigure; 1]> = values.iter().map(|v| [figure(*v)]).collect();
    let found = watch(&sweeps.iter().map(|s| s.as_slice()).collect::<Vec<_>>(), 20);
    assert!(found.figures[0].turned && found.state() == State::Misjudges);
}

#[test]
fn a_known_part_that_scatters_beyond_the_band_is_named() {
    let values = series(3, 2.0, 1, |_| 0.0);
    let sweeps: Vec<[OutcomeFigure; 1]> = values.iter().map(|v| [figure(*v)]).collect();
    assert!(watch(&sweeps.iter().map(|s| s.as_slice()).collect::<Vec<_>>(), 20).figures[0].scatters);
}

#[test]
fn a_figure_that_the_newest_sweep_does_not_have_is_a_warning_and_its_chart_goes_on() {
    let values = series(3, 0.2, 3, |_| 0.0);
    let mut sweeps: Vec<Vec<OutcomeFigure>> = values.iter().map(|v| vec![figure(*v)]).collect();
    let found = |sweeps: &[Vec<OutcomeFigure>]| {
        let all: Vec<&[OutcomeFigure]> = sweeps.iter().map(Vec::as_slice).collect();
        watch(&all, 20)
    };
    sweeps[22].clear();
    let missing = found(&sweeps);
    assert!(missing.figures[0].missing_now && missing.state() == State::Moves);
    // The day after it is there again.
    sweeps.push(vec![figure(50.0)]);
    let again = found(&sweeps);
    assert_eq!((again.figures[0].missing_now, again.state()), (false, State::Steady));
    assert_eq!(again.figures[0].sweeps[20..], [20, 21, 23]);
    sweeps[5].clear();
    assert_eq!(found(&sweeps).left_out[0].why, "only 19 of 20 first sweeps have a value for it");
}

#[test]
fn how_long_it_goes_on_is_reckoned_from_the_trend() {
    let values = series(5, 0.05, 12, |k| 0.05 * GUARD_FACTOR * k as f64);
    let sweeps: Vec<[OutcomeFigure; 1]> = values.iter().map(|v| [figure(*v)]).collect();
    let found = watch(&sweeps.iter().map(|s| s.as_slice()).collect::<Vec<_>>(), 20);
    let left = found.figures[0].sweeps_left.expect("a trend");
    // 8 are left: 20 to the end of the band, of which 12 have passed; scatter is half a sweep's worth.
    assert!((6.0..10.0).contains(&left), "{left}");
}
