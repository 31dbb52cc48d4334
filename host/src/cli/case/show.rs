//! `case show`: everything that a case holds, what fits it, and what to do next.

use super::ask::{look_words, symptom_words};
use super::state::state_word;
use crate::case::{Case, CasePart, Content, Entry, RecordEntry};
use crate::cli::ending::Ending;
use crate::cli::filing::refused;
use crate::cli::options::archive::{Where, open};
use crate::cli::surroundings::Surroundings;
use crate::cli::terminal::say::{say, style};
use crate::diagnosis::{Evidence, rank};
use crate::job::Failure;
use crate::outcome::{OutcomeSuspect, evidence_of};
use crate::quantity::PartKind;
use crate::record::{Archive, Index};
use crate::report::suspect_rows;
use crate::report::text::{sentence, wrap};
use crate::verdict::Verdict;
use clap::Args;
use serde::Serialize;
use std::collections::BTreeMap;
use std::fmt::Write;

/// Suspects told of each part; the document has all.
const MOST_SUSPECTS: usize = 4;

/// `case show`.
#[derive(Args, Debug)]
pub struct ShowCase {
    /// The case, by its name or a part of it
    pub case: String,
    /// Which archive.
    #[command(flatten)]
    pub place: Where,
    /// Print it as JSON
    #[arg(long)]
    pub json: bool,
}

#[derive(Serialize)]
struct CaseDocument<'a> {
    /// Records of it that were not done to their end, and what of them.
    #[serde(skip)]
    not_done: BTreeMap<String, String>,
    document: &'static str,
    schema: u32,
    case: &'a str,
    state: &'static str,
    stays_open: bool,
    entries: &'a [Entry],
    matings: Vec<PartCount<'a>>,
    suspects: Vec<PartSuspects<'a>>,
    next: Vec<String>,
}

/// What fits, with all that is known: a part with its records, the vehicle checks and the complaint.
#[derive(Serialize)]
struct PartSuspects<'a> {
    part: Option<&'a str>,
    suspects: Vec<OutcomeSuspect>,
}

#[derive(Serialize)]
struct PartCount<'a> {
    label: &'a str,
    matings: u32,
}

/// Carries out `case show`.
///
/// # Errors
/// There is no such case, or it can't be read.
pub fn show(args: &ShowCase, surroundings: &Surroundings<'_>) -> Result<Ending, Failure> {
    let archive = open(args.place.archive.as_deref(), surroundings)?;
    let case = archive.case(&args.case).map_err(refused)?;
    let matings = matings(&archive, &case)?;
    let document = CaseDocument {
        not_done: not_done(&archive, &case)?,
        document: "case",
        schema: 1,
        case: &case.name,
        state: case.state().name(),
        stays_open: case.only_replugged(),
        entries: &case.entries,
        matings,
        suspects: suspects(&archive, &case)?,
        next: case.advice(),
    };
    say(&told(&case, &document, style(surroundings).width), &document, args.json);
    Ok(Ending::Done)
}

/// What the case's records say of themselves that they left undone, by their names and outcomes' numbers.
fn not_done(archive: &Archive, case: &Case) -> Result<BTreeMap<String, String>, Failure> {
    let mut all = BTreeMap::new();
    let failed = |e: crate::record::ArchiveError| Failure::Other(e.into());
    for entry in &case.entries {
        let Content::Record(record) = &entry.content else { continue };
        let stored = archive.record(&record.record).map_err(failed)?;
        let outcome = archive.outcome(&stored, Some(record.number)).map_err(failed)?;
        let left =
            outcome.not_done.iter().map(|n| format!("{} {}", n.procedure.replace('_', " "), n.how.words()));
        let left = left.collect::<Vec<_>>().join(", ");
        let words = match (outcome.aborted, left.is_empty()) {
            (true, true) => ", CUT SHORT".to_owned(),
            (true, false) => format!(", CUT SHORT: {left}"),
            (false, true) => continue,
            (false, false) => format!(", NOT ALL DONE: {left}"),
        };
        all.insert(left_key(record), words);
    }
    Ok(all)
}

fn left_key(record: &RecordEntry) -> String {
    format!("{} {}", record.record, record.number)
}

/// Causes that fit, part by part; without a part what complaint and vehicle checks say.
fn suspects<'a>(archive: &Archive, case: &'a Case) -> Result<Vec<PartSuspects<'a>>, Failure> {
    let around = |kind| Evidence {
        kind,
        vehicle: case.checks().flat_map(|c| c.check.evidence()).collect(),
        complaint: case.complaint(),
        ..Evidence::default()
    };
    let mut all = Vec::new();
    let is_outside =
        |part: &CasePart| case.standing_records(&part.label).any(|r| r.verdict == Verdict::Outside);
    let explained = case.parts().any(is_outside);
    for part in case.parts() {
        let mut bench = Evidence { kind: part.kind, ..Evidence::default() };
        // Of records that judged the same the last counts: the same finding twice is no more evidence.
        for entry in case.standing_records(&part.label) {
            let failed = |e: crate::record::ArchiveError| Failure::Other(e.into());
            let stored = archive.record(&entry.record).map_err(failed)?;
            let outcome = archive.outcome(&stored, Some(entry.number)).map_err(failed)?;
            bench = bench.merge(evidence_of(&outcome));
        }
        // The complaint is about parts that were there then; where one of them is outside, it suspects no other.
        let spoken_of = !case.came_after_mending(&part.label) && (is_outside(part) || !explained);
        let evidence = if spoken_of { around(part.kind).merge(bench) } else { bench };
        all.push(PartSuspects { part: Some(&part.label), suspects: ranked(&evidence) });
    }
    if all.is_empty() {
        all.push(PartSuspects { part: None, suspects: ranked(&around(PartKind::Grip)) });
    }
    Ok(all)
}

