//! The rules by which a throttle body is judged, on invented analyses.

use super::*;
use crate::analysis::budget::{Budget, Source};
use crate::analysis::{Finding, NotTestable};
use crate::quantity::{Bridge, Channel, Condition, FindingKind, Heading, PartKind, Region};
use crate::sheet::shipped;

fn sheet() -> PartSheet {
    shipped("body").unwrap()
}

/// The conditions under which an analysis gives a figure.
fn conditions(name: FigureName) -> Vec<Condition> {
    let motion = Region::ALL.into_iter().flat_map(|region| {
        Heading::ALL.map(|direction| Condition {
            region: Some(region),
            direction: Some(direction),
            ..Condition::NONE
        })
    });
    match name {
        FigureName::LatencyP50 | FigureName::LatencyP90 | FigureName::LatencyMax => motion.collect(),
        FigureName::ReturnTime => [80.0, 20.0]
            .into_iter()
            .flat_map(|from| {
                Bridge::ALL.map(|bridge| Condition {
                    from_deg: Some(from),
                    bridge: Some(bridge),
                    ..Condition::NONE
                })
            })
            .collect(),
        _ => vec![Condition::NONE],
    }
}

/// An analysis with every limited figure well inside its limit.
fn healthy() -> PartAnalysis {
    let sheet = sheet();
    let mut analysis = PartAnalysis {
        kind: PartKind::Body,
        travel_deg: Some((0.0, 84.0)),
        cycles: 3,
        ..PartAnalysis::default()
    };
    for name in FigureName::ALL {
        let lines = if name.per_channel() { &Channel::SENSORS.map(Some)[..] } else { &[None][..] };
        for (channel, condition) in
            lines.iter().flat_map(|c| conditions(name).into_iter().map(move |k| (*c, k)))
        {
            let Some(limit) = sheet.limit_for(name, channel, &condition) else { continue };
            let value = match (limit.min, limit.max) {
                (Some(min), Some(max)) => (min + max) / 2.0,
                (None, Some(max)) => max / 4.0,
                (Some(min), None) => min * 1.5,
                (None, None) => unreachable!("a limit has a number"),
            };
            analysis.figures.push(Figure {
                name,
                channel,
                value,
                budget: Budget::of(Source::Combined, value.abs() * 1e-3),
                upper_bound: is_rate(name).then_some(15.0),
                added: 0.0,
                at_deg: None,
                condition,
                definition: "invented".to_owned(),
            });
        }
    }
    analysis
}

fn low_opening() -> Condition {
    Condition { region: Some(Region::Low), direction: Some(Heading::Opening), ..Condition::NONE }
}

#[track_caller]
fn set(analysis: &mut PartAnalysis, name: FigureName, condition: Condition, value: f64, u: f64) {
    let found = analysis.figures.iter_mut().find(|f| f.name == name && f.condition == condition);
    let found = found.expect("the figure is there");
    (found.value, found.budget) = (value, Budget::of(Source::Combined, u));
}

fn finding(kind: FindingKind, confidence: f64) -> Finding {
    Finding {
        kind,
        channel: None,
        from_deg: None,
        to_deg: None,
        confidence,
        text: "invented".to_owned(),
        details: vec![],
    }
}

#[test]
fn a_healthy_body_is_within() {
    let judgement = judge(&healthy(), &sheet());
    assert_eq!(judgement.overall, Verdict::Within, "{:?}", judgement.reasons);
    assert!(judgement.figures.iter().all(|f| f.verdict == Some(Verdict::Within)));
}

#[test]
fn one_range_and_direction_outside_makes_the_body_outside_and_is_named() {
    let mut analysis = healthy();
    set(&mut analysis, FigureName::LatencyP90, low_opening(), 4100.0, 100.0);
    let judgement = judge(&analysis, &sheet());
    assert_eq!(judgement.overall, Verdict::Outside);
    let reason = &judgement.reasons[0];
    assert!(reason.contains("latency, 90th percentile (low range, opening): 4100 ± 200 µs"), "{reason}");
    assert_eq!(judgement.reasons.len(), 1, "{:?}", judgement.reasons);
}

