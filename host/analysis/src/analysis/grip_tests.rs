//! Figures of a grip against invented parts whose true curves are known.

use super::super::statistics;
use super::super::synthetic::{Dropout, Synthetic, Truth};
use super::*;
use crate::quantity::{FindingKind, PartKind};
use crate::test_draws::draws;

fn analysed(part: &Synthetic) -> PartAnalysis {
    analysed_trace(&part.trace(), &part.sheet())
}

/// Figures alone: the search for defects has its own tests.
fn analysed_trace(trace: &Trace, sheet: &PartSheet) -> PartAnalysis {
    let prepared = Prepared::new(trace, sheet);
    let curves = Curves::new(&prepared, sheet);
    let calibration = Calibration::of(&prepared, None);
    let mut out = figures_of(&prepared, curves.as_ref(), None, sheet, &calibration);
    if let Some(curves) = &curves {
        add_pair(&mut out, &prepared, curves, sheet, &calibration);
    }
    out
}

#[track_caller]
fn figure(a: &PartAnalysis, name: FigureName, channel: Option<Channel>) -> Figure {
    a.figures
        .iter()
        .find(|f| f.name == name && f.channel == channel)
        .unwrap_or_else(|| panic!("no {name:?}"))
        .clone()
}

fn has(a: &PartAnalysis, name: FigureName) -> bool {
    a.figures.iter().any(|f| f.name == name)
}

fn untestable(a: &PartAnalysis, what: &str) -> bool {
    a.not_testable.iter().any(|n| n.what.contains(what) && !n.why.is_empty())
}

/// The same figures of the true static curve, without noise, play or rig errors.
fn true_figures(part: &Synthetic) -> PartAnalysis {
    let quiet = Synthetic {
        noise_v: [0.0; 2],
        sensor_step_v: 0.0,
        converter_step_v: 0.0,
        rig_errors: false,
        rig_noise_v: 0.0,
        reference_step_deg: 0.0,
        cycles: 1,
        ..part.clone()
    };
    analysed(&quiet)
}

/// Share of figures that lie within 2 u of the truth, per name.
fn coverage(
    make: impl Fn(u64) -> Synthetic,
    seeds: std::ops::RangeInclusive<u64>,
    truth: impl Fn(&Synthetic) -> Vec<(FigureName, Option<Channel>, f64)>,
) {
    let mut hits: std::collections::BTreeMap<FigureName, (u64, u64, f64, f64)> =
        std::collections::BTreeMap::new();
    for seed in seeds {
        let part = make(seed);
        let found = analysed(&part);
        for (name, channel, value) in truth(&part) {
            let f = figure(&found, name, channel);
            let z = (f.value - value) / f.standard_uncertainty();
            let slot = hits.entry(name).or_default();
            slot.0 += u64::from(z.abs() <= 2.0);
            slot.1 += 1;
            slot.2 += z * z;
            slot.3 += z;
        }
    }
    for (name, (hit, of, squares, sum)) in &hits {
        let (low, high) = statistics::clopper_pearson(*hit, *of, 0.95);
        println!(
            "{:24} {hit}/{of} = {:.3} ({low:.3}..{high:.3}), rms z {:.2}, mean z {:.2}",
            name.name(),
            *hit as f64 / *of as f64,
            (squares / *of as f64).sqrt(),
            sum / *of as f64
        );
    }
    for (name, (hit, of, ..)) in hits {
        // Fails only when 90 % can be excluded with 97.5 % confidence.
        let (_, high) = statistics::clopper_pearson(hit, of, 0.95);
        assert!(high >= 0.90, "{}: {hit} of {of}", name.name());
    }
}

