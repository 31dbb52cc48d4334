//! A shop's own good bodies: learned from the records that the program keeps, shown, and judged among. Simulated rigs, virtual time.

use anyhow::{Context, Result};
use std::path::{Path, PathBuf};
use tempfile::tempdir;
use trackpair_tests::cli::{Record, Said, trackpair};
use trackpair_tests::parallel::on_all_cores;

/// Bodies that the population is learned from: a few more than the least.
const BODIES: u64 = 24;

/// A tooth map of a body, with its record in an archive of its own; the shipped sheet with fewer ramps and strokes.
fn tooth_map(rig: &str, archive: &Path, sheet: &Path, more: &[&str]) -> Result<Said> {
    let arguments =
        ["procedure", "tooth-map", "--rig", rig, "--archive", text(archive)?, "--sheet", text(sheet)?];
    let label = rig.replace("sim:good-body?seed=5", "good-");
    let arguments = [&arguments[..], &["--part", &label]].concat();
    trackpair([&arguments[..], more].concat())
}

/// The shipped sheet with fewer ramps and strokes: shorter, not another kind.
fn short_sheet(folder: &Path) -> Result<PathBuf> {
    let text = trackpair::sheet::shipped_text("body").context("a sheet for bodies ships")?;
    let short =
        text.replace("creep_cycles = 3", "creep_cycles = 1").replace("map_strokes = 8", "map_strokes = 3");
    let file = folder.join("short.toml");
    std::fs::write(&file, short)?;
    Ok(file)
}

#[test]
fn a_shop_learns_its_own_good_bodies_and_finds_a_worn_tooth_among_them() -> Result<()> {
    let folder = tempdir()?;
    let at = |name: &str| folder.path().join(name);
    let sheet = short_sheet(folder.path())?;
    let records: Vec<PathBuf> = on_all_cores(BODIES, |seed| -> Result<PathBuf> {
        let archive = at(&format!("good-{seed}"));
        let said = tooth_map(&format!("sim:good-body?seed={}", seed + 500), &archive, &sheet, &[])?;
        Ok(Record::only(&archive, said)?.folder)
    })
    .into_iter()
    .collect::<Result<_>>()?;

    // Of these a map is had from all but a grip's record and a folder that holds nothing.
    let grip = Record::only(
        &at("grip"),
        trackpair(["procedure", "self-check", "--rig", "sim:good-grip", "--archive", text(&at("grip"))?])?,
    )?;
    let file = at("mine.json");
    let of = |records: &[PathBuf]| -> Result<Said> {
        let mut arguments = vec!["population", "learn", "--sheet", text(&sheet)?, "--out", text(&file)?];
        for record in records {
            arguments.push(text(record)?);
        }
        trackpair(arguments)
    };
    of(&records[..5])?.expect(2, &["5 of 5 records", "5 bodies", "at least 20", "record more"]);
    assert!(!file.exists(), "nothing is written when nothing was learned");
    let all = [&records[..], &[records[0].clone(), grip.folder.clone(), at("nowhere")]].concat();
    let learned = of(&all)?;
    let words = [
        "24 of 27 records",
        "the same recording as",
        "no tooth map was recorded",
        "can't read",
        "not used: ",
        "its strokes fell short",
        "22 SIMULATED bodies of the kind body",
        "--population",
    ];
    learned.expect(0, &words);
    trackpair(["population", "show", text(&file)?])?
        .expect(0, &["22 SIMULATED bodies", "good-23", "threshold", "places above rest"]);
    trackpair(["population", "show", "shipped"])?.expect(0, &["SIMULATED bodies of the kind body"]);

    let archive = at("worn");
    let among = ["--population", text(&file)?];
    let said = tooth_map("sim:missing-tooth-body", &archive, &sheet, &among)?;
    let worn = Record::only(&archive, said)?;
    worn.said.expect(10, &["Missing tooth"]);
    let named = worn.outcome["versions"]["population"].as_str().unwrap_or_default();
    assert!(named.starts_with("22 SIMULATED bodies"), "{named}");
    // Judged again without it, the shipped ones are named.
    let again = trackpair(["judge", text(&worn.folder)?, "--sheet", text(&sheet)?, "--json"])?;
    let again: serde_json::Value = serde_json::from_str(&again.out)?;
    let named = again["versions"]["population"].as_str().unwrap_or_default();
    assert!(named.contains("SIMULATED bodies") && !named.starts_with("22 "), "{named}");

    trackpair(["judge", text(&grip.folder)?, "--population", text(&file)?])?
        .expect(2, &["--population is for throttle bodies", "leave it out"]);
    Ok(())
}

#[test]
fn a_population_that_is_none_is_refused_before_anything_is_driven() -> Result<()> {
    let folder = tempdir()?;
    let file = folder.path().join("no.json");
    std::fs::write(&file, "{}")?;
    for (file, word) in [(file.as_path(), "not a population file"), (Path::new("nowhere.json"), "can't read")]
    {
        let archive = folder.path().join("archive");
        let arguments = ["qualify", "--rig", "sim:good-body", "--archive", text(&archive)?, "--population"];
        trackpair([&arguments[..], &[text(file)?]].concat())?
            .expect(2, &[word, "trackpair population learn"]);
        assert!(!archive.exists(), "nothing was recorded");
    }
    trackpair(["population", "learn", "--sheet", "grip-half-slope", "--out", "x", "y"])?
        .expect(2, &["grip-half-slope is the sheet of a", "body"]);
    Ok(())
}

fn text(path: &Path) -> Result<&str> {
    path.to_str().context("the path is not a text")
}
