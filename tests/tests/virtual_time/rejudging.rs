//! `rejudge` as a user runs it: a new outcome beside the old, nothing lost, damage named.

use anyhow::{Context, Result, ensure};
use serde_json::Value;
use std::fs;
use std::path::Path;
use tempfile::tempdir;
use trackpair_tests::cli::{files_under, record_folders, trackpair};

fn text(path: &Path) -> Result<&str> {
    path.to_str().context("a path of UTF-8")
}

/// An archive of three records: a good grip, a worn one, a body.
fn archive(folder: &Path) -> Result<()> {
    for (rig, part) in
        [("sim:good-grip?seed=2", "one"), ("sim:worn-grip?seed=2", "two"), ("sim:good-body", "three")]
    {
        trackpair(["qualify", "--rig", rig, "--part", part, "--archive", text(folder)?])?;
    }
    ensure!(record_folders(folder).len() == 3);
    Ok(())
}

fn outcome(file: &Path) -> Result<Value> {
    Ok(serde_json::from_slice(&fs::read(file)?)?)
}

#[test]
fn the_same_sheet_gives_the_same_figures_in_a_new_sealed_outcome() -> Result<()> {
    let folder = tempdir()?;
    archive(folder.path())?;
    let at = ["--archive", text(folder.path())?];
    let before = files_under(folder.path()).len();
    trackpair([&["rejudge", "--all", "--dry-run"][..], &at].concat())?
        .expect(0, &["3 of 3 records were judged again", "0 differ", "nothing was kept"]);
    assert_eq!(files_under(folder.path()).len(), before, "a dry run keeps nothing");
    trackpair([&["rejudge", "--all", "--jobs", "2"][..], &at].concat())?
        .expect(0, &["0 differ", "beside the old"]);
    for record in record_folders(folder.path()) {
        let (old, new) = (outcome(&record.join("outcome.json"))?, outcome(&record.join("outcome-2.json"))?);
        assert_eq!(old["figures"], new["figures"], "{}", record.display());
        assert_eq!((&old["verdict"], &old["findings"]), (&new["verdict"], &new["findings"]));
        assert!(record.join("seal-2.json").exists());
    }
    trackpair([&["records", "verify"][..], &at].concat())?.expect(0, &["AS KEPT"]);
    Ok(())
}

#[test]
fn another_sheet_changes_verdicts_and_says_which_figures_did_it() -> Result<()> {
    let folder = tempdir()?;
    archive(folder.path())?;
    let sheet = folder.path().join("strict.toml");
    let shipped = trackpair::sheet::shipped_text("grip-complementary").context("it ships")?;
    let strict = shipped.replace("max = 0.5\nunit = \"deg\"", "max = 0.001\nunit = \"deg\"");
    fs::write(&sheet, strict.replace("name = \"grip-complementary\"", "name = \"strict\""))?;
    let at = ["--archive", text(folder.path())?, "--sheet", text(&sheet)?, "--json"];
    let said = trackpair([&["rejudge", "--part", "one"][..], &at].concat())?;
    let document: Value = serde_json::from_str(&said.out)?;
    let one = &document["differing"][0];
    assert_eq!(
        (&one["before"], &one["after"], &one["number"]),
        (&"within".into(), &"outside".into(), &2.into())
    );
    let figures = one["figures"].as_array().context("a list")?;
    assert!(figures.iter().all(|f| f["figure"] == "hysteresis") && figures.len() == 2, "{figures:?}");
    assert_eq!(one["sheet"], "strict");
    Ok(())
}

#[test]
fn a_swapped_and_a_missing_trace_are_named_and_the_rest_is_judged() -> Result<()> {
    let folder = tempdir()?;
    archive(folder.path())?;
    let traces: Vec<_> = files_under(&folder.path().join("traces"));
    let of = |record: &Path| -> Result<Vec<std::path::PathBuf>> {
        let name = record.file_name().and_then(|n| n.to_str()).context("a name")?.to_owned();
        Ok(traces
            .iter()
            .filter(|t| t.to_string_lossy().contains(&format!("record={name}/")))
            .cloned()
            .collect())
    };
    let records = record_folders(folder.path());
    let (swapped, other) = (of(&records[0])?, of(&records[1])?);
    fs::copy(&other[0], &swapped[0])?;
    fs::remove_file(&other[1])?;
    let said = trackpair(["rejudge", "--all", "--archive", text(folder.path())?])?;
    said.expect(
        12,
        &["1 of 3 records were judged again", "2 skipped", "it was swapped or altered", "can't read"],
    );
    assert!(records[2].join("outcome-2.json").exists() && !records[0].join("outcome-2.json").exists());
    Ok(())
}

#[test]
fn what_is_not_there_is_refused() -> Result<()> {
    let folder = tempdir()?;
    archive(folder.path())?;
    let at = text(folder.path())?;
    trackpair(["rejudge", "--archive", at])?.expect(2, &["RECORD"]);
    trackpair(["rejudge", "nothing", "--archive", at])?.expect(2, &["no record \"nothing\""]);
    trackpair(["rejudge", "--part", "zzz", "--archive", at])?.expect(2, &["No record of the archive fits"]);
    trackpair(["rejudge", "--all", "--sheet", "none", "--archive", at])?.expect(2, &["no part sheet"]);
    trackpair(["rejudge", "--all", "--archive", text(&folder.path().join("nowhere"))?])?
        .expect(2, &["holds no archive"]);
    Ok(())
}

#[test]
fn a_sheet_for_another_topology_skips_a_record_as_one_for_another_kind_does() -> Result<()> {
    let folder = tempdir()?;
    let parts = ["good-grip", "half-slope-grip", "offset-grip"];
    for part in parts {
        let rig = format!("sim:{part}?seed=3");
        trackpair(["qualify", "--rig", &rig, "--part", part, "--archive", text(folder.path())?])?;
    }
    let at = ["--archive", text(folder.path())?, "--json"];
    for (own, sheet) in parts.iter().zip(["grip-complementary", "grip-half-slope", "grip-parallel-offset"]) {
        let said = trackpair([&["rejudge", "--all", "--sheet", sheet][..], &at].concat())?;
        let document: Value = serde_json::from_str(&said.out)?;
        assert_eq!((&document["records"], &document["judged"]), (&3.into(), &1.into()), "{}", said.out);
        assert_eq!(document["differing"].as_array().map(Vec::len), Some(0), "{own}: {}", said.out);
        let skipped = document["skipped"].as_array().context("a list")?;
        let says = |s: &Value| s["why"].as_str().is_some_and(|w| w.contains(sheet) && w.contains("pair"));
        assert!(skipped.len() == 2 && skipped.iter().all(says), "{skipped:?}");
    }
    Ok(())
}
