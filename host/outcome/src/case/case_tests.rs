//! The course of an invented case, entry by entry.

use crate::case::{Case, CaseError, CaseState, Closing, Content, ENTRY_SCHEMA, Ending, Entry, Note, Opening};
use crate::case::{CasePart, RecordEntry};
use crate::diagnosis::{Complaint, Look, Seen, Symptom};
use crate::quantity::{PartKind, Written};
use crate::verdict::Verdict;

fn part(label: &str) -> CasePart {
    CasePart { label: label.to_owned(), ..CasePart::default() }
}

fn opened(symptoms: &[Symptom]) -> Case {
    let complaint = Complaint { symptoms: symptoms.to_vec(), ..Complaint::default() };
    let opening = Opening { vehicle: "an invented twin".to_owned(), complaint, parts: vec![part("grip 1")] };
    let mut case = Case { name: "case-x".to_owned(), entries: Vec::new() };
    add(&mut case, Content::Opening(opening));
    case
}

fn add(case: &mut Case, content: Content) {
    let number = case.entries.len() as u32 + 1;
    let date = format!("2026-01-{number:02}T00:00:00Z");
    case.entries.push(Entry { schema: ENTRY_SCHEMA, case: case.name.clone(), number, date, content });
}

fn close(ending: Ending) -> Content {
    Content::Closing(Closing { ending, words: "done".to_owned() })
}

fn mended(what: &str) -> Content {
    Content::Note(Note { mended: Some(what.to_owned()), ..Note::default() })
}

fn replugged() -> Content {
    let replugged = vec!["grip 1".to_owned()];
    Content::Note(Note { replugged, cleared_by_replugging: true, ..Note::default() })
}

#[test]
fn a_case_is_closed_once_and_takes_nothing_until_it_is_reopened() {
    let mut case = opened(&[]);
    assert_eq!(case.allows(&close(Ending::NothingFound)), Ok(()));
    add(&mut case, close(Ending::NothingFound));
    assert_eq!(case.state(), CaseState::Closed);
    let again = case.allows(&close(Ending::HandedOn)).unwrap_err();
    assert!(
        matches!(&again, CaseError::ClosedAlready { date, .. } if date.starts_with("2026-01-02")),
        "{again}"
    );
    assert!(again.to_string().contains("--reopen"));
    assert!(matches!(case.allows(&mended("x")), Err(CaseError::Closed { .. })));
    let reopen = Content::Note(Note { reopened: Some("it came back".to_owned()), ..Note::default() });
    assert_eq!(case.allows(&reopen), Ok(()));
    add(&mut case, reopen.clone());
    assert_eq!(case.state(), CaseState::Open);
    assert!(matches!(case.allows(&reopen), Err(CaseError::Open { .. })));
}

#[test]
fn a_fault_that_only_cleared_by_replugging_keeps_its_case_open() {
    let told = opened(&[Symptom::ClearedByReplugging]);
    let mut noted = opened(&[Symptom::LimpHome]);
    add(&mut noted, replugged());
    for mut case in [told, noted] {
        for ending in [Ending::NothingFound, Ending::Mended] {
            let why = case.allows(&close(ending)).unwrap_err();
            assert!(matches!(why, CaseError::OnlyReplugged { .. }), "{ending:?}: {why}");
        }
        assert_eq!(case.allows(&close(Ending::HandedOn)), Ok(()));
        add(&mut case, mended("new terminal, first signal"));
        add(&mut case, bench("dropouts", Verdict::Within));
        assert_eq!(case.allows(&close(Ending::Mended)), Ok(()));
        // Pulled and put back once more: the repair did not hold.
        add(&mut case, replugged());
        assert!(case.allows(&close(Ending::Mended)).is_err());
        assert!(case.complaint().symptoms.contains(&Symptom::ClearedByReplugging));
    }
}

/// A record of the bench about the grip.
fn bench(scope: &str, verdict: Verdict) -> Content {
    Content::Record(RecordEntry {
        record: format!("r-{scope}-{}", verdict.name()),
        number: 1,
        fingerprint: None,
        kind: PartKind::Grip,
        label: "grip 1".to_owned(),
        scope: Written::of(scope),
        verdict,
        simulated: true,
    })
}

#[track_caller]
fn stays_open(case: &Case, hint: &str) {
    for ending in [Ending::Mended, Ending::NothingFound] {
        if ending == Ending::NothingFound && !case.ever_replugged() {
            continue;
        }
        let why = case.allows(&close(ending)).unwrap_err();
        assert!(matches!(why, CaseError::NotCheckedSince { .. }), "{ending:?}: {why}");
        assert!(why.to_string().contains(hint), "{why}");
    }
    assert_eq!(case.allows(&close(Ending::HandedOn)), Ok(()));
}

#[test]
fn a_repair_that_nothing_has_confirmed_closes_no_case() {
    // "Pulled the plug, put it back" is not a repair, whatever it is called.
    let mut case = opened(&[Symptom::LimpHome]);
    add(&mut case, replugged());
    add(&mut case, mended("pulled the plug, put it back"));
    stays_open(&case, "trackpair flex");
    // What can't show a lost contact does not confirm that it is gone.
    for scope in ["readiness", "leads", "part"] {
        add(&mut case, bench(scope, Verdict::Within));
        stays_open(&case, "trackpair flex");
    }
    // Nor does a flex before the repair, nor one that was not within.
    add(&mut case, bench("dropouts", Verdict::Undecided));
    stays_open(&case, "trackpair flex");
    add(&mut case, bench("dropouts", Verdict::Within));
    assert_eq!(case.allows(&close(Ending::Mended)), Ok(()));
    add(&mut case, mended("a second terminal"));
    stays_open(&case, "trackpair flex");
}