fn truths(part: &Synthetic) -> Vec<(FigureName, Option<Channel>, f64)> {
    let truth: Truth = part.truth();
    let quiet = true_figures(part);
    let mut out: Vec<(FigureName, Option<Channel>, f64)> = quiet
        .figures
        .iter()
        .filter(|f| {
            matches!(
                f.name,
                FigureName::LinearityIndependent
                    | FigureName::LinearityTerminal
                    | FigureName::LinearityZeroBased
                    | FigureName::CorrelationWorst
                    | FigureName::CorrelationOffset
                    | FigureName::CorrelationSlope
            )
        })
        .map(|f| (f.name, f.channel, f.value))
        .collect();
    for line in 0..2 {
        let channel = Some(Channel::SENSORS[line]);
        let half = 0.5 * part.hysteresis_deg[line];
        // The play stands where the last stroke left it.
        out.push((FigureName::ClosedVolts, channel, 5.0 * truth.ratio(line, half)));
        out.push((FigureName::OpenVolts, channel, 5.0 * truth.ratio(line, part.travel_deg - half)));
        out.push((FigureName::Hysteresis, channel, part.hysteresis_deg[line]));
        let step = part.sensor_step_v.powi(2) / 12.0 + part.converter_step_v.powi(2) / 12.0;
        let noise = (part.noise_v[line].powi(2) + step + part.rig_noise_v.powi(2)).sqrt();
        out.push((FigureName::Noise, channel, 1e3 * noise * 5.0 / part.supply_v));
    }
    out
}

#[test]
fn figures_of_contactless_parts_lie_within_their_uncertainty() {
    coverage(Synthetic::hall, draws(40), truths);
}

#[test]
fn figures_of_potentiometers_lie_within_their_uncertainty() {
    coverage(Synthetic::pot, draws(40), truths);
}

#[test]
fn a_single_noisy_cycle_at_a_slow_rate_still_covers_the_truth() {
    let make = |seed| Synthetic { cycles: 1, rate_hz: 1000.0, noise_v: [3e-3; 2], ..Synthetic::hall(seed) };
    coverage(make, draws(40), truths);
}

#[test]
fn dead_bands_of_both_kinds_of_part_lie_within_their_uncertainty() {
    let truths = |part: &Synthetic| {
        let ends = [FigureName::DeadBandClosed, FigureName::DeadBandOpen];
        Channel::SENSORS
            .into_iter()
            .flat_map(|c| ends.into_iter().zip(part.dead_deg).map(move |(name, d)| (name, Some(c), d)))
            .collect()
    };
    coverage(
        |seed| Synthetic { dead_deg: [1.2, 0.5], cycles: 2, ..Synthetic::hall(seed) },
        draws(20),
        truths,
    );
    coverage(|seed| Synthetic { dead_deg: [0.9, 0.3], cycles: 2, ..Synthetic::pot(seed) }, draws(20), truths);
    // Wider than where the straight part usually begins.
    coverage(
        |seed| Synthetic { dead_deg: [5.5, 3.1], cycles: 2, ..Synthetic::hall(seed) },
        draws(20),
        truths,
    );
}

#[test]
fn a_driven_sweep_gives_every_figure_of_both_lines_and_the_pair() {
    let a = analysed(&Synthetic::hall(11));
    // Events, single scans and releases are reported by what searches for defects.
    let of_defects = [FigureName::DropoutRate, FigureName::LimpTrips, FigureName::CorrelationMomentary];
    for name in FigureName::ALL.into_iter().filter(|f| f.belongs_to(PartKind::Grip)) {
        if of_defects.contains(&name) || name.is_of_a_release() {
            continue;
        }
        let count = a.figures.iter().filter(|f| f.name == name).count();
        assert_eq!(count, if name.per_channel() { 2 } else { 1 }, "{name:?}");
    }
    assert!(a.not_testable.is_empty(), "{:?}", a.not_testable);
    assert!(a.warnings.is_empty(), "{:?}", a.warnings);
    assert_eq!((a.cycles, a.topology_found), (3, Some(Topology::Complementary)));
    assert_eq!(a.histograms.len(), 3);
    for curve in &a.curves {
        assert_eq!(curve.deg.len(), curve.y.len());
    }
    for f in &a.figures {
        assert!(f.value.is_finite() && f.standard_uncertainty() > 0.0 && !f.definition.is_empty(), "{f:?}");
    }
}

