//! A body's single procedures as a user runs them, and a body's record judged again. Simulated rigs, virtual time.

use anyhow::{Context, Result};
use serde_json::Value;
use std::collections::BTreeSet;
use std::path::Path;
use tempfile::tempdir;
use trackpair_tests::cli::{Record, qualify, trackpair};

/// One procedure on a part.
fn run(command: &str, rig: &str, archive: &Path, more: &[&str]) -> Result<Record> {
    let folder = archive.to_str().context("the path is text")?;
    Record::only(
        archive,
        trackpair(
            command
                .split(' ')
                .chain(["--full", "--rig", rig, "--archive", folder])
                .chain(more.iter().copied()),
        )?,
    )
}

/// Names of the figures that have a verdict.
fn judged(outcome: &Value) -> BTreeSet<&str> {
    let figures = outcome["figures"].as_array().into_iter().flatten();
    figures.filter(|f| f["verdict"].is_string()).filter_map(|f| f["figure"].as_str()).collect()
}

/// The procedures that were recorded, each once, in their order.
fn recorded(outcome: &Value) -> Vec<&str> {
    let all = outcome["procedures"].as_array().into_iter().flatten();
    let mut names: Vec<&str> = all.filter_map(|p| p["procedure"].as_str()).collect();
    names.dedup();
    names
}

/// A procedure on a healthy body: its scope, what it recorded, and the figures it judges.
#[track_caller]
fn check(command: &str, procedures: &[&str], figures: &[&str]) {
    let archive = tempdir().unwrap();
    let record = run(command, "sim:good-body?seed=1", archive.path(), &["--json"]).unwrap();
    record.said.expect(0, &["SIMULATED", "WITHIN", "only this procedure was done", "out of the bore"]);
    assert_eq!(record.said.out.as_bytes(), record.file("outcome.json").unwrap());
    assert_eq!(
        record.outcome["scope"].as_str(),
        Some(command.trim_start_matches("procedure ").replace('-', "_").as_str())
    );
    assert_eq!(recorded(&record.outcome), procedures);
    assert_eq!(judged(&record.outcome), figures.iter().copied().collect(), "{command}");
    assert!(!record.said.err.contains("Fit for refit"), "{}", record.said.err);
}

#[test]
fn rest_alone_judges_where_the_plate_rests_and_stops() {
    let output = ["closed_volts", "open_volts", "span"];
    let stops = ["rest_position", "rest_repeatability", "closed_stop", "open_stop"];
    check("procedure rest", &["rest"], &[&stops[..], &output].concat());
}

#[test]
fn step_alone_judges_latency_and_the_position_loop() {
    let latency = ["latency_p50", "latency_p90", "latency_p99", "latency_max"];
    check(
        "procedure step",
        &["rest", "step"],
        &[&latency[..], &["rise_time", "overshoot", "settling"]].concat(),
    );
}

#[test]
fn release_alone_judges_the_return_to_rest() {
    check("procedure release", &["rest", "release"], &["return_time"]);
}

#[test]
fn creep_alone_judges_springs_friction_and_the_feedback_lines() {
    let springs = ["preload_main", "preload_default", "stiffness_main"];
    let mechanics = [&springs[..], &["friction", "sticking", "return_margin", "tracking_error"]].concat();
    let lines = ["closed_volts", "open_volts", "span", "noise", "skew", "dropout_rate", "limp_trips"];
    let pair = ["correlation_worst", "correlation_offset", "correlation_slope", "correlation_momentary"];
    // Each line against the rotor, the second against the first.
    let shape =
        ["linearity_independent", "hysteresis", "repeatability", "dead_band_closed", "dead_band_open"];
    check("procedure creep", &["rest", "creep"], &[&mechanics[..], &lines, &pair, &shape].concat());
}

#[test]
fn lash_alone_judges_lash_and_the_motor_that_tells_it() {
    check("procedure lash", &["rest", "creep", "lash"], &["lash", "winding_resistance", "back_emf_constant"]);
}

