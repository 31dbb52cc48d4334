//! An invented analysis becomes a document, the document keeps the schema, and old documents stay readable.

use super::*;
use crate::analysis::budget::{Budget, Source};
use crate::analysis::{DetectionLimit, Figure, Finding, NotTestable};
use crate::outcome::{OutcomeError, SCHEMA};
use crate::quantity::{Bridge, Condition, FindingKind, Heading, PartKind, ProcedureKind, Region};
use crate::sheet::{Topology, shipped};
use crate::trace::{Column, GapCause, Provenance, RigProvenance, TraceEnd};
use crate::verdict::{Verdict, judge};
use serde_json::Value;

/// Where data of the whole project lie.
const FIXTURE_1: &str =
    include_str!(concat!(env!("CARGO_MANIFEST_DIR"), "/../../tests/data/outcomes/outcome-schema-1.json"));

fn invented_trace() -> Trace {
    let rig = RigProvenance {
        address: "sim:worn-grip".to_owned(),
        model: "invented rig".to_owned(),
        serial: "0".to_owned(),
        firmware: "0.1.0".to_owned(),
        protocol: 1,
        boot: 3,
        lets_go: false,
    };
    let provenance = Provenance {
        simulated: true,
        rig: Some(rig),
        part: "invented <part> \"7\"".to_owned(),
        started: "2026-01-02T03:04:05Z".to_owned(),
        reference_zero_deg: 1.5,
        recorded_by: "trackpair 0.1.0".to_owned(),
        ..Provenance::bare(ProcedureKind::Sweep, 200)
    };
    let reference = Column { channel: Channel::Reference, unit: Unit::Degree, values: vec![1.5, 2.0, 8.0] };
    let gap = Gap { index: 2, from_us: 200, to_us: 12_200, scans: 59, cause: GapCause::Line };
    Trace {
        provenance,
        time_us: vec![0, 200, 12_200],
        columns: vec![reference],
        gaps: vec![gap],
        marks: vec![],
        end: TraceEnd::Complete,
    }
}

fn invented_figure(name: FigureName, channel: Option<Channel>, value: f64, u: f64) -> Figure {
    Figure {
        name,
        channel,
        value,
        budget: Budget::of(Source::Scatter, u),
        upper_bound: (name == FigureName::DropoutRate).then_some(12.0),
        added: 0.0,
        at_deg: Some(7.5),
        condition: Condition::NONE,
        definition: "invented".to_owned(),
    }
}

fn invented_analysis() -> PartAnalysis {
    let line = Some(Channel::Rising);
    let detail = |name, value, unit| Detail { name, value, unit };
    PartAnalysis {
        figures: vec![
            invented_figure(FigureName::ClosedVolts, line, 0.51, 0.001),
            invented_figure(FigureName::LinearityIndependent, line, 2.5, 0.1),
            invented_figure(FigureName::Hysteresis, line, f64::NAN, 0.1),
            invented_figure(FigureName::Noise, line, 1.0, f64::INFINITY),
            invented_figure(FigureName::DropoutRate, None, 0.0, 1.0),
        ],
        findings: vec![Finding {
            kind: FindingKind::FlatSpot,
            channel: line,
            from_deg: Some(7.2),
            to_deg: Some(f64::NAN),
            confidence: 0.99,
            text: "invented".to_owned(),
            details: vec![
                detail("depth", 1.2, "% span"),
                detail("width_deg", 0.9, "deg"),
                detail("x", f64::NAN, ""),
            ],
        }],
        topology_found: Some(Topology::Complementary),
        detection_limits: vec![DetectionLimit {
            kind: FindingKind::Dropout,
            channel: None,
            text: "invented".to_owned(),
            details: vec![detail("length", 59.0, "us")],
        }],
        not_testable: vec![NotTestable { what: "leakage".to_owned(), why: "no leads check".to_owned() }],
        histograms: vec![Histogram {
            name: "correlation_deviation",
            condition: Condition::NONE,
            channel: None,
            unit: Unit::PercentSupply,
            low: -1.0,
            width: 0.5,
            counts: vec![1, 2, 3],
        }],
        gap_regions: vec![(0.5, 6.5)],
        travel_deg: Some((0.0, 75.0)),
        cycles: 5,
        warnings: vec!["invented".to_owned()],
        ..PartAnalysis::default()
    }
}

