//! An archive is attacked in every way that there is: each file, each row, the order, the end.

use super::*;
use crate::case::{Content, Note, Opening, RecordEntry};
use crate::outcome::{Outcome, OutcomeProcedure, Stamp, empty_slot};
use crate::quantity::{PartKind, Written};
use crate::record::parquet_file::tests::invented;
use crate::record::seal::ShopKey;
use crate::record::{Document, Sealing};
use crate::verdict::Verdict;
use rusqlite::Connection;

pub(in crate::record) fn key() -> ShopKey {
    ShopKey::from_seed(&[3; 32])
}

fn worn() -> Outcome {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/../../tests/data/outcomes/outcome-schema-1.json");
    Outcome::from_json(&fs::read_to_string(path).unwrap()).unwrap()
}

fn page(stamp: Option<&Stamp>) -> Vec<Document> {
    let print = stamp.map(|s| format!("{} {}", s.code, empty_slot())).unwrap_or_default();
    vec![Document { stem: "report", ending: "html", bytes: format!("<p>{print}</p>").into_bytes() }]
}

fn add(archive: &Archive, label: &str, key: Option<&ShopKey>) -> String {
    let date = "2026-01-31T14:05:06Z";
    let mut folder = archive.begin_record(label, date).unwrap();
    let file = folder.store_trace(&invented(20)).unwrap();
    let outcome = Outcome {
        procedures: vec![OutcomeProcedure {
            procedure: Written::of("sweep"),
            scans: 20,
            end: Written::of("complete"),
            trace_file: Some(file),
            damaged_percent: None,
            loads_stepped: None,
        }],
        ..worn()
    };
    folder.conclude(&outcome, Sealing { key, date }, page).unwrap();
    folder.record().to_owned()
}

/// Three records, the second judged twice.
pub(in crate::record) fn kept(dir: &Path) -> Archive {
    let archive = Archive::open(dir).unwrap();
    for label in ["first", "second", "third"] {
        add(&archive, label, Some(&key()));
    }
    invented_case(&archive);
    let second = archive.record("20260131-140506-second").unwrap();
    let sealing = Sealing { key: Some(&key()), date: "2026-02-01T00:00:00Z" };
    archive.reopen(&second).conclude(&worn(), sealing, page).unwrap();
    archive
}

/// A case with a note and a check that has a report.
fn invented_case(archive: &Archive) {
    let sealing = Sealing { key: Some(&key()), date: "2026-01-31T15:00:00Z" };
    let opening = Opening { vehicle: "an invented twin".to_owned(), ..Opening::default() };
    let case = archive.open_case(opening, sealing).unwrap().case;
    let note = Note { words: "looked at it".to_owned(), ..Note::default() };
    archive.add_to_case(&case, Content::Note(note), sealing, page).unwrap();
    let record = RecordEntry {
        record: "20260131-140506-first".to_owned(),
        number: 1,
        fingerprint: None,
        kind: PartKind::Grip,
        label: "first".to_owned(),
        scope: Written::of("part"),
        verdict: Verdict::Outside,
        simulated: true,
    };
    archive.add_to_case(&case, Content::Record(record), sealing, |_| Vec::new()).unwrap();
}

fn expected() -> Expected {
    Expected { keys: vec![key().public()], fingerprint: None }
}

/// A fresh archive, attacked; the problems that are found.
fn attacked(attack: impl FnOnce(&Path)) -> Vec<Problem> {
    let dir = tempfile::tempdir().unwrap();
    let archive = kept(dir.path());
    attack(dir.path());
    verify(&archive, &expected()).unwrap().problems
}

#[track_caller]
fn check(attack: impl FnOnce(&Path), what: &str, why: &str) {
    let problems = attacked(attack);
    assert!(
        problems.iter().any(|p| p.what.contains(what) && p.why.contains(why)),
        "{what:?}, {why:?} in {problems:#?}"
    );
}

