//! `case list`: cases, a line each.

use super::state::state_word;
use crate::case::{Case, CaseState, Ending as CaseEnding};
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
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct CasesDocument<'a> {
    document: &'static str,
    schema: u32,
    /// In the order of their beginning.
    cases: Vec<CaseLine<'a>>,
}

#[derive(Serialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
struct CaseLine<'a> {
    /// Its name.
    case: &'a str,
    /// When it was opened, RFC 3339.
    opened: &'a str,
    /// Whether it goes on.
    state: CaseState,
    /// How it ended; null while it is open.
    ending: Option<CaseEnding>,
    /// The vehicle in the user's words.
    vehicle: &'a str,
    /// The complaint, in short.
    complaint: String,
    /// How many entries it has.
    #[cfg_attr(feature = "schemas", schemars(range(min = 1)))]
    entries: usize,
    /// How many of them are records of the bench.
    records: usize,
    /// How many of them are checks at the vehicle.
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
            state: case.state(),
            ending: case.closed().map(|(_, closing)| closing.ending),
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
