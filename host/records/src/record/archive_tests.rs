//! Folders for hostile names, files that are whole or absent, and places that can't be written.

use super::*;
use crate::outcome::{Stamp, empty_slot};
use crate::quantity::PartKind;
use crate::record::folder::{Document, Sealing};
use crate::record::index::RecordState;
use crate::record::parquet_file::tests::{invented, same};
use crate::record::seal::{PublicKey, ShopKey, check_document};
use crate::record::verify::{Expected, verify};
use crate::record::whole_file::fill;

/// An outcome of a worn grip that an earlier program stored.
fn worn() -> Outcome {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/../../tests/data/outcomes/outcome-schema-1.json");
    Outcome::from_json(&fs::read_to_string(path).unwrap()).unwrap()
}

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
    for label in [
        "../../etc",
        "/",
        "..",
        ".",
        "",
        "\0",
        "a\nb",
        "CON",
        "<script>",
        "\u{202e}evil",
        &long,
        "ünïcode",
        "a=b'c",
    ] {
        for started in ["2026-01-31T14:05:06Z", "", "../x", "not a date 1"] {
            let folder = archive.begin_record(label, started).unwrap_or_else(|e| panic!("{label:?}: {e}"));
            assert_eq!(folder.path().parent(), Some(dir.path().join("records").as_path()), "{label:?}");
            assert!(name_of(&folder).len() < 200 && !name_of(&folder).starts_with('.'), "{label:?}");
            assert!(!name_of(&folder).contains(['=', '\'', '/']), "{label:?}");
        }
    }
}

const NOW: &str = "2026-01-31T14:09:00+01:00";

fn key() -> ShopKey {
    ShopKey::from_seed(&[3; 32])
}

fn sealing(key: &ShopKey) -> Sealing<'_> {
    Sealing { key: Some(key), date: NOW }
}

fn page(stamp: Option<&Stamp>) -> Vec<Document> {
    let slot = stamp.map(|_| empty_slot()).unwrap_or_default();
    let print = stamp.map(|s| s.fingerprint.clone()).unwrap_or_default();
    vec![Document { stem: "report", ending: "html", bytes: format!("<p>{print}{slot}</p>").into_bytes() }]
}

/// An archive with one record of two traces and an outcome.
fn kept(dir: &Path, label: &str) -> (Archive, StoredRecord) {
    let archive = Archive::open(dir).unwrap();
    let mut folder = archive.begin_record(label, "2026-01-31T14:05:06Z").unwrap();
    folder.store_trace(&invented(100)).unwrap();
    folder.store_trace(&invented(7)).unwrap();
    let done = folder.conclude(&worn(), sealing(&key()), page).unwrap();
    assert!(done.number == 1 && done.warnings.is_empty(), "{done:?}");
    let record = archive.record(folder.record()).unwrap();
    (archive, record)
}

#[test]
fn a_record_is_found_read_and_sealed() {
    let dir = tempfile::tempdir().unwrap();
    let (archive, record) = kept(dir.path(), "Grip 12/B");
    assert_eq!(record.summary.record, "20260131-140506-grip-12-b");
    assert_eq!(
        (record.summary.state, record.summary.traces, record.summary.outcomes),
        (RecordState::Sealed, 2, 1)
    );
    assert_eq!(record.summary.verdict.as_deref(), Some("outside"));
    assert_eq!(
        record.traces[1].file,
        "traces/kind=grip/month=2026-01/procedure=sweep/record=20260131-140506-grip-12-b/trace-2-sweep.parquet"
    );
    let traces = archive.traces(&record).unwrap();
    same(&traces[0].trace, &invented(100));
    same(&traces[1].trace, &invented(7));
    assert_eq!(archive.outcome(&record, None).unwrap(), worn());
    let page = fs::read(dir.path().join("records/20260131-140506-grip-12-b/report.html")).unwrap();
    let seal = check_document(&page).unwrap();
    assert_eq!(seal.fingerprint, record.seals[0].seal.fingerprint);
    assert!(matches!(archive.record("none"), Err(ArchiveError::NoRecord { .. })));
    assert!(matches!(
        archive.outcome(&record, Some(2)),
        Err(ArchiveError::NoOutcome { number: 2, count: 1, .. })
    ));
}

