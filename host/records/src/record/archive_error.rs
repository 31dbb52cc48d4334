//! Why an archive, or something in it, can't be used, in words that say what to do. It does nothing with files itself.

use super::index::IndexError;
use super::parquet_file::ParquetError;
use crate::outcome::OutcomeError;
use std::io;
use std::path::PathBuf;

/// Why the archive can't be used.
#[derive(Debug, thiserror::Error)]
pub enum ArchiveError {
    /// The folder can't be made or written.
    #[error("can't keep records in {path}: {} ({cause}); give another folder with --archive DIR", said(.cause), path = .path.display())]
    Folder {
        /// The folder.
        path: PathBuf,
        /// The system's message.
        cause: io::Error,
    },
    /// No place for data on this platform.
    #[error("this system names no place for a program's data; give a folder with --archive DIR")]
    NoPlace,
    /// A file can't be written.
    #[error("can't write {path}: {} ({cause}); mend that or give another folder with --archive DIR", said(.cause), path = .path.display())]
    File {
        /// The file.
        path: PathBuf,
        /// The system's message.
        cause: io::Error,
    },
    /// A trace can't be turned into Parquet, or read from it.
    #[error(transparent)]
    Parquet(#[from] ParquetError),
    /// The index can't be used.
    #[error(transparent)]
    Index(#[from] IndexError),
    /// A file of the archive can't be read.
    #[error("can't read {path}: {cause}; `trackpair records verify` says what else is amiss", path = .path.display())]
    Read {
        /// The file.
        path: PathBuf,
        /// The system's message.
        cause: io::Error,
    },
    /// A file is not the one that was kept.
    #[error(
        "{path} is not the file that was kept (its SHA-256 differs): it was swapped or altered; take it from a backup. `trackpair records verify` says what else is amiss",
        path = .path.display()
    )]
    Swapped {
        /// The file.
        path: PathBuf,
    },
    /// An outcome can't be read.
    #[error("{path}: {cause}", path = .path.display())]
    Outcome {
        /// The file.
        path: PathBuf,
        /// Why.
        cause: OutcomeError,
    },
    /// No record of that name.
    #[error("the archive {archive} has no record {record:?}; `trackpair records list` shows their names", archive = .archive.display())]
    NoRecord {
        /// The archive's folder.
        archive: PathBuf,
        /// What was asked for.
        record: String,
    },
    /// Several records fit.
    #[error("{part:?} fits {count} records ({names}); give more of the name")]
    SeveralRecords {
        /// What was asked for.
        part: String,
        /// How many fit.
        count: usize,
        /// The first of them.
        names: String,
    },
    /// The record has not been judged.
    #[error(
        "the record {record} has no outcome {number}; it has {count}: `trackpair judge` or `trackpair rejudge` makes one"
    )]
    NoOutcome {
        /// The record.
        record: String,
        /// Which outcome was asked for.
        number: u32,
        /// How many it has.
        count: u32,
    },
}

/// What the system's error means for someone who wants to keep a record.
fn said(cause: &io::Error) -> &'static str {
    use io::ErrorKind as Kind;
    match cause.kind() {
        Kind::StorageFull | Kind::QuotaExceeded => "no space is left there",
        Kind::ReadOnlyFilesystem => "it is read-only",
        Kind::PermissionDenied => "writing there is not allowed",
        Kind::NotADirectory | Kind::AlreadyExists => "there is a file in the place of the folder",
        Kind::NotFound => "the place does not exist",
        _ => "the system refused",
    }
}