#[test]
fn the_tooth_map_alone_judges_lost_motion_and_the_motor_that_tells_it() {
    let figures = ["lost_motion", "winding_resistance", "back_emf_constant"];
    check("procedure tooth-map", &["rest", "creep", "tooth_map"], &figures);
}

/// Before and after are compared, and no limit is set on that: what is judged is what blows do to the feedback.
#[test]
fn blips_alone_compare_before_and_after_and_judge_lost_contact() -> Result<()> {
    let archive = tempdir()?;
    let record = run("procedure blip", "sim:good-body?seed=1", archive.path(), &[])?;
    record.said.expect(0, &["SIMULATED", "WITHIN", "Before and after the blips", "no change seen"]);
    assert_eq!(record.outcome["scope"], "blip");
    assert_eq!(recorded(&record.outcome), ["rest", "blip_before", "blip", "blip_after"]);
    assert_eq!(judged(&record.outcome), ["dropout_rate", "limp_trips"].into());
    Ok(())
}

#[test]
fn the_leads_check_alone_takes_a_body_and_judges_the_output_at_both_stops() -> Result<()> {
    let archive = tempdir()?;
    let record = run("procedure leads-check", "sim:good-body?seed=1", archive.path(), &[])?;
    record.said.expect(0, &["SIMULATED", "WITHIN", "no lead drops", "out of the bore"]);
    assert_eq!(recorded(&record.outcome), ["rest", "leads_check"]);
    assert_eq!(judged(&record.outcome), ["closed_volts", "open_volts", "span"].into());
    let archive = tempdir()?;
    let bad = run("procedure leads-check", "sim:corroded-ground-body?seed=1", archive.path(), &[])?;
    bad.said.expect(10, &["SIMULATED", "OUTSIDE", "ground lead"]);
    Ok(())
}

#[test]
fn a_procedure_condemns_for_what_it_tells_and_for_nothing_else() -> Result<()> {
    for (command, part, code) in [
        ("procedure tooth-map", "missing-tooth-body?seed=1", 10),
        ("procedure lash", "loose-body?seed=1", 10),
        ("procedure creep", "weak-spring-body?seed=1", 10),
        ("procedure creep", "sticky-body?seed=1", 10),
        // What is wrong with these is found by other procedures.
        ("procedure rest", "loose-body?seed=1", 0),
        ("procedure release", "loose-body?seed=1", 0),
        ("procedure step", "hot-winding-body?seed=1", 0),
    ] {
        let archive = tempdir()?;
        run(command, &format!("sim:{part}"), archive.path(), &[])?.said.expect(code, &["SIMULATED"]);
    }
    Ok(())
}

// ---- Guided push ----

/// Place and lash of every place that was pushed at, degrees.
fn pushed(outcome: &Value) -> Vec<(f64, f64)> {
    let figures = outcome["figures"].as_array().into_iter().flatten();
    figures
        .filter(|f| f["figure"] == "lash_by_push")
        .filter_map(|f| Some((f["at_deg"].as_f64()?, f["value"].as_f64()?)))
        .collect()
}

/// The lash that was drawn for a seed of a healthy body, degrees.
fn drawn_lash(seed: &str) -> Result<f64> {
    let folder = tempdir()?;
    let file = folder.path().join("truth.json");
    let plain = ["--part", "good-body", "--seed", seed, "--listen", "tcp:127.0.0.1:0", "--truth"];
    let arguments = plain.map(str::to_owned).into_iter().chain([file.display().to_string()]);
    drop(trackpair_tests::programs::ServedRig::start(arguments)?);
    let truth: Value = serde_json::from_slice(&std::fs::read(file)?)?;
    truth["part"]["body"]["lash_deg"].as_f64().context("a lash")
}

