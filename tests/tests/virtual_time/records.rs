//! `records list`, `show`, `export`: what a shop asks its archive.

use anyhow::{Context, Result, ensure};
use std::path::{Path, PathBuf};
use tempfile::{TempDir, tempdir};
use trackpair_tests::cli::{Said, qualify, record_folders, trackpair};

const HOSTILE: &str = "=cmd|' /C calc'!A0 <b>\u{202e}\"ü\",\r\n\u{1b}[2J";

/// An archive with a good grip, a worn one of a hostile name, and a self-check of a third.
fn archive() -> Result<TempDir> {
    let archive = tempdir()?;
    let job = |command: &str, part: &str, rig: &str| -> Result<Said> {
        let place = archive.path().to_str().context("text")?;
        trackpair(command.split(' ').chain(["--rig", rig, "--part", part, "--archive", place]))
    };
    job("qualify", "shelf 1", "sim:good-grip?seed=1")?.expect(0, &[]);
    job("qualify", HOSTILE, "sim:worn-grip?seed=2")?.expect(10, &[]);
    job("procedure self-check", "shelf 3", "sim:good-grip?seed=3")?.expect(0, &[]);
    Ok(archive)
}

fn records(archive: &Path, arguments: &[&str]) -> Result<Said> {
    let place = ["--archive", archive.to_str().context("text")?];
    trackpair([&["records"][..], arguments, &place].concat())
}

#[test]
fn records_are_listed_and_found_by_what_is_asked() -> Result<()> {
    let archive = archive()?;
    let list = records(archive.path(), &["list"])?;
    list.expect(
        0,
        &["3 records", "within", "outside", "within (readiness)", "flat_spot", "shelf 1", "SIMULATED"],
    );
    ensure!(!list.out.contains(['\u{1b}', '\u{202e}']), "nothing a terminal would obey: {:?}", list.out);
    let width = list.out.lines().map(|l| l.chars().count()).max();
    ensure!(width <= Some(100), "{width:?} columns");
    let found = |arguments: &[&str], count: &str| -> Result<()> {
        records(archive.path(), &[&["list"], arguments].concat())?.expect(0, &[count]);
        Ok(())
    };
    found(&["--verdict", "outside"], "1 record")?;
    found(&["--part", "SHELF"], "2 records")?;
    found(&["--part", "shelf", "--scope", "part"], "1 record")?;
    found(&["--finding", "flat_spot"], "1 record")?;
    found(&["--kind", "body"], "no records")?;
    found(&["--simulated", "no"], "no records")?;
    found(&["--from", "2026-01", "--of-sheet", "grip-complementary"], "3 records")?;
    found(&["--to", "1999"], "no records")?;
    Ok(())
}

#[test]
fn what_happened_on_the_line_is_told_and_sealed_with_the_record() -> Result<()> {
    let archive = archive()?;
    let show = ["show", "shelf-1", "--session"];
    records(archive.path(), &show)?.expect(
        0,
        &[
            "Session with the rig at sim:good-grip?seed=1",
            "run",
            "ends: complete",
            "closed: the rig is unpowered",
            "no frame was damaged",
        ],
    );
    let lines = records(archive.path(), &[&show[..], &["--json"]].concat())?.out;
    for line in lines.lines() {
        serde_json::from_str::<serde_json::Value>(line).with_context(|| line.to_owned())?;
    }
    ensure!(lines.lines().count() > 10 && lines.contains("\"round_trip_us\""), "{lines}");
    // The outcome has the same counters, and a sound line is not talked about.
    let is_it = |folder: &PathBuf| {
        std::fs::read_to_string(folder.join("session.jsonl")).is_ok_and(|told| told.trim() == lines.trim())
    };
    let folder = record_folders(archive.path()).into_iter().find(is_it).context("the record's folder")?;
    let outcome = std::fs::read_to_string(folder.join("outcome.json"))?;
    let outcome: serde_json::Value = serde_json::from_str(&outcome)?;
    let last = lines.lines().last().context("a summary")?;
    let summary: serde_json::Value = serde_json::from_str(last)?;
    ensure!(outcome["line"]["counts"] == summary["summary"]["counts"], "{}", outcome["line"]);
    ensure!(!outcome["warnings"].to_string().contains("line between rig"), "{}", outcome["warnings"]);
    records(archive.path(), &["verify"])?.expect(0, &[]);
    // A guard that tripped is not made to have never been.
    let file = folder.join("session.jsonl");
    std::fs::write(&file, lines.replace("complete", "complyte"))?;
    records(archive.path(), &["verify"])?.expect(12, &["session.jsonl"]);
    Ok(())
}

