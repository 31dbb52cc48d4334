//! The rules by which a part is judged, on invented analyses.

use super::*;
use crate::analysis::budget::{Budget, Source};
use crate::analysis::grip::DIRECTION_OF_TRAVEL;
use crate::analysis::{Finding, NotTestable};
use crate::quantity::{Channel, Condition, FindingKind, PartKind};
use crate::sheet::shipped;
use crate::trace::{Gap, GapCause, Provenance, TraceEnd};
use crate::verdict::Untested;
use proptest::prelude::*;

pub(super) fn sheet() -> PartSheet {
    shipped("grip-complementary").unwrap()
}

fn figure(name: FigureName, channel: Option<Channel>, value: f64, u: f64) -> Figure {
    Figure {
        name,
        channel,
        value,
        budget: Budget::of(Source::Scatter, u),
        upper_bound: is_rate(name).then_some(15.0),
        added: 0.0,
        at_deg: None,
        condition: Condition::NONE,
        definition: "invented".to_owned(),
    }
}

/// An analysis with every figure well inside its limit.
pub(super) fn healthy() -> PartAnalysis {
    let sheet = sheet();
    let mut figures = Vec::new();
    for name in FigureName::ALL.into_iter().filter(|f| f.belongs_to(PartKind::Grip)) {
        let channels =
            if name.per_channel() { vec![Some(Channel::Rising), Some(Channel::Falling)] } else { vec![None] };
        for channel in channels {
            let limit = sheet.limit_for(name, channel, &Condition::NONE).unwrap();
            let value = match (limit.min, limit.max) {
                (Some(min), Some(max)) => (min + max) / 2.0,
                (None, Some(max)) => max / 4.0,
                (Some(min), None) => 4.0 * min,
                (None, None) => unreachable!("the sheet has a limit for all of them"),
            };
            figures.push(figure(name, channel, value, 1e-3));
        }
    }
    PartAnalysis { figures, travel_deg: Some((0.0, 75.0)), cycles: 5, ..PartAnalysis::default() }
}

#[track_caller]
pub(super) fn set(analysis: &mut PartAnalysis, name: FigureName, value: f64, u: f64) {
    let found = analysis.figures.iter_mut().find(|f| f.name == name).expect("the figure is there");
    (found.value, found.budget) = (value, Budget::of(Source::Scatter, u));
}

#[track_caller]
pub(super) fn of(judgement: &Judgement, name: FigureName) -> &JudgedFigure {
    judgement.figures.iter().find(|f| f.figure.name == name).expect("the figure is there")
}

