//! Entries into cases: the archive that is written to, the key that seals, the message about an entry that was kept.

use super::clock::date;
use super::options::archive::named;
use super::sealing::to_seal_with;
use super::surroundings::Surroundings;
use crate::case::{Case, Content};
use crate::job::Failure;
use crate::outcome::Stamp;
use crate::record::seal::ShopKey;
use crate::record::{Archive, CaseFileError, Document, KeptEntry, Sealing};
use std::path::{Path, PathBuf};

/// The archive to write to, and the key to seal with.
pub struct Desk {
    pub archive: Archive,
    key: Option<ShopKey>,
}

impl Desk {
    pub fn of(typed: Option<&Path>, surroundings: &Surroundings<'_>) -> Result<Self, Failure> {
        let dir: PathBuf = match named(typed, surroundings)? {
            Some(dir) => dir,
            None => Archive::default_dir().map_err(|e| Failure::Usage(e.into()))?,
        };
        let archive = Archive::open(&dir).map_err(|e| Failure::Other(e.into()))?;
        Ok(Self { archive, key: to_seal_with(surroundings) })
    }

    /// A case by its name or a part of it.
    pub fn case(&self, name: &str) -> Result<Case, Failure> {
        self.archive.case(name).map_err(refused)
    }

    pub fn sealing<'a>(&'a self, date: &'a str) -> Sealing<'a> {
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
pub fn refused(error: CaseFileError) -> Failure {
    match error {
        CaseFileError::Archive(_) | CaseFileError::Entry { .. } => Failure::Other(error.into()),
        CaseFileError::Rule(_) | CaseFileError::NoCase { .. } | CaseFileError::Several { .. } => {
            Failure::Usage(error.into())
        }
    }
}

/// Says what was kept.
pub fn tell_kept(kept: &KeptEntry) {
    for warning in &kept.warnings {
        eprintln!("trackpair: {warning}");
    }
    let seal = kept.fingerprint.as_deref().map_or("not sealed: the key could not be used", |f| &f[..16]);
    println!("case {}, entry {} (seal {seal})", kept.case, kept.number);
}
