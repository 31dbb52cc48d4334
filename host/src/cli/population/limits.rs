//! `population limits`: what limits good parts would give; written as a part sheet on request.

use crate::cli::clock::date;
use crate::cli::ending::Ending;
use crate::cli::options::archive::{Where, named};
use crate::cli::surroundings::Surroundings;
use crate::cli::terminal::left_out::tell_left_out;
use crate::cli::terminal::say::{say, style};
use crate::compare::proposal::{Proposal, propose};
use crate::compare::tolerance::Claim;
use crate::job::Failure;
use crate::job::stored::{Stored, read_all};
use crate::record::sheet_file;
use crate::report::compare::{self as shown, sheet_text};
use crate::report::{html, terminal};
use crate::sheet::{parse, shipped_text};
use anyhow::{Context, anyhow};
use clap::Args;
use std::io::Write;
use std::path::{Path, PathBuf};

/// `population limits`.
#[derive(Args, Debug)]
pub struct ProposeLimits {
    /// Records of good parts, 10 at least: names, folders, or an archive
    #[arg(required = true, value_name = "DIR|RECORD")]
    pub records: Vec<PathBuf>,
    /// Part sheet whose limits are looked at, by name or file; without it, that of the first record
    #[arg(long, value_name = "NAME|FILE")]
    pub sheet: Option<String>,
    /// Share of good parts that a limit is to leave inside
    #[arg(long, value_name = "SHARE", default_value_t = 0.95)]
    pub coverage: f64,
    /// How sure that is to be
    #[arg(long, value_name = "SHARE", default_value_t = 0.95)]
    pub confidence: f64,
    /// Write the sheet with the proposed limits to this file, which must not be there
    #[arg(long, value_name = "FILE")]
    pub write_sheet: Option<PathBuf>,
    /// Where records are looked up by name.
    #[command(flatten)]
    pub place: Where,
    /// Write the proposal to this HTML file
    #[arg(long, value_name = "FILE")]
    pub report: Option<PathBuf>,
    /// Print the proposal as JSON on stdout
    #[arg(long)]
    pub json: bool,
}

/// Carries out `population limits`.
///
/// # Errors
/// [`Failure::Usage`] for an impossible claim, an unknown sheet, too few or mixed parts, or a file that is there already.
pub fn limits(args: &ProposeLimits, surroundings: &Surroundings<'_>) -> Result<Ending, Failure> {
    let claim = Claim::new(args.coverage, args.confidence).map_err(|e| Failure::Usage(e.into()))?;
    let archive = named(args.place.archive.as_deref(), surroundings)?;
    let (records, unread) = read_all(&args.records, archive.as_deref());
    tell_left_out(&unread);
    let Some(first) = records.first() else {
        return Err(Failure::Usage(anyhow!("none of the records can be read; give folders of records")));
    };
    let wanted = args.sheet.as_deref().unwrap_or(&first.outcome.sheet.name);
    let sheet = sheet_file::load(wanted).map_err(|e| Failure::Usage(e.into()))?;
    let subjects: Vec<_> = records.iter().map(Stored::subject).collect();
    let mut proposal = propose(&subjects, &sheet, claim).map_err(|e| Failure::Usage(e.into()))?;
    proposal.left_out.splice(0..0, unread);
    let view = shown::proposal(&proposal, &first.outcome);
    if let Some(file) = &args.report {
        crate::cli::terminal::say::write_report(html(&view).as_bytes(), file)?;
    }
    let written = args.write_sheet.as_deref().map(|file| write_sheet(file, wanted, &proposal)).transpose()?;
    say(&terminal(&view, style(surroundings)), &proposal, args.json);
    if let Some(file) = written {
        eprintln!("written to {}; look at each limit, then: trackpair sheet check {0}", file.display());
    }
    Ok(Ending::Done)
}

/// The sheet as a new file; nothing is overwritten, and nothing is written that could not be read again.
fn write_sheet<'f>(file: &'f Path, base: &str, proposal: &Proposal) -> Result<&'f Path, Failure> {
    let text = match shipped_text(base) {
        Some(text) => text.to_owned(),
        None => std::fs::read_to_string(base).map_err(|e| Failure::Usage(e.into()))?,
    };
    let day = date().chars().take(10).collect::<String>();
    let text = sheet_text::write(&text, proposal, &day).map_err(|e| Failure::Other(e.into()))?;
    parse(&text, &file.to_string_lossy()).map_err(|e| Failure::Other(e.into()))?;
    let made = std::fs::File::create_new(file).and_then(|mut f| f.write_all(text.as_bytes()));
    made.with_context(|| {
        format!(
            "can't write {}: an existing file is never overwritten; choose another --write-sheet FILE",
            file.display()
        )
    })
    .map_err(Failure::Usage)?;
    Ok(file)
}
