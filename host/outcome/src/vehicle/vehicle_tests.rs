//! Whole worksheets: what they end with, what they refuse, and that they are stored whole.

use super::fixture::{good, setup};
use super::*;
use crate::diagnosis::CheckKind;

fn judged(subject: Subject, changes: &[(&str, &str)]) -> Result<VehicleCheck, CheckError> {
    let mut entries = good(subject);
    entries.extend(changes.iter().map(|(id, entry)| ((*id).to_owned(), (*entry).to_owned())));
    VehicleCheck::of(&setup(subject), &Meter::default(), &entries, false, "2026-11-26T10:00:00+00:00")
}

#[track_caller]
fn check(changes: &[(&str, &str)], conclusion: Conclusion, words: &[&str]) -> VehicleCheck {
    let found = judged(Subject::Grip, changes).unwrap();
    assert_eq!(found.conclusion, conclusion, "{:#?}", found.reasons);
    for word in words {
        assert!(found.reasons.iter().any(|r| r.contains(word)), "{word} in {:#?}", found.reasons);
    }
    found
}

#[track_caller]
fn refused(changes: &[(&str, &str)], words: &[&str]) {
    let error = judged(Subject::Grip, changes).unwrap_err().to_string();
    for word in words {
        assert!(error.contains(word), "{word} in {error}");
    }
}

#[test]
fn a_sound_vehicle_clears_its_wiring_whatever_the_part() {
    for subject in Subject::ALL {
        let found = judged(subject, &[]).unwrap();
        assert_eq!(found.conclusion, Conclusion::PullThePart, "{:#?}", found.reasons);
        assert!(found.lines.iter().all(|l| l.verdict == Some(Verdict::Within)));
        assert_eq!(found.evidence().len(), found.lines.len());
    }
}

#[test]
fn a_fault_of_the_wiring_is_mended_first_wherever_it_is() {
    for (id, entry) in [
        ("grip.continuity.first", "3 ohm"),
        ("grip.neck.ground", "flickers"),
        ("grip.bend.supply", "0.1..2 ohm"),
        ("grip.frame.first", "40 kohm"),
        ("grip.between.first-second", "0.2 Mohm"),
        ("grip.terminal.second", "loose"),
        ("grip.drop.ground", "600 mV @ 1.7 A"),
        ("grip.output.supply", "4.6 V"),
    ] {
        check(&[(id, entry)], Conclusion::MendTheRunFirst, &[id, "Mend that first"]);
    }
}

#[test]
fn outputs_that_are_off_behind_sound_wiring_speak_for_the_part() {
    let found = check(
        &[("grip.output.first.half", "3.2 V")],
        Conclusion::PullThePart,
        &["outputs are not", "pair half open"],
    );
    assert_eq!(found.evidence().iter().filter(|e| e.verdict == Verdict::Outside).count(), 1);
}

#[test]
fn half_a_worksheet_is_undecided_and_names_what_is_missing() {
    check(
        &[("grip.neck.first", "-"), ("grip.output.supply", "")],
        Conclusion::Undecided,
        &["2 of ", "grip.neck.first, grip.output.supply"],
    );
    let nothing =
        VehicleCheck::of(&setup(Subject::Grip), &Meter::default(), &Entries::new(), false, "").unwrap();
    assert_eq!((nothing.conclusion, nothing.evidence().len()), (Conclusion::Undecided, 0));
    // A fault that was found counts, whatever else is missing.
    let entries = Entries::from([("grip.neck.first".to_owned(), "flickers".to_owned())]);
    let fault = VehicleCheck::of(&setup(Subject::Grip), &Meter::default(), &entries, false, "").unwrap();
    assert_eq!(fault.conclusion, Conclusion::MendTheRunFirst);
}

#[test]
fn a_continuity_that_the_meter_can_not_decide_is_cleared_by_the_drop_of_that_wire_alone() {
    check(
        &[("grip.continuity.ground", "0.5 ohm"), ("grip.neck.ground", "0.5..0.5 ohm")],
        Conclusion::Undecided,
        &["grip.neck.ground"],
    );
    check(&[("grip.continuity.ground", "0.5 ohm")], Conclusion::PullThePart, &[]);
    check(
        &[("grip.continuity.first", "0.5 ohm")],
        Conclusion::Undecided,
        &["grip.continuity.first", "milliohm"],
    );
}

