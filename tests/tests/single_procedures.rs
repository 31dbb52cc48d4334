//! The single procedures as a user runs them: self-check, leads check, hand sweep, flex. Simulated rigs, virtual time.

use anyhow::Result;
use std::path::Path;
use tempfile::tempdir;
use trackpair_tests::cli::{Record, Said, trackpair};

/// One procedure on a part, with its record in `archive`.
fn run(command: &str, rig: &str, archive: &Path, more: &[&str]) -> Result<Said> {
    let archive = archive.to_str().expect("the path is text");
    trackpair([&[command, "--rig", rig, "--archive", archive][..], more].concat())
}

#[test]
fn the_self_check_tells_supply_noise_and_stops_and_keeps_its_trace() -> Result<()> {
    let archive = tempdir()?;
    let said = run("self-check", "sim:good-grip", archive.path(), &[])?;
    said.expect(0, &["supply", "noise rising", "noise falling", "closed stop", "open stop", "recorded in"]);
    let folder = std::fs::read_dir(archive.path())?.flatten().next().expect("a record").path();
    assert!(folder.join("trace-1-self_check.parquet").is_file());
    run("self-check", "sim:seized-grip", archive.path(), &[])?
        .expect(0, &["clamp or grip is stuck", "not seen"]);
    Ok(())
}

#[test]
fn the_leads_check_alone_names_the_bad_lead() -> Result<()> {
    for (part, lead) in [("corroded-ground-grip", "GROUND LEAD"), ("corroded-supply-grip", "SUPPLY LEAD")] {
        let archive = tempdir()?;
        let said = run("leads-check", &format!("sim:{part}?seed=1"), archive.path(), &[])?;
        let record = Record::only(archive.path(), said)?;
        record.said.expect(10, &["SIMULATED", lead]);
        record.trace("leads_check")?;
    }
    Ok(())
}

#[test]
fn a_hand_sweep_judges_without_a_drive() -> Result<()> {
    for (part, code, word) in [("good-grip", 0, "WITHIN"), ("worn-grip", 10, "FLAT SPOT")] {
        let archive = tempdir()?;
        let rig = format!("sim:{part}?seed=1&operator=hand");
        run("hand-sweep", &rig, archive.path(), &["--seconds", "20"])?.expect(code, &["SIMULATED", word]);
    }
    Ok(())
}

#[test]
fn a_hand_sweep_without_a_reference_says_what_it_can_not_tell() -> Result<()> {
    let archive = tempdir()?;
    let more = ["--seconds", "20", "--no-reference"];
    let said = run("hand-sweep", "sim:good-grip?operator=hand", archive.path(), &more)?;
    let record = Record::only(archive.path(), said)?;
    record.said.expect(11, &["UNDECIDED", "no reference angle was recorded"]);
    assert!(record.figure("linearity_independent", Some("rising")).is_err(), "no angle, no linearity");
    assert_eq!(record.figure("correlation_worst", None)?["verdict"], "within");
    Ok(())
}

#[test]
fn a_grip_that_nobody_turns_is_said_not_to_move() -> Result<()> {
    let archive = tempdir()?;
    let said = run("hand-sweep", "sim:good-grip", archive.path(), &["--seconds", "5"])?;
    said.expect(11, &["UNDECIDED", "PART DID NOT MOVE"]);
    Ok(())
}

#[test]
fn flexing_finds_the_cracked_wire_and_clears_nothing_by_itself() -> Result<()> {
    for (part, code) in [("cracked-wire-grip", 10), ("good-grip", 11)] {
        let archive = tempdir()?;
        let more = ["--seconds", "20", "--sheet", "grip-complementary"];
        let said = run("flex", &format!("sim:{part}?seed=1&operator=flex"), archive.path(), &more)?;
        let record = Record::only(archive.path(), said)?;
        record.said.expect(code, &["SIMULATED"]);
        let lines: Vec<_> = record.findings("dropout").iter().map(|f| f["channel"].clone()).collect();
        assert_eq!(lines.is_empty(), code == 11, "{lines:?}");
        assert!(lines.iter().all(|line| line == "rising"), "{lines:?}");
    }
    Ok(())
}

#[test]
fn a_place_to_hold_outside_the_travel_is_refused_with_what_is_allowed() -> Result<()> {
    let archive = tempdir()?;
    let said = run("flex", "sim:good-grip", archive.path(), &["--seconds", "5", "--at", "300"])?;
    assert_ne!(said.code, Some(0));
    said.expect(said.code.unwrap_or_default(), &["300 deg", "0 to 75"]);
    Ok(())
}
