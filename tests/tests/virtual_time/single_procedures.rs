//! The single procedures as a user runs them: self-check, leads check, hand sweep, flex. Simulated rigs, virtual time.

use anyhow::Result;
use std::path::Path;
use tempfile::tempdir;
use trackpair_tests::cli::{Record, Said, files_under, trackpair};

/// One procedure on a part, with its record in `archive`.
fn run(command: &str, rig: &str, archive: &Path, more: &[&str]) -> Result<Said> {
    let archive = archive.to_str().expect("the path is text");
    trackpair(
        command.split(' ').chain(["--full", "--rig", rig, "--archive", archive]).chain(more.iter().copied()),
    )
}

#[test]
fn the_self_check_tells_supply_noise_and_stops_and_keeps_its_trace() -> Result<()> {
    let archive = tempdir()?;
    let said = run("procedure self-check", "sim:good-grip", archive.path(), &[])?;
    let record = Record::only(archive.path(), said)?;
    let words = [
        "SIMULATED",
        "READY: ",
        "The part itself was not judged",
        "supply",
        "noise rising",
        "noise falling",
        "closed stop",
        "open stop",
    ];
    record.said.expect(0, &words);
    record.said.expect(0, &["the part itself was not judged"]);
    assert_eq!(record.outcome["scope"], "readiness");
    assert!(record.trace("self_check")?.ends_with("trace-1-self_check.parquet"));
    Ok(())
}

#[test]
fn the_self_check_of_a_part_that_is_stuck_is_not_ready() -> Result<()> {
    let archive = tempdir()?;
    let record =
        Record::only(archive.path(), run("procedure self-check", "sim:seized-grip", archive.path(), &[])?)?;
    record.said.expect(11, &["NOT READY", "clamp or grip is stuck", "not seen"]);
    Ok(())
}

#[test]
fn every_single_procedure_prints_its_outcome_as_json_alone_and_says_simulated() -> Result<()> {
    for (command, scope, more) in [
        ("procedure self-check", "readiness", &["--json"][..]),
        ("procedure leads-check", "leads", &["--json"]),
        ("procedure hand-sweep", "part", &["--json", "--for", "5s"]),
        ("flex", "dropouts", &["--json", "--for", "10s"]),
    ] {
        let archive = tempdir()?;
        let record =
            Record::only(archive.path(), run(command, "sim:good-grip?operator=hand", archive.path(), more)?)?;
        let printed: serde_json::Value = serde_json::from_str(&record.said.out)?;
        assert_eq!(printed, record.outcome, "{command}: what is printed is what is kept");
        assert_eq!((&printed["simulated"], &printed["scope"]), (&true.into(), &scope.into()), "{command}");
        assert!(record.said.err.contains("SIMULATED"), "{command}: {}", record.said.err);
    }
    Ok(())
}

#[test]
fn what_the_self_check_warns_of_is_in_the_outcome_of_every_procedure_that_begins_with_it() -> Result<()> {
    for (command, more) in [
        ("procedure self-check", &[][..]),
        ("procedure leads-check", &[]),
        ("qualify", &["--skip-leads"]),
        ("flex", &["--at", "30", "--for", "10s"]),
    ] {
        let archive = tempdir()?;
        let record = Record::only(archive.path(), run(command, "sim:seized-grip", archive.path(), more)?)?;
        let warnings = record.outcome["warnings"].to_string();
        assert!(warnings.contains("clamp or grip is stuck"), "{command}: {warnings}");
    }
    Ok(())
}

#[test]
fn the_leads_check_alone_names_the_bad_lead() -> Result<()> {
    for (part, lead) in [("corroded-ground-grip", "GROUND LEAD"), ("corroded-supply-grip", "SUPPLY LEAD")] {
        let archive = tempdir()?;
        let said = run("procedure leads-check", &format!("sim:{part}?seed=1"), archive.path(), &[])?;
        let record = Record::only(archive.path(), said)?;
        record.said.expect(10, &["SIMULATED", lead]);
        record.trace("leads_check")?;
    }
    Ok(())
}

#[test]
fn a_leads_check_of_a_good_part_is_within_and_says_what_it_leaves_open() -> Result<()> {
    for part in ["good-grip", "good-pot-grip", "half-slope-grip", "offset-grip", "worn-grip"] {
        let archive = tempdir()?;
        let said = run("procedure leads-check", &format!("sim:{part}?seed=3"), archive.path(), &[])?;
        said.expect(0, &["WITHIN", "only the leads, leakage and the output at both stops were tested"]);
    }
    Ok(())
}

#[test]
fn a_hand_sweep_judges_without_a_drive() -> Result<()> {
    for (part, code, word) in [("good-grip", 0, "WITHIN"), ("worn-grip", 10, "FLAT SPOT")] {
        let archive = tempdir()?;
        let rig = format!("sim:{part}?seed=1&operator=hand");
        run("procedure hand-sweep", &rig, archive.path(), &["--for", "20s"])?
            .expect(code, &["SIMULATED", word]);
    }
    Ok(())
}

