//! `records show`: one record with its outcomes, traces and seals, and what its last outcome says; or the story of its line.

use super::list::RecordDocument;
use crate::cli::ending::Ending;
use crate::cli::options::archive::{Where, open};
use crate::cli::surroundings::Surroundings;
use crate::cli::terminal::say::{say, style};
use crate::job::Failure;
use crate::record::{Archive, StoredRecord};
use crate::report::text::sentence;
use crate::report::{ReportInput, document as shown, terminal};
use crate::session::Story;
use crate::sheet::{PartSheet, shipped, shipped_names};
use anyhow::{Context, anyhow};
use clap::Args;
use serde::Serialize;
use std::io::Write;

/// `records show`.
#[derive(Args, Debug)]
pub struct ShowRecord {
    /// The record, by its name or a part of it that no other has
    pub record: String,
    /// Number of the outcome to show, instead of the last
    #[arg(long, value_name = "N")]
    pub outcome: Option<u32>,
    /// Which archive.
    #[command(flatten)]
    pub place: Where,
    /// What happened on the line while it was recorded, instead: repeats, damaged frames, gaps, guards, how long answers took
    #[arg(long, conflicts_with = "outcome")]
    pub session: bool,
    /// Print it as JSON: where its files are and what seals them; outcome.json itself has the figures
    #[arg(long)]
    pub json: bool,
}

#[derive(Serialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
struct Outcomes<'a> {
    /// From 1.
    #[cfg_attr(feature = "schemas", schemars(range(min = 1)))]
    number: u32,
    /// From the archive's folder.
    file: &'a str,
    /// RFC 3339.
    judged: &'a str,
    /// Verdict.
    #[cfg_attr(feature = "schemas", schemars(with = "crate::verdict::Verdict"))]
    verdict: &'a str,
    /// What it is about.
    scope: &'a str,
    /// The sheet.
    sheet: &'a str,
}

#[derive(Serialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
struct Traces<'a> {
    /// From 1.
    #[cfg_attr(feature = "schemas", schemars(range(min = 1)))]
    position: u32,
    /// Procedure.
    procedure: &'a str,
    /// How many scans.
    scans: u64,
    /// How it ended.
    #[cfg_attr(feature = "schemas", schemars(with = "crate::trace::TraceEnd"))]
    ended: &'a str,
    /// From the archive's folder.
    file: &'a str,
    /// 64 hex digits.
    #[cfg_attr(feature = "schemas", schemars(regex(pattern = "^[0-9a-f]{64}$")))]
    sha256: &'a str,
    /// Size of the file.
    bytes: u64,
}

#[derive(Serialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
struct Seals<'a> {
    /// Place in the chain.
    #[cfg_attr(feature = "schemas", schemars(range(min = 1)))]
    sequence: u64,
    /// Number of the outcome.
    #[cfg_attr(feature = "schemas", schemars(range(min = 1)))]
    number: u32,
    /// 64 hex digits.
    #[cfg_attr(feature = "schemas", schemars(regex(pattern = "^[0-9a-f]{64}$")))]
    fingerprint: &'a str,
    /// Fingerprint of the seal before.
    #[cfg_attr(feature = "schemas", schemars(regex(pattern = "^[0-9a-f]{64}$")))]
    previous: Option<&'a str>,
    /// 64 hex digits.
    #[cfg_attr(feature = "schemas", schemars(regex(pattern = "^[0-9a-f]{64}$")))]
    key: &'a str,
}

#[derive(Serialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct ShownRecord<'a> {
    document: &'static str,
    schema: u32,
    /// The archive's folder.
    archive: String,
    /// A record.
    record: RecordDocument<'a>,
    /// By number.
    outcomes: Vec<Outcomes<'a>>,
    /// In the order of recording.
    traces: Vec<Traces<'a>>,
    /// By number of the outcome.
    seals: Vec<Seals<'a>>,
}