#[test]
fn all_three_topologies_are_found_and_correlate_with_their_own_line() {
    for topology in [Topology::Complementary, Topology::HalfSlope, Topology::ParallelOffset] {
        let part = Synthetic { topology, ..Synthetic::hall(12) };
        let a = analysed(&part);
        assert_eq!(a.topology_found, Some(topology));
        let offset = figure(&a, FigureName::CorrelationOffset, None);
        let truth = figure(&true_figures(&part), FigureName::CorrelationOffset, None);
        assert!(
            (offset.value - truth.value).abs() < 3.0 * offset.standard_uncertainty(),
            "{offset:?} {}",
            truth.value
        );
        // Judged by another sheet it is stated.
        let other =
            if topology == Topology::HalfSlope { Topology::Complementary } else { Topology::HalfSlope };
        let wrong = analysed_trace(&part.trace(), &Synthetic { topology: other, ..part.clone() }.sheet());
        assert!(wrong.warnings.iter().any(|w| w.contains("topology")), "{:?}", wrong.warnings);
    }
}

#[test]
fn a_dropout_does_not_move_the_curves_but_a_lasting_step_does() {
    let part = Synthetic { reference_ecc_deg: 0.0, ..Synthetic::hall(13) };
    let clean = analysed(&part);
    for (length_s, level) in [(0.0004, 0.0), (0.004, 0.0), (0.1, 0.0), (0.3, 1.0)] {
        let dropped = Synthetic {
            dropouts: vec![Dropout { lines: [true, false], at_s: 0.55, length_s, level }],
            ..part.clone()
        };
        let a = analysed(&dropped);
        for (name, channel) in [
            (FigureName::LinearityIndependent, Some(Channel::Rising)),
            (FigureName::CorrelationWorst, None),
            (FigureName::Hysteresis, Some(Channel::Rising)),
        ] {
            let (x, y) = (figure(&a, name, channel), figure(&clean, name, channel));
            let u = x.standard_uncertainty().hypot(y.standard_uncertainty());
            assert!(
                (x.value - y.value).abs() < 2.0 * u,
                "{length_s} s: {name:?} {} {} {u}",
                x.value,
                y.value
            );
        }
    }
    // A line that loses 3 % of supply at 40° for good, in every cycle: half of it at least is linearity.
    let mut trace = part.trace();
    let past: Vec<bool> = trace.channel(Channel::Reference).unwrap().iter().map(|d| *d > 40.0).collect();
    let rising = trace.columns.iter_mut().find(|c| c.channel == Channel::Rising).unwrap();
    rising.values.iter_mut().zip(past).filter(|(_, p)| *p).for_each(|(v, _)| *v -= 0.15);
    let stepped = figure(
        &analysed_trace(&trace, &part.sheet()),
        FigureName::LinearityIndependent,
        Some(Channel::Rising),
    );
    assert!(stepped.value > 1.5, "{}", stepped.value);
    assert!((stepped.at_deg.unwrap() - 40.0).abs() < 1.0, "{:?}", stepped.at_deg);
}

#[test]
fn hysteresis_and_dead_band_are_told_apart() {
    let part = Synthetic { hysteresis_deg: [0.4, 0.4], dead_deg: [1.2, 0.8], ..Synthetic::hall(14) };
    let a = analysed(&part);
    for channel in Channel::SENSORS.map(Some) {
        for (name, truth) in [
            (FigureName::Hysteresis, 0.4),
            (FigureName::DeadBandClosed, 1.2),
            (FigureName::DeadBandOpen, 0.8),
        ] {
            let f = figure(&a, name, channel);
            assert!(
                (f.value - truth).abs() < 2.0 * f.standard_uncertainty(),
                "{name:?} {} u {}",
                f.value,
                f.standard_uncertainty()
            );
            // A dead band's definition names no direction: half the play, rectangular, stands in it beside what is measured.
            let undefined = if name == FigureName::Hysteresis { 0.0 } else { 0.2 / 3.0_f64.sqrt() };
            assert!(
                f.standard_uncertainty() < 0.1_f64.hypot(undefined),
                "{name:?} {}",
                f.standard_uncertainty()
            );
        }
    }
}

