//! `case note` and `case close`: what is added to a case.

use super::typed::{self, Intake};
use crate::case::{CaseError, Closing, Content, Ending as CaseEnding, Note};
use crate::cli::clock::date;
use crate::cli::ending::Ending;
use crate::cli::filing::{Desk, refused, tell_kept};
use crate::cli::options::archive::Where;
use crate::cli::surroundings::Surroundings;
use crate::job::Failure;
use crate::job::matings::record_entry;
use crate::record::CaseFileError;
use crate::verdict::Verdict;
use anyhow::anyhow;
use clap::Args;

/// `case note`.
#[derive(Args, Debug)]
pub struct NoteCase {
    /// The case, by its name or a part of it
    pub case: String,
    /// In your words
    #[arg(long, value_name = "TEXT", default_value = "")]
    pub words: String,
    /// What is so besides: symptoms, codes, what was seen, parts.
    #[command(flatten)]
    pub intake: Intake,
    /// A record of the bench that belongs to the case; may be given more than once
    #[arg(long, value_name = "RECORD")]
    pub record: Vec<String>,
    /// A part whose plug was pulled and put back on the vehicle, by its label: counts a mating; may be given more than once
    #[arg(long, value_name = "LABEL")]
    pub replugged: Vec<String>,
    /// The fault went away with that: no repair, the case stays open
    #[arg(long, requires = "replugged")]
    pub cleared: bool,
    /// What was mended or replaced
    #[arg(long, value_name = "TEXT")]
    pub mended: Option<String>,
    /// Why the closed case goes on
    #[arg(long, value_name = "TEXT")]
    pub reopen: Option<String>,
    /// Which archive.
    #[command(flatten)]
    pub place: Where,
}

/// `case close`.
#[derive(Args, Debug)]
pub struct CloseCase {
    /// The case, by its name or a part of it
    pub case: String,
    /// How it ends: mended, nothing_found, handed_on
    #[arg(long, value_name = "ENDING", value_parser = ending)]
    pub ending: CaseEnding,
    /// What was mended or replaced, where no note says it yet
    #[arg(long, value_name = "TEXT")]
    pub mended: Option<String>,
    /// In your words
    #[arg(long, value_name = "TEXT", default_value = "")]
    pub words: String,
    /// Which archive.
    #[command(flatten)]
    pub place: Where,
}

fn ending(text: &str) -> Result<CaseEnding, String> {
    let all = CaseEnding::ALL;
    all.into_iter()
        .find(|e| e.name() == text)
        .ok_or_else(|| format!("a case ends as one of: {}", all.map(CaseEnding::name).join(", ")))
}

/// Carries out `case note`.
///
/// # Errors
/// [`Failure::Usage`] for what can't be added; nothing is kept then.
pub fn note(args: &NoteCase, surroundings: &Surroundings<'_>) -> Result<Ending, Failure> {
    if let Some(why) = typed::contradiction(&args.intake.seen) {
        return Err(Failure::Usage(anyhow!("{why}")));
    }
    let desk = Desk::of(args.place.archive.as_deref(), surroundings)?;
    let case = desk.case(&args.case)?;
    let note = Note {
        words: args.words.clone(),
        symptoms: args.intake.symptom.clone(),
        codes: args.intake.code.clone(),
        seen: args.intake.seen.clone(),
        parts: args.intake.intake.clone(),
        replugged: args.replugged.clone(),
        cleared_by_replugging: args.cleared,
        mended: args.mended.clone(),
        reopened: args.reopen.clone(),
    };
    // Everything is looked at before anything is written.
    let records = args.record.iter().map(|name| record(&desk, name)).collect::<Result<Vec<_>, _>>()?;
    let mut contents: Vec<Content> = Vec::new();
    if note != Note::default() || records.is_empty() {
        contents.push(Content::Note(note));
    }
    let reopens = args.reopen.is_some();
    for content in contents.iter().chain(records.iter().filter(|_| !reopens)) {
        case.allows(content).map_err(|e| refused(CaseFileError::Rule(e)))?;
    }
    contents.extend(records);
    for content in contents {
        let date = date();
        let kept = desk
            .archive
            .add_to_case(&case.name, content, desk.sealing(&date), |_| Vec::new())
            .map_err(refused)?;
        tell_kept(&kept);
    }
    if args.cleared {
        println!(
            "The fault went away by replugging. That is not a repair: the case stays open until something is mended. Look at the terminals now, while it is fresh \
             which plug it was."
        );
    }
    Ok(Ending::Done)
}

fn record(desk: &Desk, name: &str) -> Result<Content, Failure> {
    let usage = |e: crate::record::ArchiveError| Failure::Usage(e.into());
    let stored = desk.archive.record(name).map_err(usage)?;
    let outcome = desk.archive.outcome(&stored, None).map_err(usage)?;
    record_entry(&desk.archive, &stored.summary.record, &outcome).map_err(usage)
}

/// Carries out `case close`. A fault that only went away by replugging keeps its case open, and so does a repair that nothing has confirmed; that is
/// said: undecided.
///
/// # Errors
/// [`Failure::Usage`] for a case that is closed, or was not mended.
pub fn close(args: &CloseCase, surroundings: &Surroundings<'_>) -> Result<Ending, Failure> {
    let desk = Desk::of(args.place.archive.as_deref(), surroundings)?;
    let case = desk.case(&args.case)?;
    let closing = Content::Closing(Closing { ending: args.ending, words: args.words.clone() });
    let date = date();
    if let Some(mended) = &args.mended {
        // Closed twice is refused before anything is added.
        if let Some(error) =
            case.allows(&closing).err().filter(|e| matches!(e, CaseError::ClosedAlready { .. }))
        {
            return Err(Failure::Usage(error.into()));
        }
        let note = Content::Note(Note { mended: Some(mended.clone()), ..Note::default() });
        let kept = desk.archive.add_to_case(&case.name, note, desk.sealing(&date), |_| Vec::new());
        tell_kept(&kept.map_err(refused)?);
    }
    match desk.archive.add_to_case(&case.name, closing, desk.sealing(&date), |_| Vec::new()) {
        Ok(kept) => {
            tell_kept(&kept);
            println!("closed: {}", args.ending.name());
            Ok(Ending::Done)
        }
        Err(CaseFileError::Rule(
            why @ (CaseError::OnlyReplugged { .. } | CaseError::NotCheckedSince { .. }),
        )) => {
            println!("{why}");
            Ok(Ending::Judged(Verdict::Undecided))
        }
        Err(other) => Err(refused(other)),
    }
}
