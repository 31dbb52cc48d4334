//! `gauge` as a user runs it: planned blind, swept in sittings, worked out; and what it says of a simulated rig against what that rig does.

use anyhow::{Context, Result, ensure};
use serde_json::Value;
use std::path::Path;
use std::process::Command;
use tempfile::tempdir;
use trackpair::gauge::anova::Mountings;
use trackpair::gauge::study::{Study, Swept, study};
use trackpair::outcome::{OutcomeFigure, OutcomeInputs, StoredTrace, build};
use trackpair::sheet::shipped;
use trackpair::trace::Trace;
use trackpair_tests::bench::{link, run_plan};
use trackpair_tests::cli::{Said, trackpair, trackpair_told};
use trackpair_tests::parallel::on_all_cores;
use trackpair_tests::programs;

fn text(path: &Path) -> Result<&str> {
    path.to_str().context("a path of UTF-8")
}

/// Plans a study of parts named a, b, c …
fn planned(study: &Path, parts: u8, more: &[&str]) -> Result<Said> {
    let names: Vec<String> = (0..parts).map(|k| char::from(b'a' + k).to_string()).collect();
    let mut arguments = vec!["gauge", "plan", text(study)?, "--seed", "5"];
    names.iter().for_each(|name| arguments.extend(["--part", name.as_str()]));
    arguments.extend(more);
    trackpair(arguments)
}

/// Runs a study of simulated parts of a kind.
fn run(study: &Path, parts: u8, kind: &str, more: &[&str]) -> Result<Said> {
    let rigs: Vec<String> =
        (0..parts).map(|k| format!("{}=sim:{kind}?seed={}", char::from(b'a' + k), k + 1)).collect();
    let mut arguments = vec!["gauge", "run", text(study)?];
    rigs.iter().for_each(|rig| arguments.extend(["--rig-of", rig.as_str()]));
    arguments.extend(more);
    trackpair(arguments)
}

/// What an independent program says of a result.
fn worked_out_anew(result: &str) -> Result<String> {
    let file = tempfile::NamedTempFile::new()?;
    std::fs::write(file.path(), result)?;
    let script = programs::repository().join("tests/python/gauge.py");
    let output = Command::new(programs::python()?).arg(script).arg(file.path()).output()?;
    let said =
        String::from_utf8_lossy(&output.stdout).into_owned() + &String::from_utf8_lossy(&output.stderr);
    ensure!(output.status.success(), "{said}");
    Ok(said)
}

#[test]
fn a_study_is_planned_blind_swept_in_sittings_and_worked_out() -> Result<()> {
    let folder = tempdir()?;
    let place = folder.path().join("study");
    let said = planned(&place, 4, &["--mountings", "3", "--repeats", "2"])?;
    said.expect(
        0,
        &["4 parts, 3 mountings of each, 2 sweeps", "12 mountings, 24 sweeps", "Labels", "seed 5"],
    );
    trackpair(["gauge", "result", text(&place)?])?.expect(2, &["0 of 12 mountings are done", "goes on"]);

    let said = run(&place, 4, "good-grip", &["--most", "5"])?;
    said.expect(0, &["round 1 of 3, mounting 1 of 12", "7 mountings are left"]);
    // Whoever mounts sees labels, never names: a round of four is one order of a, b, c, d, and none of it shows.
    let plan: Value = serde_json::from_str(&std::fs::read_to_string(place.join("plan.json"))?)?;
    let codes: Vec<&str> =
        plan["parts"].as_array().context("parts")?.iter().filter_map(|p| p["code"].as_str()).collect();
    for line in said.err.lines().filter(|l| l.contains("mounting ")) {
        ensure!(codes.iter().any(|c| line.contains(c)) || line.contains("are left"), "{line}");
    }
    trackpair(["gauge", "result", text(&place)?])?.expect(2, &["5 of 12 mountings are done, 1 whole rounds"]);
    run(&place, 4, "good-grip", &[])?.expect(0, &["5 of 12 mountings are done", "all 12 mountings are done"]);

    let report = folder.path().join("study.html");
    let said = trackpair(["gauge", "result", text(&place)?, "--details", "--report", text(&report)?])?;
    said.expect(
        0,
        &["SIMULATED", "GAUGE STUDY", "the rig is good for", "ndc", "full model", "stated u", "rig/u"],
    );
    ensure!(std::fs::read_to_string(&report)?.contains("<table"));
    let said = trackpair(["gauge", "result", text(&place)?, "--json"])?;
    let result: Value = serde_json::from_str(&said.out)?;
    assert_eq!(result["rigs"].as_array().context("rigs")?.len(), 1, "one rig, whatever part is on it");
    ensure!(result["figures"].as_array().context("figures")?.len() > 15, "{}", said.out);
    let anew = worked_out_anew(&said.out)?;
    ensure!(anew.contains("of 24 sweeps agree"), "{anew}");
    Ok(())
}

