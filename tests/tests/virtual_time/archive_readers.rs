//! A whole archive, grips and throttle bodies together, read as one table by programs that know nothing of it.

use anyhow::{Context, Result, ensure};
use std::process::Command;
use tempfile::tempdir;
use trackpair_tests::cli::trackpair;
use trackpair_tests::programs;

#[test]
fn duckdb_polars_pandas_and_sqlite_read_the_archive_and_answer_the_readmes_questions() -> Result<()> {
    let folder = tempdir()?;
    let archive = folder.path().join("archive");
    let place = ["--archive", archive.to_str().context("text")?];
    let run = |arguments: &[&str]| trackpair([arguments, &place].concat());
    for (rig, code) in [
        ("sim:good-grip?seed=1", 0),
        ("sim:worn-grip?seed=2", 10),
        ("sim:half-slope-grip?seed=3", 0),
        ("sim:good-body?seed=1", 0),
    ] {
        run(&["qualify", "--rig", rig, "--part", "=1+1 <b>"])?.expect(code, &[]);
    }
    run(&["procedure", "self-check", "--rig", "sim:good-grip?seed=4"])?.expect(0, &[]);
    // A second outcome of one record: the last one counts.
    run(&["rejudge", "--verdict", "outside"])?.expect(0, &[]);
    let files = ["figures.parquet", "figures.csv"].map(|name| folder.path().join(name));
    for (file, format) in files.iter().zip(["parquet", "csv"]) {
        run(&[
            "records",
            "export",
            "--what",
            "figures",
            "--format",
            format,
            "--out",
            file.to_str().context("text")?,
        ])?
        .expect(0, &["rows"]);
    }
    let script = programs::repository().join("tests/python/archive_readers.py");
    let output = Command::new(programs::python()?)
        .arg(script)
        .args([&archive, &programs::repository().join("docs/ARCHIVE.md")])
        .args(&files)
        .output()?;
    let said =
        String::from_utf8_lossy(&output.stdout).into_owned() + &String::from_utf8_lossy(&output.stderr);
    ensure!(output.status.success() && said.contains("5 records, 23 procedures, 2 answers hold"), "{said}");
    Ok(())
}
