//! `case`: from a complaint to what was done about it. One file per question: `new`, `note` (and close), `list`, `show`; `typed`: what
//! options mean; `ask`: the guided prompt.

mod ask;
mod list;
mod new;
mod note;
mod show;
mod typed;

use super::key::to_seal_with;
use super::records::named;
use super::{Ending, Failure, Surroundings, date};
use crate::case::{Case, CaseError, CaseState, Content};
use crate::outcome::Stamp;
use crate::record::{Archive, CaseFileError, Document, KeptEntry, Sealing, seal::ShopKey};
use anyhow::anyhow;
use clap::Subcommand;
use std::path::{Path, PathBuf};

/// `case`.
#[derive(Debug, Subcommand)]
pub enum CaseCommand {
    /// Begin a case: complaint, vehicle, parts, what the eye saw; without options it asks
    New(new::NewCase),
    /// Every case, a line each
    List(list::ListCases),
    /// One case: complaint, parts, checks, records, causes that fit, what to do next
    Show(show::ShowCase),
    /// Add what came to light or was done: words, what was seen, records, plugs pulled, what was mended
    Note(note::NoteCase),
    /// End a case; one whose fault only went away by replugging stays open
    Close(note::CloseCase),
}

/// Carries out `case`.
///
/// # Errors
/// [`Failure`]; nothing was written then.
pub fn case(command: &CaseCommand, surroundings: &Surroundings<'_>) -> Result<Ending, Failure> {
    match command {
        CaseCommand::New(args) => new::new(args, surroundings),
        CaseCommand::List(args) => list::list(args, surroundings),
        CaseCommand::Show(args) => show::show(args, surroundings),
        CaseCommand::Note(args) => note::note(args, surroundings),
        CaseCommand::Close(args) => note::close(args, surroundings),
    }
}

/// The case that a session with the rig belongs to.
#[derive(Clone, Debug)]
pub struct InCase {
    /// Its full name.
    pub name: String,
    /// What the part is called there.
    pub label: String,
}

impl InCase {
    /// Looks a case up before anything is recorded. Without a label for the part, the case's one part is meant.
    ///
    /// # Errors
    /// [`Failure::Usage`] when there is no such case, it is closed, or it does not know the part.
    pub fn find(case: &str, label: &str, archive: Option<&Path>) -> Result<Self, Failure> {
        let usage = |e: CaseFileError| Failure::Usage(e.into());
        let dir = match archive {
            Some(dir) => dir.to_path_buf(),
            None => Archive::default_dir().map_err(|e| Failure::Usage(e.into()))?,
        };
        let archive = Archive::open_to_read(&dir).map_err(|e| Failure::Usage(e.into()))?;
        let case = archive.case(case).map_err(usage)?;
        if let Some((date, _)) = case.closed() {
            let closed = CaseError::Closed { case: case.name.clone(), date: date.to_owned() };
            return Err(Failure::Usage(closed.into()));
        }
        let labels: Vec<&str> = case.parts().map(|p| p.label.as_str()).collect();
        let label = match (label, labels.as_slice()) {
            ("", [one]) => (*one).to_owned(),
            ("", []) => {
                return Err(Failure::Usage(anyhow!(
                    "{} names no part; give --part, or add it: trackpair case note {} --part KIND,label=…",
                    case.name,
                    case.name
                )));
            }
            ("", several) => {
                return Err(Failure::Usage(anyhow!(
                    "{} names {} parts ({}); say which is on the rig with --part",
                    case.name,
                    several.len(),
                    several.join(", ")
                )));
            }
            (given, labels) if labels.contains(&given) => given.to_owned(),
            (given, labels) => {
                let known = if labels.is_empty() { "none".to_owned() } else { labels.join(", ") };
                let no_part = CaseError::NoPart { case: case.name.clone(), label: given.to_owned(), known };
                return Err(Failure::Usage(no_part.into()));
            }
        };
        Ok(Self { name: case.name.clone(), label })
    }
}

/// The archive to write to, and the key to seal with.
struct Desk {
    archive: Archive,
    key: Option<ShopKey>,
}

impl Desk {
    fn of(typed: Option<&Path>, surroundings: &Surroundings<'_>) -> Result<Self, Failure> {
        let dir: PathBuf = match named(typed, surroundings)? {
            Some(dir) => dir,
            None => Archive::default_dir().map_err(|e| Failure::Usage(e.into()))?,
        };
        let archive = Archive::open(&dir).map_err(|e| Failure::Other(e.into()))?;
        Ok(Self { archive, key: to_seal_with(surroundings) })
    }

    /// A case by its name or a part of it.
    fn case(&self, name: &str) -> Result<Case, Failure> {
        self.archive.case(name).map_err(refused)
    }

    fn sealing<'a>(&'a self, date: &'a str) -> Sealing<'a> {
        Sealing { key: self.key.as_ref(), date }
    }
}

/// Adds an entry to a case, with documents that go with it, and says what was kept.
///
/// # Errors
/// There is no such case, its rules forbid the entry, or it can't be written; nothing of it counts then.
pub fn keep_in_case(
    archive: Option<&Path>,
    case: &str,
    content: Content,
    surroundings: &Surroundings<'_>,
    documents: impl FnOnce(Option<&Stamp>) -> Vec<Document>,
) -> Result<(), Failure> {
    let desk = Desk::of(archive, surroundings)?;
    let date = date();
    let kept = desk.archive.add_to_case(case, content, desk.sealing(&date), documents).map_err(refused)?;
    for warning in &kept.warnings {
        eprintln!("trackpair: {warning}");
    }
    eprintln!("case {}, entry {}: {}", kept.case, kept.number, kept.file.display());
    Ok(())
}

/// What can't be done with a case: a rule or a name is the user's business, the rest the machine's.
fn refused(error: CaseFileError) -> Failure {
    match error {
        CaseFileError::Archive(_) | CaseFileError::Entry { .. } => Failure::Other(error.into()),
        CaseFileError::Rule(_) | CaseFileError::NoCase { .. } | CaseFileError::Several { .. } => {
            Failure::Usage(error.into())
        }
    }
}

/// Says what was kept.
fn tell_kept(kept: &KeptEntry) {
    for warning in &kept.warnings {
        eprintln!("trackpair: {warning}");
    }
    let seal = kept.fingerprint.as_deref().map_or("not sealed: the key could not be used", |f| &f[..16]);
    println!("case {}, entry {} (seal {seal})", kept.case, kept.number);
}

/// How a case stands, as a word.
fn state_word(case: &Case) -> String {
    match (case.state(), case.closed()) {
        (CaseState::Closed, Some((_, closing))) => format!("closed, {}", closing.ending.name()),
        _ => "open".to_owned(),
    }
}
