//! Each rule on invented evidence.

use super::*;
use crate::analysis::contact::Follows;
use crate::diagnosis::{
    CheckKind, ContactEvidence, FigureEvidence, FindingEvidence, Look, Run, Seen, Symptom, VehicleEvidence,
};
use crate::quantity::{Cause, Channel, FigureName, FindingKind, PartKind};
use crate::verdict::Verdict;
use std::collections::BTreeMap;

fn finding(kind: FindingKind, confidence: f64, details: &[(&str, f64)]) -> FindingEvidence {
    FindingEvidence {
        kind,
        channel: None,
        from_deg: None,
        to_deg: None,
        confidence,
        details: details.iter().map(|(n, v)| ((*n).to_owned(), *v)).collect::<BTreeMap<_, _>>(),
    }
}

fn grip(findings: Vec<FindingEvidence>) -> Evidence {
    Evidence { findings, ..Evidence::default() }
}

/// A grip that was on the bench, with nothing found in it.
fn sound_grip() -> Evidence {
    let noise = FigureEvidence {
        name: FigureName::Noise,
        channel: Some(Channel::Rising),
        value: 1.1,
        standard_uncertainty: 0.01,
        verdict: Some(Verdict::Within),
    };
    Evidence { figures: vec![noise], ..Evidence::default() }
}

fn body(findings: Vec<FindingEvidence>) -> Evidence {
    Evidence { kind: PartKind::Body, findings, ..Evidence::default() }
}

/// First suspect of each problem with its ties.
fn first(evidence: &Evidence) -> Vec<Vec<Cause>> {
    let ranked = rank(evidence);
    let problems = ranked.iter().map(|s| s.problem).max().unwrap_or(0);
    (1..=problems)
        .map(|p| {
            let lead = ranked.iter().find(|s| s.problem == p).unwrap();
            std::iter::once(lead.cause).chain(lead.tied_with.iter().copied()).collect()
        })
        .collect()
}

fn check(check: CheckKind, verdict: Verdict) -> VehicleEvidence {
    let text = "an invented reading".to_owned();
    VehicleEvidence { run: Run::GripToController, check, place: "ground".to_owned(), verdict, text }
}

#[test]
fn nothing_found_and_nothing_complained_of_suspects_nothing() {
    assert_eq!(rank(&grip(vec![])), vec![]);
    assert_eq!(rank(&body(vec![finding(FindingKind::NotTestable, 1.0, &[])])), vec![]);
}

#[test]
fn a_complaint_without_a_finding_leaves_wiring_and_terminals_and_the_controller_behind_them() {
    let mut evidence = sound_grip();
    evidence.complaint.symptoms = vec![Symptom::NoResponse];
    let ranked = rank(&evidence);
    assert_eq!(ranked[0].cause, Cause::WiringRun);
    assert_eq!(ranked[0].tied_with, [Cause::Terminal]);
    assert!(ranked.iter().any(|s| s.cause == Cause::Controller));
    // No suspect of the part stands before those off it.
    assert!(!ranked[0].cause.is_of_the_part() && !ranked[1].cause.is_of_the_part());
}

#[test]
fn before_the_bench_the_parts_own_contacts_are_as_likely_as_the_wiring_and_nothing_is_said_of_a_test() {
    let mut evidence = grip(vec![]);
    evidence.complaint.symptoms = vec![Symptom::NoResponse];
    let leading: Vec<Cause> = first(&evidence).concat();
    for cause in [Cause::WiringRun, Cause::Terminal, Cause::SignalContact, Cause::SupplyContact] {
        assert!(leading.contains(&cause), "{cause:?} not in {leading:?}");
    }
    let ranked = rank(&evidence);
    assert!(ranked.iter().all(|s| s.probability < 0.25), "{ranked:?}");
    assert!(ranked.iter().all(|s| s.evidence.iter().any(|e| e.contains("no bench has tested the part yet"))));
}

#[test]
fn wiring_that_was_cleared_at_the_vehicle_goes_behind_the_terminals() {
    let mut evidence = sound_grip();
    evidence.complaint.symptoms = vec![Symptom::LimpHome];
    evidence.vehicle =
        vec![check(CheckKind::Continuity, Verdict::Within), check(CheckKind::WiggleAtNeck, Verdict::Within)];
    let ranked = rank(&evidence);
    assert_eq!((ranked[0].cause, ranked[0].tied_with.len()), (Cause::Terminal, 0));
    let wiring = ranked.iter().find(|s| s.cause == Cause::WiringRun).unwrap();
    assert_eq!(wiring.against.len(), 2, "{:?}", wiring.against);
}

#[test]
fn a_fault_that_replugging_cleared_speaks_for_the_terminals() {
    let mut evidence = grip(vec![]);
    evidence.complaint.symptoms = vec![Symptom::ClearedByReplugging];
    assert_eq!(first(&evidence), [vec![Cause::Terminal]]);
    evidence.complaint.seen =
        vec![Seen { look: Look::Corrosion, good: Some(false), note: "green".to_owned() }];
    let told = rank(&evidence)[0].evidence.join("; ");
    assert!(told.contains("corrosion") && told.contains("put back"), "{told}");
}