#[test]
fn noise_alone_makes_no_repeatability_but_a_wandering_line_does() {
    // Noise, with more cycles and ten times more of it. Noise of 1.2 mV alone spreads means of 0.5 deg over 6 cycles by 0.025 %
    // of 4 V (5.3 sd of 0.0047 %): what is left of that on average, and what its uncertainty does not cover, is small.
    let mut covered = 0;
    for (cycles, noise) in [(2, 1.2e-3), (6, 1.2e-3), (6, 12e-3)] {
        let mut sum = 0.0;
        for seed in 0..10 {
            let noise_v = [noise; 2];
            let part =
                Synthetic { cycles, noise_v, sensor_step_v: 0.0, ripple_v: 0.0, ..Synthetic::hall(seed) };
            let f = figure(&analysed(&part), FigureName::Repeatability, Some(Channel::Rising));
            covered += u32::from(f.value <= 2.0 * f.standard_uncertainty());
            sum += f.value;
        }
        assert!(0.1 * sum < 0.0125 * noise / 1.2e-3, "{cycles} cycles, {noise} V: mean {}", 0.1 * sum);
    }
    // Fails only when 90 % can be excluded with 97.5 % confidence.
    assert!(statistics::clopper_pearson(covered.into(), 30, 0.95).1 >= 0.90, "{covered} of 30");
    // 10 mV between the first and later cycles: 0.25 % of 4 V.
    let part = Synthetic::hall(15);
    let mut trace = part.trace();
    let third = trace.len() / 3;
    let rising = trace.columns.iter_mut().find(|c| c.channel == Channel::Rising).unwrap();
    rising.values[..third].iter_mut().for_each(|v| *v += 10e-3);
    let f = figure(&analysed_trace(&trace, &part.sheet()), FigureName::Repeatability, Some(Channel::Rising));
    assert!((f.value - 0.25).abs() < 0.03, "{}", f.value);
}

#[test]
fn noise_of_a_coarse_sensor_does_not_collapse() {
    // Steps about as large as the noise read as white noise of step/√12 (Sheppard).
    for (noise, step) in [(1.2e-3, 1.22e-3), (0.3e-3, 1.22e-3)] {
        let part = Synthetic { noise_v: [noise; 2], sensor_step_v: step, ..Synthetic::hall(16) };
        let f = figure(&analysed(&part), FigureName::Noise, Some(Channel::Rising));
        let truth = 1e3 * (noise * noise + step * step / 12.0 + 0.15e-3f64.powi(2)).sqrt();
        assert!((f.value / truth - 1.0).abs() < 0.05, "{} for {truth}", f.value);
    }
    // Steps of q every n scans of a nearly noiseless ramp: second differences ±q twice per step, so q·√(2/(6n)).
    let (noise, step) = (0.02e-3, 5e-3);
    let part = Synthetic { noise_v: [noise; 2], sensor_step_v: step, gain: [1.0; 2], ..Synthetic::hall(16) };
    let f = figure(&analysed(&part), FigureName::Noise, Some(Channel::Rising));
    let scans = step / (4.0 / 75.0 * 60.0 / 5000.0);
    let truth = 1e3 * (2.0 * step * step / (6.0 * scans) + 0.15e-3f64.powi(2)).sqrt();
    assert!((f.value / truth - 1.0).abs() < 0.05, "{} for {truth}", f.value);
}