fn ranked(evidence: &Evidence) -> Vec<OutcomeSuspect> {
    rank(evidence).into_iter().map(Into::into).collect()
}

fn matings<'a>(archive: &Archive, case: &'a Case) -> Result<Vec<PartCount<'a>>, Failure> {
    let index: Index = archive.index().map_err(|e| Failure::Other(e.into()))?;
    let count = |part: &'a CasePart| {
        let matings = index.part_matings(part.kind, &part.label, "").map_err(|e| Failure::Other(e.into()))?;
        Ok(PartCount { label: part.label.as_str(), matings })
    };
    case.parts().map(count).collect()
}

fn told(case: &Case, document: &CaseDocument<'_>, width: usize) -> String {
    let mut text = String::new();
    let complaint = case.complaint();
    let mut line = |name: &str, what: &str| paragraph(&mut text, &format!("{name:<11}"), what, width);
    line("case", &format!("{} ({})", case.name, state_word(case)));
    line("vehicle", case.vehicle());
    line("complaint", &complaint.words);
    for symptom in &complaint.symptoms {
        line("", &format!("- {}", symptom_words(*symptom)));
    }
    if !complaint.codes.is_empty() {
        line("codes", &complaint.codes.join(", "));
    }
    for seen in &complaint.seen {
        let word = match seen.good {
            Some(true) => "good",
            Some(false) => "BAD",
            None => "unclear",
        };
        let place = look_words(seen.look).split(':').next().unwrap_or_default();
        let note = if seen.note.is_empty() { String::new() } else { format!(": {}", seen.note) };
        line("seen", &format!("{place}: {word}{note}"));
    }
    for (part, count) in case.parts().zip(&document.matings) {
        line("part", &part_words(part, count.matings));
    }
    for entry in &case.entries {
        if let Some(words) = entry_words(entry, &document.not_done) {
            line(entry.date.get(..10).unwrap_or_default(), &words);
        }
    }
    for of in document.suspects.iter().filter(|s| !s.suspects.is_empty()) {
        let what = of.part.map_or_else(|| "the vehicle".to_owned(), sentence);
        let _ = writeln!(text, "\nSuspects, {what}:");
        for row in suspect_rows(&of.suspects).iter().take(MOST_SUSPECTS) {
            paragraph(&mut text, "  - ", &row.heading, width);
            for line in row.lines.iter().filter(|l| !l.name.starts_with("Rivals")) {
                paragraph(
                    &mut text,
                    "      ",
                    &format!("{}: {}", line.name.to_lowercase(), line.text),
                    width,
                );
            }
            paragraph(&mut text, "      ", &format!("next: {}", row.next_check), width);
        }
    }
    if !document.next.is_empty() {
        text.push_str("\nNext:\n");
    }
    for advice in &document.next {
        paragraph(&mut text, "  - ", advice, width);
    }
    text
}

/// Lines that fit the width, indented below the first.
fn paragraph(text: &mut String, first: &str, words: &str, width: usize) {
    let indent = first.chars().count();
    for (number, line) in wrap(&sentence(words), width.saturating_sub(indent)).iter().enumerate() {
        let before = if number == 0 { first } else { "" };
        let _ = writeln!(text, "{}", format!("{before:<indent$}{line}").trim_end());
    }
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

/// What an entry says, in a line; none for the opening, which is told above.
fn entry_words(entry: &Entry, not_done: &BTreeMap<String, String>) -> Option<String> {
    Some(match &entry.content {
        Content::Opening(_) => return None,
        Content::Note(note) => {
            let mut said: Vec<String> = Vec::new();
            said.extend(note.reopened.as_ref().map(|why| format!("REOPENED: {why}")));
            said.extend(note.mended.as_ref().map(|what| format!("mended: {what}")));
            if !note.replugged.is_empty() {
                let went =
                    if note.cleared_by_replugging { ", and the fault went away (no repair)" } else { "" };
                said.push(format!("plug pulled and put back: {}{went}", note.replugged.join(", ")));
            }
            said.extend(note.symptoms.iter().map(|s| symptom_words(*s).to_owned()));
            said.extend(note.codes.iter().map(|c| format!("read {c}")));
            said.extend(note.seen.iter().map(|s| format!("looked at {}", s.look.name())));
            said.extend(note.parts.iter().map(|p| format!("part {}", p.label)));
            said.extend(Some(note.words.clone()).filter(|w| !w.is_empty()));
            said.join("; ")
        }
        Content::VehicleCheck(check) => {
            let conclusion = match check.conclusion {
                crate::vehicle::Conclusion::PullThePart => "the wiring is cleared: pull the part",
                crate::vehicle::Conclusion::MendTheRunFirst => "MEND THE RUN FIRST",
                crate::vehicle::Conclusion::Undecided => "undecided",
            };
            format!("vehicle checks: {conclusion}: {}", check.reasons.join(" "))
        }
        Content::Record(record) => {
            let simulated = if record.simulated { ", SIMULATED" } else { "" };
            let left = not_done.get(&left_key(record)).map_or("", String::as_str);
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
    })
}
