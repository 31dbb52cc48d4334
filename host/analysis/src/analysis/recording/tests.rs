//! Limits of a recording, recognised and not invented.

use super::*;
use crate::analysis::hand_turned::{
    Hand, clipped, coarse_angle, held_supply, humming, late_angle, rippling, stepped,
};
use crate::analysis::synthetic::Synthetic;
use crate::trace::Trace;

fn limits(trace: &Trace, part: &Synthetic) -> Vec<RecordingLimit> {
    let sheet = part.sheet();
    let prepared = Prepared::new(trace, &sheet);
    find(&prepared, Curves::new(&prepared, &sheet).as_ref(), &sheet)
}

fn logged(seed: u64) -> (Synthetic, Trace) {
    let part = Synthetic { rate_hz: 1000.0, ..Synthetic::hall(seed) };
    let trace = Hand::default().log(&part, seed);
    (part, trace)
}

#[track_caller]
fn check(trace: &Trace, part: &Synthetic, kind: LimitKind, channel: Option<Channel>) {
    let found = limits(trace, part);
    assert!(found.iter().any(|l| l.kind == kind && l.channel == channel), "{}: {found:#?}", part.seed);
}

#[test]
fn a_careful_log_and_a_rigs_sweep_have_no_limit() {
    for seed in 1..=10 {
        let (part, trace) = logged(seed);
        let found = limits(&trace, &part);
        assert!(found.is_empty(), "{seed}: {found:#?}");
        let part = Synthetic { dead_deg: [1.2, 0.8], ..Synthetic::hall(seed) };
        assert!(limits(&part.trace(), &part).is_empty());
        let part = Synthetic { dead_deg: [1.2, 0.8], ..Synthetic::pot(seed) };
        assert!(limits(&part.trace(), &part).is_empty());
    }
}

#[test]
fn a_range_that_ends_below_the_lines_is_clipping_and_no_dead_band() {
    for seed in 1..=10 {
        for volts in [4.4, 4.096] {
            let (part, trace) = logged(seed);
            let trace = clipped(trace, volts);
            check(&trace, &part, LimitKind::Clipping, Some(Channel::Rising));
            check(&trace, &part, LimitKind::Clipping, Some(Channel::Falling));
            let told = crate::analysis::grip::analyse(
                crate::analysis::grip::GripTraces { sweep: &trace, leads: None, flex: None },
                &part.sheet(),
            );
            let bands =
                [(FigureName::DeadBandOpen, Channel::Rising), (FigureName::DeadBandClosed, Channel::Falling)];
            for (name, channel) in bands {
                assert!(!told.figures.iter().any(|f| (f.name, f.channel) == (name, Some(channel))));
            }
            assert!(told.findings.iter().all(|f| f.confidence < 0.95), "{:#?}", told.findings);
        }
    }
}

/// A quiet part whose lines rest at one code between the strokes, logged at 200 Hz with 10 bits.
fn quiet(seed: u64) -> (Synthetic, Trace) {
    let part = Synthetic {
        rate_hz: 200.0,
        noise_v: [1e-4; 2],
        rig_noise_v: 1e-4,
        converter_step_v: 4.096 / 1024.0,
        ..Synthetic::hall(seed)
    };
    let trace = fast(&part, seed);
    (part, trace)
}

fn fast(part: &Synthetic, seed: u64) -> Trace {
    Hand { speed_deg_s: (60.0, 300.0), ..Hand::default() }.log(part, seed)
}

/// What a recording's supply may have made.
#[track_caller]
fn of_supply(trace: &Trace, part: &Synthetic) -> RecordingLimit {
    limits(trace, part).into_iter().find(|l| l.kind == LimitKind::Supply).expect("named")
}

/// By how much that may have moved the correlation, % of supply.
#[track_caller]
fn correlation_by(supply: &RecordingLimit) -> f64 {
    supply.moves.iter().find(|m| m.0 == FigureName::CorrelationWorst).expect("correlation").2
}

#[test]
fn a_rest_at_one_code_does_not_hide_that_the_range_ends_and_is_no_clipping_itself() {
    for seed in 1..=10 {
        let (part, trace) = quiet(seed);
        assert!(limits(&trace, &part).iter().all(|l| l.kind != LimitKind::Clipping), "{seed}");
        check(&clipped(trace, 4.092), &part, LimitKind::Clipping, Some(Channel::Rising));
    }
}

/// 1.4 deg beyond the end of the range, and a long rest at the stop that takes nearly all of its scans.
#[test]
fn a_range_that_ends_shortly_before_the_line_is_told_by_the_converters_last_code() {
    for seed in 1..=10 {
        let (part, _) = quiet(seed);
        // The hall part's line is 4.5 V wide open: 1.4 deg beyond 4.424 V.
        let part = Synthetic { converter_step_v: 4.424 / 1023.0, ..part };
        let trace = fast(&part, seed);
        check(&clipped(trace, 4.424), &part, LimitKind::Clipping, Some(Channel::Rising));
        // A dead band of the sensor at any other code is none of the converter's.
        let dead = Synthetic { dead_deg: [0.3, 1.4], ..quiet(seed).0 };
        let trace = fast(&dead, seed);
        let volts = trace.channel(Channel::Rising).expect("recorded");
        let highest = volts.iter().copied().fold(0.0, f32::max);
        assert!(!clipping::is_converters_last(volts, highest), "{seed}: {highest}");
    }
}