fn sql(dir: &Path, statements: &str) {
    let db = Connection::open(dir.join(INDEX_FILE)).unwrap();
    db.execute_batch(&format!("PRAGMA foreign_keys = OFF; {statements}")).unwrap();
}

#[test]
fn an_archive_that_nobody_touched_has_no_problems() {
    let dir = tempfile::tempdir().unwrap();
    let found = verify(&kept(dir.path()), &expected()).unwrap();
    assert_eq!(found.problems, []);
    assert_eq!(found.notes, Vec::<String>::new());
    // Four outcomes, each with its seal, report and the trace of its record; three entries of a case with their seals, and one report.
    assert_eq!((found.seals, found.files), (7, 16 + 7));
    assert_eq!(found.rows, 4 * (worn().figures.len() + worn().findings.len()) as u64 + 3);
}

#[test]
fn every_altered_missing_or_swapped_file_is_found_and_named() {
    let dir = tempfile::tempdir().unwrap();
    let archive = kept(dir.path());
    let all = disk_files(dir.path());
    assert_eq!(all.len(), 4 * 3 + 3 + 1 + 7, "{all:?}");
    for file in &all {
        let path = dir.path().join(file);
        let good = fs::read(&path).unwrap();
        for (place, bit) in [(0, 1), (good.len() / 2, 16), (good.len() - 1, 128)] {
            let mut bad = good.clone();
            bad[place] ^= bit;
            fs::write(&path, &bad).unwrap();
            let problems = verify(&archive, &expected()).unwrap().problems;
            assert!(problems.iter().any(|p| p.what == *file), "{file}, byte {place}: {problems:?}");
        }
        for other in all.iter().filter(|o| *o != file) {
            fs::copy(dir.path().join(other), &path).unwrap();
            let problems = verify(&archive, &expected()).unwrap().problems;
            // The same trace under another name is the same trace.
            let same = fs::read(&path).unwrap() == good;
            assert!(same || problems.iter().any(|p| p.what == *file), "{other} for {file}: {problems:?}");
        }
        fs::remove_file(&path).unwrap();
        let problems = verify(&archive, &expected()).unwrap().problems;
        assert!(
            problems.iter().any(|p| p.what == *file && p.why.contains("missing")),
            "{file}: {problems:?}"
        );
        fs::write(&path, &good).unwrap();
    }
    assert_eq!(verify(&archive, &expected()).unwrap().problems, []);
}

/// Files that must be provable, from the archive's folder.
fn disk_files(dir: &Path) -> Vec<String> {
    let mut all = Vec::new();
    let mut folders = vec![dir.to_path_buf()];
    while let Some(folder) = folders.pop() {
        for path in fs::read_dir(folder).unwrap().map(|e| e.unwrap().path()) {
            let name = path.strip_prefix(dir).unwrap().to_str().unwrap().to_owned();
            if path.is_dir() {
                folders.push(path);
            } else if !name.starts_with(INDEX_FILE) {
                all.push(name);
            }
        }
    }
    all
}

#[test]
fn an_added_file_is_found() {
    check(
        |dir| fs::write(dir.join("records/20260131-140506-first/extra.pdf"), "x").unwrap(),
        "extra.pdf",
        "added",
    );
    check(
        |dir| fs::write(dir.join("traces/kind=grip/month=2026-01/planted.parquet"), "x").unwrap(),
        "planted.parquet",
        "added",
    );
}

/// The index's file, whole, with nothing left in its log.
fn index_bytes(dir: &Path) -> Vec<u8> {
    sql(dir, "PRAGMA wal_checkpoint(TRUNCATE)");
    fs::read(dir.join(INDEX_FILE)).unwrap()
}

fn put_index(dir: &Path, bytes: &[u8]) {
    for more in ["-wal", "-shm"] {
        let _ = fs::remove_file(dir.join(format!("{INDEX_FILE}{more}")));
    }
    fs::write(dir.join(INDEX_FILE), bytes).unwrap();
}

