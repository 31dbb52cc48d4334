//! The archive's index: a SQLite database (WAL) beside the files, for questions over many records. What it holds can be made anew
//! from the files; the order of the seals stands in it and in the files. It does not know what a figure means.

mod cases;
mod matings;
mod read;
mod tables;
mod write;

pub use cases::StoredEntry;
pub use matings::{LeadMatings, PartMatings};
pub use read::{Query, RecordState, RecordSummary, StoredOutcome, StoredSeal, StoredTraceFile};
pub(super) use tables::{Row, Table, figure_rows, finding_rows, outcome_row};
pub(super) use write::{NewRecord, NewTrace, Writing};

use rusqlite::{Connection, OpenFlags};
use std::path::{Path, PathBuf};
use std::time::Duration;

/// The database's file in an archive.
pub const INDEX_FILE: &str = "archive.sqlite";
/// Steps from an empty database to the present schema; a database of schema n has had the first n.
const MIGRATIONS: [&str; 4] = [
    include_str!("schema_1.sql"),
    include_str!("schema_2.sql"),
    include_str!("schema_3.sql"),
    include_str!("schema_4.sql"),
];
/// Schema of the database that this program writes.
pub const INDEX_SCHEMA: u32 = MIGRATIONS.len() as u32;
/// How long another program may hold the archive before this one gives up.
const PATIENCE: Duration = Duration::from_secs(30);

/// Why the index can't be used.
#[derive(Debug, thiserror::Error)]
pub enum IndexError {
    /// Written by a later program.
    #[error(
        "{path} has schema {found}, this program reads 1 to {INDEX_SCHEMA}; use the program that wrote it, or a newer one. Nothing was changed",
        path = .path.display()
    )]
    Newer {
        /// The database.
        path: PathBuf,
        /// Its schema.
        found: u32,
    },
    /// Another program's database.
    #[error("{path} is a database, but no archive of trackpair; give another folder with --archive DIR", path = .path.display())]
    Foreign {
        /// The database.
        path: PathBuf,
    },
    /// There is none.
    #[error("{path} is not there: the folder holds no archive; give another with --archive DIR", path = .path.display())]
    Absent {
        /// The database.
        path: PathBuf,
    },
    /// The database can't be read or written.
    #[error("{path}: {} ({cause})", said(.cause), path = .path.display())]
    Database {
        /// The database.
        path: PathBuf,
        /// What SQLite said.
        cause: rusqlite::Error,
    },
}

/// What SQLite's error means for someone who wants to keep a record.
fn said(cause: &rusqlite::Error) -> &'static str {
    use rusqlite::ErrorCode as Code;
    match cause.sqlite_error_code() {
        Some(Code::DiskFull) => "no space is left there; make room and try again",
        Some(Code::ReadOnly) => {
            "it is read-only; allow writing there, or give another folder with --archive DIR"
        }
        Some(Code::DatabaseBusy | Code::DatabaseLocked) => {
            "another program has held it for half a minute; close that program and try again"
        }
        Some(Code::NotADatabase | Code::DatabaseCorrupt) => {
            "it is damaged; the files beside it are not touched: take the database from a backup"
        }
        Some(Code::CannotOpen | Code::PermissionDenied) => {
            "it can't be opened; allow it, or give another folder with --archive DIR"
        }
        _ => "the database refused",
    }
}

/// An open index.
#[derive(Debug)]
pub struct Index {
    path: PathBuf,
    db: Connection,
}

impl Index {
    /// Opens the index of an archive; makes it, or brings it to the present schema, where needed.
    ///
    /// # Errors
    /// It can't be opened or written, is another program's, or has a later schema.
    pub fn open(archive: &Path) -> Result<Self, IndexError> {
        let path = archive.join(INDEX_FILE);
        let failed = |cause| IndexError::Database { path: path.clone(), cause };
        let db = Connection::open(&path).map_err(failed)?;
        let mut index = Self { path: path.clone(), db };
        index.prepare().map_err(failed)?;
        index.migrate()?;
        Ok(index)
    }

