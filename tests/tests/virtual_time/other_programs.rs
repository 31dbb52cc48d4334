//! What other programs make of what is stored: JSON Schema, Parquet readers, an HTML parser, and an independent reading of the
//! figures in numpy and scipy, all in Python and with no code in common.

use anyhow::{Context, Result, ensure};
use std::path::Path;
use std::process::Command;
use tempfile::{TempDir, tempdir};
use trackpair_tests::cli::{Record, qualify};
use trackpair_tests::programs;

/// A record and the archive that holds it.
fn record(rig: &str, more: &[&str]) -> Result<(TempDir, Record)> {
    let archive = tempdir()?;
    let record = qualify(rig, archive.path(), more)?;
    Ok((archive, record))
}

/// Runs a Python file of this folder's neighbour; what it says.
fn python(script: &str, arguments: &[&Path]) -> Result<String> {
    let script = programs::repository().join("tests/python").join(script);
    let output = Command::new(programs::python()?).arg(&script).args(arguments).output()?;
    let (said, complaint) =
        (String::from_utf8_lossy(&output.stdout), String::from_utf8_lossy(&output.stderr));
    ensure!(output.status.success(), "{} says:\n{said}{complaint}", script.display());
    Ok(said.into_owned())
}

/// The independent reading agrees on every figure that it knows.
#[track_caller]
fn check_figures(part: &str) {
    for seed in 1..=2 {
        let (_archive, record) = record(&format!("sim:{part}?seed={seed}"), &["--skip-leads"]).unwrap();
        let (trace, outcome) = (record.trace("sweep").unwrap(), record.folder.join("outcome.json"));
        let said = python("figures.py", &[&trace, &outcome]).unwrap_or_else(|e| panic!("{part} {seed}: {e}"));
        assert!(said.contains("0 of 20 figures disagree"), "{said}");
    }
}

#[test]
fn numpy_reads_the_same_figures_from_a_healthy_hall_grip() {
    check_figures("good-grip");
}

#[test]
fn numpy_reads_the_same_figures_from_a_healthy_potentiometer_grip() {
    check_figures("good-pot-grip");
}

#[test]
fn numpy_reads_the_same_figures_from_a_worn_grip() {
    check_figures("worn-grip");
}

#[test]
fn numpy_reads_the_same_figures_from_a_half_slope_grip() {
    check_figures("half-slope-grip");
}

#[test]
fn numpy_reads_the_same_figures_from_a_parallel_offset_grip() {
    check_figures("offset-grip");
}

#[test]
fn a_figure_that_is_wrong_is_a_disagreement() -> Result<()> {
    let (_archive, record) = record("sim:good-grip?seed=1", &["--skip-leads"])?;
    let mut wrong = record.outcome.clone();
    let figures = wrong["figures"].as_array_mut().context("figures")?;
    let span = figures.iter_mut().find(|f| f["figure"] == "span").context("a span")?;
    span["value"] = (span["value"].as_f64().context("a number")? + 0.01).into();
    let file = record.folder.join("wrong.json");
    std::fs::write(&file, wrong.to_string())?;
    let complaint = python("figures.py", &[&record.trace("sweep")?, &file]).expect_err("it must be found");
    ensure!(complaint.to_string().contains("1 of 20 figures disagree"), "{complaint}");
    Ok(())
}

/// Parts whose outcomes differ most in shape.
const SHAPES: [&str; 9] = [
    "worn-grip",
    "loose-connector-grip",
    "dead-channel-grip",
    "seized-grip",
    "corroded-ground-grip",
    "offset-grip",
    "good-body",
    "broken-spring-body",
    "torn-feedback-body",
];

#[test]
fn every_record_keeps_its_schema_opens_in_parquet_readers_and_its_report_parses() -> Result<()> {
    let schema = programs::repository().join("host/outcome/src/outcome/schema/outcome.schema.json");
    for part in SHAPES {
        let (_archive, record) = record(&format!("sim:{part}"), &["--part", "<b>&\"'</script>"])?;
        let said = python("readers.py", &[&schema, &record.folder])?;
        ensure!(said.contains("schema, report and"), "{part}: {said}");
    }
    Ok(())
}