/// Table and column of everything in the index.
fn columns(dir: &Path) -> Vec<(String, String)> {
    let db = Connection::open(dir.join(INDEX_FILE)).unwrap();
    let mut statement = db
        .prepare("SELECT m.name, c.name FROM sqlite_schema m JOIN pragma_table_info(m.name) c WHERE m.type = 'table'")
        .unwrap();
    statement.query_map([], |row| Ok((row.get(0)?, row.get(1)?))).unwrap().map(Result::unwrap).collect()
}

#[test]
fn every_altered_value_of_the_index_is_found() {
    let dir = tempfile::tempdir().unwrap();
    let archive = kept(dir.path());
    let good = index_bytes(dir.path());
    let mut tried = 0;
    for (table, column) in columns(dir.path()) {
        for end in ["min", "max"] {
            put_index(dir.path(), &good);
            let db = Connection::open(dir.path().join(INDEX_FILE)).unwrap();
            db.execute_batch("PRAGMA foreign_keys = OFF").unwrap();
            let change = format!(
                "UPDATE {table} SET {column} = CASE typeof({column})
                    WHEN 'integer' THEN CASE {column} WHEN 0 THEN 1 WHEN 1 THEN 0 ELSE {column} + 7 END WHEN 'real' THEN {column} + 0.25 WHEN 'text' THEN {column} || 'x'
                    ELSE CASE (SELECT type FROM pragma_table_info('{table}') WHERE name = '{column}')
                        WHEN 'TEXT' THEN 'x' WHEN 'INTEGER' THEN 1 ELSE 1.5 END END
                 WHERE rowid = (SELECT {end}(rowid) FROM {table})"
            );
            assert_eq!(db.execute(&change, []).unwrap(), 1, "{table}.{column}");
            drop(db);
            tried += 1;
            let found = verify(&archive, &expected()).unwrap();
            assert!(!found.problems.is_empty(), "{table}.{column}, {end} row: nothing found");
        }
    }
    assert!(tried > 110, "{tried}");
    put_index(dir.path(), &good);
    assert_eq!(verify(&archive, &expected()).unwrap().problems, []);
}

#[test]
fn every_missing_or_added_row_is_found() {
    let dir = tempfile::tempdir().unwrap();
    let archive = kept(dir.path());
    let good = index_bytes(dir.path());
    for table in ["records", "traces", "outcomes", "figures", "findings", "seals", "case_entries"] {
        for end in ["min", "max"] {
            put_index(dir.path(), &good);
            sql(dir.path(), &format!("DELETE FROM {table} WHERE rowid = (SELECT {end}(rowid) FROM {table})"));
            let found = verify(&archive, &expected()).unwrap();
            assert!(!found.problems.is_empty(), "{table}, {end} row: nothing found");
        }
    }
    for added in [
        "INSERT INTO figures SELECT record, number, 99, figure, channel, region, direction, from_deg, bridge, value,
            expanded_uncertainty, unit, upper_bound, at_deg, limit_min, limit_max, limit_bound, verdict, NULL FROM figures LIMIT 1",
        "INSERT INTO figures SELECT 'ghost', number, 1, figure, channel, region, direction, from_deg, bridge, value,
            expanded_uncertainty, unit, upper_bound, at_deg, limit_min, limit_max, limit_bound, verdict, NULL FROM figures LIMIT 1",
        "INSERT INTO findings SELECT record, number, 99, kind, channel, from_deg, to_deg, confidence, effect, text FROM findings LIMIT 1",
        "INSERT INTO traces SELECT record, 9, procedure, scans, ended, 'traces/x', sha256, bytes FROM traces LIMIT 1",
        "INSERT INTO outcomes SELECT record, 9, 'records/x', judged, scope, 'within', aborted, sheet, program, analysis, NULL, NULL, NULL, NULL FROM outcomes LIMIT 1",
        "INSERT INTO case_entries SELECT case_name, 9, what, dated, record, 'cases/x', entry FROM case_entries LIMIT 1",
        "INSERT INTO case_entries SELECT 'case-ghost', number, what, dated, record, 'cases/x', entry FROM case_entries LIMIT 1",
    ] {
        put_index(dir.path(), &good);
        sql(dir.path(), added);
        let found = verify(&archive, &expected()).unwrap();
        assert!(!found.problems.is_empty(), "{added}: nothing found");
    }
}