#[test]
fn a_second_outcome_stands_beside_the_first_and_names_it_as_its_predecessor() {
    let dir = tempfile::tempdir().unwrap();
    let (archive, record) = kept(dir.path(), "p");
    let done = archive.reopen(&record).conclude(&worn(), sealing(&key()), page).unwrap();
    assert_eq!(done.number, 2);
    let again = archive.record(&record.summary.record).unwrap();
    assert_eq!(again.outcomes.len(), 2);
    assert_eq!(again.seals[1].previous.as_ref(), Some(&record.seals[0].seal.fingerprint));
    let manifest = again.seals[1].seal.open().unwrap();
    assert_eq!((manifest.sequence, manifest.files.len()), (2, 3));
    assert!(dir.path().join(&again.outcomes[1].file).ends_with("outcome-2.json"));
}

#[test]
fn questions_find_what_they_ask_for_and_nothing_else() {
    let dir = tempfile::tempdir().unwrap();
    let (archive, _) = kept(dir.path(), "Grip 12/B");
    archive.begin_record("later", "2026-03-01T00:00:00Z").unwrap().store_trace(&invented(5)).unwrap();
    let count = |query: Query| archive.find(&query).unwrap().len();
    let some = |text: &str| Some(text.to_owned());
    assert_eq!(count(Query::default()), 2);
    assert_eq!(count(Query { part: some("grip"), ..Query::default() }), 1);
    assert_eq!(count(Query { part: some("%"), ..Query::default() }), 0);
    assert_eq!(count(Query { from: some("2026-02"), ..Query::default() }), 1);
    assert_eq!(count(Query { to: some("2026-01-31"), ..Query::default() }), 1);
    assert_eq!(count(Query { from: some("2026-01"), to: some("2026"), ..Query::default() }), 2);
    assert_eq!(count(Query { verdict: some("outside"), ..Query::default() }), 1);
    assert_eq!(count(Query { finding: some("flat_spot"), ..Query::default() }), 1);
    assert_eq!(count(Query { kind: Some(PartKind::Body), ..Query::default() }), 0);
    assert_eq!(count(Query { simulated: Some(true), ..Query::default() }), 2);
    let unfinished = archive.find(&Query { part: some("later"), ..Query::default() }).unwrap();
    assert_eq!(unfinished[0].state, RecordState::Unfinished);
}

#[test]
fn a_record_without_a_key_is_kept_unsealed() {
    let dir = tempfile::tempdir().unwrap();
    let archive = Archive::open(dir.path()).unwrap();
    let mut folder = archive.begin_record("p", NOW).unwrap();
    folder.store_trace(&invented(5)).unwrap();
    let done = folder.conclude(&worn(), Sealing { key: None, date: NOW }, page).unwrap();
    assert_eq!(done.fingerprint, None);
    let record = archive.record(folder.record()).unwrap();
    assert_eq!((record.summary.state, record.seals.len()), (RecordState::Unsealed, 0));
}

#[test]
fn a_clock_that_was_set_back_is_told_and_the_order_kept() {
    let dir = tempfile::tempdir().unwrap();
    let (archive, record) = kept(dir.path(), "p");
    let earlier = Sealing { key: Some(&key()), date: "2025-12-31T00:00:00Z" };
    let done = archive.reopen(&record).conclude(&worn(), earlier, page).unwrap();
    assert!(done.warnings.len() == 1 && done.warnings[0].contains("set back"), "{:?}", done.warnings);
    assert_eq!(archive.index().unwrap().seals().unwrap()[1].sequence, 2);
}

#[test]
fn a_swapped_and_a_missing_trace_are_told_by_name() {
    let dir = tempfile::tempdir().unwrap();
    let (archive, record) = kept(dir.path(), "p");
    let path = |k: usize| dir.path().join(&record.traces[k].file);
    fs::copy(path(1), path(0)).unwrap();
    let error = archive.traces(&record).unwrap_err().to_string();
    assert!(error.contains("trace-1-sweep.parquet") && error.contains("swapped"), "{error}");
    fs::remove_file(path(0)).unwrap();
    let error = archive.traces(&record).unwrap_err().to_string();
    assert!(error.contains("trace-1-sweep.parquet") && error.contains("can't read"), "{error}");
}

#[test]
fn what_a_killed_program_left_is_replaced_and_never_counts() {
    let dir = tempfile::tempdir().unwrap();
    let archive = Archive::open(dir.path()).unwrap();
    let mut folder = archive.begin_record("p", NOW).unwrap();
    folder.store_trace(&invented(5)).unwrap();
    fs::write(folder.path().join("outcome.json"), b"half").unwrap();
    assert_eq!(archive.record(folder.record()).unwrap().summary.state, RecordState::Unfinished);
    folder.conclude(&worn(), sealing(&key()), page).unwrap();
    let record = archive.record(folder.record()).unwrap();
    assert_eq!(archive.outcome(&record, None).unwrap(), worn());
    let names: Vec<_> = fs::read_dir(folder.path()).unwrap().map(|e| e.unwrap().file_name()).collect();
    assert!(names.iter().all(|n| !n.to_str().unwrap().starts_with('.')), "{names:?}");
}