#[test]
fn a_failed_check_at_the_vehicle_is_a_problem_of_its_own_beside_the_parts() {
    let mut evidence = grip(vec![finding(FindingKind::SignalLead, 0.98, &[])]);
    evidence.vehicle = vec![check(CheckKind::Continuity, Verdict::Outside)];
    assert_eq!(first(&evidence), [vec![Cause::SignalLead], vec![Cause::WiringRun, Cause::Terminal]]);
    let second = rank(&evidence).into_iter().find(|s| s.problem == 2).unwrap();
    assert!(second.evidence.iter().any(|e| e.starts_with("another problem")), "{:?}", second.evidence);
}

#[test]
fn two_sure_findings_that_no_single_cause_explains_are_two_suspects() {
    let evidence = body(vec![
        finding(FindingKind::BrushDeadSpot, 0.99, &[]),
        finding(FindingKind::StickyPlate, 0.98, &[("sticking_newton_metres", 0.1)]),
    ]);
    assert_eq!(first(&evidence), [vec![Cause::BrushDeadSpot], vec![Cause::StickyPlate]]);
}

#[test]
fn one_cause_that_explains_two_findings_stands_alone() {
    let evidence = body(vec![
        finding(FindingKind::BrokenSpring, 0.98, &[("preload", 0.05)]),
        finding(FindingKind::SlowReturn, 0.99, &[]),
        finding(FindingKind::Lash, 0.9, &[]),
    ]);
    assert_eq!(first(&evidence), [vec![Cause::BrokenMainSpring]]);
}

#[test]
fn what_the_bench_sees_as_a_sum_is_a_tie() {
    let friction = body(vec![finding(FindingKind::DryBearing, 0.99, &[("friction_newton_metres", 0.4)])]);
    assert_eq!(first(&friction), [vec![Cause::DryBearing, Cause::MotorDrag]]);
    let lash = body(vec![finding(FindingKind::Lash, 0.99, &[("lash_deg", 0.9)])]);
    assert_eq!(first(&lash), [vec![Cause::GrownLash, Cause::RestTooth]]);
    let bend = grip(vec![finding(FindingKind::CommonNonlinearity, 0.9, &[])]);
    assert_eq!(first(&bend), [vec![Cause::OffCentre, Cause::RigCoupling]]);
    assert!(rank(&bend)[0].next_check.contains("Remount"));
}

#[test]
fn a_guided_push_tells_the_rest_tooth_from_the_whole_train() {
    let evidence = body(vec![
        finding(FindingKind::WornTooth, 0.97, &[("more_lash_deg", 0.5)]),
        finding(FindingKind::Lash, 0.99, &[("lash_deg", 0.9)]),
    ]);
    assert_eq!(first(&evidence), [vec![Cause::RestTooth]]);
}

#[test]
fn a_contact_that_keeps_to_a_place_is_the_track_and_one_that_does_not_the_wire() {
    let at = |details: &[(&str, f64)]| {
        let one = FindingEvidence {
            channel: Some(Channel::Rising),
            ..finding(FindingKind::Dropout, 0.99, details)
        };
        first(&grip(vec![one]))
    };
    assert_eq!(at(&[("events", 8.0), ("same_place_deg", 31.0)]), [vec![Cause::LiftingWiper]]);
    assert_eq!(at(&[("events", 8.0)]), [vec![Cause::SignalContact]]);
    assert_eq!(at(&[("events", 1.0)]), [vec![Cause::SignalContact, Cause::LiftingWiper]]);
}

#[test]
fn a_complaint_decides_a_tie_that_the_bench_leaves() {
    let one = FindingEvidence {
        channel: Some(Channel::Rising),
        ..finding(FindingKind::Dropout, 0.99, &[("events", 1.0)])
    };
    let mut evidence = grip(vec![one]);
    evidence.complaint.symptoms = vec![Symptom::AtOneOpening];
    assert_eq!(first(&evidence), [vec![Cause::LiftingWiper]]);
    evidence.complaint.symptoms = vec![Symptom::WhenSteering];
    assert_eq!(first(&evidence), [vec![Cause::SignalContact]]);
}

#[test]
fn a_contact_lost_on_impacts_alone_is_inside_the_cover() {
    let line = |events: f64, struck: f64| FindingEvidence {
        channel: Some(Channel::Falling),
        ..finding(
            FindingKind::FeedbackIntermittent,
            0.99,
            &[("events", events), ("struck", struck), ("rate_per_minute", 4.0 * events)],
        )
    };
    assert_eq!(first(&body(vec![line(12.0, 1.0)])), [vec![Cause::ImpactContact]]);
    assert_eq!(first(&body(vec![line(9.0, 0.0), line(12.0, 1.0)])), [vec![Cause::SignalContact]]);
}

