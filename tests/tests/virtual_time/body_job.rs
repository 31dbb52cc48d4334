//! The main job on throttle bodies as a new user sees it: `qualify` on simulated bodies, virtual time. Verdicts, findings and places
//! of every named body, what the terminal and the report say, and that nothing of the simulator's truth gets out.

use anyhow::{Context, Result, ensure};
use serde_json::Value;
use std::collections::BTreeSet;
use std::process::Command;
use tempfile::tempdir;
use trackpair_tests::cli::{Record, qualify};
use trackpair_tests::draws::draws;
use trackpair_tests::programs;
use trackpair_tests::truth::{check_nothing_of_it, truth};

/// Where the first finding must lie.
#[derive(Clone, Copy)]
enum Place {
    /// It has none, or none that the part fixes.
    Free,
    /// Within 1° of a tooth that the simulator has spoilt.
    Tooth,
    /// Begins at the closed stop and ends within 5°.
    ClosedStop,
    /// At the part's rest position, within the 1° that rest is repeatable and the stops are known by.
    Rest,
}

/// What a named body must come out as.
struct Expected {
    part: &'static str,
    /// Kind and line of the first finding; none: no finding at all.
    first: Option<(&'static str, Option<&'static str>)>,
    place: Place,
    /// Of ten seeds, how many may come out otherwise at most, and why. Every named body is tried with as many; none is left out.
    misses: (usize, &'static str),
}

const fn within(part: &'static str) -> Expected {
    Expected { part, first: None, place: Place::Free, misses: (0, "") }
}

const fn found(part: &'static str, kind: &'static str) -> Expected {
    Expected { part, first: Some((kind, None)), place: Place::Free, misses: (0, "") }
}

const fn on_line(mut expected: Expected, line: &'static str) -> Expected {
    if let Some((kind, _)) = expected.first {
        expected.first = Some((kind, Some(line)));
    }
    expected
}

const fn but(mut expected: Expected, most: usize, why: &'static str) -> Expected {
    expected.misses = (most, why);
    expected
}

const fn at(mut expected: Expected, place: Place) -> Expected {
    expected.place = place;
    expected
}

/// Middle of each tooth that is worn, chipped or gone, degrees of plate.
fn spoilt_teeth(truth: &Value) -> Vec<f64> {
    let faults = truth["part"]["spec"]["fault"].as_array().into_iter().flatten();
    faults
        .filter_map(|fault| Some((fault["centre_deg"].as_f64()?, fault["teeth"].as_u64().unwrap_or(1))))
        // The sector's teeth are 4° apart.
        .flat_map(|(first, teeth)| (0..teeth).map(move |k| first + 4.0 * k as f64))
        .collect()
}

/// The middle of a finding, degrees.
fn middle(finding: &Value) -> f64 {
    let end = |name: &str| finding[name].as_f64().unwrap_or(f64::NAN);
    0.5 * (end("from_deg") + end("to_deg"))
}

#[track_caller]
fn check(expected: &Expected) {
    let seeds = draws(3);
    let all = *seeds.end() as usize;
    let missed: Vec<String> =
        seeds.filter_map(|seed| check_seed(expected, seed).err()).map(|e| format!("{e:#}")).collect();
    let (of_ten, why) = expected.misses;
    let most = (of_ten * all).div_ceil(10);
    assert!(
        missed.len() <= most,
        "{}: {} of {all} seeds came out otherwise, at most {most} may ({why}):\n{}",
        expected.part,
        missed.len(),
        missed.join("\n")
    );
}

fn check_seed(expected: &Expected, seed: u64) -> Result<()> {
    let archive = tempdir()?;
    let record =
        qualify(&format!("sim:{}?seed={seed}", expected.part), archive.path(), &["--part", "4711<b>"])?;
    check_record(&record);
    check_answer(expected, seed, &record)
}

fn check_answer(expected: &Expected, seed: u64, record: &Record) -> Result<()> {
    let told = || format!("{} seed {seed}:\n{}", expected.part, record.said.out);
    let (code, verdict) = if expected.first.is_none() { (0, "within") } else { (10, "outside") };
    ensure!((record.said.code, record.verdict()) == (Some(code), verdict), "{}", told());
    let findings = record.outcome["findings"].as_array().context("findings")?;
    let first = findings.first().map(|f| (f["kind"].as_str().unwrap_or_default(), f["channel"].as_str()));
    ensure!(first == expected.first, "{first:?} comes first: {}", told());
    if let Some(first) = findings.first() {
        check_place(expected, seed, first).with_context(told)
    } else {
        let figures = record.outcome["figures"].as_array().context("figures")?;
        ensure!(figures.iter().all(|f| f["verdict"].is_null() || f["verdict"] == "within"), "{}", told());
        Ok(())
    }
}

fn check_place(expected: &Expected, seed: u64, first: &Value) -> Result<()> {
    match expected.place {
        Place::Free => {}
        Place::Tooth => {
            let teeth = spoilt_teeth(&truth(expected.part, seed)?);
            let near = teeth.iter().any(|tooth| (tooth - middle(first)).abs() <= 1.0);
            ensure!(near, "{teeth:?} are spoilt, {} is found", middle(first));
        }
        Place::ClosedStop => {
            let end = |name: &str| first[name].as_f64().context("a place");
            let (from, to) = (end("from_deg")?, end("to_deg")?);
            ensure!(from == 0.0 && to > from && to < 5.0, "{from} to {to}");
        }
        Place::Rest => {
            let rest = truth(expected.part, seed)?["part"]["body"]["rest_deg"].as_f64().context("rest")?;
            ensure!((rest - middle(first)).abs() <= 1.0, "rest at {rest}");
        }
    }
    Ok(())
}

/// What every record of a body holds, whatever the verdict.
#[track_caller]
fn check_record(record: &Record) {
    assert_eq!(record.outcome["simulated"], true);
    assert_eq!(record.outcome["sheet"]["name"], "body");
    let cautions = record.outcome["cautions"].as_array().unwrap();
    let page = String::from_utf8(record.file("report.html").unwrap()).unwrap();
    assert!(page.contains("SIMULATED") && page.contains("4711") && !page.contains("4711<b>"));
    for caution in cautions.iter().map(|c| c.as_str().unwrap()) {
        record.said.expect(record.said.code.unwrap(), &[caution]);
        assert!(page.contains(&caution.replace('\'', "&#39;")), "{caution}");
    }
    assert!(cautions.iter().any(|c| c.as_str().unwrap().contains("out of the bore")), "{cautions:?}");
    record.said.expect(record.said.code.unwrap(), &["SIMULATED", "Latency, how often"]);
    // Three ranges, opening and closing: a defect may keep steps of one from being read, which is then said.
    let of_latency = |h: &&Value| h["name"] == "latency";
    let histograms = record.outcome["histograms"].as_array().unwrap();
    let read: Vec<_> = histograms.iter().filter(of_latency).map(|h| &h["condition"]).collect();
    let untold = record.outcome["not_testable"].to_string();
    for region in ["low", "middle", "high"] {
        for direction in ["opening", "closing"] {
            let told = read.iter().any(|c| c["region"] == region && c["direction"] == direction)
                || untold.contains(&format!("latency, {region} range, {direction}"));
            assert!(told, "{region} {direction}: {untold}");
        }
    }
    record.trace("step").unwrap();
}

/// One test per named body: the ones that the simulator lists are exactly these.
macro_rules! named_bodies {
    ($($test:ident: $expected:expr;)*) => {
        $(#[test] fn $test() { check(&$expected); })*

        #[test]
        fn every_named_body_of_the_simulator_has_its_test() -> Result<()> {
            let listed = Command::new(programs::rig()?).arg("parts").output()?;
            let listed = String::from_utf8(listed.stdout)?;
            let names = listed.lines().filter_map(|l| l.split_whitespace().next());
            let listed: BTreeSet<&str> = names.filter(|name| name.ends_with("-body")).collect();
            let tested: BTreeSet<&str> = [$($expected.part),*].into();
            assert_eq!(listed, tested);
            Ok(())
        }
    };
}

named_bodies! {
    // Seed 4: within, and its motor's constant is reported as a suspicion of one half, which does nothing to the verdict.
    // Seed 9: undecided: its true lash of 0.39 degrees lies 0.09 from the limit, and the two methods state 0.10 together.
    a_healthy_body_is_within:
        but(within("good-body"), 1, "a lash within its uncertainty of the limit");
    worn_teeth_are_found_at_their_place: at(found("worn-teeth-body", "worn_tooth"), Place::Tooth);
    // A chip and wear take the same metal from the flank: the map shows the place, not the history.
    // Seed 6: a chip of nearly a degree two teeth above rest; a second tooth, next to rest, is named before it.
    a_chipped_tooth_is_found_at_its_place:
        but(at(found("chipped-tooth-body", "worn_tooth"), Place::Tooth), 1, "a deep chip next to rest bends the map there");
    a_missing_tooth_is_found_at_its_place: at(found("missing-tooth-body", "missing_tooth"), Place::Tooth);
    a_body_with_loose_gears_has_too_much_lash_at_rest: at(found("loose-body", "lash"), Place::Rest);
    // Seed 7: undecided, never within: what the spot adds does not stand out from the ripple.
    a_dead_spot_of_the_brushes_is_found:
        but(found("dead-spot-body", "brush_dead_spot"), 1, "a spot of a few ohms may not stand out from the ripple");
    a_weak_main_spring_is_found: found("weak-spring-body", "weak_spring");
    a_broken_main_spring_is_found: found("broken-spring-body", "broken_spring");
    a_weak_default_spring_is_found: found("weak-default-spring-body", "weak_spring");
    a_plate_that_sticks_is_found_at_the_closed_stop:
        at(found("sticky-body", "sticky_plate"), Place::ClosedStop);
    // Seed 2: 2.4 times so little friction that it is still that of sound bodies, and the springs leave 22 % over it. Seed 7: outside; the plate
    // stays wherever it is let go, so the springs show nowhere and a broken one is named first.
    a_bearing_that_has_run_dry_is_found:
        but(found("dry-body", "dry_bearing"), 2, "2.4 times little friction is what sound bodies have; friction above the springs hides them");
    a_winding_that_has_been_too_hot_is_found: found("hot-winding-body", "winding");
    shorted_turns_are_found: found("shorted-turns-body", "winding");
    a_torn_feedback_wire_is_found_on_its_line:
        on_line(found("torn-feedback-body", "feedback_intermittent"), "rising");
    a_contact_that_opens_on_blows_is_found_on_its_line:
        on_line(found("impact-dropout-body", "feedback_intermittent"), "falling");
    // Which of two lines is off can't be known without a reference. Seed 9: outside by its volts wide open; with the healthy scatter of its gain
    // the pair keeps the limit of its correlation.
    a_shifted_feedback_line_is_found:
        but(found("offset-feedback-body", "feedback_offset"), 1, "2 % and its own scatter may lie within the correlation's limit");
    a_bad_ground_of_the_feedback_is_found: found("corroded-ground-body", "ground_lead");
    a_bad_signal_lead_of_the_feedback_is_found_on_its_line:
        on_line(found("corroded-signal-body", "signal_lead"), "falling");
    a_tooth_worn_far_up_the_travel_is_found: at(found("worn-far-tooth-body", "worn_tooth"), Place::Tooth);
}

#[test]
fn the_first_command_on_a_body_ends_with_verdict_place_histograms_and_what_to_do_next() -> Result<()> {
    let archive = tempdir()?;
    let record = qualify("sim:missing-tooth-body?seed=1", archive.path(), &[])?;
    let tooth = record.findings("missing_tooth")[0];
    let (from, to) = (tooth["from_deg"].as_f64().context("from")?, tooth["to_deg"].as_f64().context("to")?);
    let words = [
        "SIMULATED",
        "OUTSIDE: Do not refit this part.",
        &format!("MISSING TOOTH, at {from:.1}–{to:.1}°"),
        "Next step:",
        "Latency: command to first motion",
        "low range, opening",
        "limit 6000 µs",
        "Before and after the blips",
        "What would have been missed",
        "Keep fingers and tools out of the bore",
        "A bench result does not clear the vehicle",
        &record.folder.display().to_string(),
    ];
    record.said.expect(10, &words);
    assert!(record.said.out.contains('█'), "histograms in miniature:\n{}", record.said.out);
    let names = record.outcome["procedures"].as_array().context("procedures")?;
    let mut names: Vec<&str> = names.iter().filter_map(|p| p["procedure"].as_str()).collect();
    // Rest and stops are tried gently first.
    names.dedup();
    let plan = [
        "rest",
        "leads_check",
        "creep",
        "step",
        "release",
        "lash",
        "tooth_map",
        "blip_before",
        "blip",
        "blip_after",
    ];
    assert_eq!(names, plan);
    for name in plan {
        let trace = trackpair::record::trace_from_parquet(std::fs::read(record.trace(name)?)?)?;
        assert!(trace.provenance.simulated, "{name}");
    }
    Ok(())
}

#[test]
fn json_prints_the_stored_outcome_of_a_body_and_the_cautions_go_to_the_other_stream() -> Result<()> {
    let archive = tempdir()?;
    let record = qualify("sim:good-body?seed=2", archive.path(), &["--json"])?;
    assert_eq!(record.said.out.as_bytes(), record.file("outcome.json")?);
    record.said.expect(0, &["SIMULATED", "Keep fingers and tools out of the bore"]);
    Ok(())
}

/// The parts of an outcome that no date is in.
fn results(outcome: &Value) -> [&Value; 4] {
    ["verdict", "figures", "findings", "histograms"].map(|name| &outcome[name])
}

#[test]
fn the_same_seed_gives_the_same_body_and_another_seed_another() -> Result<()> {
    let run = |seed: u64| -> Result<Value> {
        let archive = tempdir()?;
        Ok(qualify(&format!("sim:loose-body?seed={seed}"), archive.path(), &[])?.outcome)
    };
    let (first, again, other) = (run(5)?, run(5)?, run(6)?);
    assert_eq!(results(&first), results(&again));
    assert_ne!(results(&first), results(&other));
    Ok(())
}

#[test]
fn nothing_of_a_bodys_truth_is_in_what_comes_out() -> Result<()> {
    let truth = truth("worn-teeth-body", 3)?;
    let archive = tempdir()?;
    let record = qualify("sim:worn-teeth-body?seed=3", archive.path(), &[])?;
    check_nothing_of_it(&truth, 50, &["rotor_in_lash", "opening_share", "\"truth\""], &record)
}
