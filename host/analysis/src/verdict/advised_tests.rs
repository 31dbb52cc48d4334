//! What would settle an undecided part, on invented analyses.

use super::tests::{finding, healthy, of, set, sheet, trace};
use super::*;
use crate::analysis::budget::{Budget, Source};
use crate::quantity::FindingKind;
use crate::trace::{Gap, GapCause, TraceEnd};
use crate::verdict::sure_in_each;

/// A healthy grip of which one figure is undecided, its scatter known, judged so sure.
fn with_scatter(name: FigureName, (value, u): (f64, f64), scatter: f64, sure: f64) -> Judgement {
    let mut analysis = healthy();
    set(&mut analysis, name, value, u);
    let rest = (u * u - scatter * scatter).max(0.0).sqrt();
    let budget = Budget::of(Source::Scatter, scatter).with(Source::Angle, rest);
    analysis.figures.iter_mut().filter(|f| f.name == name).for_each(|f| f.budget = budget.clone());
    judge_by(&analysis, &sheet(), Judging { sure, ..Judging::default() })
}

#[test]
fn what_dominates_the_uncertainty_chooses_what_would_settle_it() {
    let terminal = FigureName::LinearityTerminal;
    let judged = |value, u, scatter| with_scatter(terminal, (value, u), scatter, CONFORMANCE_PROBABILITY);
    // The limit is 3 %. All scatter: a sweep of so many cycles, with its chance.
    let judgement = judged(2.955, 0.03, 0.03);
    let words = of(&judgement, terminal).would_decide.clone().unwrap();
    let (sweep, what) = judgement.sweep_that_settles().expect("a sweep");
    assert!(sweep.cycles > 14 && sweep.chance.is_some_and(|c| c >= 0.9), "{sweep:?}");
    for expected in [
        "100 % of its variance is scatter between cycles",
        &format!("one more sweep of {} cycles in place of 5", sweep.cycles),
        "with a chance of 90 %",
    ] {
        assert!(words.contains(expected), "{expected:?} is not in {words:?}");
    }
    assert_eq!(what, ["linearity, terminal, rising line"]);
    // Hardly any: no number of cycles, but a calibration, to √((0.045/0.0822)² − 0.002²) of it.
    let judgement = judged(2.955, 0.05, 0.002);
    let words = of(&judgement, terminal).would_decide.clone().unwrap();
    assert_eq!(judgement.sweep_that_settles(), None);
    for expected in
        ["more cycles never settle it", "100 % of its variance", "uncertainty of 0.027 % of span or better"]
    {
        assert!(words.contains(expected), "{expected:?} is not in {words:?}");
    }
    // At the limit itself, and not all of it scatter: neither.
    let judgement = judged(3.0, 0.05, 0.035);
    assert!(of(&judgement, terminal).would_decide.as_ref().unwrap().contains("neither up to 200 cycles"));
    assert_eq!(judgement.sweep_that_settles(), None);
}

#[test]
fn a_figure_that_does_not_average_is_never_swept_again() {
    let judgement = with_scatter(FigureName::Repeatability, (0.48, 0.05), 0.05, CONFORMANCE_PROBABILITY);
    assert_eq!(judgement.overall, Verdict::Undecided);
    assert_eq!(judgement.sweep_that_settles(), None);
    let words = of(&judgement, FigureName::Repeatability).would_decide.clone().unwrap();
    assert!(words.contains("more cycles do not narrow"), "{words}");
}

#[test]
fn a_short_clean_test_a_gap_and_an_unsure_flat_spot_ask_for_a_sweep_and_a_decided_part_for_none() {
    let cycles =
        |analysis: &PartAnalysis| judge(analysis, &sheet()).sweep_that_settles().map(|(s, _)| s.cycles);
    let mut short = healthy();
    short.figures.iter_mut().find(|f| f.name == FigureName::DropoutRate).unwrap().upper_bound = Some(40.0);
    // 20 a minute are to be excluded and 40 are: twice the time of 5 cycles, the last of which counts twice.
    assert_eq!(cycles(&short), Some(12));
    let mut gap = healthy();
    gap.gap_regions = vec![(30.0, 31.0)];
    assert_eq!(cycles(&gap), Some(5));
    let mut unsure = healthy();
    unsure.findings = vec![finding(FindingKind::FlatSpot, 0.7)];
    assert_eq!(cycles(&unsure), Some(20));
    assert_eq!(cycles(&healthy()), None);
    set(&mut unsure, FigureName::Hysteresis, 0.9, 0.01);
    assert_eq!(cycles(&unsure), None, "it is outside: nothing is to be settled");
}

#[test]
fn where_a_part_is_looked_at_twice_both_answers_need_more() {
    // 1.8 standard uncertainties from the limit: more than 1.645, less than 1.96.
    let of = |value| with_scatter(FigureName::LinearityTerminal, (value, 0.05), 0.0, sure_in_each(2)).overall;
    assert_eq!((of(2.91), of(3.09)), (Verdict::Undecided, Verdict::Undecided));
    let once =
        |value| with_scatter(FigureName::LinearityTerminal, (value, 0.05), 0.0, sure_in_each(1)).overall;
    assert_eq!((once(2.91), once(3.09)), (Verdict::Within, Verdict::Outside));
}

#[test]
fn a_sweep_that_was_done_again_whole_is_not_to_be_repeated() {
    let gap = Gap { index: 1, from_us: 0, to_us: 1, scans: 3, cause: GapCause::Line };
    let sweep = |end, gaps: &[Gap]| trace(ProcedureKind::Sweep, end, gaps.to_vec());
    let lost = sweep(TraceEnd::Complete, std::slice::from_ref(&gap));
    let (whole, cut) = (sweep(TraceEnd::Complete, &[]), sweep(TraceEnd::Aborted, &[]));
    let heeded = |traces: &[&Trace]| judge(&healthy(), &sheet()).heed(traces).overall;
    assert_eq!(heeded(&[&lost]), Verdict::Undecided);
    assert_eq!(heeded(&[&lost, &whole]), Verdict::Within);
    assert_eq!(heeded(&[&whole, &cut]), Verdict::Undecided);
    assert_eq!(heeded(&[&whole, &lost]), Verdict::Undecided);
}