#[test]
fn a_return_is_judged_by_the_limit_of_its_bridge() {
    let mut analysis = healthy();
    let from_80 = |bridge| Condition { from_deg: Some(80.0), bridge: Some(bridge), ..Condition::NONE };
    set(&mut analysis, FigureName::ReturnTime, from_80(Bridge::Brake), 1200.0, 5.0);
    assert_eq!(judge(&analysis, &sheet()).overall, Verdict::Within);
    set(&mut analysis, FigureName::ReturnTime, from_80(Bridge::Open), 1200.0, 5.0);
    let judgement = judge(&analysis, &sheet());
    assert!(
        judgement.reasons[0].contains("return time (from 80 deg, bridge open)"),
        "{:?}",
        judgement.reasons
    );
}

#[test]
fn a_limit_that_no_figure_meets_leaves_the_body_undecided_and_says_why() {
    let mut analysis = healthy();
    analysis.figures.retain(|f| {
        !(f.name == FigureName::ReturnTime && f.condition.bridge == Some(Bridge::Brake))
            && f.name != FigureName::Lash
    });
    let why = "the plate does not return to rest";
    analysis.not_testable.push(NotTestable { what: "lash".to_owned(), why: why.to_owned() });
    let judgement = judge(&analysis, &sheet());
    assert_eq!(judgement.overall, Verdict::Undecided);
    let untested: Vec<_> = judgement.untested.iter().map(|u| (u.title.as_str(), u.why.as_str())).collect();
    assert_eq!(untested, [("return time (motor braked)", "it was not measured"), ("lash at rest", why)]);
}

#[test]
fn a_quantile_that_one_range_has_too_few_steps_for_leaves_the_body_undecided() {
    let mut analysis = healthy();
    let high = |f: &Figure| f.name == FigureName::LatencyP90 && f.condition.region == Some(Region::High);
    analysis.figures.retain(|f| !high(f));
    let what = "latency_p90, high range, opening".to_owned();
    analysis.not_testable.push(NotTestable { what, why: "needs 29 steps; 20 were made".to_owned() });
    let judgement = judge(&analysis, &sheet());
    assert_eq!(judgement.overall, Verdict::Undecided);
    assert_eq!(
        judgement.reasons,
        ["not tested: latency, 90th percentile, high range, opening: needs 29 steps; 20 were made"]
    );
}

#[test]
fn a_quantile_of_all_steps_needs_none_of_a_single_range() {
    let mut analysis = healthy();
    let what = "latency_p99, low range, opening".to_owned();
    analysis.not_testable.push(NotTestable { what, why: "needs 299 steps; 60 were made".to_owned() });
    let judgement = judge(&analysis, &sheet());
    assert_eq!(judgement.overall, Verdict::Within, "{:?}", judgement.reasons);
    analysis.figures.retain(|f| f.name != FigureName::LatencyP99);
    let judgement = judge(&analysis, &sheet());
    assert_eq!(judgement.reasons, ["not tested: latency, 99th percentile: needs 299 steps; 60 were made"]);
}

#[test]
fn what_was_not_testable_keeps_a_body_from_being_within_and_never_condemns_it() {
    let mut analysis = healthy();
    analysis.findings.push(finding(FindingKind::NotTestable, 1.0));
    assert_eq!(judge(&analysis, &sheet()).overall, Verdict::Undecided);
    analysis.findings.push(finding(FindingKind::SlowReturn, 0.99));
    assert_eq!(judge(&analysis, &sheet()).overall, Verdict::Outside);
}

#[test]
fn a_map_that_could_not_look_for_worn_teeth_leaves_the_body_undecided() {
    let mut analysis = healthy();
    analysis.not_testable.push(NotTestable { what: "worn_tooth".to_owned(), why: "no map".to_owned() });
    assert_eq!(judge(&analysis, &sheet()).overall, Verdict::Undecided);
}

#[test]
fn what_the_feedback_pair_can_t_tell_is_not_taken_for_lost_contact_that_was_not_looked_for() {
    let mut analysis = healthy();
    let what = "feedback: linearity, hysteresis".to_owned();
    analysis.not_testable.push(NotTestable { what, why: "the plate bears no other sensor".to_owned() });
    assert_eq!(judge(&analysis, &sheet()).overall, Verdict::Within);
}

