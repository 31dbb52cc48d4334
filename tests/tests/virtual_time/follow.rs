//! Grip and throttle body together through the whole program, on virtual time: figures against the simulated parts' own behaviour, an
//! independent reading of the stored traces, wrong rigs and sheets, and that the record can be judged again.

use anyhow::{Context, Result, ensure};
use serde_json::Value;
use std::path::Path;
use std::process::Command;
use tempfile::tempdir;
use trackpair_tests::cli::{Record, Said, record_folders, trackpair};
use trackpair_tests::programs;

/// `follow` on a simulated pair; its one record.
fn follow(pair: &str, archive: &Path, more: &[&str]) -> Result<Record> {
    let rig = format!("sim:{pair}");
    let place = archive.to_str().context("UTF-8")?;
    let said = trackpair([&["follow", "--full", "--rig", &rig, "--archive", place][..], more].concat())?;
    Record::only(archive, said)
}

fn figures<'a>(record: &'a Record, name: &str) -> Vec<&'a Value> {
    let all = record.outcome["figures"].as_array().map(Vec::as_slice).unwrap_or_default();
    all.iter().filter(|f| f["figure"] == name).collect()
}

#[test]
fn a_good_pair_is_within_and_another_program_reads_the_same_times_from_its_traces() -> Result<()> {
    let folder = tempdir()?;
    let record = follow("good-grip+good-body?seed=11", folder.path(), &[])?;
    record
        .said
        .expect(0, &["SIMULATED", "WITHIN", "Plate behind grip", "Keep fingers and tools out of the bore"]);
    assert_eq!((record.verdict(), record.outcome["part"]["kind"].as_str()), ("within", Some("pair")));
    assert_eq!(figures(&record, "follow_lag").len(), 3);
    let script = programs::repository().join("tests/python/follow.py");
    let output =
        Command::new(programs::python()?).arg(script).arg(folder.path()).arg(&record.folder).output()?;
    let said = String::from_utf8_lossy(&output.stdout).into_owned();
    ensure!(output.status.success(), "{said}{}", String::from_utf8_lossy(&output.stderr));
    ensure!(said.contains("8 figures agree"), "{said}");
    // The archive knows the pair, and judges it again from itself.
    let place = folder.path().to_str().context("UTF-8")?;
    trackpair(["records", "list", "--kind", "pair", "--archive", place])?.expect(0, &["1 record", "pair"]);
    let again = trackpair(["rejudge", "--all", "--sheet", "pair", "--archive", place])?;
    again.expect(0, &[]);
    trackpair(["records", "verify", "--archive", place])?.expect(0, &["AS KEPT"]);
    Ok(())
}

#[test]
fn faults_of_either_part_show_in_how_the_plate_follows() -> Result<()> {
    let folder = tempdir()?;
    let wire = follow("cracked-wire-grip+good-body?seed=3", &folder.path().join("a"), &[])?;
    assert_eq!(wire.verdict(), "outside");
    let dropouts = wire.findings("dropout");
    assert!(
        dropouts.iter().any(|f| f["text"].as_str().is_some_and(|t| t.starts_with("grip: "))),
        "{dropouts:?}"
    );
    let dry = follow("good-grip+dry-body?seed=3", &folder.path().join("b"), &[])?;
    let good = follow("good-grip+good-body?seed=3", &folder.path().join("c"), &[])?;
    let lag = |record: &Record| {
        figures(record, "follow_lag").iter().filter_map(|f| f["value"].as_f64()).sum::<f64>()
    };
    assert!(lag(&dry) > lag(&good) + 1.0, "friction slows the plate: {} and {}", lag(&dry), lag(&good));
    let feedback = follow("good-grip+torn-feedback-body?seed=3", &folder.path().join("d"), &[])?;
    assert_eq!(feedback.verdict(), "outside");
    let lost = feedback.findings("feedback_intermittent");
    assert!(lost.iter().any(|f| f["text"].as_str().is_some_and(|t| t.starts_with("plate: "))), "{lost:?}");
    Ok(())
}

#[test]
fn a_pair_that_can_not_follow_is_undecided_and_its_record_is_kept() -> Result<()> {
    let folder = tempdir()?;
    let seized = follow("seized-grip+good-body", folder.path(), &[])?;
    seized.said.expect(11, &["never made to follow", "PART DID NOT MOVE"]);
    assert_eq!(record_folders(folder.path()).len(), 1);
    let other = tempdir()?;
    let slope = follow("half-slope-grip+good-body", other.path(), &[])?;
    slope.said.expect(11, &["undecided", "half-slope"]);
    Ok(())
}

#[test]
fn a_rig_or_a_sheet_for_one_part_is_refused_with_what_to_do() -> Result<()> {
    let folder = tempdir()?;
    let place = folder.path().to_str().context("UTF-8")?;
    let run = |arguments: &[&str]| -> Result<Said> {
        trackpair(arguments.iter().copied().chain(["--archive", place]))
    };
    run(&["follow", "--rig", "sim:good-body"])?
        .expect(2, &["needs a rig with a grip and a throttle body", "qualify"]);
    run(&["follow", "--rig", "sim:good-grip"])?.expect(2, &["needs a rig with a grip and a throttle body"]);
    let pair = "sim:good-grip+good-body";
    run(&["follow", "--rig", pair, "--sheet", "body"])?.expect(2, &["is for a body", "is a pair"]);
    run(&["follow", "--rig", "sim:good-body+good-grip"])?.expect(2, &["a pair is GRIP+BODY"]);
    run(&["qualify", "--rig", "sim:good-grip", "--sheet", "pair"])?.expect(2, &["is for a pair"]);
    run(&["qualify", "--rig", "sim:good-body", "--sheet", "pair"])?.expect(2, &["is for a pair"]);
    run(&["qualify", "--rig", pair])?.expect(2, &["a grip and a throttle body are on this rig", "follow"]);
    let sheet = folder.path().join("turns-back.toml");
    let shipped =
        std::fs::read_to_string(programs::repository().join("host/model/src/sheet/sheets/pair.toml"))?;
    std::fs::write(
        &sheet,
        shipped.replace("plate_percent = [4, 14, 32, 60, 98]", "plate_percent = [4, 14, 12, 60, 98]"),
    )?;
    let sheet = sheet.to_str().context("UTF-8")?;
    run(&["follow", "--rig", pair, "--sheet", sheet])?
        .expect(2, &["the mapping turns back", "must not fall"]);
    Ok(())
}
