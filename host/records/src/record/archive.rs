//! The archive: where records are kept, begun, found and read again. An index beside the files answers questions over many.

use super::archive_error::ArchiveError;
use super::folder::{RecordFolder, SESSION};
use super::index::{INDEX_FILE, Index, Query, RecordSummary, StoredTraceFile};
use super::names::{RECORDS, outcome_path, record_stem};
use super::parquet_file::trace_from_parquet;
use super::seal::sha256_hex;
use super::stored::{LoadedTrace, StoredRecord};
use super::table::{Exported, Table};
use crate::outcome::Outcome;
use rusqlite::types::Value;
use std::collections::BTreeSet;
use std::fs;
use std::io::{self, Write};
use std::path::{Path, PathBuf};

/// Records of one second and label that are distinguished.
const MOST_ALIKE: u32 = 1000;

/// Told when the archive could not be written and another place was taken.
#[derive(Debug, thiserror::Error)]
#[error("{cause}; this record is kept in {instead} instead", instead = .instead.display())]
pub struct FallbackWarning {
    /// Why.
    pub cause: ArchiveError,
    /// Where.
    pub instead: PathBuf,
}

/// A folder of records.
#[derive(Clone, Debug)]
pub struct Archive {
    dir: PathBuf,
}

impl Archive {
    /// The platform's place for this program's data.
    ///
    /// # Errors
    /// [`ArchiveError::NoPlace`] when the platform names none.
    pub fn default_dir() -> Result<PathBuf, ArchiveError> {
        use etcetera::BaseStrategy;
        let base = etcetera::choose_base_strategy().map_err(|_| ArchiveError::NoPlace)?;
        Ok(base.data_dir().join("trackpair").join("archive"))
    }

    /// Opens (and makes) a folder, and proves that it can be written. The index is made with the first record.
    ///
    /// # Errors
    /// [`ArchiveError::Folder`] when it can't be written, [`ArchiveError::Index`] when it holds an index that can't be used.
    pub fn open(dir: &Path) -> Result<Self, ArchiveError> {
        let failed = |cause| ArchiveError::Folder { path: dir.to_path_buf(), cause };
        fs::create_dir_all(dir).map_err(failed)?;
        let probe = dir.join(format!(".probe-{}", std::process::id()));
        fs::File::create(&probe).and_then(|mut f| f.write_all(b"probe")).map_err(failed)?;
        fs::remove_file(&probe).map_err(failed)?;
        if dir.join(INDEX_FILE).exists() {
            Index::open(dir)?;
        }
        Ok(Self { dir: dir.to_path_buf() })
    }

    /// Opens an archive that is there, for reading; it may lie on a medium that can't be written.
    ///
    /// # Errors
    /// There is none, or its index can't be used.
    pub fn open_to_read(dir: &Path) -> Result<Self, ArchiveError> {
        Index::open_to_read(dir)?;
        Ok(Self { dir: dir.to_path_buf() })
    }

    /// Opens the given folder or the default one; when it can't be written, a folder among the system's temporary files,
    /// with a warning: nothing that is recorded is to be lost.
    ///
    /// # Errors
    /// When the temporary one can't be written either.
    pub fn open_or_fallback(given: Option<&Path>) -> Result<(Self, Option<FallbackWarning>), ArchiveError> {
        let wanted = match given {
            Some(dir) => Ok(dir.to_path_buf()),
            None => Self::default_dir(),
        };
        let cause = match wanted.and_then(|dir| Self::open(&dir)) {
            Ok(archive) => return Ok((archive, None)),
            Err(cause) => cause,
        };
        let temporary = std::env::temp_dir();
        // The second name is for a machine on which another user owns the first.
        let own = temporary.join(format!("trackpair-archive-{}", std::process::id()));
        let shared = temporary.join("trackpair-archive");
        let archive = Self::open(&shared).or_else(|_| Self::open(&own))?;
        let instead = archive.dir.clone();
        Ok((archive, Some(FallbackWarning { cause, instead })))
    }

    /// The archive and the name of the record whose folder this is; none for other folders.
    pub fn of_record_folder(folder: &Path) -> Option<(Self, String)> {
        let folder = fs::canonicalize(folder).ok()?;
        let records = folder.parent().filter(|p| p.file_name().is_some_and(|n| n == RECORDS))?;
        let dir = records.parent()?;
        let record = folder.file_name()?.to_str()?.to_owned();
        dir.join(INDEX_FILE).is_file().then(|| (Self { dir: dir.to_path_buf() }, record))
    }

    /// Where it is.
    pub fn dir(&self) -> &Path {
        &self.dir
    }

    /// Its index.
    ///
    /// # Errors
    /// It can't be used.
    pub fn index(&self) -> Result<Index, ArchiveError> {
        Ok(Index::open_to_read(&self.dir)?)
    }

    /// Makes a folder for a new record, named by date and the user's words for the part.
    ///
    /// # Errors
    /// [`ArchiveError::Folder`] when it can't be made.
    pub fn begin_record(&self, label: &str, started: &str) -> Result<RecordFolder, ArchiveError> {
        let (stem, records) = (record_stem(started, label), self.dir.join(RECORDS));
        for number in 1..=MOST_ALIKE {
            let name = if number == 1 { stem.clone() } else { format!("{stem}-{number}") };
            let path = records.join(&name);
            // The folder of the records may be removed by a program that left nothing in it: then once more.
            match fs::create_dir_all(&records).and_then(|()| fs::create_dir(&path)) {
                Ok(()) => return Ok(RecordFolder::new(&self.dir, name, label, started)),
                Err(cause) if cause.kind() == io::ErrorKind::AlreadyExists && path.is_dir() => {}
                Err(cause) if cause.kind() == io::ErrorKind::NotFound && self.dir.is_dir() => {}
                Err(cause) => return Err(ArchiveError::Folder { path, cause }),
            }
        }
        let cause =
            io::Error::new(io::ErrorKind::AlreadyExists, "too many records of the same second and part");
        Err(ArchiveError::Folder { path: records.join(stem), cause })
    }