#[test]
fn one_procedure_judges_what_it_tells_and_says_what_it_leaves_open() {
    let scope = Scope::Procedure(ProcedureKind::Release);
    let of = |analysis: &PartAnalysis| judge_scope(analysis, &sheet(), scope, &[]);
    let mut analysis = healthy();
    set(&mut analysis, FigureName::Lash, Condition::NONE, 2.0, 0.01);
    analysis.findings.push(finding(FindingKind::WornTooth, 1.0));
    let judgement = of(&analysis);
    assert_eq!(judgement.overall, Verdict::Within, "{:?}", judgement.reasons);
    assert!(judgement.figures.iter().all(|f| f.figure.name == FigureName::ReturnTime));
    assert!(judgement.reasons[0].starts_with("within: 4 figures of the release keep their limits"));
    assert!(judgement.reasons[1].contains("only this procedure was done"));
    analysis.findings.push(finding(FindingKind::SlowReturn, 1.0));
    assert_eq!(of(&analysis).overall, Verdict::Outside);
}

#[test]
fn one_procedure_misses_only_what_its_analysis_could_not_have() {
    let scope = Scope::Procedure(ProcedureKind::ToothMap);
    let mut analysis = healthy();
    analysis.figures.retain(|f| f.name == FigureName::LostMotion);
    assert_eq!(judge_scope(&analysis, &sheet(), scope, &[]).overall, Verdict::Within);
    analysis.figures.clear();
    let nothing = judge_scope(&analysis, &sheet(), scope, &[]);
    assert_eq!(nothing.overall, Verdict::Undecided);
    assert!(nothing.reasons[0].contains("not one figure could be judged"), "{:?}", nothing.reasons);
    let why = "the plate does not return to rest";
    analysis.not_testable.push(NotTestable { what: "lost_motion".to_owned(), why: why.to_owned() });
    assert!(judge_scope(&analysis, &sheet(), scope, &[]).untested.iter().any(|u| u.why == why));
}

#[test]
fn every_figure_and_deciding_finding_of_a_body_belongs_to_one_procedure_at_least() {
    use ProcedureKind as P;
    let procedures = [P::Rest, P::Step, P::Release, P::Creep, P::Lash, P::ToothMap, P::Blip, P::GuidedPush];
    for limit in sheet().limits {
        assert!(procedures.iter().any(|p| Scope::Procedure(*p).judges(limit.figure)), "{:?}", limit.figure);
    }
    for kind in FindingKind::ALL.into_iter().filter(|k| *k >= FindingKind::WornTooth) {
        assert!(procedures.iter().any(|p| Scope::Procedure(*p).looks_for(kind)), "{kind:?}");
    }
}

#[test]
fn a_grip_judged_by_the_sheet_of_a_body_is_undecided_and_the_right_sheets_are_named() {
    let mut analysis = healthy();
    analysis.kind = PartKind::Grip;
    set(&mut analysis, FigureName::LimpTrips, Condition::NONE, 5.0, 0.0);
    let judgement = judge(&analysis, &sheet());
    assert_eq!(judgement.overall, Verdict::Undecided);
    assert!(judgement.reasons[0].contains("body is for a body, but a grip was recorded"));
    assert!(judgement.reasons[0].contains("--sheet grip-complementary or --sheet grip-half-slope"));
}

#[test]
fn a_figure_in_the_guard_band_asks_for_more_of_what_its_procedure_repeats() {
    let mut analysis = healthy();
    // 0.47 is 0.01 from the limit of 0.48; the guard band 1.645 × 0.02 = 0.033 must shrink by 3.3, which takes 11 times as many.
    set(&mut analysis, FigureName::Lash, Condition::NONE, 0.47, 0.02);
    let judgement = judge(&analysis, &sheet());
    let lash = judgement.figures.iter().find(|f| f.figure.name == FigureName::Lash).unwrap();
    let words = lash.would_decide.as_ref().unwrap();
    assert!(words.contains("about 11 times as many coasts"), "{words}");
    set(&mut analysis, FigureName::Lash, Condition::NONE, 0.3, f64::INFINITY);
    let judgement = judge(&analysis, &sheet());
    assert!(judgement.reasons[0].contains("repeat the lash with more coasts"), "{:?}", judgement.reasons);
}
