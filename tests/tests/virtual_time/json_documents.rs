//! What `--json` prints, by every command that takes it, against the schemas that `trackpair schema` prints, with an independent
//! validator. A command whose row is missing here is a failure.

use anyhow::{Context, Result, ensure};
use serde_json::Value;
use std::collections::BTreeSet;
use std::path::Path;
use std::process::Command;
use tempfile::tempdir;
use trackpair::cli::PUBLISHED;
use trackpair_tests::cli::{Said, record_folders, trackpair};
use trackpair_tests::programs;

/// A document's name, the command that prints it, what follows it, and its exit code.
type Row<'a> = (&'a str, &'a str, Vec<&'a str>, i32);

const GRIP: [&str; 3] = ["--rig", "sim:worn-grip", "--archive"];
/// A record of the stored archive.
const NAME: &str = "20261125-224148-invented-grip-1";
const BODY: [&str; 3] = ["--rig", "sim:good-body", "--archive"];

/// Copies a folder with all that is in it.
fn copy_folder(from: &Path, to: &Path) -> Result<()> {
    std::fs::create_dir_all(to)?;
    for path in std::fs::read_dir(from)?.map(|e| e.map(|e| e.path())).collect::<Result<Vec<_>, _>>()? {
        let target = to.join(path.file_name().context("a name")?);
        if path.is_dir() {
            copy_folder(&path, &target)?;
        } else {
            std::fs::copy(&path, target)?;
        }
    }
    Ok(())
}

/// Runs a row; the document that it printed.
fn printed(row: &Row<'_>) -> Result<Value> {
    let (name, command, more, code) = row;
    let arguments = command.split(' ').chain(["--json"]).chain(more.iter().copied());
    let said: Said = trackpair(arguments)?;
    said.expect(*code, &[]);
    serde_json::from_str(&said.out).with_context(|| format!("{command} prints no {name} but:\n{}", said.out))
}