    /// Opens an index for reading alone; one of an earlier schema is first brought to the present one if it can be written.
    ///
    /// # Errors
    /// There is none, it can't be read, is another program's, or has another schema.
    pub fn open_to_read(archive: &Path) -> Result<Self, IndexError> {
        let path = archive.join(INDEX_FILE);
        if !path.is_file() {
            return Err(IndexError::Absent { path });
        }
        match Self::open(archive) {
            Err(IndexError::Database { cause, .. }) if is_read_only(&cause) => Self::open_immutable(path),
            opened => opened,
        }
    }

    /// On a medium that can't be written there is no other writer to heed either.
    fn open_immutable(path: PathBuf) -> Result<Self, IndexError> {
        let failed = |cause| IndexError::Database { path: path.clone(), cause };
        let flags = OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_URI;
        let address = format!("file:{}?immutable=1", percent_encoded(&path));
        let db = Connection::open_with_flags(address, flags).map_err(failed)?;
        let index = Self { path: path.clone(), db };
        match index.schema().map_err(failed)? {
            INDEX_SCHEMA => Ok(index),
            found if found > INDEX_SCHEMA => Err(IndexError::Newer { path, found }),
            _ => Err(failed(rusqlite::Error::SqliteFailure(
                rusqlite::ffi::Error::new(rusqlite::ffi::SQLITE_READONLY),
                Some("an archive of an earlier schema must be writable once".to_owned()),
            ))),
        }
    }

    fn prepare(&mut self) -> rusqlite::Result<()> {
        self.db.busy_timeout(PATIENCE)?;
        // What is committed is on the disk: a power cut loses nothing that was acknowledged.
        self.db.pragma_update(None, "synchronous", "FULL")?;
        self.db.pragma_update(None, "foreign_keys", true)?;
        self.db.pragma_update_and_check(None, "journal_mode", "WAL", |_| Ok(()))
    }

    fn schema(&self) -> rusqlite::Result<u32> {
        self.db.pragma_query_value(None, "user_version", |row| row.get(0))
    }

    /// Takes the steps that are missing, all or none; another program that does the same at this moment is waited for.
    fn migrate(&mut self) -> Result<(), IndexError> {
        let path = self.path.clone();
        let failed = |cause| IndexError::Database { path: path.clone(), cause };
        if self.schema().map_err(failed)? == INDEX_SCHEMA {
            return Ok(());
        }
        let step =
            self.db.transaction_with_behavior(rusqlite::TransactionBehavior::Immediate).map_err(failed)?;
        let found: u32 = step.pragma_query_value(None, "user_version", |row| row.get(0)).map_err(failed)?;
        if found > INDEX_SCHEMA {
            return Err(IndexError::Newer { path, found });
        }
        let tables: u32 =
            step.query_row("SELECT count(*) FROM sqlite_schema", [], |row| row.get(0)).map_err(failed)?;
        if found == 0 && tables > 0 {
            return Err(IndexError::Foreign { path });
        }
        for sql in &MIGRATIONS[found as usize..] {
            step.execute_batch(sql).map_err(failed)?;
        }
        step.pragma_update(None, "user_version", INDEX_SCHEMA).map_err(failed)?;
        step.commit().map_err(failed)
    }

    fn failed(&self, cause: rusqlite::Error) -> IndexError {
        IndexError::Database { path: self.path.clone(), cause }
    }
}

fn is_read_only(cause: &rusqlite::Error) -> bool {
    use rusqlite::ErrorCode as Code;
    matches!(cause.sqlite_error_code(), Some(Code::ReadOnly | Code::CannotOpen | Code::PermissionDenied))
}

/// A path inside a `file:` address: everything but letters, digits and `/-._~` as `%XX` (RFC 3986, 2.1).
fn percent_encoded(path: &Path) -> String {
    let text = path.to_string_lossy();
    text.bytes()
        .map(|byte| match byte {
            b'a'..=b'z' | b'A'..=b'Z' | b'0'..=b'9' | b'/' | b'-' | b'.' | b'_' | b'~' => {
                char::from(byte).to_string()
            }
            _ => format!("%{byte:02X}"),
        })
        .collect()
}

#[cfg(test)]
#[path = "index_tests.rs"]
mod tests;