#[test]
fn a_question_that_makes_no_sense_is_answered_with_what_does() -> Result<()> {
    let archive = archive()?;
    let asked = |arguments: &[&str], words: &[&str]| -> Result<()> {
        records(archive.path(), arguments)?.expect(2, words);
        Ok(())
    };
    asked(&["list", "--from", "31.3.2026"], &["2026-03-31, 2026-03 or 2026"])?;
    asked(&["list", "--finding", "flatspot"], &["there are flat_spot"])?;
    asked(&["list", "--scope", "parts"], &["there are", "readiness"])?;
    asked(&["list", "--from", "2026-03", "--to", "2025"], &["--from 2026-03 is later than --to 2025"])?;
    asked(&["list", "--kind", "wheel"], &["grip, body and pair"])?;
    asked(&["show", "nobody"], &["has no record \"nobody\"", "records list"])?;
    trackpair(["rejudge", "--archive", archive.path().to_str().context("text")?])?
        .expect(2, &["which records?", "rejudge --help"]);
    Ok(())
}

#[test]
fn a_record_is_shown_with_its_figures_files_and_seals() -> Result<()> {
    let archive = archive()?;
    let folders = record_folders(archive.path());
    let name = |part: &str| -> Result<&str> {
        let folder = folders.iter().find(|f| f.to_string_lossy().contains(part)).context("a record")?;
        folder.file_name().and_then(|n| n.to_str()).context("a name")
    };
    let words = [
        "WITHIN",
        "linearity, independent",
        "trace 2: sweep",
        "seal 1 of outcome 1",
        "shelf 1",
        "RESALE GRADE: AMPLE",
    ];
    records(archive.path(), &["show", name("shelf-1")?])?.expect(0, &words);
    records(archive.path(), &["show", name("shelf-1")?, "--outcome", "2"])?
        .expect(2, &["has no outcome 2; it has 1"]);
    let said = records(archive.path(), &["show", name("cmd")?])?;
    said.expect(0, &["OUTSIDE", "FLAT SPOT", "seal 2 of outcome 1"]);
    ensure!(!said.out.contains(['\u{1b}', '\u{202e}']), "{:?}", said.out);
    Ok(())
}

#[test]
fn an_export_is_never_written_over_anything_and_a_formula_is_a_text() -> Result<()> {
    let archive = archive()?;
    let folder = tempdir()?;
    let file = folder.path().join("out.csv");
    let to = file.to_str().context("text")?;
    let export = |what: &str, format: &str| {
        records(archive.path(), &["export", "--what", what, "--format", format, "--out", to])
    };
    export("records", "csv")?.expect(0, &["3 rows"]);
    let text = std::fs::read_to_string(&file)?;
    ensure!(text.starts_with("record,kind,label,begun,month,simulated,"), "{text}");
    ensure!(text.contains("\"'=cmd|' /C calc'!A0 <b>"), "{text}");
    export("records", "csv")?.expect(2, &["is there already and is never overwritten"]);
    std::fs::remove_file(&file)?;
    let findings = records(
        archive.path(),
        &["export", "--what", "findings", "--format", "json", "--out", to, "--verdict", "outside"],
    )?;
    findings.expect(0, &["1 rows"]);
    let list: serde_json::Value = serde_json::from_str(&std::fs::read_to_string(&file)?)?;
    ensure!(list[0]["finding"] == "flat_spot" && list[0]["label"] == HOSTILE, "{list}");
    Ok(())
}

/// The index of a record that was begun by a program that was killed says so.
#[test]
fn a_record_without_an_outcome_is_listed_as_unfinished_and_can_be_judged() -> Result<()> {
    let archive = tempdir()?;
    let record = qualify("sim:good-grip?seed=1", archive.path(), &["--skip-leads"])?;
    let other = trackpair::record::Archive::open(archive.path())?;
    let mut cut_off = other.begin_record("cut off", "2026-03-01T10:00:00Z")?;
    let sweep = trackpair::record::trace_from_parquet(std::fs::read(record.trace("sweep")?)?)?;
    cut_off.store_trace(&sweep)?;
    records(archive.path(), &["list"])?.expect(0, &["2 records", "unfinished"]);
    let name = cut_off.record();
    records(archive.path(), &["show", name])?.expect(0, &["unfinished", "trace 1: sweep"]);
    let place = ["--archive", archive.path().to_str().context("text")?];
    trackpair([&["rejudge", name][..], &place].concat())?.expect(0, &[]);
    records(archive.path(), &["show", name])?.expect(0, &["NOT ALL DONE", "UNDECIDED", "sealed"]);
    Ok(())
}