#[test]
fn rounds_that_parts_share_are_worked_out_as_crossed() -> Result<()> {
    let folder = tempdir()?;
    let place = folder.path().join("study");
    planned(&place, 3, &["--mountings", "2", "--repeats", "2", "--shared", "--sheet", "grip-complementary"])?
        .expect(0, &["changes from round to round"]);
    run(&place, 3, "good-grip", &[])?.expect(0, &[]);
    let said = trackpair(["gauge", "result", text(&place)?, "--json"])?;
    let result: Value = serde_json::from_str(&said.out)?;
    let sources = |f: &Value| f["full"]["rows"].as_array().map_or(0, Vec::len);
    ensure!(result["figures"].as_array().context("figures")?.iter().all(|f| sources(f) == 5));
    let anew = worked_out_anew(&said.out)?;
    ensure!(anew.contains("of 12 sweeps agree"), "{anew}");
    Ok(())
}

#[test]
fn a_throttle_body_can_be_studied() -> Result<()> {
    let folder = tempdir()?;
    let place = folder.path().join("study");
    planned(&place, 2, &["--mountings", "2", "--repeats", "2"])?.expect(0, &[]);
    run(&place, 2, "good-body", &[])?.expect(0, &["all 4 mountings are done"]);
    let said = trackpair(["gauge", "result", text(&place)?])?;
    said.expect(0, &["winding resistance", "lash at rest", "friction"]);
    Ok(())
}

#[test]
fn a_mounting_that_was_cut_off_is_made_again_and_what_was_swept_of_it_stays() -> Result<()> {
    let folder = tempdir()?;
    let place = folder.path().join("study");
    planned(&place, 2, &["--mountings", "2", "--repeats", "3"])?.expect(0, &[]);
    run(&place, 2, "good-grip", &["--most", "2"])?.expect(0, &[]);
    // As a program leaves it that is killed in the second mounting: its last sweep is torn, the one before it is alone.
    let log = place.join("sweeps.jsonl");
    let lines: Vec<String> = std::fs::read_to_string(&log)?.lines().map(str::to_owned).collect();
    assert_eq!(lines.len(), 6);
    std::fs::write(&log, format!("{}\n{}", lines[..4].join("\n"), &lines[4][..200]))?;
    run(&place, 2, "good-grip", &[])?.expect(
        0,
        &["the last line was torn (200 bytes)", "1 of 4 mountings are done", "all 4 mountings are done"],
    );
    let whole = std::fs::read_to_string(&log)?;
    // Four that were kept, and three mountings of three: one sweep more than counts.
    assert_eq!(whole.lines().count(), 4 + 9);
    let said = trackpair(["gauge", "result", text(&place)?, "--json"])?;
    let result: Value = serde_json::from_str(&said.out)?;
    assert_eq!(result["sweeps"], 12);
    Ok(())
}

#[test]
fn what_makes_no_study_is_refused_with_words() -> Result<()> {
    let folder = tempdir()?;
    let place = folder.path().join("study");
    let at = text(&place)?;
    planned(&place, 1, &[])?.expect(2, &["1 parts is out of range: 2 to 50"]);
    planned(&place, 2, &["--part", "a"])?.expect(2, &["\"a\" is named twice"]);
    planned(&place, 2, &["--repeats", "1"])?.expect(2, &["1 repeats is out of range"]);
    planned(&place, 2, &["--sheet", "no-such"])?.expect(2, &["no-such"]);
    ensure!(!place.exists(), "nothing is left of what was refused");
    trackpair(["gauge", "run", at])?.expect(2, &["is not there", "trackpair gauge plan"]);
    planned(&place, 2, &["--mountings", "2", "--repeats", "2"])?.expect(0, &[]);
    planned(&place, 2, &[])?.expect(2, &["is there already", "never written over"]);
    trackpair(["gauge", "run", at, "--rig", "sim:good-grip"])?.expect(2, &["has its part with it", "a, b"]);
    trackpair(["gauge", "run", at, "--rig-of", "a=sim:good-grip"])?
        .expect(2, &["no rig is given for the part \"b\""]);
    trackpair(["gauge", "run", at, "--rig-of", "c=sim:good-grip"])?
        .expect(2, &["no part of this study is named \"c\""]);
    trackpair(["gauge", "run", at, "--rig-of", "a"])?.expect(2, &["is not NAME=ADDRESS"]);
    // Nobody mounts the part: nothing was driven, nothing is lost.
    let said = trackpair_told(["gauge", "run", at, "--rig", "tcp:127.0.0.1:1"], "")?;
    said.expect(20, &["mount the part labelled", "nobody confirmed that the part is mounted"]);
    std::fs::write(place.join("plan.json"), "{}")?;
    trackpair(["gauge", "result", at])?.expect(1, &["makes no sense", "take it from a backup"]);
    Ok(())
}