/// Carries out `records show`.
pub fn show(args: &ShowRecord, surroundings: &Surroundings<'_>) -> Result<Ending, Failure> {
    let archive = open(args.place.archive.as_deref(), surroundings)?;
    let record = archive.record(&args.record).map_err(|e| Failure::Usage(e.into()))?;
    if args.session {
        return sessions(&archive, &record, args.json);
    }
    let outcome = if record.outcomes.is_empty() && args.outcome.is_none() {
        None
    } else {
        Some(archive.outcome(&record, args.outcome).map_err(|e| Failure::Usage(e.into()))?)
    };
    let mut text = String::new();
    if let (Some(outcome), Some(sheet)) = (&outcome, any_sheet()) {
        let input = ReportInput {
            outcome,
            curves: &[],
            plots: &[],
            comparisons: &[],
            sheet: &sheet,
            channels: &[],
            stamp: None,
            shop: None,
        };
        text += &terminal(&shown::report(&input), style(surroundings));
    }
    text += &files(&archive, &record);
    say(&text, &document(&archive, &record), args.json);
    Ok(Ending::Done)
}

/// What happened on the line, in words or as it is kept.
fn sessions(archive: &Archive, record: &StoredRecord, json: bool) -> Result<Ending, Failure> {
    let sessions = archive.sessions(record);
    if sessions.is_empty() {
        return Err(Failure::Usage(anyhow!(
            "{} holds no session: it was recorded without a rig, or before trackpair kept sessions",
            sentence(&record.summary.record)
        )));
    }
    for (number, lines) in sessions {
        let told = if json {
            lines
        } else {
            let read =
                Story::read(&lines).with_context(|| format!("the session of outcome {number} can't be read"));
            read.map_err(Failure::Other)?.iter().map(Story::words).collect()
        };
        // Whatever the file was made to hold: a terminal obeys none of it.
        let told: String = told.chars().filter(|c| *c == '\n' || !c.is_control()).collect();
        // A reader that has gone away is no failure.
        let _ = std::io::stdout().write_all(told.as_bytes());
    }
    Ok(Ending::Done)
}

/// The short result needs the outcome alone; a sheet is only asked for.
fn any_sheet() -> Option<PartSheet> {
    shipped_names().first().and_then(|name| shipped(name))
}

fn files(archive: &Archive, record: &StoredRecord) -> String {
    use std::fmt::Write as _;
    let mut text = String::from("\nRecord\n");
    let summary = &record.summary;
    let _ = writeln!(text, "  {} · {} · {}", sentence(&summary.record), summary.kind, summary.state.name());
    let _ = writeln!(text, "  part {} · begun {}", sentence(&summary.label), sentence(&summary.begun));
    let place = |file: &str| sentence(&archive.dir().join(file).display().to_string());
    for outcome in &record.outcomes {
        let _ = writeln!(
            text,
            "  outcome {}: {}, judged {} by {}: {}",
            outcome.number,
            outcome.verdict,
            sentence(&outcome.judged),
            sentence(&outcome.sheet),
            place(&outcome.file)
        );
    }
    for trace in &record.traces {
        let _ = writeln!(
            text,
            "  trace {}: {}, {} scans, {}: {}",
            trace.position,
            trace.procedure,
            trace.scans,
            trace.ended,
            place(&trace.file)
        );
    }
    for stored in &record.seals {
        let _ = writeln!(
            text,
            "  seal {} of outcome {}: {}",
            stored.sequence, stored.number, stored.seal.fingerprint
        );
    }
    text
}

fn document<'a>(archive: &Archive, record: &'a StoredRecord) -> ShownRecord<'a> {
    let outcomes = record.outcomes.iter().map(|o| Outcomes {
        number: o.number,
        file: &o.file,
        judged: &o.judged,
        verdict: &o.verdict,
        scope: &o.scope,
        sheet: &o.sheet,
    });
    let traces = record.traces.iter().map(|t| Traces {
        position: t.position,
        procedure: &t.procedure,
        scans: t.scans,
        ended: &t.ended,
        file: &t.file,
        sha256: &t.sha256,
        bytes: t.bytes,
    });
    let seals = record.seals.iter().map(|s| Seals {
        sequence: s.sequence,
        number: s.number,
        fingerprint: &s.seal.fingerprint,
        previous: s.previous.as_deref(),
        key: &s.seal.key,
    });
    ShownRecord {
        document: "record",
        schema: 1,
        archive: archive.dir().display().to_string(),
        record: RecordDocument::of(&record.summary),
        outcomes: outcomes.collect(),
        traces: traces.collect(),
        seals: seals.collect(),
    }
}