#[test]
fn skew_is_separated_from_unlike_hysteresis_when_the_speed_changes() {
    let part = Synthetic {
        speeds: vec![40.0, 40.0, 120.0, 120.0],
        cycles: 4,
        skew_us: 300.0,
        hysteresis_deg: [0.08, 0.14],
        ..Synthetic::hall(17)
    };
    let f = figure(&analysed(&part), FigureName::Skew, None);
    assert!(
        (f.value - 300.0).abs() < 2.0 * f.standard_uncertainty() && f.standard_uncertainty() < 60.0,
        "{f:?}"
    );
    // At one speed it can't be: a slow one says so, at a fast one the uncertainty must cover the confusion.
    let slow = Synthetic { speeds: vec![30.0], cycles: 2, ..part.clone() };
    assert!(untestable(&analysed(&slow), "skew"));
    let one = Synthetic { speeds: vec![120.0], cycles: 2, hysteresis_deg: [0.08, 0.10], ..part };
    let f = figure(&analysed(&one), FigureName::Skew, None);
    assert!(
        (f.value - 300.0).abs() < 2.0 * f.standard_uncertainty() && f.standard_uncertainty() > 100.0,
        "{f:?}"
    );
}

#[test]
fn what_a_thin_recording_can_not_give_is_named() {
    let part = Synthetic { without: vec![Channel::Falling], ..Synthetic::hall(18) };
    let a = analysed(&part);
    assert!(untestable(&a, "falling") && untestable(&a, "correlation") && untestable(&a, "skew"));
    assert!(has(&a, FigureName::LinearityTerminal) && !has(&a, FigureName::CorrelationWorst));

    let part = Synthetic { without: vec![Channel::Reference], ..Synthetic::hall(18) };
    let a = analysed(&part);
    assert!(
        untestable(&a, "linearity")
            && has(&a, FigureName::CorrelationWorst)
            && has(&a, FigureName::ClosedVolts)
    );
    assert!(!has(&a, FigureName::LinearityIndependent) && !has(&a, FigureName::Hysteresis));
    let (worst, truth) = (
        figure(&a, FigureName::CorrelationWorst, None),
        figure(&true_figures(&Synthetic::hall(18)), FigureName::CorrelationWorst, None),
    );
    assert!((worst.value - truth.value).abs() < 0.05, "{} {}", worst.value, truth.value);

    let part = Synthetic::hall(18);
    let mut motion: Vec<f64> = vec![0.0; 500];
    motion.extend((0..5000).map(|i| f64::from(i) * 0.008));
    let a = analysed_trace(&part.trace_of(&motion), &part.sheet());
    for what in ["hysteresis", "repeatability", "open_volts", "span", "skew", "whole travel"] {
        assert!(untestable(&a, what), "{what}: {:?}", a.not_testable);
    }
    assert!(has(&a, FigureName::ClosedVolts) && has(&a, FigureName::LinearityIndependent));
}

#[test]
fn a_foreign_file_states_what_its_uncertainty_lacks() {
    let part = Synthetic {
        foreign: true,
        converter_step_v: 5.0 / 1024.0,
        rate_hz: 200.0,
        without: vec![Channel::Supply],
        rig_errors: false,
        ..Synthetic::hall(19)
    };
    let a = analysed(&part);
    assert!(a.warnings.iter().any(|w| w.contains("no calibration")), "{:?}", a.warnings);
    assert!(a.warnings.iter().any(|w| w.contains("assumed")), "{:?}", a.warnings);
    let f = figure(&a, FigureName::LinearityTerminal, Some(Channel::Rising));
    let truth = figure(&true_figures(&part), FigureName::LinearityTerminal, Some(Channel::Rising));
    assert!(
        (f.value - truth.value).abs() < 2.0 * f.standard_uncertainty(),
        "{} {} u {}",
        f.value,
        truth.value,
        f.standard_uncertainty()
    );
}