#[test]
fn what_showed_the_fault_must_show_that_it_is_gone() {
    let mut case = opened(&[Symptom::LimpHome]);
    add(&mut case, bench("part", Verdict::Within));
    add(&mut case, bench("dropouts", Verdict::Outside));
    add(&mut case, mended("grip replaced"));
    // The sweep was within with the fault, too.
    add(&mut case, bench("part", Verdict::Within));
    stays_open(&case, "trackpair flex");
    add(&mut case, bench("dropouts", Verdict::Within));
    assert_eq!(case.allows(&close(Ending::Mended)), Ok(()));
    // The last word counts.
    add(&mut case, bench("dropouts", Verdict::Outside));
    stays_open(&case, "trackpair flex");
}

#[test]
fn a_fault_that_nothing_showed_takes_any_look_at_the_part() {
    let mut case = opened(&[Symptom::NoResponse]);
    add(&mut case, mended("cleaned"));
    stays_open(&case, "trackpair qualify");
    add(&mut case, bench("readiness", Verdict::Within));
    stays_open(&case, "trackpair qualify");
    add(&mut case, bench("part", Verdict::Within));
    assert_eq!(case.allows(&close(Ending::Mended)), Ok(()));
}

#[test]
fn nothing_is_called_mended_that_was_not() {
    let case = opened(&[Symptom::LimpHome]);
    assert!(matches!(case.allows(&close(Ending::Mended)), Err(CaseError::NothingMended { .. })));
}

#[test]
fn contradictory_and_empty_entries_are_refused() {
    let mut case = opened(&[]);
    assert_eq!(case.allows(&Content::Note(Note::default())), Err(CaseError::EmptyNote));
    let twice = Content::Note(Note { parts: vec![part("grip 1")], ..Note::default() });
    assert!(matches!(case.allows(&twice), Err(CaseError::PartTwice { .. })));
    let unknown = Content::Note(Note { replugged: vec!["body 9".to_owned()], ..Note::default() });
    let why = case.allows(&unknown).unwrap_err().to_string();
    assert!(why.contains("body 9") && why.contains("grip 1"), "{why}");
    let record = Content::Record(RecordEntry {
        record: "r".to_owned(),
        number: 1,
        fingerprint: None,
        kind: PartKind::Grip,
        label: "grip 1".to_owned(),
        scope: Written::of("part"),
        verdict: Verdict::Within,
        simulated: true,
    });
    assert_eq!(case.allows(&record), Ok(()));
    add(&mut case, record.clone());
    assert!(matches!(case.allows(&record), Err(CaseError::RecordTwice { .. })));
}

#[test]
fn the_last_word_on_a_place_counts_and_nothing_told_is_lost() {
    let seen = |good| Seen { look: Look::PinFit, good, note: String::new() };
    let mut case = opened(&[Symptom::LimpHome]);
    for (good, code) in [(Some(true), "P0121"), (Some(false), "P0121"), (None, "P2135")] {
        let note = Note { seen: vec![seen(good)], codes: vec![code.to_owned()], ..Note::default() };
        add(&mut case, Content::Note(note));
    }
    let complaint = case.complaint();
    assert_eq!(complaint.seen, [seen(None)]);
    assert_eq!(complaint.codes, ["P0121", "P2135"]);
    assert_eq!(complaint.symptoms, [Symptom::LimpHome]);
}

#[test]
fn of_records_that_judged_the_same_the_last_stands_and_a_part_that_came_with_the_repair_is_not_complained_of()
{
    let record = |record: &str, scope: &str, verdict| {
        Content::Record(RecordEntry {
            record: record.to_owned(),
            number: 1,
            fingerprint: None,
            kind: PartKind::Grip,
            label: "grip 1".to_owned(),
            scope: Written::of(scope),
            verdict,
            simulated: true,
        })
    };
    let mut case = opened(&[Symptom::LimpHome]);
    add(&mut case, record("a", "part", Verdict::Undecided));
    add(&mut case, record("b", "dropouts", Verdict::Outside));
    add(&mut case, record("c", "part", Verdict::Within));
    let standing: Vec<&str> = case.standing_records("grip 1").map(|r| r.record.as_str()).collect();
    assert_eq!(standing, ["b", "c"]);
    // The sweep found nothing and the flex did: the part is not refitted, and not called within.
    let advice = case.advice().join("\n");
    assert!(advice.contains("Do not refit grip 1: b found it outside its limits (lost contact)"), "{advice}");
    assert!(!advice.contains("Every part is within"), "{advice}");
    add(&mut case, Content::Note(Note { parts: vec![part("body 1")], ..Note::default() }));
    let repair =
        Note { mended: Some("another grip".to_owned()), parts: vec![part("grip 2")], ..Note::default() };
    add(&mut case, Content::Note(repair));
    let later = ["grip 1", "body 1", "grip 2"].map(|label| case.came_after_mending(label));
    assert_eq!(later, [false, false, true]);
}

#[test]
fn an_entry_comes_back_from_its_text_and_one_of_a_later_program_is_named() {
    let mut case = opened(&[Symptom::WhenWet]);
    add(&mut case, replugged());
    add(&mut case, close(Ending::HandedOn));
    for entry in &case.entries {
        assert_eq!(&Entry::from_json(&entry.to_json()).unwrap(), entry);
    }
    let later = case.entries[0].to_json().replace("\"schema\": 1", "\"schema\": 2");
    assert!(Entry::from_json(&later).unwrap_err().to_string().contains("schema is 2"));
}
