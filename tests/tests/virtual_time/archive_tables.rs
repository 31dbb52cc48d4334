//! Every column of an archive's traces and every export of it as other programs read them, over two months, held against the outcomes by
//! a script with no code in common; that a missing trace is noticed.

use anyhow::{Context, Result, ensure};
use std::ffi::OsStr;
use std::path::Path;
use std::process::Command;
use tempfile::{TempDir, tempdir};
use trackpair::record::{Archive, trace_from_parquet};
use trackpair_tests::cli::{record_folders, trackpair};
use trackpair_tests::programs;

/// Grips and a body, two months, a record that was judged twice, and words that a spreadsheet would carry out.
fn archive() -> Result<TempDir> {
    let archive = tempdir()?;
    let place = archive.path().to_str().context("text")?;
    let jobs = [
        ("qualify", "sim:good-grip?seed=1", "shelf 1"),
        ("qualify", "sim:worn-grip?seed=2", "=1+1;\"ü\",\r\nshelf"),
        ("procedure self-check", "sim:good-grip?seed=3", "shelf 3"),
        ("qualify", "sim:good-body?seed=1", "body"),
    ];
    for (command, rig, part) in jobs {
        trackpair(command.split(' ').chain(["--rig", rig, "--part", part, "--archive", place]))?;
    }
    ensure!(record_folders(archive.path()).len() == jobs.len(), "every job leaves a record");
    another_month(archive.path())?;
    trackpair(["rejudge", "--part", "shelf 1", "--archive", place])?.expect(0, &[]);
    Ok(archive)
}

/// The worn grip's sweep once more, as if it had been recorded in another month.
fn another_month(archive: &Path) -> Result<()> {
    let opened = Archive::open(archive)?;
    let worn = opened.find(&Default::default())?.into_iter().find(|r| r.label.starts_with('='));
    let worn = opened.record(&worn.context("the worn grip")?.record)?;
    let sweep = worn.traces.iter().find(|t| t.procedure == "sweep").context("a sweep")?;
    let mut trace = trace_from_parquet(std::fs::read(archive.join(&sweep.file))?)?;
    let (label, begun) = ("earlier", "2026-03-01T10:00:00Z");
    (trace.provenance.part, trace.provenance.started) = (label.to_owned(), begun.to_owned());
    let mut earlier = opened.begin_record(label, begun)?;
    earlier.store_trace(&trace)?;
    let name = earlier.record().to_owned();
    trackpair([OsStr::new("rejudge"), name.as_ref(), "--archive".as_ref(), archive.as_ref()])?.expect(0, &[]);
    Ok(())
}

/// What the script says.
fn python(arguments: &[&Path]) -> Result<String> {
    let script = programs::repository().join("tests/python/archive_tables.py");
    let output = Command::new(programs::python()?).arg(script).args(arguments).output()?;
    let complaint = String::from_utf8_lossy(&output.stderr);
    ensure!(output.status.success(), "{complaint}");
    Ok(String::from_utf8(output.stdout)?)
}

fn export(archive: &Path, what: &str, format: &str, folder: &Path) -> Result<()> {
    let file = folder.join(format!("{what}.{format}"));
    let (archive, file) = (archive.to_str().context("text")?, file.to_str().context("text")?);
    let arguments = ["--what", what, "--format", format, "--out", file, "--archive", archive];
    trackpair([&["records", "export"][..], &arguments].concat())?.expect(0, &["rows"]);
    Ok(())
}

/// The page's question to an export, word for word.
fn question() -> Result<String> {
    let page = std::fs::read_to_string(programs::repository().join("docs/ARCHIVE.md"))?;
    let blocks = page.split("```sql\n").skip(1).filter_map(|rest| rest.split_once("```"));
    let asked: Vec<&str> =
        blocks.map(|(sql, _)| sql).filter(|sql| sql.contains("FROM 'figures.parquet'")).collect();
    ensure!(asked.len() == 1, "one question to an export is expected: {asked:?}");
    Ok(asked[0].to_owned())
}

#[test]
fn duckdb_polars_and_pandas_agree_on_every_column_of_the_traces_and_on_every_export() -> Result<()> {
    let (archive, folder) = (archive()?, tempdir()?);
    let said = python(&["traces".as_ref(), archive.path()])?;
    ensure!(said.contains("alike in DuckDB, polars, pandas"), "{said}");
    for what in ["records", "figures", "findings"] {
        for format in ["csv", "json", "parquet"] {
            export(archive.path(), what, format, folder.path())?;
        }
    }
    let said = python(&["exports".as_ref(), archive.path(), folder.path()])?;
    ensure!(said.contains("5 records and their exports, alike in DuckDB, polars, pandas"), "{said}");
    Ok(())
}

#[test]
fn the_readmes_question_to_an_export_is_answered_as_the_outcomes_answer_it() -> Result<()> {
    let (archive, folder) = (archive()?, tempdir()?);
    export(archive.path(), "figures", "parquet", folder.path())?;
    let [figures, asked] = ["figures.parquet", "question.sql"].map(|name| folder.path().join(name));
    std::fs::write(&asked, question()?)?;
    let said = python(&["question".as_ref(), archive.path(), &figures, &asked])?;
    ensure!(said.contains("('grip', '2026-03', 1,"), "{said}");
    Ok(())
}

#[test]
fn a_trace_that_is_missing_from_the_tree_is_noticed() -> Result<()> {
    let archive = archive()?;
    let opened = Archive::open(archive.path())?;
    let first = opened.find(&Default::default())?.remove(0);
    let record = opened.record(&first.record)?;
    std::fs::remove_file(archive.path().join(&record.traces[0].file))?;
    let complaint = python(&["traces".as_ref(), archive.path()]).expect_err("a trace is missing").to_string();
    ensure!(complaint.contains("DuckDB") && complaint.contains("are not"), "{complaint}");
    Ok(())
}
