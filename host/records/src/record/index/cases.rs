//! Entries of cases as rows: the text of each, and what questions need of it.

use super::{Index, IndexError, Writing};
use crate::case::{Content, Entry};
use rusqlite::{Row as SqlRow, params};

/// An entry as its row has it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct StoredEntry {
    /// The case.
    pub case: String,
    /// From 1.
    pub number: u32,
    /// What it is.
    pub what: String,
    /// When it was made, RFC 3339.
    pub dated: String,
    /// The record that it names.
    pub record: Option<String>,
    /// Its file, from the archive's folder.
    pub file: String,
    /// Its text.
    pub entry: String,
}

impl StoredEntry {
    const COLUMNS: &'static str = "case_name, number, what, dated, record, file, entry";

    /// The row of an entry with this text.
    pub(in crate::record) fn of(entry: &Entry, file: &str, text: String) -> Self {
        let record = match &entry.content {
            Content::Record(record) => Some(record.record.clone()),
            _ => None,
        };
        Self {
            case: entry.case.clone(),
            number: entry.number,
            what: entry.content.name().to_owned(),
            dated: entry.date.clone(),
            record,
            file: file.to_owned(),
            entry: text,
        }
    }

    fn read(row: &SqlRow<'_>) -> rusqlite::Result<Self> {
        Ok(Self {
            case: row.get(0)?,
            number: row.get(1)?,
            what: row.get(2)?,
            dated: row.get(3)?,
            record: row.get(4)?,
            file: row.get(5)?,
            entry: row.get(6)?,
        })
    }
}

impl Index {
    /// Every entry of every case, by case and number.
    ///
    /// # Errors
    /// The database can't be read.
    pub fn entries(&self) -> Result<Vec<StoredEntry>, IndexError> {
        let sql = format!("SELECT {} FROM case_entries ORDER BY case_name, number", StoredEntry::COLUMNS);
        self.list(&sql, [], StoredEntry::read)
    }

    /// The entries of a case, by number; none when there is no such case.
    ///
    /// # Errors
    /// The database can't be read.
    pub fn entries_of(&self, case: &str) -> Result<Vec<StoredEntry>, IndexError> {
        let sql =
            format!("SELECT {} FROM case_entries WHERE case_name = ?1 ORDER BY number", StoredEntry::COLUMNS);
        self.list(&sql, [case], StoredEntry::read)
    }
}

impl Writing<'_> {
    /// The entries of a case as they stand while no other program can add one.
    pub fn entries_of(&self, case: &str) -> Result<Vec<StoredEntry>, IndexError> {
        let sql =
            format!("SELECT {} FROM case_entries WHERE case_name = ?1 ORDER BY number", StoredEntry::COLUMNS);
        let read = || -> rusqlite::Result<Vec<StoredEntry>> {
            self.step.prepare(&sql)?.query_map([case], StoredEntry::read)?.collect()
        };
        read().map_err(|e| self.failed(e))
    }

    /// Enters an entry.
    pub fn add_entry(&self, new: &StoredEntry) -> Result<(), IndexError> {
        let sql = format!(
            "INSERT INTO case_entries ({}) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)",
            StoredEntry::COLUMNS
        );
        let row = params![new.case, new.number, new.what, new.dated, new.record, new.file, new.entry];
        self.step.execute(&sql, row).map(|_| ()).map_err(|e| self.failed(e))
    }
}