#[test]
fn every_document_keeps_its_published_schema() -> Result<()> {
    let folder = tempdir()?;
    let archive = folder.path().join("archive");
    let archive = archive.to_str().context("a path of ASCII")?;
    let bad_sheet = folder.path().join("bad.toml");
    std::fs::write(&bad_sheet, "name = \"x\"\ntitel = \"x\"\n")?;
    let bad_sheet = bad_sheet.to_str().context("a path of ASCII")?;
    let damaged = folder.path().join("damaged");
    std::fs::create_dir(&damaged)?;
    std::fs::write(damaged.join("archive.sqlite"), "no database")?;
    let damaged = damaged.to_str().context("a path of ASCII")?;
    let good_sheet = programs::repository().join("host/model/src/sheet/sheets/body.toml");
    let good_sheet = good_sheet.to_str().context("a path of UTF-8")?;
    let stored = programs::repository().join("tests/data/records/note-1");
    let stored = stored.to_str().context("a path of UTF-8")?;
    let shelf = folder.path().join("shelf");
    for seed in 1..=10 {
        let rig = format!("sim:good-grip?seed={seed}");
        trackpair(["qualify", "--rig", &rig, "--archive", shelf.to_str().context("a path of ASCII")?])?;
    }
    let records = record_folders(&shelf);
    let shelf = shelf.to_str().context("a path of ASCII")?;
    let record = |k: usize| records.get(k).and_then(|r| r.to_str()).context("a record of ASCII");
    let with = |rig: [&'static str; 3], more: &[&'static str]| -> Vec<&str> {
        rig.into_iter().chain([archive]).chain(more.iter().copied()).collect()
    };
    let body = |procedure| ("outcome", procedure, with(BODY, &[]), 0);
    let mut rows: Vec<Row<'_>> = vec![
        ("outcome", "qualify", with(GRIP, &[]), 10),
        ("outcome", "qualify", with(BODY, &[]), 0),
        ("outcome", "qualify", vec!["--rig", "sim:good-grip", "--settle", "--archive", archive], 0),
        ("outcome", "procedure self-check", with(GRIP, &[]), 0),
        ("outcome", "procedure leads-check", with(GRIP, &[]), 0),
        ("outcome", "procedure hand-sweep", with(GRIP, &["--for", "4s"]), 11),
        ("outcome", "flex", with(GRIP, &["--for", "2s"]), 11),
        ("outcome", "warm-up", with(GRIP, &["--for", "6s"]), 11),
        ("outcome", "follow", vec!["--rig", "sim:good-grip+good-body", "--archive", archive], 0),
        ("outcome", "soak", with(GRIP, &["--for", "0.05h", "--every", "15s"]), 10),
        ("outcome", "procedure blip", with(BODY, &[]), 0),
        ("outcome", "procedure guided-push", with(BODY, &["--for", "4s"]), 11),
        ("outcome", "judge", vec![stored], 11),
        ("rigs", "rigs", vec!["--rig", "sim:good-grip", "--rig", "tcp:127.0.0.1:1"], 20),
        ("ping", "rigs", vec!["--rig", "sim:good-body", "--ping", "20"], 0),
        ("conformance", "rigs", vec!["--conform", "sim:good-body"], 0),
        ("sheets", "sheet list", vec![], 0),
        ("sheet_risks", "sheet show", vec!["body"], 0),
        ("sheet_risks", "sheet show", vec!["grip-complementary", "--records", shelf], 0),
        ("sheet_check", "sheet check", vec![good_sheet], 0),
        ("sheet_check", "sheet check", vec![bad_sheet], 2),
        ("population", "population show", vec!["shipped"], 0),
        ("changes", "compare", vec![record(0)?, record(1)?], 0),
        ("changes", "compare", vec![record(0)?, record(1)?, record(2)?, "--trend"], 0),
        ("standing", "compare", vec![record(0)?, "--others", shelf], 0),
        ("explanation", "explain", vec!["all", record(0)?], 0),
        ("proposal", "population limits", vec![shelf], 0),
        ("rejudged", "rejudge", vec!["--all", "--archive", shelf], 0),
        ("config", "config show", vec![], 0),
        ("setup", "check-setup", vec!["--rig", "sim:good-grip", "--archive", archive], 0),
        ("setup", "check-setup", vec!["--rig", "serial:/dev/none", "--archive", archive], 1),
        ("setup", "check-setup", vec!["--rig", "sim:good-grip", "--archive", damaged], 1),
    ];
    let fixture = programs::repository().join("tests/data/archives");
    let key = fixture.join("shop.pub");
    // A copy: opening brings it to the present schema.
    let sealed = folder.path().join("sealed");
    copy_folder(&fixture.join("schema-1"), &sealed)?;
    let sealed = sealed.to_str().context("UTF-8")?;
    let report = fixture.join("schema-1/records").join(NAME).join("report.html");
    let (key, report) = (key.to_str().context("UTF-8")?, report.to_str().context("UTF-8")?);
    rows.extend([
        ("records", "records list", vec!["--archive", archive], 0),
        ("records", "records list", vec!["--kind", "body", "--archive", archive], 0),
        ("record", "records show", vec![NAME, "--archive", sealed], 0),
        ("verification", "records verify", vec!["--archive", archive], 0),
        ("verification", "records verify", vec!["--archive", archive, "--key", key], 12),
        ("seal_check", "verify", vec![report, "--key", key], 0),
        ("seal_check", "verify", vec![good_sheet, "--key", key], 12),
    ]);
    trackpair(["case", "new", "--complaint", "limp-home", "--intake", "grip", "--archive", archive])?
        .expect(0, &[]);
    trackpair(["case", "note", "case-", "--words", "x", "--replugged", "grip", "--archive", archive])?
        .expect(0, &[]);
    let (check, reading) = (folder.path().join("check.json.stored"), "motor.bend.plus=flickers");
    let check = check.to_str().context("UTF-8")?;
    rows.extend([
        ("case", "case show", vec!["case-", "--archive", archive], 0),
        ("cases", "case list", vec!["--archive", archive], 0),
        ("matings", "matings", vec!["--archive", archive], 0),
        (
            "vehicle_check",
            "vehicle-check enter",
            vec!["--kind", "pair", "--reading", reading, "--out", check, "--archive", archive],
            10,
        ),
        ("vehicle_check", "vehicle-check show", vec![check], 10),
    ]);
    let (planned, study, known) =
        (folder.path().join("planned"), folder.path().join("study"), folder.path().join("known"));
    let [planned, study, known] =
        [planned.to_str(), study.to_str(), known.to_str()].map(|p| p.unwrap_or_default());
    let small = ["--part", "a", "--part", "b", "--mountings", "2", "--repeats", "2", "--seed", "1"];
    trackpair(["gauge", "plan", study].into_iter().chain(small))?.expect(0, &[]);
    let rigs = ["--rig-of", "a=sim:good-grip?seed=1", "--rig-of", "b=sim:good-grip?seed=2"];
    trackpair(["gauge", "run", study].into_iter().chain(rigs))?.expect(0, &[]);
    trackpair(["check-part", "register", known, "--rig", "sim:good-grip", "--sweeps", "10"])?.expect(0, &[]);
    rows.extend([
        ("gauge_plan", "gauge plan", [planned].into_iter().chain(small).collect(), 0),
        ("gauge_result", "gauge result", vec![study], 0),
        ("check_part", "check-part chart", vec![known], 0),
        ("check_part", "check-part sweep", vec![known], 0),
    ]);
    rows.extend(
        [
            "procedure rest",
            "procedure step",
            "procedure release",
            "procedure creep",
            "procedure lash",
            "procedure tooth-map",
        ]
        .map(body),
    );
    let known: BTreeSet<(&str, &str)> = rows.iter().map(|row| (row.0, row.1)).collect();
    let published = PUBLISHED.iter().flat_map(|p| p.printed_by.iter().map(|c| (p.name, *c)));
    assert_eq!(known, published.collect(), "every command that prints a document is run here");
    for (number, row) in rows.iter().enumerate() {
        std::fs::write(folder.path().join(format!("{}.{number}.json", row.0)), printed(row)?.to_string())?;
    }
    for name in PUBLISHED.map(|p| p.name) {
        let said = trackpair(["schema", name])?;
        said.expect(0, &[]);
        std::fs::write(folder.path().join(format!("{name}.schema.json")), &said.out)?;
    }
    let said = documents(folder.path())?;
    ensure!(said.contains(&format!("{} documents hold", rows.len())), "{said}");
    Ok(())
}

