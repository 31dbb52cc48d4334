//! `records list`: records, a line each.

use crate::cli::ending::Ending;
use crate::cli::options::archive::{Where, open};
use crate::cli::options::filter::Filter;
use crate::cli::surroundings::Surroundings;
use crate::cli::terminal::say::{say, style};
use crate::job::Failure;
use crate::record::{RecordState, RecordSummary};
use crate::report::text::sentence;
use clap::Args;
use serde::Serialize;

/// `records list`.
#[derive(Args, Debug)]
pub struct ListRecords {
    /// Which records; all without any of these.
    #[command(flatten)]
    pub filter: Filter,
    /// Which archive.
    #[command(flatten)]
    pub place: Where,
    /// Print them as JSON
    #[arg(long)]
    pub json: bool,
}

/// A record for programs.
#[derive(Serialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct RecordDocument<'a> {
    /// Name: its folder.
    #[cfg_attr(feature = "schemas", schemars(length(min = 1)))]
    record: &'a str,
    /// Kind of part.
    #[cfg_attr(feature = "schemas", schemars(with = "crate::quantity::PartKind"))]
    kind: &'a str,
    /// The user's words for the part; may hold anything.
    label: &'a str,
    /// When it was begun, RFC 3339.
    begun: &'a str,
    /// Whether rig and part were simulated.
    simulated: bool,
    /// How far it has come.
    state: RecordState,
    /// How many traces.
    traces: u32,
    /// How many outcomes.
    outcomes: u32,
    /// When the last outcome was judged; null without one.
    judged: Option<&'a str>,
    /// Its verdict.
    #[cfg_attr(feature = "schemas", schemars(with = "Option<crate::verdict::Verdict>"))]
    verdict: Option<&'a str>,
    /// What that is about.
    scope: Option<&'a str>,
    /// The sheet it was judged by.
    sheet: Option<&'a str>,
    /// Its grade, if it has one.
    grade: Option<&'a str>,
    /// Whether it was cut short.
    cut_short: bool,
    /// What was planned and not done to its end, and how it ended; null when all was done.
    not_done: Option<&'a str>,
    /// Kinds of its findings that bear on the verdict.
    findings: &'a [String],
}

impl<'a> RecordDocument<'a> {
    /// Of a record.
    pub fn of(summary: &'a RecordSummary) -> Self {
        Self {
            record: &summary.record,
            kind: &summary.kind,
            label: &summary.label,
            begun: &summary.begun,
            simulated: summary.simulated,
            state: summary.state,
            traces: summary.traces,
            outcomes: summary.outcomes,
            judged: summary.judged.as_deref(),
            verdict: summary.verdict.as_deref(),
            scope: summary.scope.as_deref(),
            sheet: summary.sheet.as_deref(),
            grade: summary.grade.as_deref(),
            cut_short: summary.cut_short,
            not_done: summary.not_done.as_deref(),
            findings: &summary.findings,
        }
    }
}

#[derive(Serialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct RecordsDocument<'a> {
    document: &'static str,
    schema: u32,
    /// In the order of their beginning.
    records: Vec<RecordDocument<'a>>,
}

/// Carries out `records list`.
pub fn list(args: &ListRecords, surroundings: &Surroundings<'_>) -> Result<Ending, Failure> {
    args.filter.check()?;
    let archive = open(args.place.archive.as_deref(), surroundings)?;
    let found = archive.find(&args.filter.query(&[])).map_err(|e| Failure::Other(e.into()))?;
    let records = found.iter().map(RecordDocument::of).collect();
    let document = RecordsDocument { document: "records", schema: 1, records };
    say(&lines(&found, style(surroundings).width), &document, args.json);
    Ok(Ending::Done)
}

/// A head, a line per record that fits the width, and how many there are.
fn lines(found: &[RecordSummary], width: usize) -> String {
    let cells: Vec<[String; 5]> = found.iter().map(cells).collect();
    let head = ["RECORD", "KIND", "VERDICT", "GRADE", "FINDINGS · PART"].map(str::to_owned);
    let wide = |k: usize| cells.iter().chain([&head]).map(|row| row[k].chars().count()).max().unwrap_or(0);
    let widths = [wide(0), wide(1), wide(2), wide(3)];
    let mut text = String::new();
    for row in [&head].into_iter().chain(&cells).filter(|_| !found.is_empty()) {
        let mut line = String::new();
        for (cell, wide) in row.iter().zip(widths) {
            line += &format!("{cell:<wide$}  ");
        }
        line += &row[4];
        text += cut(line.trim_end(), width).as_str();
        text.push('\n');
    }
    text + &match found.len() {
        0 => "no records\n".to_owned(),
        1 => "1 record\n".to_owned(),
        n => format!("{n} records\n"),
    }
}

/// A line that fits, or its beginning and a sign that something is missing.
fn cut(line: &str, width: usize) -> String {
    if line.chars().count() <= width {
        return line.to_owned();
    }
    line.chars().take(width.saturating_sub(1)).chain(['…']).collect()
}

fn cells(summary: &RecordSummary) -> [String; 5] {
    let scope =
        summary.scope.as_deref().filter(|s| *s != "part").map(|s| format!(" ({s})")).unwrap_or_default();
    let left = match &summary.not_done {
        _ if summary.cut_short => ", cut short",
        Some(_) => ", not all done",
        None => "",
    };
    let verdict = match (&summary.verdict, summary.state) {
        (Some(verdict), RecordState::Unsealed) => format!("{verdict}{scope}{left}, unsealed"),
        (Some(verdict), _) => format!("{verdict}{scope}{left}"),
        (None, state) => state.name().to_owned(),
    };
    let simulated = summary.simulated.then_some("SIMULATED").map(str::to_owned);
    let findings = Some(summary.findings.join(", ")).filter(|f| !f.is_empty());
    let label = Some(sentence(&summary.label)).filter(|l| !l.is_empty());
    let last: Vec<String> = [findings, label, simulated].into_iter().flatten().collect();
    let grade = summary.grade.clone().unwrap_or_else(|| "–".to_owned());
    [sentence(&summary.record), summary.kind.clone(), verdict, sentence(&grade), last.join(" · ")]
}