fn invented_outcome() -> Outcome {
    let (analysis, sheet, trace) =
        (invented_analysis(), shipped("grip-complementary").unwrap(), invented_trace());
    let judgement = judge(&analysis, &sheet);
    build(OutcomeInputs {
        session: Default::default(),
        topology_shown: None,
        readings: &[],
        doubts: &[],
        analysis: &analysis,
        judgement: &judgement,
        sheet: &sheet,
        traces: &[StoredTrace { trace: &trace, file: Some("trace-1-sweep.parquet") }],
        judged: "2026-01-02T03:05:00Z",
        warnings: &["of the import".to_owned()],
    })
}

/// Checks a value against the part of JSON Schema that the schema uses.
fn conforms(value: &Value, rule: &Value, root: &Value, path: &str) -> Vec<String> {
    if let Some(target) = rule.get("$ref").and_then(Value::as_str) {
        let found = root.pointer(target.trim_start_matches('#')).expect("the reference leads somewhere");
        return conforms(value, found, root, path);
    }
    if let Some(any) = rule.get("anyOf").and_then(Value::as_array) {
        let fits = any.iter().any(|r| conforms(value, r, root, path).is_empty());
        return if fits { vec![] } else { vec![format!("{path}: none of anyOf")] };
    }
    let mut wrong = Vec::new();
    if let Some(wanted) = rule.get("const")
        && wanted != value
    {
        wrong.push(format!("{path}: is not {wanted}"));
    }
    if let Some(allowed) = rule.get("enum").and_then(Value::as_array)
        && !allowed.contains(value)
    {
        wrong.push(format!("{path}: {value} is not listed"));
    }
    if let Some(kind) = rule.get("type") {
        let fits = |kind: &Value| match kind.as_str().unwrap() {
            "object" => value.is_object(),
            "array" => value.is_array(),
            "string" => value.is_string(),
            "number" => value.is_number(),
            "integer" => value.is_u64() || value.is_i64(),
            "boolean" => value.is_boolean(),
            "null" => value.is_null(),
            other => panic!("type {other} in the schema"),
        };
        if !kind.as_array().map_or_else(|| fits(kind), |kinds| kinds.iter().any(fits)) {
            wrong.push(format!("{path}: {value} is not {kind}"));
        }
    }
    if let Some(list) = value.as_array()
        && let Some(items) = rule.get("items")
    {
        wrong.extend(
            list.iter().enumerate().flat_map(|(i, v)| conforms(v, items, root, &format!("{path}/{i}"))),
        );
    }
    if let Some(object) = value.as_object() {
        for key in rule.get("required").and_then(Value::as_array).into_iter().flatten() {
            if !object.contains_key(key.as_str().unwrap()) {
                wrong.push(format!("{path}: lacks {key}"));
            }
        }
        for (key, inner) in object {
            let known = rule
                .pointer("/properties")
                .and_then(|p| p.get(key))
                .or_else(|| rule.get("additionalProperties"));
            match known {
                Some(Value::Bool(false)) | None => wrong.push(format!("{path}: {key} is not in the schema")),
                Some(r) => wrong.extend(conforms(inner, r, root, &format!("{path}/{key}"))),
            }
        }
    }
    wrong
}

#[track_caller]
fn check_against_schema(text: &str) {
    let schema: Value = serde_json::from_str(SCHEMA).unwrap();
    let value: Value = serde_json::from_str(text).unwrap();
    assert_eq!(conforms(&value, &schema, &schema, ""), Vec::<String>::new());
}

#[test]
fn a_built_outcome_keeps_the_schema() {
    check_against_schema(&invented_outcome().to_json());
}

#[test]
fn the_schema_refuses_what_is_not_an_outcome() {
    let schema: Value = serde_json::from_str(SCHEMA).unwrap();
    let mut value: Value = serde_json::from_str(&invented_outcome().to_json()).unwrap();
    value["colour"] = Value::from(3);
    value["figures"][0]["value"] = Value::Null;
    value.as_object_mut().unwrap().remove("rig");
    assert_eq!(conforms(&value, &schema, &schema, "").len(), 3);
    assert_eq!(schema["$id"], "urn:trackpair:outcome:2");
}

/// Every name that a part of the schema lists, wherever in it they stand.
fn names_in(part: &Value, found: &mut Vec<String>) {
    match part {
        Value::Object(object) => {
            found.extend(object.get("const").and_then(Value::as_str).map(str::to_owned));
            let listed = object.get("enum").and_then(Value::as_array).into_iter().flatten();
            found.extend(listed.filter_map(Value::as_str).map(str::to_owned));
            object.values().for_each(|inner| names_in(inner, found));
        }
        Value::Array(list) => list.iter().for_each(|inner| names_in(inner, found)),
        _ => {}
    }
}