#[test]
fn a_supply_column_that_never_changes_does_not_hide_mains_ripple_of_both_lines() {
    for seed in 1..=10 {
        let (part, trace) = logged(seed);
        let trace = rippling(trace, 52.0, 0.003);
        let supply = of_supply(&trace, &part);
        assert!(supply.may_be_all.contains(&(FigureName::Repeatability, Some(Channel::Falling))));
        // Both lines, by 2.1 standard deviations of the ripple at least.
        let moves = correlation_by(&supply);
        assert!((0.4..1.2).contains(&moves), "{seed}: {moves}");
    }
}

#[test]
fn a_supply_that_is_held_over_scans_is_named_with_how_far_it_moves() {
    for seed in 1..=10 {
        let (part, trace) = logged(seed);
        // 1 % of 77 Hz, of which one value in 20 scans shows a folded part.
        let supply = of_supply(&held_supply(trace, 77.0, 0.01, 20), &part);
        for figure in [(FigureName::Noise, Some(Channel::Rising)), (FigureName::Skew, None)] {
            assert!(supply.may_be_all.contains(&figure), "{seed}: {supply:?}");
        }
        // Two standard deviations of the ripple: 1.41 %.
        let moves = correlation_by(&supply);
        assert!((1.0..2.5).contains(&moves), "{seed}: {moves}");
    }
}

#[test]
fn ripple_that_slow_scans_fold_down_to_a_few_hertz_is_the_supplys() {
    for seed in 1..=10 {
        let (part, trace) = quiet(seed);
        // 202 Hz seen 200 times a second is 2 Hz.
        let mut trace = rippling(trace, 202.0, 0.015);
        trace.columns.retain(|c| c.channel != Channel::Supply);
        trace.provenance.stated_supply_volts = Some(5.0);
        let supply = of_supply(&trace, &part);
        let moves = correlation_by(&supply);
        assert!((1.0..4.0).contains(&moves), "{seed}: {moves}");
    }
}

/// Lines that were read in the same scans are compared in these: what their lags are uncertain by is no deviation of the pair.
#[test]
fn no_mean_of_the_pairs_deviation_is_beyond_every_scan() {
    for seed in 1..=20 {
        let (part, _) = quiet(seed);
        let hand = Hand { speed_deg_s: (40.0, 320.0), strokes: 8, ..Hand::default() };
        let trace = rippling(hand.log(&part, seed), 202.0, 0.015);
        let traces = crate::analysis::grip::GripTraces { sweep: &trace, leads: None, flex: None };
        let told = crate::analysis::grip::analyse(traces, &part.sheet());
        let value = |name| told.figures.iter().find(|f| f.name == name).map(|f| f.value);
        let (worst, scan) = (value(FigureName::CorrelationWorst), value(FigureName::CorrelationMomentary));
        assert!(worst <= scan.map(|v| v + 0.6), "{seed}: {worst:?} of {scan:?}");
    }
}

#[test]
fn a_dip_as_deep_as_the_ripple_of_a_supply_that_was_not_logged_may_be_the_ripple() {
    for seed in 1..=10 {
        let (part, trace) = logged(seed);
        let mut trace = rippling(trace, 77.0, 0.02);
        trace.columns.retain(|c| c.channel != Channel::Supply);
        trace.provenance.stated_supply_volts = Some(5.0);
        let found = limits(&trace, &part);
        let jump = found.iter().map(|l| l.imitates_jump_mv).fold(0.0, f64::max);
        // 100 mV up and down.
        assert!(jump > 200.0, "{seed}: {jump}");
    }
}

#[test]
fn hum_coarse_steps_and_a_late_angle_are_named() {
    for seed in 1..=10 {
        let (part, trace) = logged(seed);
        for hz in [50.0, 60.0] {
            check(&humming(trace.clone(), hz, 3e-3), &part, LimitKind::Hum, Some(Channel::Falling));
        }
        check(&stepped(trace.clone(), 5.0 / 256.0), &part, LimitKind::Quantisation, Some(Channel::Rising));
        check(&coarse_angle(trace.clone(), 0.5), &part, LimitKind::CoarseAngle, None);
        check(&late_angle(trace.clone(), 8), &part, LimitKind::LateAngle, None);
    }
}

#[test]
fn what_a_grip_can_not_be_is_said() {
    let (part, trace) = logged(1);
    // Opened in a tenth of a second, again and again.
    let motor = Hand { speed_deg_s: (1500.0, 1500.0), hesitations: 0.0, ..Hand::default() };
    check(&motor.log(&part, 1), &part, LimitKind::OtherPart, None);
    let mut driven = trace.clone();
    let mut amps = driven.columns[0].clone();
    amps.channel = Channel::MotorVolts;
    driven.columns.push(amps);
    check(&driven, &part, LimitKind::OtherPart, None);
    let mut wide = trace;
    wide.columns.iter_mut().filter(|c| c.channel == Channel::Reference).for_each(|c| {
        c.values.iter_mut().for_each(|v| *v *= 1.2);
    });
    check(&wide, &part, LimitKind::OtherPart, None);
}