    /// The records that a query asks for, in the order of their beginning.
    ///
    /// # Errors
    /// The index can't be used.
    pub fn find(&self, query: &Query) -> Result<Vec<RecordSummary>, ArchiveError> {
        Ok(self.index()?.find(query)?)
    }

    /// Rows for other programs, of the records that a query asks for.
    ///
    /// # Errors
    /// The index can't be used.
    pub fn export(&self, what: Exported, query: &Query) -> Result<Table, ArchiveError> {
        let index = self.index()?;
        let names: BTreeSet<String> = index.find(query)?.into_iter().map(|r| r.record).collect();
        let mut table = index.table(what)?;
        // The first column is the record's name.
        table.rows.retain(|row| matches!(&row[0], Value::Text(name) if names.contains(name)));
        Ok(table)
    }

    /// A record by its name, or by a part of it that no other has.
    ///
    /// # Errors
    /// None fits, several do, or the index can't be used.
    pub fn record(&self, name: &str) -> Result<StoredRecord, ArchiveError> {
        let index = self.index()?;
        let exact = index.find(&Query { records: vec![name.to_owned()], ..Query::default() })?.pop();
        let summary = match exact {
            Some(summary) => summary,
            None => self.record_like(&index, name)?,
        };
        let name = summary.record.as_str();
        let (outcomes, traces) = (index.outcomes(name)?, index.traces(name)?);
        let seals = index.seals_of(name)?;
        Ok(StoredRecord { summary, outcomes, traces, seals })
    }

    /// What happened on the line while a record was recorded, as JSON lines, by the number of the outcome that it stands beside; none where it
    /// was recorded without a rig, or by an older program.
    pub fn sessions(&self, record: &StoredRecord) -> Vec<(u32, String)> {
        let read = |number| {
            let path = outcome_path(&record.summary.record, number, SESSION, "jsonl");
            fs::read_to_string(self.dir.join(path)).ok().map(|text| (number, text))
        };
        record.outcomes.iter().filter_map(|outcome| read(outcome.number)).collect()
    }

    fn record_like(&self, index: &Index, part: &str) -> Result<RecordSummary, ArchiveError> {
        let mut fitting = index.find(&Query::default())?;
        fitting.retain(|r| !part.is_empty() && r.record.contains(part));
        if fitting.len() > 1 {
            return Err(ArchiveError::SeveralRecords {
                part: part.to_owned(),
                count: fitting.len(),
                names: fitting.into_iter().take(5).map(|r| r.record).collect::<Vec<_>>().join(", "),
            });
        }
        let none = || ArchiveError::NoRecord { archive: self.dir.clone(), record: part.to_owned() };
        fitting.pop().ok_or_else(none)
    }

    /// A record's outcome: the last one, or that of a number. A sealed one is held against the SHA-256 of its seal.
    ///
    /// # Errors
    /// There is none, or it can't be read.
    pub fn outcome(&self, record: &StoredRecord, number: Option<u32>) -> Result<Outcome, ArchiveError> {
        let count = record.outcomes.len() as u32;
        let number = number.unwrap_or(count.max(1));
        let stored = record.outcomes.iter().find(|o| o.number == number);
        let name = || record.summary.record.clone();
        let stored = stored.ok_or_else(|| ArchiveError::NoOutcome { record: name(), number, count })?;
        let path = self.dir.join(&stored.file);
        let text =
            fs::read_to_string(&path).map_err(|cause| ArchiveError::Read { path: path.clone(), cause })?;
        let seal = record.seals.iter().find(|s| s.number == number).and_then(|s| s.seal.open().ok());
        // The outcome is the last file that its seal covers.
        let sealed = seal.and_then(|manifest| manifest.files.last().map(|file| file.sha256.clone()));
        if sealed.is_some_and(|sealed| sealed != sha256_hex(text.as_bytes())) {
            return Err(ArchiveError::Swapped { path });
        }
        Outcome::from_json(&text).map_err(|cause| ArchiveError::Outcome { path, cause })
    }

    /// A record's traces, in the order of recording. Each is held against the SHA-256 that the index has of it.
    ///
    /// # Errors
    /// A file is missing, was swapped, or is damaged.
    pub fn traces(&self, record: &StoredRecord) -> Result<Vec<LoadedTrace>, ArchiveError> {
        record.traces.iter().map(|stored| self.trace(stored)).collect()
    }

    /// One trace, checked in the same way.
    ///
    /// # Errors
    /// The file is missing, was swapped, or is damaged.
    pub fn trace(&self, stored: &StoredTraceFile) -> Result<LoadedTrace, ArchiveError> {
        let path = self.dir.join(&stored.file);
        let bytes = fs::read(&path).map_err(|cause| ArchiveError::Read { path: path.clone(), cause })?;
        if sha256_hex(&bytes) != stored.sha256 {
            return Err(ArchiveError::Swapped { path });
        }
        Ok(LoadedTrace { trace: trace_from_parquet(bytes)?, file: Some(stored.file.clone()) })
    }

    /// A record's folder, to add another outcome to it.
    pub fn reopen(&self, record: &StoredRecord) -> RecordFolder {
        RecordFolder::again(&self.dir, record)
    }
}

#[cfg(test)]
#[path = "archive_tests.rs"]
mod tests;