#[test]
fn a_line_that_stands_still_gives_no_linearity_and_is_named() {
    let part = Synthetic { gain: [1e-6, 1.0], bend: [0.0; 2], texture: [0.0; 2], ..Synthetic::hall(20) };
    let a = analysed(&part);
    assert!(untestable(&a, "rising"), "{:?}", a.not_testable);
    assert!(a.figures.iter().all(|f| f.value.is_finite()));
    assert!(
        !a.figures
            .iter()
            .any(|f| f.name == FigureName::LinearityTerminal && f.channel == Some(Channel::Rising))
    );
}

#[test]
fn an_empty_trace_gives_no_figure_and_no_panic() {
    let part = Synthetic::hall(21);
    for n in [0, 1, 5, 700] {
        let mut trace = part.trace();
        trace.time_us.truncate(n);
        trace.columns.iter_mut().for_each(|c| c.values.truncate(n));
        let a = analysed_trace(&trace, &part.sheet());
        assert!(!a.not_testable.is_empty());
        assert!(!has(&a, FigureName::LinearityTerminal));
    }
}

#[test]
fn gaps_are_named_in_degrees_and_leave_the_rest() {
    let part = Synthetic { lost: vec![(3000, 200)], ..Synthetic::hall(22) };
    let once = Synthetic { cycles: 1, ..part.clone() };
    assert_eq!(analysed(&once).gap_regions.len(), 1);
    let a = analysed(&part);
    assert_eq!(a.gap_regions, vec![], "two strokes of three passed there whole");
    assert!(has(&a, FigureName::LinearityIndependent));
    assert_eq!(a.cycles, 2);
}

#[test]
fn a_backward_stretch_is_warned_of() {
    let mut part = Synthetic::hall(23);
    part.flat = vec![super::super::synthetic::FlatSpot {
        line: 0,
        from_deg: 30.0,
        width_deg: 3.0,
        loss: 1.3,
        snap: false,
    }];
    let a = analysed(&part);
    assert!(a.warnings.iter().any(|w| w.contains("backwards") && w.contains("rising")), "{:?}", a.warnings);
}

#[test]
fn figures_do_not_depend_on_which_end_the_recording_began() {
    let part = Synthetic { sensor_step_v: 0.0, ..Synthetic::hall(24) };
    let trace = part.trace();
    let mut turned = trace.clone();
    turned.columns.iter_mut().for_each(|c| c.values.reverse());
    let (a, b) = (analysed_trace(&trace, &part.sheet()), analysed_trace(&turned, &part.sheet()));
    // Backwards in time the play leads instead of lagging; its size and everything averaged stay.
    for name in [
        FigureName::LinearityIndependent,
        FigureName::LinearityTerminal,
        FigureName::LinearityZeroBased,
        FigureName::Hysteresis,
    ] {
        let (x, y) = (figure(&a, name, Some(Channel::Rising)), figure(&b, name, Some(Channel::Rising)));
        let u = x.standard_uncertainty().hypot(y.standard_uncertainty());
        assert!((x.value - y.value).abs() < 2.0 * u, "{name:?} {} {} {u}", x.value, y.value);
    }
}

#[test]
fn a_common_offset_moves_correlation_and_leaves_linearity() {
    let part = Synthetic::hall(25);
    let moved = Synthetic { offset: part.offset.map(|o| o + 0.01), ..part.clone() };
    let (a, b) = (analysed(&part), analysed(&moved));
    let of = |a: &PartAnalysis, name, channel| figure(a, name, channel).value;
    // 1 % on both lines of a complementary pair: 2 % in the sum.
    let change = of(&b, FigureName::CorrelationOffset, None) - of(&a, FigureName::CorrelationOffset, None);
    assert!((change - 2.0).abs() < 0.01, "{change}");
    let line = Some(Channel::Rising);
    let change =
        of(&b, FigureName::LinearityIndependent, line) - of(&a, FigureName::LinearityIndependent, line);
    assert!(change.abs() < 0.02, "{change}");
}