/// What the independent validator says of a folder.
fn documents(folder: &Path) -> Result<String> {
    let script = programs::repository().join("tests/python/documents.py");
    let output = Command::new(programs::python()?).arg(script).arg(folder).output()?;
    let said =
        String::from_utf8_lossy(&output.stdout).into_owned() + &String::from_utf8_lossy(&output.stderr);
    ensure!(output.status.success(), "{said}");
    Ok(said)
}

#[test]
fn a_document_that_breaks_its_schema_is_found() -> Result<()> {
    let folder = tempdir()?;
    std::fs::write(folder.path().join("sheets.schema.json"), &trackpair(["schema", "sheets"])?.out)?;
    let said = trackpair(["sheet", "list", "--json"])?;
    let mut document: Value = serde_json::from_str(&said.out)?;
    document["sheets"][0]["travel_deg"] = Value::from("far");
    std::fs::write(folder.path().join("sheets.1.json"), document.to_string())?;
    let complaint = documents(folder.path()).expect_err("a travel in words").to_string();
    ensure!(complaint.contains("ValidationError") && complaint.contains("'far'"), "{complaint}");
    Ok(())
}

#[test]
fn the_names_of_the_schemas_are_listed_and_another_is_refused() -> Result<()> {
    let listed = trackpair(["schema"])?;
    listed.expect(0, &PUBLISHED.map(|p| p.name));
    trackpair(["schema", "outcomes"])?.expect(2, &["no published document is named", "outcome, rigs"]);
    Ok(())
}