#[test]
fn rival_explanations_of_one_deviation_keep_the_odds_that_the_analysis_gave_them() {
    let rival = |kind, sure| finding(kind, sure, &[("deviation_score", 60.0)]);
    let near = grip(vec![rival(FindingKind::Leakage, 0.5), rival(FindingKind::GainOffset, 0.4)]);
    assert_eq!(first(&near), [vec![Cause::Leakage, Cause::GainOffset]]);
    let far = grip(vec![rival(FindingKind::Leakage, 0.85), rival(FindingKind::GainOffset, 0.1)]);
    assert_eq!(first(&far), [vec![Cause::Leakage]]);
}

#[test]
fn a_trouble_code_that_was_read_moves_the_rank_and_fitting_codes_are_named() {
    let mut evidence = grip(vec![]);
    evidence.complaint.codes = vec!["p2107".to_owned()];
    let ranked = rank(&evidence);
    let controller = ranked.iter().find(|s| s.cause == Cause::Controller).unwrap();
    assert!(controller.evidence.iter().any(|e| e.contains("P2107")), "{:?}", controller.evidence);
    let leak = FindingEvidence { channel: Some(Channel::Falling), ..finding(FindingKind::Leakage, 0.9, &[]) };
    let codes: Vec<&str> = rank(&grip(vec![leak]))[0].codes.iter().map(|c| c.code).collect();
    assert_eq!(codes, ["P2126", "P2138"]);
}

#[test]
fn a_spring_a_winding_and_a_tooth_are_named_by_their_numbers() {
    let default = finding(FindingKind::WeakSpring, 0.9, &[("default_spring", 1.0)]);
    assert_eq!(first(&body(vec![default])), [vec![Cause::WeakDefaultSpring]]);
    let high = finding(FindingKind::Winding, 0.9, &[("value_ohms", 2.0), ("nominal_ohms", 1.15)]);
    let three = vec![Cause::WindingResistance, Cause::WornBrushes, Cause::MotorTerminal];
    assert_eq!(first(&body(vec![high])), [three]);
    let low = finding(FindingKind::Winding, 0.9, &[("value_ohms", 0.8), ("nominal_ohms", 1.15)]);
    assert_eq!(first(&body(vec![low])), [vec![Cause::ShortedTurns]]);
    let gone = |deg: f64| first(&body(vec![finding(FindingKind::MissingTooth, 0.99, &[("depth_deg", deg)])]));
    assert_eq!(gone(1.8), [vec![Cause::MissingTooth]]);
    assert_eq!(gone(0.95), [vec![Cause::MissingTooth, Cause::WornTooth]]);
}

#[test]
fn probabilities_of_a_problem_add_up_to_how_sure_it_is_and_every_weight_is_told() {
    let ranked = rank(&body(vec![finding(FindingKind::DryBearing, 0.8, &[])]));
    let sum: f64 = ranked.iter().map(|s| s.probability).sum();
    assert!((sum - 0.8).abs() < 1e-9, "{sum}");
    // ln(0.8/0.2) + ln 99 = 1.386 + 4.595.
    assert!(ranked[0].evidence[0].starts_with("+6.0: dry bearing"), "{:?}", ranked[0].evidence);
}

#[test]
fn every_code_that_fits_a_cause_is_one_of_the_list() {
    for cause in Cause::ALL {
        // Every code that fits is one of the list; none is made up.
        for kind in [PartKind::Grip, PartKind::Body] {
            codes_for(cause, kind, None).iter().for_each(|c| assert!(CODES.contains(c)));
        }
    }
}

#[test]
fn what_lost_contact_follows_decides_between_wire_and_wiper_and_leads_to_the_check_beyond() {
    let told = |follows, placed| {
        let contact = ContactEvidence { follows, placed, warm: false, text: "it follows".to_owned() };
        let one = FindingEvidence {
            channel: Some(Channel::Rising),
            ..finding(FindingKind::Dropout, 0.97, &[("events", 1.0)])
        };
        Evidence { contact: Some(contact), ..grip(vec![one]) }
    };
    assert_eq!(first(&told(Follows::NotTold, false)), [vec![Cause::SignalContact, Cause::LiftingWiper]]);
    assert_eq!(first(&told(Follows::Wire, true)), [vec![Cause::SignalContact]]);
    assert_eq!(first(&told(Follows::Track, false)), [vec![Cause::LiftingWiper]]);
    let placed = &rank(&told(Follows::Wire, true))[0];
    assert!(
        placed.next_check.contains("Open the sheath")
            && placed.evidence.iter().any(|e| e.contains("it follows"))
    );
    assert!(rank(&told(Follows::Wire, false))[0].next_check.contains("place by place"));
    assert!(rank(&told(Follows::NotTold, false))[0].next_check.contains("Sweep five cycles"));
}
