//! The log of a soak: one JSON line per round, each lasting before it is acknowledged, held by one program at a time.
//!
//! A line is appended and synced; a program that is cut off in it leaves a torn last line, which never counts: it is cut off when the
//! soak goes on, and said. It does not know what a round means.

use super::archive::{Archive, ArchiveError, StoredRecord};
use super::folder::RecordFolder;
use super::names::RECORDS;
use super::seal::sha256_hex;
use crate::outcome::{SOAK_LOG_SCHEMA, SoakBegin, SoakLine, SoakLogFile};
use std::fs::{self, File, OpenOptions, TryLockError};
use std::io::{self, BufRead, BufReader, Read, Seek, SeekFrom, Write};
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
        /// What the system said.
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
    #[error("the record {record} is no soak that could go on: {path} {what}; `trackpair records list` shows the records, `trackpair soak` begins a soak", path = .path.display())]
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
    file: File,
    path: PathBuf,
    bytes: u64,
}

impl SoakLog {
    /// Begins one in a record's folder, with its first line.
    ///
    /// # Errors
    /// It can't be written.
    pub fn begin(folder: &mut RecordFolder, begin: SoakBegin) -> Result<Self, SoakLogError> {
        let path = folder.path().join(SOAK_LOG);
        let failed = |cause| SoakLogError::File { path: path.clone(), cause };
        let file = OpenOptions::new().read(true).append(true).create_new(true).open(&path).map_err(failed)?;
        folder.keep();
        hold(&file, folder.record(), &path)?;
        if cfg!(unix) {
            // The file's name is only lasting once its folder is synced.
            File::open(folder.path()).and_then(|f| f.sync_all()).map_err(failed)?;
        }
        let mut log = Self { file, path, bytes: 0 };
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
        let failed = |cause| SoakLogError::File { path: path.clone(), cause };
        let missing = |what| SoakLogError::NoSoak { record: record.to_owned(), path: path.clone(), what };
        let file = match OpenOptions::new().read(true).append(true).open(&path) {
            Err(cause) if cause.kind() == io::ErrorKind::NotFound => return Err(missing("is not there")),
            other => other.map_err(failed)?,
        };
        hold(&file, record, &path)?;
        // Through this very handle: where locks bind, another one could not read.
        let mut file = file;
        let reading = file.seek(SeekFrom::Start(0)).and_then(|_| file.try_clone()).map_err(failed)?;
        let whole = read_from(reading, &path, lines)?;
        if whole == 0 {
            return Err(missing("holds no line"));
        }
        let all = file.metadata().map_err(failed)?.len();
        if whole < all {
            file.set_len(whole).and_then(|()| file.sync_all()).map_err(failed)?;
        }
        Ok((Self { file, path, bytes: whole }, all - whole))
    }

    /// Appends a line; once it returns, the line is lasting.
    ///
    /// # Errors
    /// It can't be written; then nothing of it counts.
    pub fn append(&mut self, line: &SoakLine) -> Result<(), SoakLogError> {
        let failed = |cause| SoakLogError::File { path: self.path.clone(), cause };
        let mut text = serde_json::to_string(line).map_err(|e| failed(e.into()))?;
        text.push('\n');
        let written = self.file.write_all(text.as_bytes()).and_then(|()| self.file.sync_data());
        if let Err(cause) = written {
            // What is half written must not stand before the next line; if it can't be cut off now, it is when the soak goes on.
            let _ = self.file.set_len(self.bytes);
            return Err(failed(cause));
        }
        self.bytes += text.len() as u64;
        Ok(())
    }

    /// Hands on every line so far.
    ///
    /// # Errors
    /// It can't be read, or was altered.
    pub fn read(&mut self, lines: &mut dyn FnMut(SoakLine)) -> Result<(), SoakLogError> {
        let failed = |cause| SoakLogError::File { path: self.path.clone(), cause };
        let file = self.file.seek(SeekFrom::Start(0)).and_then(|_| self.file.try_clone()).map_err(failed)?;
        read_from(file, &self.path, lines).map(|_| ())
    }

    /// What an outcome says of it.
    ///
    /// # Errors
    /// It can't be read.
    pub fn described(&mut self, record: &str) -> Result<SoakLogFile, SoakLogError> {
        let mut bytes = Vec::new();
        let read = self.file.seek(SeekFrom::Start(0)).and_then(|_| self.file.read_to_end(&mut bytes));
        read.map_err(|cause| SoakLogError::File { path: self.path.clone(), cause })?;
        Ok(SoakLogFile {
            file: format!("{RECORDS}/{record}/{SOAK_LOG}"),
            sha256: sha256_hex(&bytes),
            bytes: bytes.len() as u64,
        })
    }
}

/// The lock is given up by the system when the program ends, however it ends.
fn hold(file: &File, record: &str, path: &Path) -> Result<(), SoakLogError> {
    file.try_lock().map_err(|why| match why {
        TryLockError::WouldBlock => SoakLogError::Taken { record: record.to_owned() },
        TryLockError::Error(cause) => SoakLogError::File { path: path.to_path_buf(), cause },
    })
}

/// Hands on the lines of a log; bytes up to the end of the last whole one.
///
/// # Errors
/// It can't be read, or a line before the last makes no sense.
pub fn read(path: &Path, lines: &mut dyn FnMut(SoakLine)) -> Result<u64, SoakLogError> {
    let file = File::open(path);
    read_from(file.map_err(|cause| SoakLogError::File { path: path.to_path_buf(), cause })?, path, lines)
}

fn read_from(file: File, path: &Path, lines: &mut dyn FnMut(SoakLine)) -> Result<u64, SoakLogError> {
    let failed = |cause| SoakLogError::File { path: path.to_path_buf(), cause };
    let mut reader = BufReader::new(file);
    let (mut whole, mut number, mut text) = (0, 0, Vec::new());
    let mut broken: Option<String> = None;
    loop {
        text.clear();
        let count = reader.read_until(b'\n', &mut text).map_err(failed)?;
        if count == 0 {
            return Ok(whole);
        }
        let altered = |line, cause| SoakLogError::Altered { path: path.to_path_buf(), line, cause };
        if let Some(cause) = broken {
            return Err(altered(number, cause));
        }
        number += 1;
        match serde_json::from_slice::<SoakLine>(&text) {
            Ok(SoakLine::Begin(begin)) if begin.schema > SOAK_LOG_SCHEMA => {
                return Err(altered(number, format!("schema {} is newer than this program", begin.schema)));
            }
            Ok(line) if text.ends_with(b"\n") => {
                whole += count as u64;
                lines(line);
            }
            Ok(_) => broken = Some("it has no end".to_owned()),
            Err(cause) => broken = Some(cause.to_string()),
        }
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
            // One that was altered is told when it is taken up by name.
            let _ = read(&path, &mut |line| {
                if let SoakLine::Begin(first) = line {
                    begin = Some(first);
                }
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
