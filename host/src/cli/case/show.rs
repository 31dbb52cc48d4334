//! `case show`: everything that a case holds, what fits it, and what to do next.

use super::state::state_word;
use crate::case::{Case, CasePart, CaseState, Content, Entry};
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
use crate::report::document::{self as shown, CaseInput, CaseSuspects};
use crate::report::terminal;
use crate::verdict::Verdict;
use clap::Args;
use serde::Serialize;
use std::collections::BTreeMap;

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
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct CaseDocument<'a> {
    /// Records of it that were not done to their end, and what of them.
    #[serde(skip)]
    not_done: BTreeMap<String, String>,
    document: &'static str,
    schema: u32,
    /// Its name.
    #[cfg_attr(feature = "schemas", schemars(regex(pattern = "^case-")))]
    case: &'a str,
    /// Whether it goes on.
    state: CaseState,
    /// Its fault went away by replugging and nothing was mended since: it can't be closed as mended.
    stays_open: bool,
    /// Its entries, as they are sealed.
    entries: &'a [Entry],
    /// Matings of each part's connector so far.
    matings: Vec<PartCount<'a>>,
    /// Causes that fit with all that is known, part by part.
    suspects: Vec<PartSuspects<'a>>,
    /// What to do next, in the order of doing.
    next: Vec<String>,
}

/// What fits, with all that is known: a part with its records, the vehicle checks and the complaint.
#[derive(Serialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
struct PartSuspects<'a> {
    /// Null: the case names no part.
    part: Option<&'a str>,
    /// Most likely first, problem by problem.
    suspects: Vec<OutcomeSuspect>,
}

/// How often a part was plugged in.
#[derive(Serialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
struct PartCount<'a> {
    /// What the part is called in records.
    label: &'a str,
    /// Matings of its connector so far.
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
        state: case.state(),
        stays_open: case.only_replugged(),
        entries: &case.entries,
        matings,
        suspects: suspects(&archive, &case)?,
        next: case.advice(),
    };
    let matings: Vec<u32> = document.matings.iter().map(|m| m.matings).collect();
    let suspects = document.suspects.iter();
    let suspects = suspects.map(|of| CaseSuspects { part: of.part, suspects: &of.suspects });
    let input = CaseInput {
        case: &case,
        state: &state_word(&case),
        matings: &matings,
        not_done: &document.not_done,
        suspects: &suspects.collect::<Vec<_>>(),
        next: &document.next,
    };
    say(&terminal(&shown::case(&input), style(surroundings)), &document, args.json);
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
        all.insert(CaseInput::key(record), words);
    }
    Ok(all)
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
