//! `case list`: cases, a line each.

use super::state::state_word;
use crate::case::{Case, CaseState};
use crate::cli::ending::Ending;
use crate::cli::filing::refused;
use crate::cli::options::archive::{Where, open};
use crate::cli::surroundings::Surroundings;
use crate::cli::terminal::say::say;
use crate::job::Failure;
use crate::report::text::sentence;
use clap::Args;
use serde::Serialize;

/// `case list`.
#[derive(Args, Debug)]
pub struct ListCases {
    /// Only those that go on
    #[arg(long)]
    pub open: bool,
    /// Which archive.
    #[command(flatten)]
    pub place: Where,
    /// Print them as JSON
    #[arg(long)]
    pub json: bool,
}

#[derive(Serialize)]
struct CasesDocument<'a> {
    document: &'static str,
    schema: u32,
    cases: Vec<CaseLine<'a>>,
}

#[derive(Serialize)]
struct CaseLine<'a> {
    case: &'a str,
    opened: &'a str,
    state: &'static str,
    ending: Option<&'static str>,
    vehicle: &'a str,
    complaint: String,
    entries: usize,
    records: usize,
    checks: usize,
}

/// Carries out `case list`.
///
/// # Errors
/// There is no archive, or it can't be read.
pub fn list(args: &ListCases, surroundings: &Surroundings<'_>) -> Result<Ending, Failure> {
    let archive = open(args.place.archive.as_deref(), surroundings)?;
    let mut cases = archive.cases().map_err(refused)?;
    cases.retain(|case| !args.open || case.state() == CaseState::Open);
    let document =
        CasesDocument { document: "cases", schema: 1, cases: cases.iter().map(CaseLine::of).collect() };
    let mut text: String = cases.iter().map(line).collect();
    text += &match cases.len() {
        0 => "no case\n".to_owned(),
        1 => "1 case\n".to_owned(),
        n => format!("{n} cases\n"),
    };
    say(&text, &document, args.json);
    Ok(Ending::Done)
}

impl<'a> CaseLine<'a> {
    fn of(case: &'a Case) -> Self {
        Self {
            case: &case.name,
            opened: case.opened(),
            state: case.state().name(),
            ending: case.closed().map(|(_, closing)| closing.ending.name()),
            vehicle: case.vehicle(),
            complaint: case.complaint().words,
            entries: case.entries.len(),
            records: case.records().count(),
            checks: case.checks().count(),
        }
    }
}

fn line(case: &Case) -> String {
    let complaint = sentence(&case.complaint().words);
    format!("{}  {:<22}  {}\n", sentence(&case.name), state_word(case), complaint)
}