pub(super) fn finding(kind: FindingKind, confidence: f64) -> Finding {
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

pub(super) fn trace(procedure: ProcedureKind, end: TraceEnd, gaps: Vec<Gap>) -> Trace {
    let provenance = Provenance {
        simulated: true,
        part: "invented".to_owned(),
        started: "2026-01-01T00:00:00Z".to_owned(),
        recorded_by: "test".to_owned(),
        ..Provenance::bare(procedure, 200)
    };
    Trace { provenance, time_us: vec![], columns: vec![], gaps, marks: vec![], end }
}

#[test]
fn a_healthy_part_is_within_and_says_so() {
    let judgement = judge(&healthy(), &sheet());
    assert_eq!(judgement.overall, Verdict::Within, "{:?}", judgement.reasons);
    assert_eq!(judgement.reasons.len(), 1);
    let all = format!("within: {} figures", healthy().figures.len());
    assert!(judgement.reasons[0].starts_with(&all), "{:?}", judgement.reasons);
}

#[test]
fn one_figure_outside_makes_the_part_outside_even_when_others_are_undecided() {
    let mut analysis = healthy();
    set(&mut analysis, FigureName::LinearityIndependent, 3.0, 0.05);
    set(&mut analysis, FigureName::Hysteresis, 0.49, 0.05);
    let judgement = judge(&analysis, &sheet());
    assert_eq!(judgement.overall, Verdict::Outside);
    assert!(
        judgement.reasons[0].contains(
            "linearity, independent, rising line: 3.00 ± 0.10 % of span, limit: at most 2 % of span"
        )
    );
    assert!(judgement.reasons[1].starts_with("undecided: hysteresis"), "{:?}", judgement.reasons);
}

#[test]
fn a_value_in_the_guard_band_is_undecided_and_says_what_would_decide_it() {
    let mut analysis = healthy();
    set(&mut analysis, FigureName::Hysteresis, 0.47, 0.03);
    let judgement = judge(&analysis, &sheet());
    assert_eq!(judgement.overall, Verdict::Undecided);
    let words = of(&judgement, FigureName::Hysteresis).would_decide.clone().unwrap();
    // 1.645 × 0.03 = 0.0493.
    for expected in ["0.03° from the limit", "guard band is 0.049°", "one more sweep of", "in place of 5"] {
        assert!(words.contains(expected), "{expected:?} is not in {words:?}");
    }
}

/// The recording may have added 2 to it: not higher for that, and not above the limit for sure.
#[test]
fn what_the_recording_may_have_added_condemns_nothing_and_holds_back_nothing_that_is_low_enough() {
    let noise = |value: f64, added: f64| {
        let mut analysis = healthy();
        set(&mut analysis, FigureName::Noise, value, 0.1);
        analysis.figures.iter_mut().filter(|f| f.name == FigureName::Noise).for_each(|f| f.added = added);
        of(&judge(&analysis, &sheet()), FigureName::Noise).verdict
    };
    // The limit is 4 mV.
    assert_eq!(noise(3.5, 2.0), Some(Verdict::Within));
    assert_eq!(noise(5.0, 2.0), Some(Verdict::Undecided));
    assert_eq!(noise(5.0, 0.2), Some(Verdict::Outside));
}

#[test]
fn limits_closer_together_than_the_uncertainty_ask_for_a_smaller_one() {
    let mut analysis = healthy();
    set(&mut analysis, FigureName::ClosedVolts, 0.5, 0.5);
    // All cycles share it: no sweep makes it smaller.
    for figure in analysis.figures.iter_mut().filter(|f| f.name == FigureName::ClosedVolts) {
        figure.budget = Budget::of(Source::Gain, 0.5);
    }
    let judgement = judge(&analysis, &sheet());
    let judged = of(&judgement, FigureName::ClosedVolts);
    assert_eq!(judged.verdict, Some(Verdict::Undecided));
    assert!(judged.would_decide.as_ref().unwrap().contains("0.3 V apart"), "{:?}", judged.would_decide);
}

#[test]
fn one_dropout_is_outside_and_none_needs_a_long_enough_test() {
    let mut analysis = healthy();
    set(&mut analysis, FigureName::DropoutRate, 3.0, 3.0);
    assert_eq!(of(&judge(&analysis, &sheet()), FigureName::DropoutRate).verdict, Some(Verdict::Outside));
    let rate = |upper: Option<f64>| {
        let mut analysis = healthy();
        analysis.figures.iter_mut().find(|f| f.name == FigureName::DropoutRate).unwrap().upper_bound = upper;
        of(&judge(&analysis, &sheet()), FigureName::DropoutRate).clone()
    };
    assert_eq!(rate(Some(20.0)).verdict, Some(Verdict::Within));
    let short = rate(Some(40.0));
    assert_eq!(short.verdict, Some(Verdict::Undecided));
    assert!(
        short.would_decide.as_ref().unwrap().contains("5 s longer (about 5 more cycles)"),
        "{:?}",
        short.would_decide
    );
    assert_eq!(rate(None).verdict, Some(Verdict::Undecided));
    assert_eq!(rate(Some(f64::NAN)).verdict, Some(Verdict::Undecided));
}

#[test]
fn one_limp_trip_is_outside() {
    let mut analysis = healthy();
    set(&mut analysis, FigureName::LimpTrips, 1.0, 1.0);
    assert_eq!(judge(&analysis, &sheet()).overall, Verdict::Outside);
}

#[test]
fn no_figure_is_within_over_missing_scans_but_outside_stays_outside() {
    let mut analysis = healthy();
    set(&mut analysis, FigureName::Noise, 40.0, 0.1);
    analysis.gap_regions = vec![(30.0, 31.0)];
    let judgement = judge(&analysis, &sheet());
    assert_eq!(of(&judgement, FigureName::Noise).verdict, Some(Verdict::Outside));
    let linearity = of(&judgement, FigureName::LinearityIndependent);
    assert_eq!(linearity.verdict, Some(Verdict::Undecided));
    assert!(linearity.would_decide.as_ref().unwrap().contains("30.0 to 31.0°"));
    // The gap is far from both ends, so the voltages there are as good as ever.
    assert_eq!(of(&judgement, FigureName::ClosedVolts).verdict, Some(Verdict::Within));
    analysis.gap_regions = vec![(2.0, 3.0)];
    assert_eq!(of(&judge(&analysis, &sheet()), FigureName::ClosedVolts).verdict, Some(Verdict::Undecided));
    analysis.travel_deg = None;
    analysis.gap_regions = vec![(f64::NAN, f64::NAN)];
    assert_eq!(of(&judge(&analysis, &sheet()), FigureName::OpenVolts).verdict, Some(Verdict::Undecided));
}

#[test]
fn a_limit_without_a_figure_is_undecided_and_names_the_reason() {
    let mut analysis = healthy();
    analysis.figures.retain(|f| f.name != FigureName::Skew && f.channel != Some(Channel::Falling));
    analysis.not_testable.push(NotTestable { what: "skew".to_owned(), why: "one line alone".to_owned() });
    let judgement = judge(&analysis, &sheet());
    assert_eq!(judgement.overall, Verdict::Undecided);
    // The shipped sheet asks for a skew only where a recording carries one.
    assert!(judgement.untested.iter().all(|u| u.what != "skew"));
    let mut strict = sheet();
    strict.limits.iter_mut().for_each(|l| l.required = true);
    let untested = judge(&analysis, &strict).untested;
    assert!(untested.iter().any(|u| (u.what.as_str(), u.why.as_str()) == ("skew", "one line alone")));
    assert!(judgement.untested.iter().any(|u| u.what == "noise falling" && u.why == "it was not measured"));
    set(&mut analysis, FigureName::Noise, 40.0, 0.1);
    assert_eq!(judge(&analysis, &sheet()).overall, Verdict::Outside);
}

#[test]
fn what_no_figure_shows_and_was_not_looked_for_leaves_the_part_undecided_other_causes_do_not() {
    let mut analysis = healthy();
    analysis
        .not_testable
        .push(NotTestable { what: "leakage, swapped_channels".to_owned(), why: "no leads check".to_owned() });
    assert_eq!(judge(&analysis, &sheet()).overall, Verdict::Within);
    analysis
        .not_testable
        .push(NotTestable { what: "flat_spot (rising)".to_owned(), why: "no angle".to_owned() });
    assert_eq!(judge(&analysis, &sheet()).overall, Verdict::Undecided);
}

#[test]
fn a_part_whose_closed_end_is_not_known_is_never_within() {
    let mut analysis = healthy();
    let why = "the lines move against the angle column".to_owned();
    analysis.not_testable.push(NotTestable { what: DIRECTION_OF_TRAVEL.to_owned(), why: why.clone() });
    let judgement = judge(&analysis, &sheet());
    assert_eq!(judgement.overall, Verdict::Undecided);
    let what = DIRECTION_OF_TRAVEL.to_owned();
    assert_eq!(judgement.untested, [Untested { title: what.clone(), what, why }]);
}

#[test]
fn the_reason_for_a_missing_figure_is_found_by_its_line_its_family_or_all_of_its_line() {
    let mut analysis = healthy();
    analysis.figures.clear();
    for (what, why) in [
        ("linearity, hysteresis, dead bands falling", "one"),
        ("all of rising", "two"),
        ("hysteresis rising", "three"),
        ("correlation", "four"),
    ] {
        analysis.not_testable.push(NotTestable { what: what.to_owned(), why: why.to_owned() });
    }
    let judgement = judge(&analysis, &sheet());
    let why = |what: &str| {
        judgement.untested.iter().find(|u| u.what == what).map(|u| u.why.as_str()).unwrap_or_default()
    };
    assert_eq!(why("linearity_terminal falling"), "one");
    assert_eq!(why("dead_band_open falling"), "one");
    assert_eq!(why("noise rising"), "two");
    assert_eq!(why("hysteresis rising"), "three");
    assert_eq!(why("correlation_worst"), "four");
    assert_eq!(why("limp_trips"), "it was not measured");
}

#[test]
fn a_sure_deciding_finding_is_outside_an_unsure_one_undecided_and_an_explaining_one_neither() {
    let overall = |kind, confidence| {
        let mut analysis = healthy();
        analysis.findings.push(finding(kind, confidence));
        judge(&analysis, &sheet()).overall
    };
    assert_eq!(overall(FindingKind::FlatSpot, 0.95), Verdict::Outside);
    assert_eq!(overall(FindingKind::FlatSpot, 0.94), Verdict::Undecided);
    assert_eq!(overall(FindingKind::FlatSpot, f64::NAN), Verdict::Undecided);
    assert_eq!(overall(FindingKind::GainOffset, 1.0), Verdict::Within);
}

#[test]
fn a_weak_guess_at_a_cause_does_not_take_within_from_a_part_whose_figures_all_keep_their_limits() {
    let mut analysis = healthy();
    analysis.findings.push(finding(FindingKind::Leakage, 0.3));
    let judgement = judge(&analysis, &sheet());
    assert_eq!(judgement.overall, Verdict::Within, "{:?}", judgement.reasons);
    // It is still reported, with what it did: nothing.
    assert_eq!(judgement.findings[0].effect, FindingEffect::TooWeak);
    assert!(judgement.reasons.iter().all(|r| !r.contains("leakage")), "{:?}", judgement.reasons);
}

#[test]
fn a_good_part_judged_by_a_sheet_for_another_topology_is_undecided_and_the_sheet_is_named_first() {
    let mut analysis = healthy();
    analysis.topology_found = Some(Topology::ParallelOffset);
    set(&mut analysis, FigureName::ClosedVolts, 2.0, 0.001);
    set(&mut analysis, FigureName::LimpTrips, 9.0, 0.0);
    analysis.findings.push(finding(FindingKind::SwappedChannels, 0.99));
    let judgement = judge(&analysis, &sheet());
    assert_eq!(judgement.overall, Verdict::Undecided);
    let first = &judgement.reasons[0];
    for word in ["the sheet does not fit", "complementary", "parallel-offset", "--sheet grip-parallel-offset"]
    {
        assert!(first.contains(word), "{word:?} is not in {first:?}");
    }
    assert!(judgement.figures.iter().all(|f| f.verdict != Some(Verdict::Outside)));
    assert!(judgement.reasons.iter().all(|r| !r.starts_with("outside")), "{:?}", judgement.reasons);
    // The right topology, or none that is known, changes nothing.
    for found in [Some(Topology::Complementary), None] {
        analysis.topology_found = found;
        assert_eq!(judge(&analysis, &sheet()).overall, Verdict::Outside);
    }
}

#[test]
fn a_flex_judges_lost_contact_alone_and_says_so() {
    let flex = |limp_trips, shown: &[Topology], analysis: &PartAnalysis| {
        judge_scope(analysis, &sheet(), Scope::Flex { limp_trips }, shown)
    };
    let mut analysis = healthy();
    analysis.figures.retain(|f| matches!(f.name, FigureName::DropoutRate | FigureName::LimpTrips));
    let judgement = flex(true, &[Topology::Complementary], &analysis);
    assert_eq!(judgement.overall, Verdict::Within, "{:?}", judgement.reasons);
    assert!(judgement.reasons[0].contains("excludes 15 per minute or more with 95 % confidence"));
    assert!(judgement.reasons[1].contains("only lost contact was tested"));
    set(&mut analysis, FigureName::LimpTrips, 2.0, 0.0);
    assert_eq!(flex(true, &[], &analysis).overall, Verdict::Outside);
    assert_eq!(flex(false, &[], &analysis).overall, Verdict::Within, "a monitor for another kind of pair");
    // Where several kinds of pair stand alike, a named sheet that is none of them does not fit.
    let alike = [Topology::HalfSlope, Topology::ParallelOffset];
    let wrong = flex(true, &alike, &analysis);
    assert_eq!(wrong.overall, Verdict::Undecided);
    assert!(wrong.reasons[0].contains("half-slope or parallel-offset"), "{:?}", wrong.reasons);
    analysis.findings.push(finding(FindingKind::Dropout, 0.99));
    assert_eq!(flex(false, &[], &analysis).overall, Verdict::Outside);
}

#[test]
fn one_cycle_says_that_scatter_needs_two_and_not_that_the_rig_needs_calibration() {
    let mut analysis = healthy();
    analysis.cycles = 1;
    set(&mut analysis, FigureName::Hysteresis, 0.1, f64::INFINITY);
    let words = of(&judge(&analysis, &sheet()), FigureName::Hysteresis).would_decide.clone().unwrap();
    assert!(words.contains("two cycles at least") && !words.contains("calibrated"), "{words}");
}

#[test]
fn a_finding_that_the_sheet_does_not_know_decides() {
    let mut sheet = sheet();
    sheet.findings.clear();
    let mut analysis = healthy();
    analysis.findings.push(finding(FindingKind::GainOffset, 1.0));
    assert_eq!(judge(&analysis, &sheet).overall, Verdict::Outside);
}

#[test]
fn figures_without_a_limit_get_no_verdict_and_a_sheet_without_limits_decides_nothing() {
    let mut sheet = sheet();
    sheet.limits.clear();
    let judgement = judge(&healthy(), &sheet);
    assert!(judgement.figures.iter().all(|f| f.verdict.is_none() && f.limit.is_none()));
    assert_eq!(judgement.overall, Verdict::Undecided);
}

#[test]
fn a_limit_for_one_line_goes_before_the_limit_for_both() {
    let mut sheet = sheet();
    let general = sheet.limit_for(FigureName::Noise, None, &Condition::NONE).unwrap().clone();
    sheet.limits.push(Limit { channel: Some(Channel::Rising), max: Some(0.5), ..general });
    let judgement = judge(&healthy(), &sheet);
    let noise: Vec<_> =
        judgement.figures.iter().filter(|f| f.figure.name == FigureName::Noise).map(|f| f.verdict).collect();
    assert_eq!(noise, [Some(Verdict::Outside), Some(Verdict::Within)]);
}

#[test]
fn a_figure_without_value_or_uncertainty_is_undecided() {
    for (value, u) in [(f64::NAN, 0.1), (1.0, f64::NAN), (1.0, f64::INFINITY)] {
        let mut analysis = healthy();
        set(&mut analysis, FigureName::Noise, value, u);
        set(&mut analysis, FigureName::LimpTrips, if value.is_nan() { value } else { 0.0 }, u);
        let judgement = judge(&analysis, &sheet());
        assert_eq!(judgement.overall, Verdict::Undecided);
        assert!(of(&judgement, FigureName::Noise).would_decide.is_some());
    }
}

#[test]
fn a_recording_cut_short_or_with_missing_scans_keeps_a_part_from_being_within() {
    let clean = trace(ProcedureKind::Sweep, TraceEnd::Complete, vec![]);
    assert_eq!(judge(&healthy(), &sheet()).heed(&[&clean]).overall, Verdict::Within);
    let cut = trace(ProcedureKind::Sweep, TraceEnd::Aborted, vec![]);
    let judgement = judge(&healthy(), &sheet()).heed(&[&cut]);
    assert_eq!(judgement.overall, Verdict::Undecided);
    assert!(judgement.reasons[0].contains("stopped before its end"), "{:?}", judgement.reasons);
    let gap = Gap { index: 0, from_us: 0, to_us: 1000, scans: 4, cause: GapCause::Line };
    let holed = trace(ProcedureKind::Flex, TraceEnd::Complete, vec![gap]);
    let judgement = judge(&healthy(), &sheet()).heed(&[&holed]);
    assert_eq!(of(&judgement, FigureName::DropoutRate).verdict, Some(Verdict::Undecided));
    assert_eq!(judgement.clone().heed(&[&holed]), judgement);
    let mut bad = healthy();
    set(&mut bad, FigureName::Noise, 40.0, 0.1);
    assert_eq!(judge(&bad, &sheet()).heed(&[&cut, &holed]).overall, Verdict::Outside);
}

proptest! {
    #[test]
    fn any_figure_values_give_an_overall_verdict_that_its_parts_explain(
        values in proptest::collection::vec((any::<f64>(), any::<f64>(), any::<Option<f64>>()), 31),
        confidence: f64,
        gaps in proptest::collection::vec((any::<f64>(), any::<f64>()), 0..3),
    ) {
        let mut analysis = healthy();
        for (figure, (value, u, upper)) in analysis.figures.iter_mut().zip(values) {
            (figure.value, figure.budget, figure.upper_bound) = (value, Budget::of(Source::Scatter, u), upper);
        }
        analysis.findings.push(finding(FindingKind::NoisyTrack, confidence));
        analysis.gap_regions = gaps;
        let judgement = judge(&analysis, &sheet());
        let parts: Vec<_> = judgement.figures.iter().map(|f| f.verdict)
            .chain(judgement.findings.iter().map(|f| f.verdict())).flatten().collect();
        prop_assert_eq!(judgement.overall == Verdict::Outside, parts.contains(&Verdict::Outside));
        prop_assert_eq!(judgement.overall == Verdict::Within, parts.iter().all(|v| *v == Verdict::Within));
        prop_assert!(!judgement.reasons.is_empty());
        for judged in &judgement.figures {
            prop_assert_eq!(judged.verdict == Some(Verdict::Undecided), judged.would_decide.is_some());
        }
    }

    #[test]
    fn more_uncertainty_never_turns_a_part_within_or_outside(u in 0.0..1.0f64, more in 0.0..1.0f64, value in 0.0..1.0f64) {
        let overall = |u| {
            let mut analysis = healthy();
            set(&mut analysis, FigureName::Hysteresis, value, u);
            judge(&analysis, &sheet()).overall
        };
        let (sharp, blunt) = (overall(u), overall(u + more));
        prop_assert!(blunt == sharp || blunt == Verdict::Undecided);
    }
}

/// A limit of the same kind as any sheet's: a least value above 0, a largest one beyond it.
fn limit_between(figure: FigureName, min: f64, max: f64) -> Limit {
    Limit {
        figure,
        channel: None,
        condition: Condition::NONE,
        min: Some(min),
        max: Some(max),
        bound: None,
        unit: figure.unit(),
        source: "invented".to_owned(),
        required: true,
    }
}

#[test]
fn no_figure_is_judged_by_its_magnitude() {
    let mut wrong = Vec::new();
    for name in FigureName::ALL {
        let mut sheet = sheet();
        sheet.limits = vec![limit_between(name, 0.28, 2.0)];
        let judged = |value: f64, u: f64| {
            let analysis = PartAnalysis::default();
            let mut figure = figure(name, None, value, u);
            figure.upper_bound = None;
            judge_figure(&figure, &analysis, &sheet, Judging::default()).verdict
        };
        // What its size would make within, its sign does not.
        let negative = judged(-0.93, 0.01);
        let expected = match name.sign() {
            Sign::NeverNegative => Some(Verdict::Undecided),
            Sign::Counts => Some(Verdict::Outside),
        };
        if negative != expected || (!is_rate(name) && judged(0.93, 0.01) != Some(Verdict::Within)) {
            wrong.push((name, negative));
        }
        // Nor does a size beyond the largest make it outside.
        if judged(-5.0, 0.01) != expected {
            wrong.push((name, judged(-5.0, 0.01)));
        }
    }
    assert!(wrong.is_empty(), "{wrong:?}");
}

#[test]
fn a_value_that_its_uncertainty_takes_back_to_zero_is_judged_as_it_stands() {
    let mut analysis = healthy();
    set(&mut analysis, FigureName::CorrelationWorst, -0.01, 0.02);
    assert_eq!(of(&judge(&analysis, &sheet()), FigureName::CorrelationWorst).verdict, Some(Verdict::Within));
    set(&mut analysis, FigureName::CorrelationWorst, -0.5, 0.02);
    let judgement = judge(&analysis, &sheet());
    let judged = of(&judgement, FigureName::CorrelationWorst);
    assert_eq!(judged.verdict, Some(Verdict::Undecided));
    assert!(judged.would_decide.as_ref().is_some_and(|w| w.contains("can't be")), "{judged:?}");
    assert_eq!(judgement.overall, Verdict::Undecided);
}
