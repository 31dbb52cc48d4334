//! The log of a soak: one JSON line per round, each lasting before it is acknowledged, held by one program at a time.
//!
//! What is torn off a last line is stated when the soak goes on. It does not know what a round means.

use super::archive::Archive;
use super::archive_error::ArchiveError;
use super::folder::RecordFolder;
use super::line_log::{self, LineLog, LineLogError};
use super::names::RECORDS;
use super::seal::sha256_hex;
use super::stored::StoredRecord;
use crate::outcome::{SOAK_LOG_SCHEMA, SoakBegin, SoakLine, SoakLogFile};
use std::fs;
use std::io;
use std::path::{Path, PathBuf};

/// The file in a record's folder.
pub const SOAK_LOG: &str = "soak.jsonl";

/// Why a log can't be used.
#[derive(Debug, thiserror::Error)]
pub enum SoakLogError {
    /// It can't be read or written.
    #[error("can't use the soak's log {path}: {cause}; what was acknowledged is in it. Mend that (is there room on the disk?), then go on with `trackpair soak --resume RECORD`", path = .path.display())]
    File {
        /// The log.
        path: PathBuf,
        /// The system's message.
        cause: io::Error,
    },
    /// Another program has it.
    #[error("the soak {record} is running in another program; end that one (Ctrl-C), or wait for it")]
    Taken {
        /// The record.
        record: String,
    },
    /// A line in its middle makes no sense.
    #[error("line {line} of the soak's log {path} makes no sense ({cause}): it was altered; take it from a backup", path = .path.display())]
    Altered {
        /// The log.
        path: PathBuf,
        /// Which line, from 1.
        line: u64,
        /// What is wrong with it.
        cause: String,
    },
    /// There is none, or nothing in it.
    #[error("the record {record} is not a soak that could go on: {path} {what}; `trackpair records list` shows the records, `trackpair soak` begins a soak", path = .path.display())]
    NoSoak {
        /// The record.
        record: String,
        /// The log.
        path: PathBuf,
        /// What is amiss.
        what: &'static str,
    },
    /// The archive.
    #[error(transparent)]
    Archive(#[from] ArchiveError),
}

/// A log that this program holds.
#[derive(Debug)]
pub struct SoakLog {
    log: LineLog,
    record: String,
}

impl SoakLog {
    /// Begins one in a record's folder, with its first line.
    ///
    /// # Errors
    /// It can't be written.
    pub fn begin(folder: &mut RecordFolder, begin: SoakBegin) -> Result<Self, SoakLogError> {
        let record = folder.record().to_owned();
        let log = LineLog::begin(&folder.path().join(SOAK_LOG)).map_err(|e| of_lines(e, &record))?;
        folder.keep();
        let mut log = Self { log, record };
        log.append(&SoakLine::Begin(begin))?;
        Ok(log)
    }

    /// Takes up one that is there, handing on its lines; bytes of a torn last line, which are cut off.
    ///
    /// # Errors
    /// There is none, it was altered, or another program holds it.
    pub fn again(
        folder: &Path,
        record: &str,
        lines: &mut dyn FnMut(SoakLine),
    ) -> Result<(Self, u64), SoakLogError> {
        let path = folder.join(SOAK_LOG);
        let missing = |what| SoakLogError::NoSoak { record: record.to_owned(), path: path.clone(), what };
        let (mut log, torn) = match LineLog::again(&path, &mut |line| taken(line, lines)) {
            Err(LineLogError::File { cause, .. }) if cause.kind() == io::ErrorKind::NotFound => {
                return Err(missing("is not there"));
            }
            other => other.map_err(|e| of_lines(e, record))?,
        };
        if log.is_empty() {
            return Err(missing("holds no line"));
        }
        log.cut_torn().map_err(|e| of_lines(e, record))?;
        Ok((Self { log, record: record.to_owned() }, torn))
    }

    /// Appends a line; once it returns, the line is lasting.
    ///
    /// # Errors
    /// It can't be written; then nothing of it counts.
    pub fn append(&mut self, line: &SoakLine) -> Result<(), SoakLogError> {
        self.log.append(line).map_err(|e| of_lines(e, &self.record))
    }

    /// Hands on every line so far.
    ///
    /// # Errors
    /// It can't be read, or was altered.
    pub fn read(&mut self, lines: &mut dyn FnMut(SoakLine)) -> Result<(), SoakLogError> {
        self.log.read(&mut |line| taken(line, lines)).map_err(|e| of_lines(e, &self.record))
    }

    /// What an outcome says of it.
    ///
    /// # Errors
    /// It can't be read.
    pub fn described(&mut self, record: &str) -> Result<SoakLogFile, SoakLogError> {
        let bytes = self.log.contents().map_err(|e| of_lines(e, record))?;
        Ok(SoakLogFile {
            file: format!("{RECORDS}/{record}/{SOAK_LOG}"),
            sha256: sha256_hex(&bytes),
            bytes: bytes.len() as u64,
        })
    }
}

/// A line of this version, handed on.
fn taken(line: SoakLine, lines: &mut dyn FnMut(SoakLine)) -> Result<(), String> {
    match line {
        SoakLine::Begin(begin) if begin.schema > SOAK_LOG_SCHEMA => {
            Err(format!("schema {} is newer than this program", begin.schema))
        }
        line => {
            lines(line);
            Ok(())
        }
    }
}

/// What is wrong with the lines, in the words of a soak.
fn of_lines(error: LineLogError, record: &str) -> SoakLogError {
    match error {
        LineLogError::File { path, cause } => SoakLogError::File { path, cause },
        LineLogError::Taken { .. } => SoakLogError::Taken { record: record.to_owned() },
        LineLogError::Altered { path, line, cause } => SoakLogError::Altered { path, line, cause },
    }
}

/// The soaks of an archive that have no outcome yet, the newest last: record and first line.
pub fn unfinished(archive: &Archive) -> Vec<(String, SoakBegin)> {
    let entries = fs::read_dir(archive.dir().join(RECORDS)).into_iter().flatten().flatten();
    let mut found: Vec<(String, SoakBegin)> = entries
        .filter_map(|entry| {
            let record = entry.file_name().into_string().ok()?;
            let concluded = archive.record(&record).is_ok_and(|r| !r.outcomes.is_empty());
            let mut begin = None;
            let path = entry.path().join(SOAK_LOG);
            if concluded || !path.is_file() {
                return None;
            }
            // One that was altered is reported when it is taken up by name.
            let _ = line_log::read(&path, &mut |line| {
                if let SoakLine::Begin(first) = line {
                    begin = Some(first);
                }
                Ok(())
            });
            begin.map(|begin| (record, begin))
        })
        .collect();
    found.sort_by(|a, b| a.0.cmp(&b.0));
    found
}

/// The folder of a record that goes on: with the traces that the index knows, or without.
///
/// # Errors
/// The index can't be used, or what a program that was cut off left can't be taken away.
pub fn reopen(archive: &Archive, record: &str, begin: &SoakBegin) -> Result<RecordFolder, ArchiveError> {
    let stored: Result<StoredRecord, ArchiveError> = archive.record(record);
    let folder = match stored {
        Ok(stored) => archive.reopen(&stored),
        Err(ArchiveError::NoRecord { .. } | ArchiveError::Index(_)) => {
            RecordFolder::without_traces(archive.dir(), record, &begin.part, &begin.date)
        }
        Err(other) => return Err(other),
    };
    folder.clear_leftovers()?;
    Ok(folder)
}

#[cfg(test)]
#[path = "soak_log_tests.rs"]
mod tests;
