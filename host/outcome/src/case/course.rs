//! What the entries of a case come to. It adds nothing of its own.

use super::{Case, CasePart, Closing, Content, Note, RecordEntry};
use crate::diagnosis::{Complaint, Symptom};
use crate::vehicle::VehicleCheck;
use serde::Serialize;

/// Whether a case goes on.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
#[serde(rename_all = "snake_case")]
pub enum CaseState {
    /// It goes on.
    Open,
    /// It ended.
    Closed,
}

impl CaseState {
    /// The name in lists.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Open => "open",
            Self::Closed => "closed",
        }
    }
}

/// Checks at the vehicle, and the entry that holds them.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CheckEntry<'a> {
    /// Number of the entry.
    pub number: u32,
    /// Its date.
    pub date: &'a str,
    /// The checks.
    pub check: &'a VehicleCheck,
}

impl Case {
    /// The vehicle in the user's words.
    pub fn vehicle(&self) -> &str {
        self.entries
            .iter()
            .find_map(|e| match &e.content {
                Content::Opening(opening) => Some(opening.vehicle.as_str()),
                _ => None,
            })
            .unwrap_or_default()
    }

    /// When it was opened, RFC 3339.
    pub fn opened(&self) -> &str {
        self.entries.first().map(|e| e.date.as_str()).unwrap_or_default()
    }

    /// What was complained of, with what was added since; of a place that the eye looked at twice the last word counts.
    pub fn complaint(&self) -> Complaint {
        let mut all = Complaint::default();
        for entry in &self.entries {
            match &entry.content {
                Content::Opening(opening) => all = opening.complaint.clone(),
                Content::Note(note) => {
                    add_new(&mut all.symptoms, &note.symptoms);
                    add_new(&mut all.codes, &note.codes);
                    all.seen.retain(|seen| note.seen.iter().all(|new| new.look != seen.look));
                    all.seen.extend(note.seen.iter().cloned());
                    if note.cleared_by_replugging {
                        add_new(&mut all.symptoms, &[Symptom::ClearedByReplugging]);
                    }
                }
                _ => {}
            }
        }
        all
    }

    /// The parts in question.
    pub fn parts(&self) -> impl Iterator<Item = &CasePart> {
        self.entries.iter().flat_map(|e| match &e.content {
            Content::Opening(opening) => opening.parts.as_slice(),
            Content::Note(note) => note.parts.as_slice(),
            _ => &[],
        })
    }

    /// Whether a part came with what was mended or later: the complaint is not about it.
    pub fn came_after_mending(&self, label: &str) -> bool {
        let mended =
            self.entries.iter().find(|e| matches!(&e.content, Content::Note(n) if n.mended.is_some()));
        let came = self.entries.iter().find(|e| match &e.content {
            Content::Opening(opening) => opening.parts.iter().any(|p| p.label == label),
            Content::Note(note) => note.parts.iter().any(|p| p.label == label),
            _ => false,
        });
        came.zip(mended).is_some_and(|(came, mended)| came.number >= mended.number)
    }

    /// Of a part's records those that stand: of those that judged the same the last.
    pub fn standing_records<'a>(&'a self, label: &'a str) -> impl Iterator<Item = &'a RecordEntry> {
        let own = move || self.records().filter(move |r| r.label == label);
        own().enumerate().filter(move |(k, r)| own().skip(k + 1).all(|l| l.scope != r.scope)).map(|(_, r)| r)
    }

    /// The records of the bench.
    pub fn records(&self) -> impl Iterator<Item = &RecordEntry> {
        self.entries.iter().filter_map(|e| match &e.content {
            Content::Record(record) => Some(record),
            _ => None,
        })
    }

    /// The checks at the vehicle.
    pub fn checks(&self) -> impl Iterator<Item = CheckEntry<'_>> {
        self.entries.iter().filter_map(|e| match &e.content {
            Content::VehicleCheck(check) => Some(CheckEntry { number: e.number, date: &e.date, check }),
            _ => None,
        })
    }

    /// The notes, each with its date.
    pub fn notes(&self) -> impl Iterator<Item = (&str, &Note)> {
        self.entries.iter().filter_map(|e| match &e.content {
            Content::Note(note) => Some((e.date.as_str(), note)),
            _ => None,
        })
    }

    /// What was mended, each with its date.
    pub fn mended(&self) -> impl Iterator<Item = (&str, &str)> {
        self.notes().filter_map(|(date, note)| Some((date, note.mended.as_deref()?)))
    }

    /// How and when it was closed; none while it is open.
    pub fn closed(&self) -> Option<(&str, &Closing)> {
        let mut end = None;
        for entry in &self.entries {
            match &entry.content {
                Content::Closing(closing) => end = Some((entry.date.as_str(), closing)),
                Content::Note(note) if note.reopened.is_some() => end = None,
                _ => {}
            }
        }
        end
    }

    /// Whether it goes on.
    pub fn state(&self) -> CaseState {
        if self.closed().is_some() { CaseState::Closed } else { CaseState::Open }
    }

    /// Whether the fault ever went away when a plug was pulled and put back: a contact loses itself.
    pub fn ever_replugged(&self) -> bool {
        self.complaint().symptoms.contains(&Symptom::ClearedByReplugging)
    }

    /// Whether the fault went away when a plug was pulled and put back, and nothing was mended since.
    pub fn only_replugged(&self) -> bool {
        let mut only = false;
        for entry in &self.entries {
            match &entry.content {
                Content::Opening(opening) => {
                    only = opening.complaint.symptoms.contains(&Symptom::ClearedByReplugging);
                }
                Content::Note(note) => {
                    only |=
                        note.cleared_by_replugging || note.symptoms.contains(&Symptom::ClearedByReplugging);
                    only &= note.mended.is_none();
                }
                _ => {}
            }
        }
        only
    }
}

/// Adds what is not there yet.
fn add_new<T: Clone + PartialEq>(to: &mut Vec<T>, new: &[T]) {
    for one in new {
        if !to.contains(one) {
            to.push(one.clone());
        }
    }
}

#[cfg(test)]
#[path = "case_tests.rs"]
mod tests;