/// Copies a folder with all that is in it.
fn copy_folder(from: &Path, to: &Path) {
    fs::create_dir_all(to).unwrap();
    for entry in fs::read_dir(from).unwrap().map(Result::unwrap) {
        let target = to.join(entry.file_name());
        if entry.path().is_dir() {
            copy_folder(&entry.path(), &target);
        } else {
            fs::copy(entry.path(), target).unwrap();
        }
    }
}

#[test]
fn archives_of_earlier_schemas_are_brought_to_the_present_one_and_still_are_what_was_kept() {
    for (folder, key) in [("schema-1", "shop.pub"), ("schema-2", "shop-2.pub"), ("schema-3", "shop-3.pub")] {
        earlier_archive_goes_on(folder, key);
    }
}

fn earlier_archive_goes_on(folder: &str, key_file: &str) {
    let data = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../tests/data/archives");
    let dir = tempfile::tempdir().unwrap();
    copy_folder(&data.join(folder), dir.path());
    let archive = Archive::open_to_read(dir.path()).unwrap();
    let records = archive.find(&Query::default()).unwrap();
    assert_eq!(records.len(), 2);
    for summary in &records {
        assert_eq!((summary.state, summary.grade.as_deref()), (RecordState::Sealed, None));
        let record = archive.record(&summary.record).unwrap();
        assert_eq!(archive.traces(&record).unwrap().len(), 2);
        assert_eq!(archive.outcome(&record, None).unwrap().part.label, "an invented grip");
    }
    let key = PublicKey::load(data.join(key_file).to_str().unwrap()).unwrap();
    let found = verify(&archive, &Expected { keys: vec![key], fingerprint: None }).unwrap();
    assert_eq!((found.problems, found.seals), (vec![], 2));
    // And it goes on.
    let record = archive.record(&records[0].record).unwrap();
    archive.reopen(&record).conclude(&worn(), sealing(&self::key()), page).unwrap();
    assert_eq!(archive.index().unwrap().seals().unwrap().len(), 3);
}

#[test]
fn a_record_is_found_by_a_part_of_its_name_that_no_other_has() {
    let dir = tempfile::tempdir().unwrap();
    let (archive, record) = kept(dir.path(), "blue grip");
    kept(dir.path(), "red grip");
    assert_eq!(archive.record("blue").unwrap(), record);
    assert!(matches!(archive.record("grip"), Err(ArchiveError::SeveralRecords { count: 2, .. })));
    assert!(matches!(archive.record("green"), Err(ArchiveError::NoRecord { .. })));
    assert!(matches!(archive.record(""), Err(ArchiveError::NoRecord { .. })));
}

#[test]
fn an_archive_that_can_only_be_read_is_read() {
    let dir = tempfile::tempdir().unwrap();
    let (_, record) = kept(dir.path(), "p");
    let copy = tempfile::tempdir().unwrap();
    fs::copy(dir.path().join(INDEX_FILE), copy.path().join(INDEX_FILE)).unwrap();
    let archive = Archive::open_to_read(copy.path()).unwrap();
    assert_eq!(archive.record(&record.summary.record).unwrap().summary, record.summary);
    assert!(Archive::open_to_read(&copy.path().join("none")).unwrap_err().to_string().contains("no archive"));
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
fn a_trace_whose_place_is_taken_says_so_and_can_be_kept_elsewhere() {
    let dir = tempfile::tempdir().unwrap();
    let mut folder = Archive::open(dir.path()).unwrap().begin_record("p", "2026-01-31T14:05:06Z").unwrap();
    // A file in the place of the folder of traces.
    fs::write(dir.path().join("traces"), b"in the way").unwrap();
    let trace = invented(10);
    let error = folder.store_trace(&trace).unwrap_err().to_string();
    assert!(error.contains("a file in the place") && error.contains("trace-1-sweep.parquet"), "{error}");
    fs::remove_file(dir.path().join("traces")).unwrap();
    let mut other = Archive::open(dir.path()).unwrap().begin_record("p", "2026-01-31T14:05:06Z").unwrap();
    assert!(other.store_trace(&trace).unwrap().ends_with("trace-1-sweep.parquet"));
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
