//! `compare`: records before and after, a series, or a part among the population of its kind.

use super::ending::Ending;
use super::options::archive::{Where, named};
use super::surroundings::Surroundings;
use super::terminal::say::{say, style, write_report};
use crate::compare::changes::{self, Question};
use crate::compare::standing::stand;
use crate::compare::trend::LEAST_RECORDS;
use crate::job::Failure;
use crate::job::stored::{Stored, must_read, read_all};
use crate::report::compare::{Drawing, Drawn, overlays};
use crate::report::document::Document;
use crate::report::{Lines, Style, compare as shown, html, terminal};
use anyhow::anyhow;
use clap::Args;
use serde::Serialize;
use std::path::{Path, PathBuf};

/// `compare`.
#[derive(Args, Debug)]
pub struct Compare {
    /// Records: names, folders, or an outcome.json; the first is "before"
    #[arg(required = true, value_name = "RECORD")]
    pub records: Vec<PathBuf>,
    /// Show where the one record stands among these of its kind: records, or a folder of them
    #[arg(long, value_name = "DIR|RECORD", num_args = 1.., conflicts_with = "trend")]
    pub others: Vec<PathBuf>,
    /// Of three records or more: what changes over time, instead of each against the first
    #[arg(long)]
    pub trend: bool,
    /// Part sheet for the pictures, by name or file, where the records' own does not ship
    #[arg(long, value_name = "NAME|FILE")]
    pub sheet: Option<String>,
    /// Leave the pictures out: the traces are then not read
    #[arg(long)]
    pub no_pictures: bool,
    /// Where records are looked up by name.
    #[command(flatten)]
    pub place: Where,
    /// Write the comparison to this HTML file
    #[arg(long, value_name = "FILE")]
    pub report: Option<PathBuf>,
    /// Print the comparison as JSON on stdout
    #[arg(long)]
    pub json: bool,
}

/// Carries out `compare`.
///
/// # Errors
/// [`Failure::Usage`] when a record can't be read, or parts of different kinds are to be compared; [`Failure::Other`] when the report can't
/// be written.
pub fn compare(args: &Compare, surroundings: &Surroundings<'_>) -> Result<Ending, Failure> {
    let archive = named(args.place.archive.as_deref(), surroundings)?;
    let records =
        args.records.iter().map(|p| must_read(p, archive.as_deref())).collect::<Result<Vec<_>, _>>()?;
    let style = style(surroundings);
    match (records.as_slice(), args.others.is_empty()) {
        ([_], true) => Err(usage(
            "one record alone can't be compared: give another, or --others DIR with records of its kind",
        )),
        (_, true) => against_each_other(args, &records, style),
        ([one], false) => with_others(args, archive.as_deref(), one, style),
        _ => Err(usage("--others compares one part with others of its kind: give one record before it")),
    }
}

fn usage(message: &str) -> Failure {
    Failure::Usage(anyhow!(message.to_owned()))
}

fn against_each_other(args: &Compare, records: &[Stored], style: Style) -> Result<Ending, Failure> {
    if args.trend && records.len() < LEAST_RECORDS {
        return Err(usage("a trend takes three records or more"));
    }
    let subjects: Vec<_> = records.iter().map(Stored::subject).collect();
    let question = if args.trend { Question::OverTime } else { Question::AgainstFirst };
    let document = changes::compare(&subjects, question).map_err(|e| Failure::Usage(e.into()))?;
    let page = shown::changes(&document, &records[0].outcome, draw(args, records));
    finish(args, &page, &document, style)
}

/// The pictures, where they would be seen.
fn draw(args: &Compare, records: &[Stored]) -> Drawing {
    if args.report.is_none() || args.no_pictures {
        return Drawing::default();
    }
    let again: Vec<_> = records.iter().map(|r| r.again(args.sheet.as_deref())).collect();
    let drawn: Vec<Drawn<'_>> = again
        .iter()
        .enumerate()
        .filter_map(|(record, a)| {
            let a = a.as_ref().ok()?;
            Some(Drawn { record, curves: &a.curves, plots: &a.plots })
        })
        .collect();
    let left_out = again.iter().filter_map(|a| a.as_ref().err().cloned()).collect();
    Drawing { plots: overlays(&drawn, Lines::of(&records[0].outcome)), left_out }
}

fn with_others(
    args: &Compare,
    archive: Option<&Path>,
    part: &Stored,
    style: Style,
) -> Result<Ending, Failure> {
    let (others, unread) = read_all(&args.others, archive);
    let subjects: Vec<_> = others.iter().map(Stored::subject).collect();
    let mut document = stand(part.subject(), &subjects).map_err(|e| Failure::Usage(e.into()))?;
    document.left_out.splice(0..0, unread);
    let page = shown::standing(&document, &part.outcome);
    finish(args, &page, &document, style)
}

fn finish(
    args: &Compare,
    page: &Document,
    document: &impl Serialize,
    style: Style,
) -> Result<Ending, Failure> {
    let reported =
        args.report.as_deref().map_or(Ok(()), |file: &Path| write_report(html(page).as_bytes(), file));
    say(&terminal(page, style), document, args.json);
    reported?;
    Ok(Ending::Done)
}
