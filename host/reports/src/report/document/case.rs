//! A case as a document: what is known of the vehicle, what was done, what fits, and what to do next.

use super::{Block, Document, Fact, Facts, List, Suspect, Suspects, Text, Topic, about, chapter, texts};
use crate::case::{Case, CasePart, Content, Entry, Note, RecordEntry};
use crate::diagnosis::{Look, Symptom};
use crate::outcome::OutcomeSuspect;
use crate::report::suspects::{rows, unnamed};
use crate::report::text::sentence;
use crate::vehicle::Conclusion;
use std::collections::BTreeMap;

/// Suspects of each part in the short form.
const BRIEF_SUSPECTS: usize = 4;

/// What fits a part, or the vehicle where the case has no part.
#[derive(Clone, Copy, Debug)]
pub struct CaseSuspects<'a> {
    /// The part's label; hostile text possible.
    pub part: Option<&'a str>,
    /// Causes, most likely first.
    pub suspects: &'a [OutcomeSuspect],
}

/// What a document on a case is made of.
#[derive(Clone, Copy, Debug)]
pub struct CaseInput<'a> {
    /// The case; hostile text possible.
    pub case: &'a Case,
    /// How it stands, as a word.
    pub state: &'a str,
    /// Matings of each of its parts, in their order.
    pub matings: &'a [u32],
    /// What of a record was not done to its end, by [`CaseInput::key`].
    pub not_done: &'a BTreeMap<String, String>,
    /// What fits.
    pub suspects: &'a [CaseSuspects<'a>],
    /// What to do next.
    pub next: &'a [String],
}

impl CaseInput<'_> {
    /// What names the outcome of a record in `not_done`.
    pub fn key(record: &RecordEntry) -> String {
        format!("{} {}", record.record, record.number)
    }
}

/// The case.
pub fn case(input: &CaseInput<'_>) -> Document {
    let title = format!("Case {} ({})", sentence(&input.case.name), input.state);
    let mut blocks =
        vec![Block::Head(vec![Block::Title((&title).into()), Block::Facts(Facts::new(known(input)))])];
    let entries: Vec<Fact> = input.case.entries.iter().filter_map(|e| entry(e, input)).collect();
    if !entries.is_empty() {
        blocks.push(chapter("What was done", vec![Block::Facts(Facts::new(entries))]));
    }
    for of in input.suspects.iter().filter(|of| !of.suspects.is_empty()) {
        let what = of.part.map_or_else(|| "the vehicle".to_owned(), sentence);
        let all = rows(of.suspects).into_iter().map(without_rivals).collect();
        let suspects = Suspects { all, brief: BRIEF_SUSPECTS, lines_in_brief: true };
        let left = unnamed(of.suspects).into_iter().map(|left| Block::Paragraph(left.into()));
        let said = [Block::Suspects(suspects)].into_iter().chain(left).collect();
        blocks.push(about(Topic::Suspects, format!("Suspects, {what}"), said));
    }
    if !input.next.is_empty() {
        let next = texts(input.next.iter().map(|n| sentence(n)));
        blocks.push(about(Topic::Next, "Next", vec![Block::List(List::new(next))]));
    }
    Document { kind: "case".to_owned(), subject: title.clone(), title, blocks, ..Document::default() }
}

/// What can't be distinguished from a cause stands in the report of its record.
fn without_rivals(mut suspect: Suspect) -> Suspect {
    suspect.lines.retain(|(name, _)| *name != Suspect::RIVALS);
    suspect
}

/// What is known of vehicle, complaint and parts.
fn known(input: &CaseInput<'_>) -> Vec<Fact> {
    let complaint = input.case.complaint();
    let fact = |name: &str, text: &str| Fact::new(name, sentence(text));
    let mut facts = vec![fact("vehicle", input.case.vehicle()), fact("complaint", &complaint.words)];
    facts.extend(complaint.symptoms.iter().map(|s| fact("", &format!("- {}", symptom_words(*s)))));
    if !complaint.codes.is_empty() {
        facts.push(fact("codes", &complaint.codes.join(", ")));
    }
    for seen in &complaint.seen {
        let word = match seen.good {
            Some(true) => "good",
            Some(false) => "BAD",
            None => "unclear",
        };
        let place = look_words(seen.look).split(':').next().unwrap_or_default();
        let note = if seen.note.is_empty() { String::new() } else { format!(": {}", seen.note) };
        facts.push(fact("seen", &format!("{place}: {word}{note}")));
    }
    let parts = input.case.parts().zip(input.matings);
    facts.extend(parts.map(|(part, count)| fact("part", &part_words(part, *count))));
    facts
}

