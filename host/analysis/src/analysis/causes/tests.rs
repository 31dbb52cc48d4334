//! Every rule, its words when something is missing, and healthy parts.

use super::*;
use crate::analysis::leads::tests::{Circuit, GOOD, record};
use crate::analysis::synthetic::Synthetic;
use crate::trace::Trace;

fn run_on(trace: &Trace, part: &Synthetic, circuit: Option<&Circuit>) -> Report {
    let sheet = part.sheet();
    let prepared = Prepared::new(trace, &sheet);
    let curves = Curves::new(&prepared, &sheet);
    let dropouts = dropout::find(&prepared, &sheet);
    let leads = circuit.map(|c| leads::analyse(&record(c, part.seed), &sheet));
    find(&CausesInput {
        prepared: &prepared,
        curves: curves.as_ref(),
        sheet: &sheet,
        leads: leads.as_ref(),
        dropouts: &dropouts,
        located: &[],
    })
}

fn run(part: &Synthetic, circuit: Option<&Circuit>) -> Report {
    run_on(&part.trace(), part, circuit)
}

fn kinds(report: &Report) -> Vec<(FindingKind, Option<Channel>)> {
    report.findings.iter().map(|f| (f.kind, f.channel)).collect()
}

#[test]
fn healthy_parts_have_no_cause_with_or_without_a_leads_check() {
    for seed in 0..60 {
        let part = if seed % 2 == 0 { Synthetic::hall(seed) } else { Synthetic::pot(seed) };
        let part = Synthetic { cycles: 1, ..part };
        let circuit = (seed % 3 == 0).then_some(&GOOD);
        let report = run(&part, circuit);
        assert!(report.findings.is_empty(), "{seed}: {:?}", report.findings);
        assert!(!report.not_testable.is_empty());
    }
}

#[test]
fn leads_are_named_with_their_resistance() {
    let part = Synthetic::hall(2);
    let cases = [
        (Circuit { ground_ohm: 15.0, ..GOOD }, FindingKind::GroundLead, None),
        (Circuit { supply_ohm: 15.0, ..GOOD }, FindingKind::SupplyLead, None),
        (Circuit { source_ohm: [50.0, 900.0], ..GOOD }, FindingKind::SignalLead, Some(Channel::Falling)),
    ];
    for (circuit, kind, channel) in cases {
        let report = run(&part, Some(&circuit));
        assert_eq!(kinds(&report), [(kind, channel)], "{:?}", report.findings);
        let ohm = report.findings[0].details.iter().find(|d| d.name == "resistance").unwrap().value;
        assert!(ohm > 14.0, "{ohm}");
    }
}

#[test]
fn a_half_slope_track_needs_no_bad_lead_and_hides_none() {
    let part = Synthetic { topology: crate::sheet::Topology::HalfSlope, ..Synthetic::pot(4) };
    let track = Circuit { track: true, amps: 10.0 / 6000.0, half_slope: true, ..GOOD };
    let sound = run(&part, Some(&Circuit { source_ohm: [1600.0, 1225.0], ..track }));
    assert!(!kinds(&sound).iter().any(|(kind, _)| *kind == FindingKind::SignalLead), "{:?}", sound.findings);
    for (source_ohm, channel) in [([2500.0, 1225.0], Channel::Rising), ([1600.0, 2125.0], Channel::Falling)] {
        let report = run(&part, Some(&Circuit { source_ohm, ..track }));
        assert!(kinds(&report).contains(&(FindingKind::SignalLead, Some(channel))), "{:?}", report.findings);
    }
}

#[test]
fn a_wrong_offset_or_gain_names_the_line_and_a_bow_free_pair() {
    for (seed, line) in [(3, 0), (4, 1)] {
        let mut part = Synthetic::hall(seed);
        part.offset[line] += 0.04;
        let report = run(&part, Some(&GOOD));
        let best = report.findings.iter().max_by(|a, b| a.confidence.total_cmp(&b.confidence)).unwrap();
        assert_eq!(
            (best.kind, best.channel),
            (FindingKind::GainOffset, Some(Channel::SENSORS[line])),
            "{best:?}"
        );
        let mut part = Synthetic::pot(seed);
        part.gain[line] *= 1.08;
        let report = run(&part, Some(&GOOD));
        assert!(
            kinds(&report).contains(&(FindingKind::GainOffset, Some(Channel::SENSORS[line]))),
            "{:?}",
            report.findings
        );
    }
}