#[test]
fn the_schema_knows_every_figure_finding_and_unit() {
    let schema: Value = serde_json::from_str(SCHEMA).unwrap();
    let listed = |definition: &str| {
        let mut found = Vec::new();
        names_in(&schema["$defs"][definition], &mut found);
        found
    };
    assert_eq!(listed("WrittenFigureName"), FigureName::ALL.map(|f| f.name().to_owned()));
    assert_eq!(listed("WrittenFindingKind"), FindingKind::ALL.map(|f| f.name().to_owned()));
    assert_eq!(listed("WrittenChannel"), Channel::ALL.map(|c| c.name().to_owned()));
    let (procedures, scopes) = (listed("WrittenProcedureKind"), listed("WrittenScope"));
    for procedure in [ProcedureKind::Sweep, ProcedureKind::Rest, ProcedureKind::BlipAfter] {
        assert!(procedures.contains(&procedure.name().to_owned()));
        let scope = Scope::Procedure(procedure).name().to_owned();
        assert!(procedure == ProcedureKind::Sweep || scopes.contains(&scope), "{scope}");
    }
    for figure in FigureName::ALL {
        assert!(listed("Unit").contains(&figure.unit().symbol().to_owned()), "{}", figure.name());
    }
}

#[test]
fn the_verdict_the_place_and_the_provenance_arrive() {
    let outcome = invented_outcome();
    assert_eq!(outcome.verdict, Verdict::Outside);
    assert!(outcome.simulated && !outcome.aborted);
    assert_eq!(outcome.part.label, "invented <part> \"7\"");
    assert_eq!(outcome.versions["protocol"], "1");
    let linearity = outcome.figures.iter().find(|f| f.figure == "linearity_independent").unwrap();
    assert_eq!(linearity.verdict, Some(Verdict::Outside));
    assert_eq!(linearity.limit, Some(OutcomeLimit { min: None, max: Some(2.0), bound: None }));
    assert_eq!((linearity.expanded_uncertainty, linearity.at_deg), (0.2, Some(7.5)));
    assert_eq!(outcome.histograms[0].limits, [-2.5, 2.5]);
    assert_eq!((outcome.gaps[0].from_deg, outcome.gaps[0].to_deg), (Some(0.5), Some(6.5)));
    assert_eq!(outcome.warnings, ["of the import", "invented"]);
}

#[test]
fn what_is_not_finite_is_named_and_never_a_null_value() {
    let outcome = invented_outcome();
    assert!(outcome.figures.iter().all(|f| f.figure != "hysteresis" && f.figure != "noise"));
    for what in ["hysteresis (rising)", "noise (rising)"] {
        assert!(outcome.not_testable.iter().any(|n| n.what == what), "{what}");
    }
    let finding = &outcome.findings[0];
    assert_eq!((finding.from_deg, finding.to_deg), (Some(7.2), None));
    assert_eq!(finding.details.keys().collect::<Vec<_>>(), ["depth_percent_span", "width_deg"]);
}

#[test]
fn the_text_is_stable_and_reads_back_as_the_same_outcome() {
    let outcome = invented_outcome();
    let text = outcome.to_json();
    assert_eq!(text, invented_outcome().to_json());
    assert_eq!(Outcome::from_json(&text).unwrap(), outcome);
    assert!(text.find("\"verdict\"").unwrap() < text.find("\"figures\"").unwrap());
}

#[test]
fn an_outcome_of_schema_1_stays_readable() {
    let outcome = Outcome::from_json(FIXTURE_1).unwrap();
    assert_eq!(outcome.verdict, Verdict::Outside);
    assert_eq!(outcome.findings[0].kind, "flat_spot");
    check_against_schema(FIXTURE_1);
}

#[test]
fn a_later_schema_is_refused_by_its_number_and_other_json_by_name() {
    let later = FIXTURE_1.replacen("\"schema\": 1", "\"schema\": 3", 1);
    assert!(matches!(Outcome::from_json(&later), Err(OutcomeError::Version { found: 3 })));
    for text in ["", "{}", "[1]", "{\"schema\": 1}"] {
        let error = Outcome::from_json(text).unwrap_err();
        assert!(error.to_string().contains("not an outcome of trackpair"), "{error}");
    }
}