fn part_words(part: &CasePart, matings: u32) -> String {
    let known = [
        part.used.as_ref().map(|u| format!("use {u}")),
        part.origin.as_ref().map(|o| format!("origin {o}")),
        Some(format!("{matings} {}", if matings == 1 { "mating" } else { "matings" })),
    ];
    let known: Vec<String> = known.into_iter().flatten().collect();
    format!("{}: {}", part.label, known.join(", "))
}

/// An entry under its date; none for the opening, which stands above.
fn entry(entry: &Entry, input: &CaseInput<'_>) -> Option<Fact> {
    let words = match &entry.content {
        Content::Opening(_) => return None,
        Content::Note(note) => note_words(note),
        Content::VehicleCheck(check) => {
            let conclusion = match check.conclusion {
                Conclusion::PullThePart => "the wiring is cleared: pull the part",
                Conclusion::MendTheRunFirst => "MEND THE RUN FIRST",
                Conclusion::Undecided => "undecided",
            };
            format!("vehicle checks: {conclusion}: {}", check.reasons.join(" "))
        }
        Content::Record(record) => {
            let simulated = if record.simulated { ", SIMULATED" } else { "" };
            let left = input.not_done.get(&CaseInput::key(record)).map_or("", String::as_str);
            format!(
                "bench: {} {} ({}{simulated}{left}), record {}",
                record.label,
                record.verdict.name().to_uppercase(),
                record.scope,
                record.record
            )
        }
        Content::Closing(closing) if closing.words.is_empty() => format!("closed, {}", closing.ending.name()),
        Content::Closing(closing) => format!("closed, {}: {}", closing.ending.name(), closing.words),
    };
    Some(Fact::new(entry.date.get(..10).unwrap_or_default(), Text::from(sentence(&words))))
}

fn note_words(note: &Note) -> String {
    let mut said: Vec<String> = Vec::new();
    said.extend(note.reopened.as_ref().map(|why| format!("REOPENED: {why}")));
    said.extend(note.mended.as_ref().map(|what| format!("mended: {what}")));
    if !note.replugged.is_empty() {
        let went = if note.cleared_by_replugging { ", and the fault went away (no repair)" } else { "" };
        said.push(format!("plug pulled and put back: {}{went}", note.replugged.join(", ")));
    }
    said.extend(note.symptoms.iter().map(|s| symptom_words(*s).to_owned()));
    said.extend(note.codes.iter().map(|c| format!("read {c}")));
    said.extend(note.seen.iter().map(|s| format!("looked at {}", s.look.name())));
    said.extend(note.parts.iter().map(|p| format!("part {}", p.label)));
    said.extend(Some(note.words.clone()).filter(|w| !w.is_empty()));
    said.join("; ")
}

/// A symptom as it is asked for and shown.
pub const fn symptom_words(symptom: Symptom) -> &'static str {
    match symptom {
        Symptom::LimpHome => "limp-home comes at random",
        Symptom::WhenSteering => "it comes when the handlebar is turned",
        Symptom::OnBumps => "it comes over bumps or with vibration",
        Symptom::WhenWarm => "it comes once warm",
        Symptom::WhenWet => "it comes when wet",
        Symptom::AtOneOpening => "it comes at one opening of the grip",
        Symptom::HangingThrottle => "engine speed returns slowly or hangs when the grip is let go",
        Symptom::UnsteadyIdle => "idle wanders",
        Symptom::JerkyResponse => "response is jerky or late",
        Symptom::NoResponse => "the throttle does nothing at all",
        Symptom::ClearedByReplugging => "it went away when a plug was pulled and put back",
    }
}

/// A place as the eye is led to it.
pub const fn look_words(look: Look) -> &'static str {
    match look {
        Look::Terminals => "Terminals: is one backed out, spread or bent?",
        Look::Corrosion => "Corrosion: green or white growth, moisture in the connector?",
        Look::PinFit => "Pin fit: does each pin sit firmly in its socket?",
        Look::ConnectorBend => {
            "Connector bend: are the wires sound from the plug to a hand's breadth back? Insulation may be whole over a broken wire"
        }
        Look::Cover => "Cover: are cover and seal of the part whole?",
    }
}