#[test]
fn the_whole_analysis_puts_figures_in_order_and_the_worst_finding_first() {
    let part = Synthetic::hall(31);
    let trace = part.trace();
    let healthy = analyse(GripTraces { sweep: &trace, leads: None, flex: None }, &part.sheet());
    let names: Vec<usize> =
        healthy.figures.iter().map(|f| FigureName::ALL.iter().position(|n| *n == f.name).unwrap()).collect();
    assert!(names.is_sorted(), "{names:?}");
    assert_eq!(healthy.figures.len(), 29);
    assert!(healthy.findings.is_empty(), "{:?}", healthy.findings);

    let broken = Synthetic {
        dropouts: vec![Dropout { lines: [true, false], at_s: 0.55, length_s: 0.02, level: 0.0 }],
        flat: vec![super::super::synthetic::FlatSpot {
            line: 1,
            from_deg: 20.0,
            width_deg: 2.0,
            loss: 0.9,
            snap: true,
        }],
        ..part
    };
    let trace = broken.trace();
    let found = analyse(GripTraces { sweep: &trace, leads: None, flex: Some(&trace) }, &broken.sheet());
    let kinds: Vec<FindingKind> = found.findings.iter().map(|f| f.kind).collect();
    assert!(
        kinds.contains(&FindingKind::FlatSpot) && kinds.first() == Some(&FindingKind::Dropout),
        "{kinds:?}"
    );
    let rate = figure(&found, FigureName::DropoutRate, None);
    assert!(rate.value > 0.0 && rate.upper_bound.unwrap() > rate.value, "{rate:?}");
}

#[test]
fn a_line_that_is_late_is_not_taken_for_play_when_the_strokes_differ_in_speed() {
    let part = Synthetic {
        skew_us: 300.0,
        hysteresis_deg: [0.1; 2],
        speeds: vec![60.0, 60.0, 60.0, 60.0, 30.0, 30.0],
        ..Synthetic::hall(31)
    };
    let found = analysed(&part);
    for line in Channel::SENSORS {
        let figure = found
            .figures
            .iter()
            .find(|f| f.name == FigureName::Hysteresis && f.channel == Some(line))
            .unwrap();
        let off = (figure.value - 0.1).abs();
        assert!(off < 2.0 * figure.standard_uncertainty() && off < 0.01, "{figure:?}");
    }
}

#[test]
fn a_dead_line_has_no_skew_to_tell() {
    let part = Synthetic::hall(32);
    let mut trace = part.trace();
    let mut random = statistics::Resampler::new(5);
    trace.columns[1].values.iter_mut().for_each(|v| *v = (0.05 + 0.001 * random.normal()) as f32);
    let found = analysed_trace(&trace, &part.sheet());
    assert!(found.figures.iter().all(|f| f.name != FigureName::Skew), "{:?}", found.figures);
    assert!(found.not_testable.iter().any(|n| n.what == "skew"), "{:?}", found.not_testable);
}

#[test]
fn sentences_name_the_lines_by_order_where_both_rise() {
    for (topology, word) in
        [(Topology::ParallelOffset, "second line"), (Topology::Complementary, "falling line")]
    {
        let mut part = Synthetic { topology, ..Synthetic::hall(33) };
        part.dropouts = vec![Dropout { lines: [false, true], at_s: 0.8, length_s: 0.01, level: 0.0 }];
        let (trace, sheet) = (part.trace(), part.sheet());
        let found = analyse(GripTraces { sweep: &trace, leads: None, flex: None }, &sheet);
        let limits: Vec<&str> = found.detection_limits.iter().map(|l| l.text.as_str()).collect();
        assert!(limits.iter().any(|t| t.contains(word)), "{limits:?}");
        let other = if word == "second line" { "falling line" } else { "second line" };
        assert!(!limits.iter().any(|t| t.contains(other)), "{limits:?}");
    }
}