#[test]
fn a_recording_that_ended_early_is_marked_aborted() {
    let (mut analysis, sheet, mut trace) =
        (invented_analysis(), shipped("grip-complementary").unwrap(), invented_trace());
    analysis.findings.clear();
    analysis.figures.truncate(1);
    trace.end = TraceEnd::Aborted;
    let outcome = build(OutcomeInputs {
        session: Default::default(),
        topology_shown: None,
        readings: &[],
        doubts: &[],
        analysis: &analysis,
        judgement: &judge(&analysis, &sheet),
        sheet: &sheet,
        traces: &[StoredTrace { trace: &trace, file: None }],
        judged: "2026-01-02T03:05:00Z",
        warnings: &[],
    });
    assert!(outcome.aborted);
    assert_eq!(outcome.verdict, Verdict::Undecided);
    assert!(outcome.reasons.iter().any(|r| r.contains("stopped before its end")), "{:?}", outcome.reasons);
}

/// An invented body with one latency, one return and a histogram.
fn body_outcome() -> Outcome {
    let condition =
        Condition { region: Some(Region::Low), direction: Some(Heading::Opening), ..Condition::NONE };
    let release = Condition { from_deg: Some(60.0), bridge: Some(Bridge::Open), ..Condition::NONE };
    let of = |name, value, condition| Figure { condition, ..invented_figure(name, None, value, 1.0) };
    let analysis = PartAnalysis {
        kind: PartKind::Body,
        figures: vec![
            of(FigureName::LatencyP99, 1400.0, condition),
            of(FigureName::LatencyMax, f64::NAN, condition),
            of(FigureName::ReturnTime, 246.0, release),
        ],
        histograms: vec![Histogram {
            name: "latency",
            condition,
            channel: None,
            unit: Unit::Microsecond,
            low: 0.0,
            width: 100.0,
            counts: vec![0, 3, 5],
        }],
        ..PartAnalysis::default()
    };
    let (sheet, trace) = (shipped("body").unwrap(), invented_trace());
    build(OutcomeInputs {
        session: Default::default(),
        topology_shown: None,
        readings: &[],
        doubts: &[],
        analysis: &analysis,
        judgement: &judge(&analysis, &sheet),
        sheet: &sheet,
        traces: &[StoredTrace { trace: &trace, file: None }],
        judged: "2026-01-02T03:05:00Z",
        warnings: &[],
    })
}

#[test]
fn a_body_s_outcome_keeps_the_schema_tells_conditions_and_carries_its_cautions() {
    let outcome = body_outcome();
    let text = outcome.to_json();
    check_against_schema(&text);
    assert_eq!(Outcome::from_json(&text).unwrap(), outcome);
    assert_eq!(outcome.part.kind, "body");
    let value: Value = serde_json::from_str(&text).unwrap();
    assert_eq!(
        value["figures"][0]["condition"],
        serde_json::json!({"region": "low", "direction": "opening"})
    );
    assert_eq!(value["figures"][1]["condition"], serde_json::json!({"from_deg": 60.0, "bridge": "open"}));
    assert_eq!(outcome.cautions, CAUTIONS);
    // A grip's outcome reads as it always did.
    let grip = invented_outcome().to_json();
    assert!(!grip.contains("condition") && !grip.contains("cautions"), "{grip}");
}

#[test]
fn a_latency_histogram_has_the_limit_on_the_longest_one_of_its_range() {
    let outcome = body_outcome();
    assert_eq!(outcome.histograms[0].limits, [6000.0]);
    let missing =
        outcome.not_testable.iter().find(|n| n.what.starts_with("latency_max (low range, opening)"));
    assert!(missing.is_some(), "{:?}", outcome.not_testable);
}

#[test]
fn suspects_of_what_was_found_stand_in_the_outcome_and_can_be_ranked_again() {
    let outcome = invented_outcome();
    assert_eq!(outcome.suspects[0].cause, "flat_spot");
    let again: Vec<crate::outcome::OutcomeSuspect> =
        rank(&evidence_of(&outcome)).into_iter().map(Into::into).collect();
    assert_eq!(again, outcome.suspects);
    let text = serde_json::to_value(&outcome).unwrap();
    let schema: Value = serde_json::from_str(SCHEMA).unwrap();
    let wrong = conforms(&text["suspects"][0], &schema["$defs"]["OutcomeSuspect"], &schema, "suspect");
    assert_eq!(wrong, Vec::<String>::new());
}

#[test]
fn an_outcome_of_a_program_that_ranked_none_is_written_as_it_was_read() {
    let old = Outcome::from_json(FIXTURE_1).unwrap();
    assert!(old.suspects.is_empty() && !old.to_json().contains("suspects"));
}
