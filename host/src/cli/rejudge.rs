//! `rejudge`: the archive's records analysed and judged again; what differs is listed.

use super::ending::Ending;
use super::options::archive::{Where, dir};
use super::options::filter::Filter;
use super::surroundings::Surroundings;
use super::terminal::at_terminal::at_terminal;
use super::terminal::say::{say, style};
use crate::job::{Failure, rejudge as job};
use crate::report::{compare as shown, terminal};
use anyhow::anyhow;
use clap::Args;
use std::path::PathBuf;

/// `rejudge`.
#[derive(Args, Debug)]
pub struct Rejudge {
    /// Names of records
    #[arg(value_name = "RECORD")]
    pub records: Vec<String>,
    /// Every record of the archive
    #[arg(long, conflicts_with = "records")]
    pub all: bool,
    /// Which records.
    #[command(flatten)]
    pub filter: Filter,
    /// Part sheet to judge by, by name or file; without it, the shipped sheet whose topology the data show
    #[arg(long, value_name = "NAME|FILE")]
    pub sheet: Option<String>,
    /// Good bodies among which throttle bodies are judged (`population learn`), instead of the shipped ones
    #[arg(long, value_name = "FILE")]
    pub population: Option<PathBuf>,
    /// Say what would differ, and keep nothing
    #[arg(long)]
    pub dry_run: bool,
    /// Cores to work on, instead of all
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=1024))]
    pub jobs: Option<u16>,
    /// Which archive.
    #[command(flatten)]
    pub place: Where,
    /// Print what differs as JSON on stdout
    #[arg(long)]
    pub json: bool,
}

/// Carries out `rejudge`.
///
/// # Errors
/// [`Failure::Usage`] for an unknown record, sheet or archive; [`Failure::Other`] when an outcome can't be kept.
pub fn rejudge(args: &Rejudge, surroundings: &Surroundings<'_>) -> Result<Ending, Failure> {
    if !args.all && args.records.is_empty() && args.filter.is_empty() {
        return Err(Failure::Usage(anyhow!(
            "which records? Name them (RECORD …), or give --all, or what they have in common (`trackpair rejudge --help`)"
        )));
    }
    args.filter.check()?;
    let archive = dir(args.place.archive.as_deref(), surroundings)?;
    let asked = job::Rejudge {
        archive: &archive,
        records: &args.records,
        query: args.filter.query(&[]),
        sheet: args.sheet.as_deref(),
        population: args.population.as_deref(),
        dry_run: args.dry_run,
        cores: args.jobs,
    };
    let again = at_terminal(surroundings, |outside| job::rejudge(&asked, outside))?;
    let job::JudgedAgain { summary, not_kept } = again;
    say(&terminal(&shown::rejudged(&summary), style(surroundings)), &summary.document(), args.json);
    if let Some(cause) = not_kept {
        return Err(Failure::Other(cause.into()));
    }
    Ok(if summary.skipped.iter().any(|s| s.damaged) {
        Ending::NotAsKept
    } else if summary.stopped {
        Ending::RigFaultOrAborted
    } else {
        Ending::Done
    })
}
