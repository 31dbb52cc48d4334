//! Folders for hostile names, files that are whole or absent, and places that can't be written.

use super::*;
use crate::record::parquet_file::tests::{invented, same};
use crate::record::trace_from_parquet;

#[track_caller]
fn name_of(folder: &RecordFolder) -> String {
    folder.path().file_name().unwrap().to_str().unwrap().to_owned()
}

#[test]
fn a_record_gets_a_folder_of_date_and_words_and_a_second_one_its_own() {
    let dir = tempfile::tempdir().unwrap();
    let archive = Archive::open(dir.path()).unwrap();
    let first = archive.begin_record("Grip 12/B, \"worn\"", "2026-01-31T14:05:06+01:00").unwrap();
    assert_eq!(name_of(&first), "20260131-140506-grip-12-b-worn");
    let second = archive.begin_record("Grip 12/B, \"worn\"", "2026-01-31T14:05:06+01:00").unwrap();
    assert_eq!(name_of(&second), "20260131-140506-grip-12-b-worn-2");
}

#[test]
fn hostile_words_stay_inside_the_archive() {
    let dir = tempfile::tempdir().unwrap();
    let archive = Archive::open(dir.path()).unwrap();
    let long = "x".repeat(10_000);
    for label in
        ["../../etc", "/", "..", ".", "", "\0", "a\nb", "CON", "<script>", "\u{202e}evil", &long, "ünïcode"]
    {
        for started in ["2026-01-31T14:05:06Z", "", "../x", "not a date 1"] {
            let folder = archive.begin_record(label, started).unwrap_or_else(|e| panic!("{label:?}: {e}"));
            assert_eq!(folder.path().parent(), Some(dir.path()), "{label:?}");
            assert!(name_of(&folder).len() < 200 && !name_of(&folder).starts_with('.'), "{label:?}");
        }
    }
}

#[test]
fn stored_files_are_whole_numbered_and_never_overwritten() {
    let dir = tempfile::tempdir().unwrap();
    let mut folder = Archive::open(dir.path()).unwrap().begin_record("p", "2026-01-31T14:05:06Z").unwrap();
    let trace = invented(100);
    assert_eq!(folder.store_trace(&trace).unwrap(), "trace-1-sweep.parquet");
    assert_eq!(folder.store_trace(&trace).unwrap(), "trace-2-sweep.parquet");
    let bytes = fs::read(folder.path().join("trace-2-sweep.parquet")).unwrap();
    same(&trace_from_parquet(bytes).unwrap(), &trace);
    folder.store("outcome.json", b"{}").unwrap();
    let error = folder.store("outcome.json", b"other").unwrap_err();
    assert!(error.to_string().contains("never overwritten"), "{error}");
    assert_eq!(fs::read(folder.path().join("outcome.json")).unwrap(), b"{}");
    let names: Vec<_> = fs::read_dir(folder.path()).unwrap().map(|e| e.unwrap().file_name()).collect();
    assert!(names.iter().all(|n| !n.to_str().unwrap().starts_with('.')), "{names:?}");
}

#[test]
fn a_file_in_the_place_of_the_folder_is_named_and_another_place_is_taken() {
    let dir = tempfile::tempdir().unwrap();
    let file = dir.path().join("archive");
    fs::write(&file, b"in the way").unwrap();
    let error = Archive::open(&file).unwrap_err().to_string();
    assert!(error.contains("a file in the place of the folder") && error.contains("--archive"), "{error}");
    let (archive, warning) = Archive::open_or_fallback(Some(&file)).unwrap();
    let warning = warning.unwrap();
    assert_eq!(archive.dir(), warning.instead);
    assert!(warning.to_string().contains("is kept in"), "{warning}");
    let (archive, warning) = Archive::open_or_fallback(Some(dir.path())).unwrap();
    assert!(warning.is_none() && archive.dir() == dir.path());
}

#[test]
fn a_record_whose_folder_is_gone_says_so_and_can_be_kept_elsewhere() {
    let dir = tempfile::tempdir().unwrap();
    let mut folder = Archive::open(dir.path()).unwrap().begin_record("p", "2026-01-31T14:05:06Z").unwrap();
    fs::remove_dir_all(folder.path()).unwrap();
    let trace = invented(10);
    let error = folder.store_trace(&trace).unwrap_err().to_string();
    assert!(error.contains("does not exist") && error.contains("trace-1-sweep.parquet"), "{error}");
    let mut other = Archive::open(dir.path()).unwrap().begin_record("p", "2026-01-31T14:05:06Z").unwrap();
    assert_eq!(other.store_trace(&trace).unwrap(), "trace-1-sweep.parquet");
}

#[cfg(target_os = "linux")]
#[test]
fn a_full_disk_is_told_as_one() {
    // Linux: every write to /dev/full fails as on a full disk.
    let full = fs::OpenOptions::new().write(true).open("/dev/full").unwrap();
    let cause = fill(full, b"bytes").unwrap_err();
    let error = ArchiveError::File { path: "x".into(), cause }.to_string();
    assert!(error.contains("no space is left"), "{error}");
}

#[test]
fn a_read_only_place_is_told_as_one() {
    let error = ArchiveError::Folder { path: "x".into(), cause: io::ErrorKind::ReadOnlyFilesystem.into() };
    assert!(error.to_string().contains("it is read-only"), "{error}");
    let error = ArchiveError::Folder { path: "x".into(), cause: io::ErrorKind::PermissionDenied.into() };
    assert!(error.to_string().contains("not allowed"), "{error}");
}
