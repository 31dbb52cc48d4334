//! Cases in an archive: found again, sealed in one chain with records, refused without leaving a trace.

use crate::case::{CasePart, Closing, Content, Ending, Note, Opening};
use crate::quantity::PartKind;
use crate::record::verify::tests::key;
use crate::record::verify::{Expected, verify};
use crate::record::{Archive, CaseFileError, Sealing};

const DATE: &str = "2026-01-31T14:05:06Z";

fn opening(vehicle: &str) -> Opening {
    let part = CasePart { label: "grip 7".to_owned(), matings_before: Some(4), ..CasePart::default() };
    Opening { vehicle: vehicle.to_owned(), parts: vec![part], ..Opening::default() }
}

fn replugged() -> Content {
    Content::Note(Note { replugged: vec!["grip 7".to_owned()], ..Note::default() })
}

#[test]
fn cases_are_found_by_name_or_a_part_of_it_that_no_other_has() {
    let dir = tempfile::tempdir().unwrap();
    let archive = Archive::open(dir.path()).unwrap();
    let key = key();
    let sealing = Sealing { key: Some(&key), date: DATE };
    let names: Vec<String> = ["Blue twin", "Blue twin", "red/single", ""]
        .map(|vehicle| archive.open_case(opening(vehicle), sealing).unwrap().case)
        .into();
    let due =
        ["blue-twin", "blue-twin-2", "red-single", "vehicle"].map(|n| format!("case-20260131-140506-{n}"));
    assert_eq!(names, due);
    assert_eq!(archive.cases().unwrap().len(), 4);
    assert_eq!(archive.case("red").unwrap().name, names[2]);
    // A whole name is meant even where it is the beginning of another.
    assert_eq!(archive.case(&names[0]).unwrap().name, names[0]);
    assert!(matches!(archive.case("twin"), Err(CaseFileError::Several { count: 2, .. })));
    assert!(matches!(archive.case("green"), Err(CaseFileError::NoCase { .. })));
    assert!(matches!(archive.case(""), Err(CaseFileError::NoCase { .. })));
}

#[test]
fn a_refused_entry_leaves_nothing_and_the_archive_stays_as_kept() {
    let dir = tempfile::tempdir().unwrap();
    let archive = Archive::open(dir.path()).unwrap();
    let key = key();
    let sealing = Sealing { key: Some(&key), date: DATE };
    let case = archive.open_case(opening("twin"), sealing).unwrap().case;
    let close = || Content::Closing(Closing { ending: Ending::HandedOn, words: String::new() });
    assert_eq!(archive.add_to_case(&case, close(), sealing, |_| Vec::new()).unwrap().number, 2);
    let refused = archive.add_to_case(&case, close(), sealing, |_| Vec::new());
    assert!(matches!(refused, Err(CaseFileError::Rule(_))));
    assert_eq!(archive.case(&case).unwrap().entries.len(), 2);
    let found = verify(&archive, &Expected { keys: vec![key.public()], fingerprint: None }).unwrap();
    assert_eq!((found.problems, found.notes, found.seals), (vec![], vec![], 2));
}

#[test]
fn without_a_key_an_entry_is_kept_and_that_is_said() {
    let dir = tempfile::tempdir().unwrap();
    let archive = Archive::open(dir.path()).unwrap();
    let kept = archive.open_case(opening("twin"), Sealing { key: None, date: DATE }).unwrap();
    assert_eq!(kept.fingerprint, None);
    let found = verify(&archive, &Expected::default()).unwrap();
    assert_eq!(found.problems, []);
    assert!(
        found.notes.iter().any(|n| n.contains(&kept.case) && n.contains("not sealed")),
        "{:?}",
        found.notes
    );
}

#[test]
fn matings_known_before_and_plugs_put_back_on_the_vehicle_are_counted() {
    let dir = tempfile::tempdir().unwrap();
    let archive = Archive::open(dir.path()).unwrap();
    let sealing = Sealing { key: None, date: DATE };
    let case = archive.open_case(opening("twin"), sealing).unwrap().case;
    let count = |kind| archive.index().unwrap().part_matings(kind, "grip 7", "").unwrap();
    assert_eq!((count(PartKind::Grip), count(PartKind::Body)), (4, 0));
    for _ in 0..2 {
        archive.add_to_case(&case, replugged(), sealing, |_| Vec::new()).unwrap();
    }
    assert_eq!((count(PartKind::Grip), count(PartKind::Body)), (6, 0));
    let all = archive.index().unwrap().all_part_matings().unwrap();
    assert_eq!(all.len(), 1);
    assert_eq!((all[0].kind.as_str(), all[0].label.as_str(), all[0].count), ("grip", "grip 7", 6));
}

#[test]
fn programs_that_close_one_case_at_once_close_it_once() {
    let dir = tempfile::tempdir().unwrap();
    let archive = Archive::open(dir.path()).unwrap();
    let case = archive.open_case(opening("twin"), Sealing { key: None, date: DATE }).unwrap().case;
    let close = || Content::Closing(Closing { ending: Ending::HandedOn, words: String::new() });
    let done = std::thread::scope(|scope| {
        let all: Vec<_> = (0..4)
            .map(|_| {
                scope.spawn(|| {
                    archive.add_to_case(&case, close(), Sealing { key: None, date: DATE }, |_| Vec::new())
                })
            })
            .collect();
        all.into_iter().map(|t| t.join().unwrap().is_ok()).filter(|ok| *ok).count()
    });
    assert_eq!(done, 1);
    assert_eq!(archive.case(&case).unwrap().entries.len(), 2);
}
