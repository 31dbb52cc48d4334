//! Stored outcomes by what was typed: a record's name, its folder, its `outcome.json`, a folder of records, an archive; and their traces analysed again.

use super::failure::Failure;
use super::judged::analysis_of;
use super::question::Question;
use super::recorded::Recorded;
use crate::analysis::PartAnalysis;
use crate::compare::standing::LeftOut;
use crate::compare::subject::Subject;
use crate::outcome::{Outcome, OutcomeError};
use crate::record::{Archive, ArchiveError, CsvOptions, INDEX_FILE, load_traces, sheet_file};
use anyhow::anyhow;
use std::io;
use std::path::{Path, PathBuf};

/// The file in a record's folder.
const OUTCOME: &str = "outcome.json";

/// An outcome and where its traces lie.
#[derive(Debug)]
pub struct Stored {
    /// What it is called: the record's name, or the file.
    pub name: String,
    /// The record's folder.
    folder: PathBuf,
    /// The outcome.
    pub outcome: Outcome,
}

/// Why a record can't be read.
#[derive(Debug, thiserror::Error)]
pub enum Unreadable {
    /// Nothing there, or not allowed.
    #[error("can't read {path}: {cause}; give a record's name, its folder, or an outcome.json", path = .path.display())]
    Read {
        /// Which.
        path: PathBuf,
        /// The system's message.
        cause: io::Error,
    },
    /// A folder without an outcome.
    #[error("{path} holds no outcome.json, so nothing was judged there; judge it first: trackpair judge {path} --archive DIR", path = .path.display())]
    NoOutcome {
        /// Which.
        path: PathBuf,
    },
    /// Something else than an outcome.
    #[error("{path}: {cause}", path = .path.display())]
    Outcome {
        /// Which.
        path: PathBuf,
        /// Why.
        cause: OutcomeError,
    },
    /// The archive can't give it.
    #[error(transparent)]
    Archive(#[from] ArchiveError),
}

impl Stored {
    /// Reads a record's folder, an outcome's file, or a record of the archive by its name; of several outcomes the last.
    ///
    /// # Errors
    /// [`Unreadable`].
    pub fn read(path: &Path, archive: Option<&Path>) -> Result<Self, Unreadable> {
        match std::fs::metadata(path) {
            Ok(there) if there.is_dir() => match Archive::of_record_folder(path) {
                Some((archive, record)) => Self::of_archive(&archive, &record),
                None => Self::of_file(&path.join(OUTCOME)).map_err(|e| match e {
                    Unreadable::Read { cause, .. } if cause.kind() == io::ErrorKind::NotFound => {
                        Unreadable::NoOutcome { path: path.to_path_buf() }
                    }
                    other => other,
                }),
            },
            Ok(_) => Self::of_file(path),
            Err(cause) => match (named_archive(archive), path.to_str()) {
                (Some(archive), Some(name)) if !name.contains(['/', '\\']) => {
                    Self::of_archive(&archive, name)
                }
                _ => Err(Unreadable::Read { path: path.to_path_buf(), cause }),
            },
        }
    }

    fn of_archive(archive: &Archive, record: &str) -> Result<Self, Unreadable> {
        let stored = archive.record(record)?;
        let outcome = archive.outcome(&stored, None)?;
        let name = stored.summary.record.clone();
        Ok(Self { name, folder: archive.reopen(&stored).path(), outcome })
    }

    fn of_file(file: &Path) -> Result<Self, Unreadable> {
        let bytes =
            std::fs::read(file).map_err(|cause| Unreadable::Read { path: file.to_path_buf(), cause })?;
        let outcome = Outcome::from_json(&String::from_utf8_lossy(&bytes))
            .map_err(|cause| Unreadable::Outcome { path: file.to_path_buf(), cause })?;
        let folder = file.parent().map_or_else(PathBuf::new, Path::to_path_buf);
        let named = if file.ends_with(OUTCOME) { &folder } else { file };
        let name = named
            .file_name()
            .map_or_else(|| file.display().to_string(), |n| n.to_string_lossy().into_owned());
        Ok(Self { name, folder, outcome })
    }

    /// As something to compare.
    pub fn subject(&self) -> Subject<'_> {
        Subject { record: &self.name, outcome: &self.outcome }
    }

    /// Its traces, analysed again by the sheet that it was judged by, or by the given one; a sentence when that can't be done.
    pub fn again(&self, given: Option<&str>) -> Result<PartAnalysis, String> {
        let wanted = given.unwrap_or(&self.outcome.sheet.name);
        let sheet = sheet_file::load(wanted).map_err(|_| {
            format!(
                "{}: its part sheet {wanted:?} is none of those that ship; give it with --sheet FILE",
                self.name
            )
        })?;
        let loaded =
            load_traces(&self.folder, &CsvOptions::default()).map_err(|e| format!("{}: {e}", self.name))?;
        let mut recorded = Recorded::loose();
        for trace in loaded.traces {
            recorded.take(trace.trace, trace.file);
        }
        let analysed = analysis_of(&recorded, &Question::default(), &sheet).map(|(analysis, _)| analysis);
        analysed.ok_or_else(|| format!("{}: its traces hold no samples", self.name))
    }
}

/// The archive that names of records are looked up in; none where there is none.
fn named_archive(given: Option<&Path>) -> Option<Archive> {
    let dir = given.map(Path::to_path_buf).or_else(|| Archive::default_dir().ok())?;
    Archive::open_to_read(&dir).ok()
}

/// Reads every record that the paths name; a folder that is not a record is an archive, or holds records. What can't be read is named.
pub fn read_all(paths: &[PathBuf], archive: Option<&Path>) -> (Vec<Stored>, Vec<LeftOut>) {
    let (mut all, mut left_out) = (Vec::new(), Vec::new());
    for path in paths.iter().flat_map(|p| records_in(p)) {
        match Stored::read(&path, archive) {
            Ok(stored) => all.push(stored),
            Err(why) => {
                left_out.push(LeftOut { record: path.display().to_string(), why: why.to_string() });
            }
        }
    }
    (all, left_out)
}

/// The folders of an archive, or of a folder, that hold an outcome, in order of their names; the path itself when there is none.
fn records_in(path: &Path) -> Vec<PathBuf> {
    if !path.is_dir() || path.join(OUTCOME).exists() {
        return vec![path.to_path_buf()];
    }
    let within = if path.join(INDEX_FILE).is_file() { path.join("records") } else { path.to_path_buf() };
    let entries = std::fs::read_dir(within).into_iter().flatten().filter_map(Result::ok);
    let mut records: Vec<PathBuf> = entries.map(|e| e.path()).filter(|p| p.join(OUTCOME).exists()).collect();
    records.sort();
    if records.is_empty() { vec![path.to_path_buf()] } else { records }
}

/// A record that must be readable.
///
/// # Errors
/// [`Failure::Usage`].
pub fn must_read(path: &Path, archive: Option<&Path>) -> Result<Stored, Failure> {
    Stored::read(path, archive).map_err(|e| Failure::Usage(anyhow!(e)))
}
