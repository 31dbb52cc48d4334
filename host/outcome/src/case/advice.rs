//! What to do next in a case, in the order of doing: wiring before parts, one mating per part, causes before guesses. Common practice,
//! no source; the maker's service manual and local rules go before it.

use super::{Case, CaseState};
use crate::diagnosis::Look;
use crate::quantity::PartKind;
use crate::vehicle::Conclusion;
use crate::verdict::{Scope, Verdict};

impl Case {
    /// Sentences; empty for a closed case.
    pub fn advice(&self) -> Vec<String> {
        if self.state() == CaseState::Closed {
            return Vec::new();
        }
        let mut advice = Vec::new();
        if self.only_replugged() {
            advice.push(format!(
                "The fault went away by replugging and nothing was mended: it is a contact, and it will come back. Look at the terminals of that plug (grip of each \
                 pin, corrosion, a terminal backed out), mend what is found and note it: trackpair case note {} --mended WHAT",
                self.name
            ));
        }
        let unseen: Vec<&str> = {
            let seen = self.complaint().seen;
            Look::ALL.into_iter().filter(|l| seen.iter().all(|s| s.look != *l)).map(Look::name).collect()
        };
        if !unseen.is_empty() {
            let pulled = self.records().next().is_some();
            let when = if pulled { "Not looked at yet" } else { "Look before anything is moved" };
            advice.push(format!(
                "{when}: {}. Note it: trackpair case note {} --seen PLACE=good|bad|unclear",
                unseen.join(", "),
                self.name
            ));
        }
        self.wiring(&mut advice);
        self.bench(&mut advice);
        advice.push(
            "Leave the controller plugged in for other work: its terminals bear a handful of matings, and each one pulled is a chance for the next fault."
                .to_owned(),
        );
        advice
    }

    fn wiring(&self, advice: &mut Vec<String>) {
        match self.checks().last().map(|c| c.check.conclusion) {
            None => advice.push(format!(
                "Check the wiring at the vehicle before a part is pulled: trackpair vehicle-check form --case {} --out form.pdf, then trackpair vehicle-check \
                 enter --case {}",
                self.name, self.name
            )),
            Some(Conclusion::MendTheRunFirst) => advice.push(
                "The vehicle checks found the wiring at fault: mend that run and check it again before a part is pulled.".to_owned(),
            ),
            Some(Conclusion::Undecided) => advice.push(
                "The vehicle checks are undecided: finish the lines that they name before a part is pulled.".to_owned(),
            ),
            Some(Conclusion::PullThePart) => {}
        }
    }

    fn bench(&self, advice: &mut Vec<String>) {
        let cleared = self.checks().last().is_some_and(|c| c.check.conclusion == Conclusion::PullThePart);
        let mut all_within = self.parts().next().is_some();
        for part in self.parts() {
            let (name, label) = (&self.name, &part.label);
            let whole = self.standing_records(label).find(|r| r.scope == Scope::Part);
            let outside = self.standing_records(label).find(|r| r.verdict == Verdict::Outside);
            all_within &= outside.is_none() && whole.is_some_and(|r| r.verdict == Verdict::Within);
            match (outside, whole) {
                (Some(record), _) => advice.push(format!(
                    "Do not refit {label}: {} found it outside its limits ({}). When another part is in its place, qualify that one and close the case: trackpair \
                     case close {name} --ending mended --mended WHAT",
                    record.record,
                    of_scope(&record.scope)
                )),
                (None, None) if cleared => advice.push(format!(
                    "Pull the {} and plug it in once, for the whole plan: trackpair qualify --rig ADDRESS --case {name} --part {label:?}. For more procedures leave it \
                     plugged in (--still-plugged).",
                    part.kind.name()
                )),
                (None, Some(record)) if record.verdict == Verdict::Undecided => advice.push(format!(
                    "{} leaves {label} undecided; its report says what would decide it.",
                    record.record
                )),
                _ => {}
            }
        }
        if all_within {
            advice.push(
                "Every part is within its limits: what remains is terminals, wiring that moves, and the controller. A fault that comes at random shows itself to time: \
                 trackpair flex, warm-up and soak, with the part still plugged in."
                    .to_owned(),
            );
            if self.parts().any(|p| p.kind == PartKind::Body) {
                advice.push(
                    "A body that is refitted may have to be relearned: follow the maker's service manual."
                        .to_owned(),
                );
            }
        }
    }
}

/// What a record was about, in words.
fn of_scope(scope: &str) -> String {
    match scope {
        "part" => "the whole part".to_owned(),
        "dropouts" => "lost contact".to_owned(),
        other => other.replace('_', " "),
    }
}