#[test]
fn units_that_slipped_are_asked_for() {
    refused(&[("grip.continuity.first", "45 ohm")], &["45 Ω", "95 mΩ", "ohms for milliohms?", "--as-typed"]);
    refused(&[("grip.continuity.first", "0.3 mohm")], &["milliohms for ohms?"]);
    refused(&[("grip.continuity.first", "100 Mohm")], &["M for m"]);
    refused(&[("grip.bend.first", "45..60 ohm")], &["ohms for milliohms?"]);
    refused(&[("grip.frame.first", "20 mohm")], &["m for M"]);
    refused(&[("grip.frame.first", "20 ohm")], &["ohms for megohms?"]);
    refused(&[("grip.output.first.rest", "498 V")], &["volts for millivolts?"]);
    refused(&[("grip.output.supply", "4.98 mV")], &["millivolts for volts?"]);
    refused(&[("grip.drop.ground", "170 V @ 1.7 A")], &["volts typed for millivolts"]);
}

#[test]
fn what_is_true_as_typed_is_judged_as_typed() {
    let mut entries = good(Subject::Grip);
    entries.insert("grip.continuity.first".to_owned(), "45 ohm".to_owned());
    let found = VehicleCheck::of(&setup(Subject::Grip), &Meter::default(), &entries, true, "").unwrap();
    assert_eq!((found.conclusion, found.as_typed), (Conclusion::MendTheRunFirst, true));
}

#[test]
fn entries_that_contradict_each_other_are_refused_and_both_are_named() {
    refused(
        &[("grip.continuity.first", "open"), ("grip.bend.first", "open"), ("grip.neck.first", "open")],
        &["grip.continuity.first = \"open\"", "grip.output.first.rest = \"0.50 V\"", "no right output"],
    );
    refused(&[("grip.continuity.first", "open")], &["grip.neck.first = \"steady\"", "flickers"]);
    refused(
        &[("grip.continuity.supply", "open"), ("grip.neck.supply", "-"), ("grip.bend.supply", "-")],
        &["grip.drop.supply", "no current"],
    );
    refused(
        &[("grip.continuity.first", "3 ohm"), ("grip.frame.first", "0.5 ohm")],
        &["3 ohm", "grip.frame.first = \"0.5 ohm\"", "insulation"],
    );
    refused(
        &[("grip.continuity.second", "3 ohm"), ("grip.between.first-second", "0.5 ohm")],
        &["grip.between.first-second"],
    );
    refused(
        &[("grip.output.first.half", "0.2 V")],
        &["grip.output.first.half", "grip.output.first.rest", "between rest and full"],
    );
    refused(&[("grip.output.second.half", "4.8 V")], &["grip.output.second.half", "grip.output.second.rest"]);
    refused(&[("grip.output.first.full", "5.5 V")], &["more than its supply"]);
}

#[test]
fn a_line_that_does_not_exist_names_those_that_do() {
    refused(&[("grip.continuity.frist", "open")], &["frist", "--template"]);
    refused(&[("grip.ohm.first", "open")], &["grip.terminal.first"]);
    refused(&[("motor.continuity.plus", "open")], &["a grip worksheet"]);
    refused(&[("grip.output.pair.half", "1 V")], &["no line"]);
}

#[test]
fn a_check_is_stored_whole_and_judged_again_alike() {
    let found = judged(Subject::Pair, &[("motor.frame.plus", ">5 Mohm")]).unwrap();
    let text = serde_json::to_string(&found).unwrap();
    let mut read: VehicleCheck = serde_json::from_str(&text).unwrap();
    for (line, was) in read.lines.iter_mut().zip(&found.lines) {
        line.reading = was.reading;
    }
    assert_eq!(read, found);
    let entries = read.lines.iter().filter_map(|l| Some((l.line.id.clone(), l.entered.clone()?))).collect();
    let again = VehicleCheck::of(&setup(Subject::Pair), &read.meter, &entries, false, &read.checked).unwrap();
    assert_eq!(again, found);
}

#[test]
fn evidence_names_run_check_and_place() {
    let found = judged(Subject::Grip, &[("grip.bend.first", "flickers")]).unwrap();
    let evidence = found.evidence();
    let bad = evidence.iter().find(|e| e.verdict == Verdict::Outside).unwrap();
    assert_eq!(
        (bad.run, bad.check, bad.place.as_str()),
        (Run::GripToController, CheckKind::WiggleAtConnector, "first signal")
    );
    assert!(bad.text.contains("broken inside"), "{}", bad.text);
}