#[test]
fn seals_that_are_exchanged_removed_or_cut_off_are_found() {
    check(
        |dir| sql(dir, "UPDATE seals SET sequence = -sequence; UPDATE seals SET sequence = 8 + sequence"),
        "seal 1",
        "not the one that it names",
    );
    check(|dir| sql(dir, "DELETE FROM seals WHERE sequence = 2"), "seal 3", "seal 2 before it is missing");
    // The whole last outcome, with its files: only the head still tells of it.
    check(
        |dir| {
            let last = "record = '20260131-140506-second' AND number = 2";
            for table in ["seals", "figures", "findings", "outcomes"] {
                sql(dir, &format!("DELETE FROM {table} WHERE {last}"));
            }
            for file in ["outcome-2.json", "report-2.html", "seal-2.json"] {
                fs::remove_file(dir.join("records/20260131-140506-second").join(file)).unwrap();
            }
        },
        "head.json",
        "seals were removed",
    );
}

#[test]
fn a_seal_made_anew_with_another_key_is_found() {
    let dir = tempfile::tempdir().unwrap();
    let archive = Archive::open(dir.path()).unwrap();
    add(&archive, "forged", Some(&ShopKey::from_seed(&[4; 32])));
    let found = verify(&archive, &expected()).unwrap();
    assert!(found.problems.iter().any(|p| p.why.contains("another key")), "{:?}", found.problems);
    assert_eq!(verify(&archive, &Expected::default()).unwrap().problems, [], "by itself it is whole");
}

#[test]
fn a_fingerprint_from_paper_must_be_in_the_chain() {
    let dir = tempfile::tempdir().unwrap();
    let archive = kept(dir.path());
    let newest = verify(&archive, &expected()).unwrap().newest;
    let held = |fingerprint: Option<String>| {
        verify(&archive, &Expected { fingerprint, ..expected() }).unwrap().problems
    };
    assert_eq!(held(newest), []);
    assert!(held(Some("ab".repeat(32)))[0].why.contains("another archive"));
}

#[test]
fn what_is_unfinished_or_unsealed_is_noted_and_no_problem() {
    let dir = tempfile::tempdir().unwrap();
    let archive = kept(dir.path());
    add(&archive, "no-key", None);
    let mut cut_off = archive.begin_record("cut-off", "2026-02-01T00:00:00Z").unwrap();
    cut_off.store_trace(&invented(5)).unwrap();
    fs::write(cut_off.path().join("outcome.json"), "half").unwrap();
    fs::write(cut_off.path().join(".seal.json-1.part"), "half").unwrap();
    let found = verify(&archive, &expected()).unwrap();
    assert_eq!(found.problems, []);
    for words in
        ["not sealed", "unfinished", "half-written", "no-key/report.html: no seal", "outcome.json: no seal"]
    {
        assert!(found.notes.iter().any(|n| n.contains(words)), "{words}: {:?}", found.notes);
    }
    // Even of these the index knows what the trace was.
    let trace = archive.record(cut_off.record()).unwrap().traces[0].file.clone();
    fs::write(dir.path().join(&trace), "x").unwrap();
    assert!(verify(&archive, &expected()).unwrap().problems.iter().any(|p| p.what == trace));
}

#[test]
fn a_manifest_that_leads_out_of_the_archive_is_not_followed() {
    for path in ["../secret", "/etc/passwd", "a/../../b", ""] {
        assert_eq!(is_inside(path), path.is_empty(), "{path}");
    }
    assert!(is_inside("records/r/outcome.json"));
}
