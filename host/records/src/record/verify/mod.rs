//! Whether an archive still is what was kept: every file against its SHA-256, every seal against its key and its predecessor, every
//! row of the index against the sealed files. It changes nothing and knows no figure's meaning.
//!
//! - `chain`: the seals, in order, and the head.
//! - `cases`: the rows of cases' entries against their files.
//! - `rows`: the index against manifests and outcomes.
//! - `disk`: files that nothing names.

mod cases;
mod chain;
mod disk;
mod rows;

use super::archive::Archive;
use super::archive_error::ArchiveError;
use super::index::{INDEX_FILE, Index, StoredSeal};
use super::names::is_case;
use super::seal::{FileEntry, Manifest, PublicKey, check_document, sha256_hex};
use serde::Serialize;
use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};

/// Something that is not as it was kept.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct Problem {
    /// The file, row or seal.
    #[cfg_attr(feature = "schemas", schemars(length(min = 1)))]
    pub what: String,
    /// What is amiss with it.
    #[cfg_attr(feature = "schemas", schemars(length(min = 1)))]
    pub why: String,
}

/// What was looked at and what was found.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Verification {
    /// Seals in the chain.
    pub seals: u64,
    /// Files that were read.
    pub files: u64,
    /// Their bytes.
    pub bytes: u64,
    /// Rows that were compared.
    pub rows: u64,
    /// Fingerprint of the newest seal.
    pub newest: Option<String>,
    /// What is amiss; empty when nothing is.
    pub problems: Vec<Problem>,
    /// What is not a fault, but the reader should know: unfinished and unsealed records, leftovers of killed programs.
    pub notes: Vec<String>,
}

/// Against what an archive is held.
#[derive(Clone, Debug, Default)]
pub struct Expected {
    /// Keys that may have sealed; empty: any, as long as every seal is its own key's.
    pub keys: Vec<PublicKey>,
    /// Fingerprint of a seal that must be in the chain, as noted elsewhere or printed on paper.
    pub fingerprint: Option<String>,
}

/// Verifies an archive.
///
/// # Errors
/// It holds no index, or one that can't be read at all. What is amiss with its content is not an error: it is reported.
pub fn verify(archive: &Archive, expected: &Expected) -> Result<Verification, ArchiveError> {
    let index = archive.index()?;
    let mut verifier = Verifier {
        dir: archive.dir(),
        index: &index,
        found: Verification::default(),
        known: BTreeSet::new(),
    };
    for damage in index.damage()? {
        verifier.problem(INDEX_FILE, damage);
    }
    let sealed = verifier.chain(&index.seals()?, expected);
    let (cases, records): (Vec<Sealed>, Vec<Sealed>) =
        sealed.into_iter().partition(|one| is_case(&one.manifest.record));
    verifier.rows(&records)?;
    verifier.cases(&cases)?;
    verifier.disk();
    Ok(verifier.found)
}

/// A seal whose manifest could be opened.
struct Sealed {
    seal: StoredSeal,
    manifest: Manifest,
}

struct Verifier<'a> {
    dir: &'a Path,
    index: &'a Index,
    found: Verification,
    /// Files that something names, from the archive's folder.
    known: BTreeSet<String>,
}

impl Verifier<'_> {
    fn problem(&mut self, what: impl Into<String>, why: impl Into<String>) {
        let problem = Problem { what: what.into(), why: why.into() };
        if !self.found.problems.contains(&problem) {
            self.found.problems.push(problem);
        }
    }

    /// A file against what it was; its bytes if it still is that.
    fn file(&mut self, entry: &FileEntry) -> Option<Vec<u8>> {
        self.known.insert(entry.path.clone());
        if !is_inside(&entry.path) {
            self.problem(&entry.path, "its path leads out of the archive; it was not read");
            return None;
        }
        match fs::read(self.dir.join(&entry.path)) {
            Err(cause) if cause.kind() == std::io::ErrorKind::NotFound => {
                self.problem(&entry.path, "the file is missing");
                None
            }
            Err(cause) => {
                self.problem(&entry.path, format!("the file can't be read: {cause}"));
                None
            }
            Ok(bytes) => {
                self.found.files += 1;
                self.found.bytes += bytes.len() as u64;
                if sha256_hex(&bytes) == entry.sha256 {
                    return Some(bytes);
                }
                let length = if bytes.len() as u64 == entry.bytes {
                    String::new()
                } else {
                    format!(": it has {} bytes, it had {}", bytes.len(), entry.bytes)
                };
                self.problem(
                    &entry.path,
                    format!("the file was altered or swapped (SHA-256 differs){length}"),
                );
                None
            }
        }
    }
}

/// Whether a path of a manifest stays in the archive.
fn is_inside(path: &str) -> bool {
    use std::path::Component;
    Path::new(path).components().all(|c| matches!(c, Component::Normal(_)))
}

#[cfg(test)]
#[path = "verify_tests.rs"]
pub(super) mod tests;
