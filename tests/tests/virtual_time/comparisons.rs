//! `compare` and `population limits` as a user runs them, on records of simulated parts.

use anyhow::{Context, Result};
use serde_json::Value;
use std::fs;
use std::path::{Path, PathBuf};
use tempfile::tempdir;
use trackpair_tests::cli::{Running, command, record_folders, trackpair};

/// Keeps a record of a simulated part; its folder.
fn kept(archive: &Path, rig: &str, part: &str) -> Result<PathBuf> {
    let before = record_folders(archive);
    trackpair(["qualify", "--rig", rig, "--part", part, "--archive", text(archive)?])?;
    let new = record_folders(archive).into_iter().find(|f| !before.contains(f));
    new.context("a record was kept")
}

fn text(path: &Path) -> Result<&str> {
    path.to_str().context("a path of UTF-8")
}

fn name(folder: &Path) -> Result<&str> {
    folder.file_name().and_then(|n| n.to_str()).context("a name")
}

#[test]
fn a_part_that_grew_worse_is_told_by_name_folder_and_in_a_report() -> Result<()> {
    let folder = tempdir()?;
    let archive = folder.path().join("archive");
    let before = kept(&archive, "sim:good-grip?seed=3", "grip 7")?;
    let after = kept(&archive, "sim:worn-grip?seed=3", "grip 7")?;
    let report = folder.path().join("report.html");
    let said = trackpair([
        "compare",
        name(&before)?,
        text(&after)?,
        "--archive",
        text(&archive)?,
        "--report",
        text(&report)?,
    ])?;
    said.expect(
        0,
        &["SIMULATED", "within → outside", "appeared", "flat spot", "Changed", "Not shown to have changed"],
    );
    assert!(!said.out.contains("different words"), "one part, one name");
    let page = fs::read_to_string(&report)?;
    assert!(page.contains("In one picture") && page.matches("<svg").count() >= 5);
    assert!(!page.contains("<script") && !page.contains("http-equiv=\"refresh\""));

    let mut by_name = command(["compare", name(&before)?, name(&after)?])?;
    by_name.env("TRACKPAIR_ARCHIVE", &archive);
    Running::start(by_name)?.finish()?.expect(0, &["within → outside"]);

    let said = trackpair(["compare", text(&before)?, text(&after)?, "--json"])?;
    let document: Value = serde_json::from_str(&said.out)?;
    let figures = document["pairs"][0]["figures"].as_array().context("figures")?;
    let first = |figure: &str| figures.iter().find(|f| f["figure"] == figure);
    let volts = first("closed_volts").context("it has it")?;
    let (a, b) = (&volts["before"]["value"], &volts["after"]["value"]);
    let difference = b.as_f64().context("a number")? - a.as_f64().context("a number")?;
    assert_eq!(volts["difference"].as_f64(), Some(difference));
    assert_eq!(document["family"]["questions"], figures.len());
    Ok(())
}

#[test]
fn a_record_against_itself_has_not_changed() -> Result<()> {
    let folder = tempdir()?;
    let one = kept(folder.path(), "sim:good-body?seed=5", "body")?;
    let said = trackpair(["compare", text(&one)?, text(&one)?])?;
    said.expect(0, &["0 of", "the verdict stays"]);
    Ok(())
}

#[test]
fn what_can_not_be_compared_is_refused_by_name() -> Result<()> {
    let folder = tempdir()?;
    let archive = folder.path().join("archive");
    let grip = kept(&archive, "sim:good-grip", "g")?;
    let body = kept(&archive, "sim:good-body", "b")?;
    trackpair(["compare", text(&grip)?, text(&body)?])?.expect(2, &["is a grip and", "is a body"]);
    trackpair(["compare", text(&grip)?])?.expect(2, &["one record alone can't be compared"]);
    trackpair(["compare", text(&grip)?, "no-such", "--archive", text(&archive)?])?
        .expect(2, &["no record \"no-such\""]);
    let empty = folder.path().join("empty");
    fs::create_dir(&empty)?;
    trackpair(["compare", text(&grip)?, text(&empty)?])?
        .expect(2, &["holds no outcome.json", "judge it first"]);
    let broken = folder.path().join("outcome.json");
    fs::write(&broken, "{\"schema\": 99}")?;
    trackpair(["compare", text(&grip)?, text(&broken)?])?.expect(2, &["outcome.json", "schema 99"]);
    trackpair(["compare", text(&grip)?, text(&grip)?, "--trend"])?.expect(2, &["three records"]);
    Ok(())
}

