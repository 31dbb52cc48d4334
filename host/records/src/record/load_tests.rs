//! What a path may hold.

use super::*;
use crate::record::Archive;
use crate::record::parquet_file::tests::{invented, same};
use crate::record::parquet_file::trace_to_parquet;

fn options() -> CsvOptions {
    CsvOptions { map: Some("rising=r,supply=s".to_owned()), ..CsvOptions::default() }
}

#[track_caller]
fn refused(path: &Path, words: &[&str]) {
    let error = load_traces(path, &options()).expect_err("it must be refused").to_string();
    for word in words {
        assert!(error.contains(word), "{word:?} is not in: {error}");
    }
}

#[test]
fn a_record_folder_gives_its_traces_in_the_order_of_recording() {
    let dir = tempfile::tempdir().unwrap();
    let mut folder = Archive::open(dir.path()).unwrap().begin_record("p", "2026-01-31T14:05:06Z").unwrap();
    for rows in 1..=11 {
        folder.store_trace(&invented(rows)).unwrap();
    }
    let loaded = load_traces(&folder.path(), &options()).unwrap();
    assert_eq!(loaded.traces.iter().map(|t| t.trace.len()).collect::<Vec<_>>(), (1..=11).collect::<Vec<_>>());
    assert!(loaded.traces[10].file.as_ref().unwrap().ends_with("trace-11-sweep.parquet"));
    refused(dir.path(), &["holds no trace"]);
    fs::write(folder.path().join("outcome.json"), "{}").unwrap();
    refused(&folder.path().join("outcome.json"), &["holds JSON", "folder"]);
}

#[test]
fn a_folder_of_an_earlier_program_gives_the_traces_that_lie_in_it() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../tests/data/records/note-1");
    let loaded = load_traces(&folder, &options()).unwrap();
    assert_eq!(loaded.traces.iter().map(|t| t.trace.len()).collect::<Vec<_>>(), [66, 433]);
}

#[test]
fn content_tells_parquet_from_csv_whatever_the_name() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("trace.csv");
    fs::write(&path, trace_to_parquet(&invented(5)).unwrap()).unwrap();
    same(&load_traces(&path, &options()).unwrap().traces[0].trace, &invented(5));
    let path = dir.path().join("log.dat");
    fs::write(&path, "r,s\n1,5\n2,5\n").unwrap();
    let loaded = load_traces(&path, &options()).unwrap();
    assert_eq!((loaded.traces[0].trace.len(), loaded.traces[0].file.as_deref()), (2, None));
    assert_eq!(loaded.traces[0].trace.provenance.file.as_deref(), Some("log.dat"));
    assert!(loaded.warnings.contains(&CsvWarning::TimeUnknown));
}

#[test]
fn what_cannot_be_read_is_named_with_its_path() {
    let dir = tempfile::tempdir().unwrap();
    refused(&dir.path().join("absent.csv"), &["can't read", "absent.csv"]);
    let path = dir.path().join("cut.parquet");
    let bytes = trace_to_parquet(&invented(500)).unwrap();
    fs::write(&path, &bytes[..bytes.len() / 2]).unwrap();
    refused(&path, &["cut.parquet", "cut short"]);
    fs::write(&path, b"").unwrap();
    refused(&path, &["cut.parquet", "cut short"]);
    let path = dir.path().join("bad.csv");
    fs::write(&path, "r,q,s\n1,0,x\n2,0,y\n3,0,z\n").unwrap();
    refused(&path, &["bad.csv", "line 2", "supply"]);
}