#[test]
fn a_hand_sweep_without_a_reference_says_what_it_can_not_tell() -> Result<()> {
    let archive = tempdir()?;
    let more = ["--for", "20s", "--no-reference"];
    let said = run("procedure hand-sweep", "sim:good-grip?operator=hand", archive.path(), &more)?;
    let record = Record::only(archive.path(), said)?;
    record.said.expect(11, &["UNDECIDED", "no reference angle was recorded"]);
    assert!(record.figure("linearity_independent", Some("rising")).is_err(), "no angle, no linearity");
    assert_eq!(record.figure("correlation_worst", None)?["verdict"], "within");
    Ok(())
}

#[test]
fn a_grip_that_nobody_turns_is_not_turned_and_no_cause_is_suspected() -> Result<()> {
    let archive = tempdir()?;
    let said = run("procedure hand-sweep", "sim:good-grip", archive.path(), &["--for", "5s"])?;
    said.expect(
        11,
        &["UNDECIDED", "not turned: in the hand sweep the reference moved by", "turn it from stop to stop"],
    );
    said.silent_about("PART DID NOT MOVE").silent_about("seized");
    Ok(())
}

/// Flexing a part for 20 s.
fn flex(part: &str, archive: &Path, more: &[&str]) -> Result<Record> {
    let more = [&["--for", "20s"][..], more].concat();
    Record::only(archive, run("flex", &format!("sim:{part}?seed=1&operator=flex"), archive, &more)?)
}

#[test]
fn flexing_finds_the_cracked_wire_on_its_line() -> Result<()> {
    let archive = tempdir()?;
    let record = flex("cracked-wire-grip", archive.path(), &[])?;
    record.said.expect(10, &["SIMULATED", "OUTSIDE", "DROPOUT"]);
    let lines: Vec<_> = record.findings("dropout").iter().map(|f| f["channel"].clone()).collect();
    assert!(!lines.is_empty() && lines.iter().all(|line| line == "rising"), "{lines:?}");
    Ok(())
}

/// Zero events in 20 s: an upper bound of -ln(0.05)·60/20 = 8.99 per minute (Poisson, exact; computed).
#[test]
fn flexing_a_good_part_of_any_topology_is_within_for_dropouts_and_says_that_only_they_were_tested()
-> Result<()> {
    for (part, more) in [
        ("good-grip", &[][..]),
        ("good-pot-grip", &[]),
        ("half-slope-grip", &[]),
        ("offset-grip", &[]),
        ("offset-grip", &["--sheet", "grip-parallel-offset"]),
        ("offset-grip", &["--at", "40"]),
    ] {
        let archive = tempdir()?;
        let record = flex(part, archive.path(), more)?;
        record
            .said
            .expect(0, &["WITHIN", "Only that was tested", "with 95 % confidence", "qualify the part"]);
        assert!(!record.said.out.contains("Fit for refit"), "{}", record.said.out);
        let bound = record.figure("dropout_rate", None)?["upper_bound"].as_f64().expect("a bound");
        assert!((8.5..=9.0).contains(&bound), "{part} {bound}");
        // Judged anew from its record, it is the same.
        let said = trackpair(
            ["judge", record.folder.to_str().expect("the path is text")]
                .iter()
                .chain(more.iter().filter(|_| more.first() == Some(&"--sheet"))),
        )?;
        said.expect(0, &["WITHIN", "Only that was tested"]);
    }
    Ok(())
}

#[test]
fn a_flex_too_short_to_exclude_dropouts_is_undecided_and_says_how_long_it_must_be() -> Result<()> {
    let archive = tempdir()?;
    run("flex", "sim:good-grip?operator=flex", archive.path(), &["--for", "5s"])?
        .expect(11, &["UNDECIDED", "test 4 s longer"]);
    Ok(())
}

#[test]
fn flexing_a_good_part_by_a_sheet_for_another_topology_names_the_sheet_and_not_the_part() -> Result<()> {
    let archive = tempdir()?;
    let record = flex("offset-grip", archive.path(), &["--sheet", "grip-complementary"])?;
    record.said.expect(11, &["UNDECIDED", "the sheet does not fit the part", "grip-parallel-offset"]);
    assert!(!record.said.out.contains("OUTSIDE"), "{}", record.said.out);
    Ok(())
}

#[test]
fn a_place_to_hold_outside_the_travel_is_refused_before_anything_is_driven() -> Result<()> {
    for place in ["300", "-1", "NaN"] {
        let archive = tempdir()?;
        let at = format!("--at={place}");
        let said = run("flex", "sim:good-grip", archive.path(), &["--for", "5s", &at])?;
        said.expect(2, &[&format!("--at {place}°"), "0 to 75"]);
        assert!(!said.err.contains("self-check"), "nothing was driven: {}", said.err);
        assert!(files_under(archive.path()).is_empty(), "no record of nothing");
    }
    Ok(())
}

#[test]
fn the_open_stop_can_be_held_also_where_the_part_ends_a_little_short_of_the_sheet() -> Result<()> {
    let archive = tempdir()?;
    flex("good-grip", archive.path(), &["--at", "75"])?.said.expect(0, &["WITHIN"]);
    Ok(())
}