#[test]
fn good_parts_give_limits_that_are_a_sheet_and_hold_for_them() -> Result<()> {
    let folder = tempdir()?;
    let archive = folder.path().join("archive");
    for seed in 1..=12 {
        kept(&archive, &format!("sim:good-grip?seed={seed}"), &format!("grip {seed}"))?;
    }
    let worn = kept(&archive, "sim:worn-grip?seed=4", "worn")?;
    let sheet = folder.path().join("mine.toml");
    let limits = ["population", "limits", text(&archive)?];
    trackpair(limits)?.expect(0, &["Proposed", "factor", "its verdict is outside"]);
    assert!(!sheet.exists(), "a sheet is written on request alone");
    trackpair([&limits[..], &["--write-sheet", text(&sheet)?]].concat())?.expect(0, &["written to"]);
    trackpair(["sheet", "check", text(&sheet)?])?.expect(0, &["grip-complementary-from-12-parts"]);
    let written = fs::read_to_string(&sheet)?;
    for words in
        ["coverage 0.95, confidence 0.95, of 12 good SIMULATED parts", "grip-12", "one-sided", "two-sided"]
    {
        assert!(written.contains(words), "{words}");
    }
    // What was there is not touched, whatever is asked.
    trackpair([&limits[..], &["--write-sheet", text(&sheet)?]].concat())?.expect(2, &["never overwritten"]);
    assert_eq!(fs::read_to_string(&sheet)?, written);
    // Judged by limits that they gave themselves, the parts lie inside or in the guard band.
    let said = trackpair([
        "rejudge",
        "--part",
        "grip",
        "--sheet",
        text(&sheet)?,
        "--dry-run",
        "--json",
        "--archive",
        text(&archive)?,
    ])?;
    let document: Value = serde_json::from_str(&said.out)?;
    assert_eq!(document["judged"], 12);
    let differing = document["differing"].as_array().context("a list")?;
    assert!(differing.iter().all(|d| d["after"] != "outside"), "{differing:?}");
    // The worn one among them.
    let among = trackpair(["compare", text(&worn)?, "--others", text(&archive)?])?;
    among.expect(0, &["AMONG ITS KIND", "it is the part itself", "others 12"]);

    trackpair([&limits[..], &["--coverage", "1.5"]].concat())?.expect(2, &["coverage 1.5 is not possible"]);
    trackpair(["population", "limits", text(&worn)?])?.expect(2, &["10 at least"]);
    Ok(())
}

#[test]
fn a_shelf_of_both_kinds_leaves_the_other_kind_out_and_counts_it() -> Result<()> {
    let folder = tempdir()?;
    let archive = folder.path().join("archive");
    for seed in 1..=4 {
        kept(&archive, &format!("sim:good-grip?seed={seed}"), &format!("grip {seed}"))?;
    }
    let part = kept(&archive, "sim:good-grip?seed=9", "the one")?;
    for seed in 1..=2 {
        kept(&archive, &format!("sim:good-body?seed={seed}"), &format!("body {seed}"))?;
    }
    let said = trackpair(["compare", text(&part)?, "--others", text(&archive)?, "--json"])?;
    let document: Value = serde_json::from_str(&said.out).with_context(|| said.err.clone())?;
    assert_eq!(document["population"].as_array().map(Vec::len), Some(4));
    let left_out = document["left_out"].as_array().context("a list")?;
    let others = left_out
        .iter()
        .filter(|l| l["why"].as_str().is_some_and(|w| w.contains("another kind of part: body")));
    assert_eq!(others.count(), 2, "{left_out:?}");
    // A shelf that holds none of its kind is the wrong one.
    let bodies = folder.path().join("bodies");
    kept(&bodies, "sim:good-body?seed=3", "body")?;
    let wrong = trackpair(["compare", text(&part)?, "--others", text(&bodies)?])?;
    assert_eq!(wrong.code, Some(2), "{}", wrong.out);
    Ok(())
}