#[test]
fn a_line_drawn_to_ground_in_proportion_is_a_leak_with_its_rival_named() {
    // Reading × (1 − x) is gain about zero: offset of −x/2 and gain 1 − x about the middle.
    let mut part = Synthetic::hall(5);
    let x = 0.05;
    part.gain[0] *= 1.0 - x;
    part.offset[0] -= 0.5 * x;
    // 50 ohm behind 1 kohm: the supply gives what the leak draws.
    let report = run(&part, Some(&Circuit { leak_ohm: 1000.0, ..GOOD }));
    let leak = report.findings.iter().find(|f| f.kind == FindingKind::Leakage).unwrap();
    assert_eq!(leak.channel, Some(Channel::Rising));
    let ohm = leak.details.iter().find(|d| d.name == "leak").unwrap().value;
    // 50 Ω behind a leak that takes 5 %.
    assert!((500.0..2000.0).contains(&ohm), "{ohm}");
    let sum: f64 = report.findings.iter().map(|f| f.confidence).sum();
    assert!(sum <= 1.0, "{:?}", report.findings);
    // The same curves without that current are a wrong gain.
    let report = run(&part, Some(&GOOD));
    assert!(report.findings.iter().all(|f| f.kind != FindingKind::Leakage), "{:?}", report.findings);
}

#[test]
fn a_bad_ground_without_a_leads_check_is_still_suspected_from_both_lines() {
    let part = Synthetic::pot(6);
    let mut trace = part.trace();
    for column in trace.columns.iter_mut().filter(|c| Channel::SENSORS.contains(&c.channel)) {
        column.values.iter_mut().for_each(|v| *v = 0.2 + 0.96 * *v);
    }
    let report = run_on(&trace, &part, None);
    assert_eq!(report.findings[0].kind, FindingKind::GroundLead, "{:?}", report.findings);
    assert!(report.not_testable.iter().any(|n| n.why.contains("leads check")));
}

#[test]
fn a_shared_bend_is_told_from_one_of_a_single_line() {
    let mut part = Synthetic::hall(7);
    part.common_bend_deg = 4.0;
    let report = run(&part, None);
    assert!(kinds(&report).contains(&(FindingKind::CommonNonlinearity, None)), "{:?}", report.findings);
    let mut part = Synthetic::hall(7);
    part.bend[0] = 0.03;
    let report = run(&part, None);
    assert!(!kinds(&report).iter().any(|k| k.0 == FindingKind::CommonNonlinearity), "{:?}", report.findings);
}

#[test]
fn dead_exchanged_and_still_parts_are_told_first_and_alone() {
    let part = Synthetic::hall(8);
    let healthy = part.trace();
    let with = |f: &dyn Fn(&mut Trace)| {
        let mut trace = healthy.clone();
        f(&mut trace);
        run_on(&trace, &part, None)
    };
    let dead = with(&|t| t.columns[1].values.fill(0.02));
    assert_eq!(kinds(&dead), [(FindingKind::DeadChannel, Some(Channel::Falling))]);
    let stuck = with(&|t| t.columns[0].values.fill(2.2));
    assert_eq!(kinds(&stuck), [(FindingKind::DeadChannel, Some(Channel::Rising))]);
    let exchanged = with(&|t| {
        let first = t.columns[0].values.clone();
        t.columns[0].values = std::mem::replace(&mut t.columns[1].values, first);
    });
    assert_eq!(kinds(&exchanged), [(FindingKind::SwappedChannels, None)]);
    let still = with(&|t| t.columns.iter_mut().for_each(|c| c.values = vec![c.values[0]; c.values.len()]));
    assert_eq!(kinds(&still), [(FindingKind::NotMoving, None)]);
    let slipping =
        with(&|t| t.columns[..2].iter_mut().for_each(|c| c.values = vec![c.values[0]; c.values.len()]));
    assert_eq!(kinds(&slipping), [(FindingKind::NotMoving, None)]);
}

#[test]
fn without_a_reference_a_pair_is_still_compared_and_no_line_is_blamed() {
    let mut part = Synthetic { without: vec![Channel::Reference], ..Synthetic::hall(9) };
    assert!(run(&part, None).findings.is_empty());
    part.offset[1] += 0.05;
    let report = run(&part, None);
    assert_eq!(kinds(&report), [(FindingKind::GainOffset, None)], "{:?}", report.findings);
    assert!(report.findings[0].confidence <= 0.6);
}

#[test]
fn degenerate_traces_are_survived() {
    let part = Synthetic::hall(1);
    let full = part.trace();
    for n in [0, 1, 2, 30] {
        let mut trace = full.clone();
        trace.time_us.truncate(n);
        trace.columns.iter_mut().for_each(|c| c.values.truncate(n));
        run_on(&trace, &part, None);
    }
    let mut holes = full.clone();
    holes.columns.iter_mut().for_each(|c| c.values.iter_mut().step_by(3).for_each(|v| *v = f32::NAN));
    run_on(&holes, &part, None);
    let single = Synthetic { without: vec![Channel::Falling], ..part };
    let report = run(&single, None);
    assert!(report.findings.is_empty(), "{:?}", report.findings);
    assert!(report.not_testable.iter().any(|n| n.why.contains("both lines")));
}
