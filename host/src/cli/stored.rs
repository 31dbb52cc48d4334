//! Stored outcomes by what was typed: a record's folder, its `outcome.json`, or a folder of records; and their traces analysed again.

use super::Failure;
use super::conclude::{Kept, analysis_of};
use crate::analysis::PartAnalysis;
use crate::compare::standing::LeftOut;
use crate::compare::subject::Subject;
use crate::outcome::{Outcome, OutcomeError};
use crate::record::{CsvOptions, load_traces, sheet_file};
use anyhow::anyhow;
use std::io;
use std::path::{Path, PathBuf};

/// The file in a record's folder.
const OUTCOME: &str = "outcome.json";

/// An outcome and where it lies.
#[derive(Debug)]
pub struct Stored {
    /// What it is called: its folder's name, or the file.
    pub name: String,
    /// The record's folder.
    pub folder: PathBuf,
    /// The outcome.
    pub outcome: Outcome,
}

/// Why a record can't be read.
#[derive(Debug, thiserror::Error)]
pub enum Unreadable {
    /// Nothing there, or not allowed.
    #[error("can't read {path}: {cause}; give a record's folder or its outcome.json", path = .path.display())]
    Read {
        /// Which.
        path: PathBuf,
        /// What the system said.
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
}

impl Stored {
    /// Reads a record's folder or its outcome.
    ///
    /// # Errors
    /// [`Unreadable`].
    pub fn read(path: &Path) -> Result<Self, Unreadable> {
        let failed = |cause| Unreadable::Read { path: path.to_path_buf(), cause };
        let folder = std::fs::metadata(path).map_err(failed)?.is_dir();
        let file = if folder { path.join(OUTCOME) } else { path.to_path_buf() };
        let bytes = match std::fs::read(&file) {
            Err(cause) if folder && cause.kind() == io::ErrorKind::NotFound => {
                return Err(Unreadable::NoOutcome { path: path.to_path_buf() });
            }
            read => read.map_err(failed)?,
        };
        let outcome = Outcome::from_json(&String::from_utf8_lossy(&bytes))
            .map_err(|cause| Unreadable::Outcome { path: file.clone(), cause })?;
        let lies_in = file.parent().map_or_else(PathBuf::new, Path::to_path_buf);
        let named = if file.ends_with(OUTCOME) { &lies_in } else { &file };
        let name = named
            .file_name()
            .map_or_else(|| path.display().to_string(), |n| n.to_string_lossy().into_owned());
        Ok(Self { name, folder: lies_in, outcome })
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
        let mut kept = Kept::loose();
        for trace in loaded.traces {
            kept.take(trace.trace, trace.file);
        }
        let analysed = analysis_of(&kept, &sheet).map(|(analysis, _)| analysis);
        analysed.ok_or_else(|| format!("{}: its traces hold no samples", self.name))
    }
}

/// Reads every record that the paths name; a folder that is no record is one of records. What can't be read is named.
pub fn read_all(paths: &[PathBuf]) -> (Vec<Stored>, Vec<LeftOut>) {
    let (mut all, mut left_out) = (Vec::new(), Vec::new());
    for path in paths.iter().flat_map(|p| records_in(p)) {
        match Stored::read(&path) {
            Ok(stored) => all.push(stored),
            Err(why) => {
                left_out.push(LeftOut { record: path.display().to_string(), why: why.to_string() });
            }
        }
    }
    (all, left_out)
}

/// The folders of a folder that hold an outcome, in order of their names; the path itself when there is none.
fn records_in(path: &Path) -> Vec<PathBuf> {
    if !path.is_dir() || path.join(OUTCOME).exists() {
        return vec![path.to_path_buf()];
    }
    let entries = std::fs::read_dir(path).into_iter().flatten().filter_map(Result::ok);
    let mut records: Vec<PathBuf> = entries.map(|e| e.path()).filter(|p| p.join(OUTCOME).exists()).collect();
    records.sort();
    if records.is_empty() { vec![path.to_path_buf()] } else { records }
}

/// Names what was left out on stderr.
pub fn tell_left_out(left_out: &[LeftOut]) {
    for LeftOut { record, why } in left_out {
        eprintln!("trackpair: left out: {record}: {why}");
    }
}

/// A record that must be readable.
///
/// # Errors
/// [`Failure::Usage`].
pub fn must_read(path: &Path) -> Result<Stored, Failure> {
    Stored::read(path).map_err(|e| Failure::Usage(anyhow!(e)))
}
