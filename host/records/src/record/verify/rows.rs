//! The index against what is sealed: every row of an outcome is what its file says, and there is no other.

use super::{Sealed, Verifier};
use crate::outcome::Outcome;
use crate::record::archive_error::ArchiveError;
use crate::record::index::{
    Query, RecordState, RecordSummary, Row, StoredTraceFile, Table, figure_rows, finding_rows, outcome_row,
};
use crate::record::names::{TRACES, month};
use crate::record::seal::FileEntry;
use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::Path;

impl Verifier<'_> {
    /// Compares the rows of every sealed outcome, then looks for rows that belong to none.
    pub(super) fn rows(&mut self, sealed: &[Sealed]) -> Result<(), ArchiveError> {
        let mut records: BTreeMap<&str, &Sealed> = BTreeMap::new();
        let mut outcomes: BTreeSet<(String, u32)> = BTreeSet::new();
        for one in sealed {
            self.outcome_rows(one)?;
            outcomes.insert((one.manifest.record.clone(), one.manifest.number));
            records.entry(&one.manifest.record).or_insert(one);
        }
        let listed = self.index.find(&Query::default())?;
        let names: BTreeSet<&str> = listed.iter().map(|r| r.record.as_str()).collect();
        for name in records.keys().filter(|name| !names.contains(**name)) {
            self.problem(
                row_of("records", name),
                "the row of the record or of its part is missing or was altered",
            );
        }
        for record in &listed {
            let name = record.record.clone();
            let stored = self.index.traces(&name)?;
            if let Some(one) = records.get(name.as_str()) {
                let outcome = self.outcome_of(one);
                self.soak_log(outcome.as_ref());
                self.record_row(record, one, outcome.as_ref());
                self.trace_rows(&name, &stored, one, outcome.as_ref());
            } else {
                // Nobody has signed these, but the index still knows what they were.
                for trace in &stored {
                    self.file(&entry(trace));
                }
            }
            for outcome in self.index.outcomes(&name)? {
                if outcomes.contains(&(name.clone(), outcome.number)) {
                    continue;
                }
                self.known.insert(outcome.file.clone());
                self.found.notes.push(format!(
                    "{name}, outcome {}: not sealed, because the key could not be used; its content is not proven",
                    outcome.number
                ));
                self.compare(&name, outcome.number, &outcome.file)?;
            }
            if record.state == RecordState::Unfinished {
                self.found.notes.push(format!(
                    "{name}: unfinished, {} traces without an outcome; `trackpair rejudge {name}` judges them",
                    record.traces
                ));
            }
        }
        for (record, number) in &outcomes {
            if !self.index.outcomes(record)?.iter().any(|o| o.number == *number) {
                self.problem(
                    format!("{}, outcome {number}", row_of("outcomes", record)),
                    "the row is missing",
                );
            }
        }
        self.found.rows += self.index.count(Table::FIGURES)? + self.index.count(Table::FINDINGS)?;
        for (table, record, number) in self.index.orphans()? {
            let why = if number == 0 {
                "it belongs to no record".to_owned()
            } else {
                format!("it belongs to outcome {number}, which does not exist")
            };
            self.problem(row_of(&table, &record), why);
        }
        Ok(())
    }

    fn outcome_rows(&mut self, one: &Sealed) -> Result<(), ArchiveError> {
        let (record, number) = (&one.manifest.record, one.manifest.number);
        let Some(file) = one.manifest.files.last().map(|f| f.path.clone()) else {
            self.problem(format!("seal {}", one.seal.sequence), "its manifest names no outcome");
            return Ok(());
        };
        self.compare(record, number, &file)
    }

    /// The rows of an outcome against its file. A file that was altered is reported already; then there is nothing to compare with.
    fn compare(&mut self, record: &str, number: u32, file: &str) -> Result<(), ArchiveError> {
        if self.found.problems.iter().any(|p| p.what == file) {
            return Ok(());
        }
        let text = fs::read_to_string(self.dir.join(file));
        let Some(outcome) = text.ok().and_then(|t| Outcome::from_json(&t).ok()) else {
            self.problem(file, "the outcome can't be read");
            return Ok(());
        };
        let tables = [
            (Table::OUTCOMES, vec![outcome_row(record, number, file, &outcome)]),
            (Table::FIGURES, figure_rows(record, number, &outcome)),
            (Table::FINDINGS, finding_rows(record, number, &outcome)),
        ];
        for (table, due) in tables {
            let found = self.index.rows(table, record, number)?;
            for (position, (is, was)) in found.iter().zip(&due).enumerate() {
                for (column, (a, b)) in
                    table.columns.iter().zip(is.iter().zip(was)).filter(|(_, (a, b))| a != b)
                {
                    let what =
                        format!("{}, outcome {number}, row {}", row_of(table.name, record), position + 1);
                    self.problem(what, format!("{column} is {}, was {}", shown(a), shown(b)));
                }
            }
            self.missing_or_more(table, record, number, &found, &due);
        }
        Ok(())
    }

    fn missing_or_more(&mut self, table: Table, record: &str, number: u32, found: &[Row], due: &[Row]) {
        let what = format!("{}, outcome {number}", row_of(table.name, record));
        if found.len() < due.len() {
            self.problem(what, format!("{} rows of {} are missing", due.len() - found.len(), due.len()));
        } else if found.len() > due.len() {
            self.problem(what, format!("{} rows were added", found.len() - due.len()));
        }
    }

    /// The row of a record against the first seal of it and the outcome that it covers.
    fn record_row(&mut self, record: &RecordSummary, one: &Sealed, outcome: Option<&Outcome>) {
        let manifest = &one.manifest;
        let as_sealed = (&manifest.kind, &manifest.label, &manifest.begun, month(&manifest.begun));
        if (&record.kind, &record.label, &record.begun, record.month.clone()) != as_sealed {
            self.problem(
                row_of("records", &record.record),
                "kind, label, date or month are not what was sealed",
            );
        }
        if outcome.is_some_and(|outcome| outcome.simulated != record.simulated) {
            let why = "it says of simulated data that they are real, or of real ones that they are simulated";
            self.problem(row_of("records", &record.record), why);
        }
    }

    /// The rows of the traces against the first seal of their record, and against what its outcome says of them.
    fn trace_rows(
        &mut self,
        record: &str,
        rows: &[StoredTraceFile],
        one: &Sealed,
        outcome: Option<&Outcome>,
    ) {
        let all = one.manifest.files.iter();
        let sealed: Vec<&FileEntry> = all.filter(|file| Path::new(&file.path).starts_with(TRACES)).collect();
        let told = |row: &StoredTraceFile| {
            let mut told = outcome.into_iter().flat_map(|o| &o.procedures);
            told.find(|p| p.trace_file.as_deref() == Some(&row.file))
                .is_none_or(|p| *p.procedure == row.procedure && p.scans == row.scans && *p.end == row.ended)
        };
        for (position, (row, was)) in rows.iter().zip(&sealed).enumerate() {
            if entry(row) != **was || row.position as usize != position + 1 || !told(row) {
                self.problem(
                    format!("{}, {}", row_of("traces", record), was.path),
                    "the row is not what was sealed",
                );
            }
        }
        if rows.len() != sealed.len() {
            let why = format!("there are {} rows, {} traces were sealed", rows.len(), sealed.len());
            self.problem(row_of("traces", record), why);
        }
    }

    /// The log of a soak against what its sealed outcome says of it.
    fn soak_log(&mut self, outcome: Option<&Outcome>) {
        if let Some(log) = outcome.and_then(|o| o.soak.as_ref()).map(|s| &s.log) {
            self.file(&FileEntry { path: log.file.clone(), sha256: log.sha256.clone(), bytes: log.bytes });
        }
    }

    /// The outcome that a seal covers; none when its file was altered, which is reported elsewhere.
    fn outcome_of(&self, one: &Sealed) -> Option<Outcome> {
        let file = one.manifest.files.last()?;
        Outcome::from_json(&fs::read_to_string(self.dir.join(&file.path)).ok()?).ok()
    }
}

fn entry(trace: &StoredTraceFile) -> FileEntry {
    FileEntry { path: trace.file.clone(), sha256: trace.sha256.clone(), bytes: trace.bytes }
}

fn row_of(table: &str, record: &str) -> String {
    format!("{}: {table} of {record}", super::INDEX_FILE)
}

/// A value for a sentence, cut where it is long.
fn shown(value: &rusqlite::types::Value) -> String {
    use rusqlite::types::Value;
    match value {
        Value::Null => "nothing".to_owned(),
        Value::Integer(n) => n.to_string(),
        Value::Real(x) => x.to_string(),
        Value::Text(text) => {
            let short: String = text.chars().filter(|c| !c.is_control()).take(60).collect();
            format!("{short:?}")
        }
        Value::Blob(bytes) => format!("{} bytes", bytes.len()),
    }
}