/// Parts of the planted study.
const PARTS: u64 = 4;
/// Mountings that are made of each: those of many studies, one after another.
const MOUNTINGS: u64 = 15;
/// Sweeps of each.
const REPEATS: u64 = 2;
/// Mountings in one study.
const IN_A_STUDY: usize = 3;

/// A sweep's figures, as the program would keep them.
fn figures(address: &str) -> Vec<OutcomeFigure> {
    let sheet = shipped("grip-complementary").expect("shipped");
    let run = run_plan(link(address), &sheet);
    let (analysis, judgement) = run.judge(&sheet);
    let traces: Vec<&Trace> = [&run.self_check, &run.sweep, &run.release].into_iter().flatten().collect();
    let stored: Vec<StoredTrace<'_>> =
        traces.into_iter().map(|trace| StoredTrace { trace, file: None }).collect();
    let inputs = OutcomeInputs {
        session: Default::default(),
        analysis: &analysis,
        judgement: &judgement,
        sheet: &sheet,
        topology_shown: None,
        readings: &[],
        doubts: &[],
        traces: &stored,
        judged: "2026-01-01T00:00:00+00:00",
        warnings: &[],
    };
    build(inputs).figures
}

/// One rig, four parts, every mounting drawn apart: the scatter of a single sweep in a single mounting is seen directly, over all mountings. Studies
/// of three mountings each must hold it in their intervals as often as they state, all figures together.
#[test]
fn studies_of_a_simulated_rig_hold_the_scatter_that_it_has() {
    let all = on_all_cores(PARTS * MOUNTINGS * REPEATS, |k| {
        let (part, mounting, sweep) = (k / (MOUNTINGS * REPEATS), k / REPEATS % MOUNTINGS, k % REPEATS);
        figures(&format!("good-grip?seed={part}&rig=9&mounting={mounting}&sweep={sweep}"))
    });
    let cell = |k: usize| {
        let (mountings, repeats) = (MOUNTINGS as usize, REPEATS as usize);
        (k / (mountings * repeats), k / repeats % mountings, k % repeats)
    };
    let of = |from: usize, count: usize| -> Study {
        let within = |m: usize| (from..from + count).contains(&m);
        let swept: Vec<Swept<'_>> = all
            .iter()
            .enumerate()
            .map(|(k, figures)| (cell(k), figures))
            .filter(|((_, m, _), _)| within(*m))
            .map(|((part, m, repeat), figures)| Swept { part, mounting: m - from, repeat, figures })
            .collect();
        study([PARTS as usize, count, REPEATS as usize], Mountings::Nested, &swept)
    };
    let whole = of(0, MOUNTINGS as usize);
    let (mut held, mut asked) = (0, 0);
    for k in 0..MOUNTINGS as usize / IN_A_STUDY {
        for figure in of(k * IN_A_STUDY, IN_A_STUDY).figures {
            let Some(truth) = whole.figures.iter().find(|f| f.quantity == figure.quantity) else { continue };
            let (truth, interval) = (truth.gauge.standard_deviation, figure.gauge.interval);
            asked += 1;
            held += usize::from(interval.low <= truth && interval.high.is_none_or(|h| truth <= h));
        }
    }
    // Figures of one sweep are akin, and what all mountings say is itself known to some 10 %: not a binomial count of independent ones.
    let share = held as f64 / asked as f64;
    assert!(asked > 100 && share >= 0.90, "{held} of {asked}");
}