#[test]
fn a_guided_push_tells_the_lash_at_the_places_that_were_pushed_at() -> Result<()> {
    for seed in ["1", "2"] {
        let archive = tempdir()?;
        let rig = format!("sim:good-body?seed={seed}&operator=push");
        let record = run("procedure guided-push", &rig, archive.path(), &["--for", "30s"])?;
        record.said.expect(0, &["SIMULATED", "WITHIN", "The bridge is open now", "to each place in turn"]);
        assert_eq!(record.outcome["scope"], "guided_push");
        assert_eq!(recorded(&record.outcome), ["rest", "creep", "guided_push"]);
        let (told, truth) = (pushed(&record.outcome), drawn_lash(seed)?);
        // The probe goes to 15, 30, 45, 60 and 75°.
        let near = |place: f64| told.iter().any(|(at, _)| (at - place).abs() < 3.0);
        assert!([15.0, 30.0, 45.0, 60.0, 75.0].into_iter().all(near), "{told:?}");
        let right = told.iter().filter(|(_, lash)| (lash - truth).abs() <= 0.1).count();
        assert!(right + 1 >= told.len(), "{truth} was drawn, {told:?} is told");
    }
    Ok(())
}

#[test]
fn a_guided_push_that_nobody_does_makes_no_lash_up() -> Result<()> {
    let archive = tempdir()?;
    let record = run("procedure guided-push", "sim:good-body?seed=1", archive.path(), &["--for", "5s"])?;
    record.said.expect(11, &["SIMULATED", "UNDECIDED"]);
    assert_eq!(pushed(&record.outcome), []);
    Ok(())
}

// ---- Judged again ----

/// The parts of an outcome that no date is in.
fn results(outcome: &Value) -> [&Value; 5] {
    ["verdict", "reasons", "figures", "findings", "histograms"].map(|name| &outcome[name])
}

/// `judge` and its outcome.
fn judge(path: &Path) -> Result<(Option<i32>, Value)> {
    let said = trackpair(["judge", path.to_str().context("the path is text")?, "--json"])?;
    let outcome = serde_json::from_str(&said.out).with_context(|| format!("{}{}", said.out, said.err))?;
    Ok((said.code, outcome))
}

#[test]
fn a_bodys_record_judged_again_gives_the_same_verdict_figures_and_findings() -> Result<()> {
    for part in
        ["good-body?seed=1", "worn-teeth-body?seed=1", "torn-feedback-body?seed=1", "sticky-body?seed=2"]
    {
        let archive = tempdir()?;
        let record = qualify(&format!("sim:{part}"), archive.path(), &[])?;
        let (code, again) = judge(&record.folder)?;
        assert_eq!(code, record.said.code, "{part}");
        assert_eq!(results(&again), results(&record.outcome), "{part}");
        assert_eq!(again["simulated"], true);
        assert_eq!(again["cautions"], record.outcome["cautions"]);
    }
    Ok(())
}

#[test]
fn each_trace_of_a_body_judged_alone_tells_what_it_can_and_never_more_than_the_whole() -> Result<()> {
    let archive = tempdir()?;
    let record = qualify("sim:good-body?seed=1", archive.path(), &[])?;
    let whole = judged(&record.outcome);
    for procedure in recorded(&record.outcome) {
        let (code, alone) = judge(&record.trace(procedure)?)?;
        // A part of the plan can't clear the part.
        assert_eq!((code, alone["verdict"].as_str()), (Some(11), Some("undecided")), "{procedure}");
        assert_eq!(recorded(&alone), [procedure]);
        assert!(judged(&alone).is_subset(&whole), "{procedure}: {:?}", judged(&alone));
        assert_eq!(alone["sheet"]["name"], "body", "{procedure}");
    }
    Ok(())
}

#[test]
fn a_bodys_record_judged_by_a_sheet_for_grips_is_refused_in_plain_words() -> Result<()> {
    let archive = tempdir()?;
    let record = run("procedure rest", "sim:good-body?seed=1", archive.path(), &[])?;
    let folder = record.folder.to_str().context("the path is text")?;
    trackpair(["judge", folder, "--sheet", "grip-complementary"])?
        .expect(2, &["grip-complementary is for a grip", "to be tested is a body", "leave --sheet out"]);
    Ok(())
}
