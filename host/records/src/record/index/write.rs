//! Rows into the index, one transaction at a time: whole or not at all.

use super::{Index, IndexError, Row, StoredSeal, Table};
use rusqlite::{OptionalExtension, Transaction, TransactionBehavior, params, params_from_iter};

/// A record and its part.
#[derive(Clone, Debug)]
pub(in crate::record) struct NewRecord {
    /// Its name.
    pub record: String,
    /// Kind of part.
    pub kind: &'static str,
    /// The user's words for the part.
    pub label: String,
    /// When it was begun.
    pub begun: String,
    /// Its month, as in the paths of its traces.
    pub month: String,
    /// Whether rig and part are simulated.
    pub simulated: bool,
}

/// A trace that has been written to its file.
#[derive(Clone, Debug)]
pub(in crate::record) struct NewTrace<'a> {
    /// The record that it belongs to.
    pub of: NewRecord,
    /// From 1 in the order of recording.
    pub position: u32,
    /// Its procedure.
    pub procedure: &'a str,
    /// How many scans.
    pub scans: u64,
    /// How it ended.
    pub ended: &'a str,
    /// Its file, from the archive's folder.
    pub file: &'a str,
    /// SHA-256 of the file, hex.
    pub sha256: &'a str,
    /// The file's size.
    pub bytes: u64,
}

/// Enters a record and its part, unless they are there.
fn enter_record(step: &Transaction<'_>, new: &NewRecord) -> rusqlite::Result<()> {
    step.execute(
        "INSERT INTO parts (kind, label) VALUES (?1, ?2) ON CONFLICT DO NOTHING",
        params![new.kind, new.label],
    )?;
    step.execute(
        "INSERT INTO records (record, part, begun, month, simulated)
         SELECT ?1, part, ?4, ?5, ?6 FROM parts WHERE kind = ?2 AND label = ?3 ON CONFLICT DO NOTHING",
        params![new.record, new.kind, new.label, new.begun, new.month, new.simulated],
    )
    .map(|_| ())
}

impl Index {
    /// Enters a trace, and with the first one its record and part.
    pub(in crate::record) fn add_trace(&mut self, new: &NewTrace<'_>) -> Result<(), IndexError> {
        self.in_transaction(|step| {
            enter_record(step, &new.of)?;
            step.execute(
                "INSERT INTO traces (record, position, procedure, scans, ended, file, sha256, bytes)
                 VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8)",
                params![
                    new.of.record,
                    new.position,
                    new.procedure,
                    new.scans as i64,
                    new.ended,
                    new.file,
                    new.sha256,
                    new.bytes as i64
                ],
            )?;
            Ok(())
        })
    }

    fn in_transaction<T>(
        &mut self,
        work: impl FnOnce(&Transaction<'_>) -> rusqlite::Result<T>,
    ) -> Result<T, IndexError> {
        let path = self.path.clone();
        let failed = |cause| IndexError::Database { path, cause };
        let run = || -> rusqlite::Result<T> {
            let step = self.db.transaction_with_behavior(TransactionBehavior::Immediate)?;
            let done = work(&step)?;
            step.commit()?;
            Ok(done)
        };
        run().map_err(failed)
    }

    /// Takes the archive for writing: until the end of the returned transaction no other program can append to the chain.
    pub(in crate::record) fn begin_writing(&mut self) -> Result<Writing<'_>, IndexError> {
        let path = self.path.clone();
        match self.db.transaction_with_behavior(TransactionBehavior::Immediate) {
            Ok(step) => Ok(Writing { step, path }),
            Err(cause) => Err(IndexError::Database { path, cause }),
        }
    }
}

/// The archive, taken for writing an outcome and its seal. Dropped without [`Writing::commit`], nothing is written.
pub(in crate::record) struct Writing<'a> {
    pub(super) step: Transaction<'a>,
    path: std::path::PathBuf,
}

impl Writing<'_> {
    pub(super) fn failed(&self, cause: rusqlite::Error) -> IndexError {
        IndexError::Database { path: self.path.clone(), cause }
    }

    /// The number of the next outcome of a record, from 1.
    pub fn next_number(&self, record: &str) -> Result<u32, IndexError> {
        let sql = "SELECT 1 + coalesce(max(number), 0) FROM outcomes WHERE record = ?1";
        self.step.query_row(sql, [record], |row| row.get(0)).map_err(|e| self.failed(e))
    }

    /// The last link of the chain; none in an archive without seals.
    pub fn head(&self) -> Result<Option<StoredSeal>, IndexError> {
        let sql = format!("SELECT {} FROM seals ORDER BY sequence DESC LIMIT 1", StoredSeal::COLUMNS);
        self.step.query_row(&sql, [], StoredSeal::read).optional().map_err(|e| self.failed(e))
    }

    /// Enters a record, of which no trace could be kept.
    pub fn enter_record(&self, new: &NewRecord) -> Result<(), IndexError> {
        enter_record(&self.step, new).map_err(|e| self.failed(e))
    }

    /// Enters rows.
    pub fn insert(&self, table: Table, rows: &[Row]) -> Result<(), IndexError> {
        let insert = || -> rusqlite::Result<()> {
            let mut statement = self.step.prepare(&table.insert())?;
            rows.iter().try_for_each(|row| statement.execute(params_from_iter(row)).map(|_| ()))
        };
        insert().map_err(|e| self.failed(e))
    }

    /// Enters a seal.
    pub fn add_seal(&self, seal: &StoredSeal) -> Result<(), IndexError> {
        let StoredSeal { sequence, record, number, previous, seal: file } = seal;
        let sql = format!(
            "INSERT INTO seals ({}) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10)",
            StoredSeal::COLUMNS
        );
        let row = params![
            *sequence as i64,
            record,
            number,
            previous,
            file.fingerprint,
            file.key,
            file.signature,
            file.manifest,
            file.documents,
            file.documents_signature
        ];
        self.step.execute(&sql, row).map(|_| ()).map_err(|e| self.failed(e))
    }

    /// Makes it all lasting.
    pub fn commit(self) -> Result<(), IndexError> {
        let Self { step, path } = self;
        step.commit().map_err(|cause| IndexError::Database { path, cause })
    }
}
