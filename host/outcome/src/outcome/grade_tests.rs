//! Each condition of a rule makes a difference, and the outcome states what kept a part from a grade.

use super::*;
use crate::outcome::{OutcomeFinding, OutcomeLimit, OutcomeProcedure};
use crate::quantity::{Condition, FigureName, PartKind, ProcedureKind, Written};
use crate::sheet::{PROCEDURES, SCOPES, VERDICTS, parse, shipped, shipped_text};
use crate::verdict::Scope;
use std::collections::BTreeMap;

const FIXTURE: &str =
    include_str!(concat!(env!("CARGO_MANIFEST_DIR"), "/../../tests/data/outcomes/outcome-schema-1.json"));

fn figure(name: FigureName, value: f64, u: f64, min: Option<f64>, max: Option<f64>) -> OutcomeFigure {
    OutcomeFigure {
        figure: name.into(),
        channel: None,
        condition: Condition::NONE,
        value,
        unit: name.unit(),
        expanded_uncertainty: u,
        upper_bound: None,
        at_deg: None,
        limit: Some(OutcomeLimit { min, max, bound: None }),
        source: None,
        verdict: Some(Verdict::Within),
        would_decide: None,
        definition: String::new(),
    }
}

/// An invented part that meets every condition of [`strict`].
fn good() -> Outcome {
    let mut outcome = Outcome::from_json(FIXTURE).unwrap();
    outcome.verdict = Verdict::Within;
    outcome.scope = Written::of("part");
    outcome.simulated = false;
    outcome.figures = vec![figure(FigureName::CorrelationWorst, 1.0, 0.2, None, Some(2.0))];
    outcome.findings.clear();
    let complete = |name: &str| OutcomeProcedure {
        procedure: Written::of(name),
        scans: 1,
        end: Written::of("complete"),
        trace_file: None,
        damaged_percent: None,
        loads_stepped: None,
    };
    outcome.procedures = vec![complete("sweep")];
    outcome
}

/// A sheet with one limit and two grades: one that asks for everything, one that asks for nothing.
fn strict() -> PartSheet {
    let mut sheet = shipped("grip-complementary").unwrap();
    sheet.limits.retain(|l| l.figure == FigureName::CorrelationWorst);
    let rule = |name: &str| GradeRule {
        name: name.to_owned(),
        title: "invented".to_owned(),
        verdicts: vec!["within"],
        scopes: vec!["part"],
        smallest_margin_percent: Some(30.0),
        largest_confidence: Some(0.4),
        procedures: vec!["sweep"],
        undecided: false,
        untested: false,
        simulated: false,
        source: "invented".to_owned(),
    };
    let easy = GradeRule {
        verdicts: VERDICTS.to_vec(),
        scopes: SCOPES.to_vec(),
        smallest_margin_percent: None,
        largest_confidence: None,
        procedures: vec![],
        undecided: true,
        untested: true,
        simulated: true,
        ..rule("B")
    };
    sheet.grades = vec![rule("A"), easy];
    sheet
}

#[track_caller]
fn check(change: impl FnOnce(&mut Outcome), why: &str) {
    let mut outcome = good();
    change(&mut outcome);
    let given = grade(&outcome, &strict()).unwrap();
    assert_eq!(given.name.as_deref(), Some("B"), "{:?}", given.why);
    assert!(given.why.iter().any(|w| w == why), "{why:?} is not among {:#?}", given.why);
    assert_eq!(given.why.len(), 2, "one thing kept it from A: {:#?}", given.why);
}

#[test]
fn a_part_that_meets_the_first_rule_bears_its_grade_and_the_reason_is_said() {
    let given = grade(&good(), &strict()).unwrap();
    assert_eq!(given.name.as_deref(), Some("A"));
    assert_eq!(given.why, ["A: within; smallest margin 40 % (correlation, worst); no finding"]);
    assert_eq!(given.source.as_deref(), Some("invented"));
}

#[test]
fn each_condition_keeps_a_part_from_the_grade_and_says_so() {
    check(|o| o.verdict = Verdict::Undecided, "not “A”: the verdict is undecided; it asks for within");
    check(
        |o| o.scope = Written::of("dropouts"),
        "not “A”: only lost contact was judged; it asks for the whole part",
    );
    check(|o| o.simulated = true, "not “A”: the part was simulated");
    check(
        |o| o.figures[0].value = 1.21,
        "not “A”: the smallest margin to a limit is 29 % (correlation, worst); it asks for 30 %",
    );
    check(|o| o.procedures[0].end = Written::of("guard"), "not “A”: not done to its end: sweep");
    check(|o| o.procedures.clear(), "not “A”: not done to its end: sweep");
    check(|o| o.figures[0].verdict = Some(Verdict::Undecided), "not “A”: undecided: correlation, worst");
    check(
        |o| {
            let finding = OutcomeFinding {
                kind: Written::of("flat_spot"),
                channel: None,
                from_deg: None,
                to_deg: None,
                confidence: 0.41,
                decides: false,
                effect: None,
                text: String::new(),
                details: BTreeMap::new(),
            };
            o.findings.push(finding);
        },
        "not “A”: flat spot was found with 41 % confidence; it allows 40 %",
    );
}

#[test]
fn a_limit_that_nothing_was_held_against_is_untested() {
    let mut sheet = strict();
    let line =
        |limit: &Limit| Limit { figure: FigureName::Noise, channel: Some(Channel::Falling), ..limit.clone() };
    sheet.limits.push(line(&sheet.limits[0]));
    let given = grade(&good(), &sheet).unwrap();
    assert_eq!(given.name.as_deref(), Some("B"));
    assert_eq!(given.why[1], "not “A”: not tested: noise, falling line");
}

#[test]
fn where_no_rule_is_met_there_is_no_grade_and_where_there_are_no_rules_there_is_nothing() {
    let mut sheet = strict();
    sheet.grades.truncate(1);
    let mut outcome = good();
    outcome.verdict = Verdict::Outside;
    let given = grade(&outcome, &sheet).unwrap();
    assert_eq!((given.name, given.title), (None, None));
    assert_eq!(given.why, ["not “A”: the verdict is outside; it asks for within"]);
    sheet.grades.clear();
    assert_eq!(grade(&outcome, &sheet), None);
}

#[test]
fn one_procedure_alone_bears_no_grade_of_a_shipped_sheet() {
    for name in crate::sheet::shipped_names() {
        let sheet = shipped(name).unwrap();
        // What two parts do together grades neither of them.
        assert_eq!(sheet.grades.is_empty(), sheet.kind == PartKind::Pair, "{name}");
        if sheet.grades.is_empty() {
            continue;
        }
        for scope in SCOPES.into_iter().filter(|s| *s != "part").chain(["readiness"]) {
            let outcome = Outcome { scope: Written::of(scope), ..good() };
            assert_eq!(grade(&outcome, &sheet).unwrap().name, None, "{name} {scope}");
        }
    }
}

#[test]
fn the_words_of_a_rule_are_those_of_the_layers_that_it_speaks_of() {
    assert_eq!([Verdict::Within, Verdict::Undecided, Verdict::Outside].map(Verdict::name), VERDICTS);
    use ProcedureKind as P;
    let body = [
        P::Rest,
        P::Step,
        P::Release,
        P::Creep,
        P::Lash,
        P::ToothMap,
        P::BlipBefore,
        P::Blip,
        P::BlipAfter,
        P::GuidedPush,
    ];
    let grip = [P::SelfCheck, P::Sweep, P::LeadsCheck, P::HandSweep, P::Flex, P::Import];
    let all: Vec<&str> = grip.into_iter().chain(body).map(P::name).collect();
    assert_eq!(all, PROCEDURES);
    let scopes = [Scope::Part, Scope::Flex { limp_trips: true }, Scope::Leads].map(Scope::name);
    let scopes: Vec<&str> = scopes.into_iter().chain(body.map(|p| Scope::Procedure(p).name())).collect();
    assert_eq!(scopes, SCOPES);
}

#[track_caller]
fn margin(value: f64, u: f64, min: Option<f64>, max: Option<f64>, expected: Option<f64>) {
    let found = margin_percent(&figure(FigureName::CorrelationOffset, value, u, min, max));
    let near = match (found, expected) {
        (Some(a), Some(b)) => (a - b).abs() < 1e-9,
        (a, b) => a == b,
    };
    assert!(near, "{found:?} is not {expected:?}");
}

#[test]
fn a_margin_is_what_is_left_after_the_uncertainty_of_half_the_tolerance_or_of_the_limit() {
    // Worked by hand: d = min(max - (v + U), (v - U) - min); over (max - min)/2, or over the only limit.
    margin(0.0, 0.0, Some(-2.0), Some(2.0), Some(100.0));
    margin(1.0, 0.5, Some(-2.0), Some(2.0), Some(25.0));
    margin(-1.0, 0.5, Some(-2.0), Some(2.0), Some(25.0));
    margin(1.9, 0.2, Some(-2.0), Some(2.0), Some(-5.0));
    margin(0.0, 0.0, None, Some(4.0), Some(100.0));
    margin(1.0, 1.0, None, Some(4.0), Some(50.0));
    margin(6.0, 1.0, Some(4.0), None, Some(25.0));
    margin(0.0, 0.0, None, Some(0.0), None);
    margin(1.0, 0.0, Some(1.0), Some(1.0), None);
    margin(1.0, 0.0, None, None, None);
}

#[test]
fn the_margin_of_a_rate_is_that_of_its_bound() {
    let mut rate = figure(FigureName::DropoutRate, 1.0, 0.1, None, Some(10.0));
    rate.upper_bound = Some(6.0);
    assert_eq!(margin_percent(&rate), Some(40.0));
}

#[test]
fn a_hundred_undecided_figures_do_not_make_a_hundred_sentences() {
    let mut outcome = good();
    outcome.figures = vec![figure(FigureName::Noise, 1.0, 0.2, None, Some(2.0)); 100];
    outcome.figures.iter_mut().for_each(|f| f.verdict = Some(Verdict::Undecided));
    let why = grade(&outcome, &strict()).unwrap().why;
    assert!(why.iter().all(|w| w.len() < 200), "{why:?}");
    assert!(why[1].contains("and 97 more"), "{why:?}");
}

#[test]
fn a_sheet_s_own_rule_may_let_one_procedure_bear_a_grade() {
    let text = shipped_text("grip-complementary").unwrap().replacen(
        "name = \"partial\"\n",
        "name = \"partial\"\nscopes = [\"part\", \"dropouts\"]\n",
        1,
    );
    let sheet = parse(&text, "mine").unwrap();
    let outcome = Outcome { scope: Written::of("dropouts"), ..good() };
    assert_eq!(grade(&outcome, &sheet).unwrap().name.as_deref(), Some("partial"));
}
