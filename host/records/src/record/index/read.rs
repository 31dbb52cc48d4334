//! Questions to the index.

use super::{Index, IndexError, Row, Table};
use crate::quantity::PartKind;
use crate::record::seal::SealFile;
use crate::record::table::{ColumnType, Exported, Table as Exportable};
use rusqlite::{Row as SqlRow, params};

/// How far a record has come.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
#[serde(rename_all = "snake_case")]
pub enum RecordState {
    /// Traces, but no outcome: recording or judging was cut off. They can be judged.
    Unfinished,
    /// Judged, but the last outcome is not sealed: the key could not be used.
    Unsealed,
    /// Judged and sealed.
    Sealed,
}

impl RecordState {
    /// The name in lists.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Unfinished => "unfinished",
            Self::Unsealed => "unsealed",
            Self::Sealed => "sealed",
        }
    }
}

/// Which records. Everything that is given must hold; nothing given: all.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Query {
    /// Names of records; empty: any.
    pub records: Vec<String>,
    /// Kind of part.
    pub kind: Option<PartKind>,
    /// Words that the part's label holds, in any case of ASCII letters.
    pub part: Option<String>,
    /// First day of recording, `YYYY-MM-DD` or a beginning of it.
    pub from: Option<String>,
    /// Last day of recording, likewise; the whole day, month or year counts.
    pub to: Option<String>,
    /// Verdict of the last outcome: `within`, `outside`, `undecided`.
    pub verdict: Option<String>,
    /// Scope of the last outcome.
    pub scope: Option<String>,
    /// Kind of a finding of the last outcome.
    pub finding: Option<String>,
    /// Name of the sheet of the last outcome.
    pub sheet: Option<String>,
    /// Simulated or not.
    pub simulated: Option<bool>,
}

/// A record in a list.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RecordSummary {
    /// Its name: the folder.
    pub record: String,
    /// Kind of part: `grip` or `body`.
    pub kind: String,
    /// The user's words for the part; hostile text possible.
    pub label: String,
    /// When it was begun, RFC 3339.
    pub begun: String,
    /// The month of that, as in the paths of its traces.
    pub month: String,
    /// Whether rig and part were simulated.
    pub simulated: bool,
    /// How far it has come.
    pub state: RecordState,
    /// How many traces it has.
    pub traces: u32,
    /// How many outcomes it has.
    pub outcomes: u32,
    /// When the last outcome was judged, RFC 3339.
    pub judged: Option<String>,
    /// The last outcome's verdict.
    pub verdict: Option<String>,
    /// What that is about.
    pub scope: Option<String>,
    /// The sheet it was judged by.
    pub sheet: Option<String>,
    /// Its grade, if it has one.
    pub grade: Option<String>,
    /// Whether what the last outcome is about was cut short.
    pub cut_short: bool,
    /// What was planned and not done to its end; none when all was done.
    pub not_done: Option<String>,
    /// Kinds of its findings that bear on the verdict, in their order.
    pub findings: Vec<String>,
}

/// An outcome of a record.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct StoredOutcome {
    /// From 1.
    pub number: u32,
    /// Its file, from the archive's folder.
    pub file: String,
    /// When it was judged, RFC 3339.
    pub judged: String,
    /// Its verdict.
    pub verdict: String,
    /// What that is about.
    pub scope: String,
    /// The sheet.
    pub sheet: String,
}

/// A trace of a record.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct StoredTraceFile {
    /// From 1, in the order of recording.
    pub position: u32,
    /// Its procedure.
    pub procedure: String,
    /// How many scans.
    pub scans: u64,
    /// How it ended.
    pub ended: String,
    /// Its file, from the archive's folder.
    pub file: String,
    /// SHA-256 of the file as it was written, hex.
    pub sha256: String,
    /// Its size then.
    pub bytes: u64,
}

/// A link of the chain.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct StoredSeal {
    /// Place in the chain, from 1.
    pub sequence: u64,
    /// The record.
    pub record: String,
    /// The outcome's number.
    pub number: u32,
    /// Fingerprint of the link before; none for the first.
    pub previous: Option<String>,
    /// The seal, as its file holds it.
    pub seal: SealFile,
}

impl StoredSeal {
    pub(super) const COLUMNS: &'static str = "sequence, record, number, previous, fingerprint, key, signature, \
         manifest, documents, documents_signature";

    pub(super) fn read(row: &SqlRow<'_>) -> rusqlite::Result<Self> {
        let seal = SealFile {
            fingerprint: row.get(4)?,
            key: row.get(5)?,
            signature: row.get(6)?,
            manifest: row.get(7)?,
            documents: row.get(8)?,
            documents_signature: row.get(9)?,
        };
        let sequence = row.get::<_, i64>(0)? as u64;
        Ok(Self { sequence, record: row.get(1)?, number: row.get(2)?, previous: row.get(3)?, seal })
    }
}

/// What a list shows of each record, with the conditions of a query.
const FIND: &str = "
SELECT records.record, parts.kind, parts.label, records.begun, records.simulated,
       (SELECT count(*) FROM traces WHERE traces.record = records.record),
       coalesce(latest.number, 0), latest.judged, latest.verdict, latest.scope, latest.sheet,
       EXISTS (SELECT 1 FROM seals WHERE seals.record = records.record AND seals.number = latest.number),
       (SELECT group_concat(kind, ' ') FROM (
            SELECT kind FROM findings
            WHERE findings.record = records.record AND findings.number = latest.number
              AND (effect IS NULL OR effect IN ('outside', 'undecided'))
            ORDER BY position)),
       records.month, latest.grade, latest.aborted, latest.not_done
FROM records JOIN parts USING (part) LEFT JOIN latest ON latest.record = records.record
WHERE (?1 IS NULL OR parts.kind = ?1)
  AND (?2 IS NULL OR instr(lower(parts.label), lower(?2)) > 0)
  AND (?3 IS NULL OR substr(records.begun, 1, length(?3)) >= ?3)
  AND (?4 IS NULL OR substr(records.begun, 1, length(?4)) <= ?4)
  AND (?5 IS NULL OR latest.verdict = ?5)
  AND (?6 IS NULL OR latest.scope = ?6)
  AND (?7 IS NULL OR EXISTS (SELECT 1 FROM findings
        WHERE findings.record = records.record AND findings.number = latest.number AND findings.kind = ?7))
  AND (?8 IS NULL OR latest.sheet = ?8)
  AND (?9 IS NULL OR records.simulated = ?9)
  AND (?10 IS NULL OR records.record IN (SELECT value FROM json_each(?10)))
ORDER BY records.begun, records.record";

impl Index {
    /// The records that a query asks for, in the order of their beginning.
    ///
    /// # Errors
    /// The database can't be read.
    pub fn find(&self, query: &Query) -> Result<Vec<RecordSummary>, IndexError> {
        // A list of texts serialises.
        let named =
            (!query.records.is_empty()).then(|| serde_json::to_string(&query.records).unwrap_or_default());
        let find = || -> rusqlite::Result<Vec<RecordSummary>> {
            let mut statement = self.db.prepare(FIND)?;
            let conditions = params![
                query.kind.map(PartKind::name),
                query.part,
                query.from,
                query.to,
                query.verdict,
                query.scope,
                query.finding,
                query.sheet,
                query.simulated,
                named,
            ];
            statement.query_map(conditions, summary)?.collect()
        };
        find().map_err(|e| self.failed(e))
    }

    /// The outcomes of a record, by their numbers.
    ///
    /// # Errors
    /// The database can't be read.
    pub fn outcomes(&self, record: &str) -> Result<Vec<StoredOutcome>, IndexError> {
        let sql = "SELECT number, file, judged, verdict, scope, sheet FROM outcomes WHERE record = ?1 ORDER BY number";
        self.list(sql, [record], |row| {
            Ok(StoredOutcome {
                number: row.get(0)?,
                file: row.get(1)?,
                judged: row.get(2)?,
                verdict: row.get(3)?,
                scope: row.get(4)?,
                sheet: row.get(5)?,
            })
        })
    }

    /// The traces of a record, in the order of recording.
    ///
    /// # Errors
    /// The database can't be read.
    pub fn traces(&self, record: &str) -> Result<Vec<StoredTraceFile>, IndexError> {
        let sql =
            "SELECT position, procedure, scans, ended, file, sha256, bytes FROM traces WHERE record = ?1
                   ORDER BY position";
        self.list(sql, [record], |row| {
            Ok(StoredTraceFile {
                position: row.get(0)?,
                procedure: row.get(1)?,
                scans: row.get::<_, i64>(2)? as u64,
                ended: row.get(3)?,
                file: row.get(4)?,
                sha256: row.get(5)?,
                bytes: row.get::<_, i64>(6)? as u64,
            })
        })
    }

    /// The chain, in its order.
    ///
    /// # Errors
    /// The database can't be read.
    pub fn seals(&self) -> Result<Vec<StoredSeal>, IndexError> {
        let sql = format!("SELECT {} FROM seals ORDER BY sequence", StoredSeal::COLUMNS);
        self.list(&sql, [], StoredSeal::read)
    }

    /// The seals of a record, by the number of their outcomes.
    ///
    /// # Errors
    /// The database can't be read.
    pub fn seals_of(&self, record: &str) -> Result<Vec<StoredSeal>, IndexError> {
        let sql = format!("SELECT {} FROM seals WHERE record = ?1 ORDER BY number", StoredSeal::COLUMNS);
        self.list(&sql, [record], StoredSeal::read)
    }

    /// The rows that a table holds for an outcome, as they stand.
    pub(in crate::record) fn rows(
        &self,
        table: Table,
        record: &str,
        number: u32,
    ) -> Result<Vec<Row>, IndexError> {
        self.list(&table.select(), params![record, number], |row| {
            (0..table.columns.len()).map(|k| row.get(k)).collect()
        })
    }

    /// Rows for other programs, with their columns.
    pub(in crate::record) fn table(&self, what: Exported) -> Result<Exportable, IndexError> {
        let read = || -> rusqlite::Result<Exportable> {
            let mut statement = self.db.prepare(what.sql())?;
            let columns: Vec<(String, ColumnType)> = statement
                .columns()
                .map(|c| {
                    let kind = match c.decl_type() {
                        Some("INTEGER") => ColumnType::Integer,
                        Some("REAL") => ColumnType::Real,
                        _ => ColumnType::Text,
                    };
                    (c.name().to_owned(), kind)
                })
                .collect();
            let width = columns.len();
            let rows = statement
                .query_map([], |row| (0..width).map(|k| row.get(k)).collect())?
                .collect::<Result<_, _>>()?;
            Ok(Exportable { columns, rows })
        };
        read().map_err(|e| self.failed(e))
    }

    /// How many rows a table has.
    pub(in crate::record) fn count(&self, table: Table) -> Result<u64, IndexError> {
        let counted: Vec<i64> =
            self.list(&format!("SELECT count(*) FROM {}", table.name), [], |row| row.get(0))?;
        Ok(counted.first().copied().unwrap_or(0) as u64)
    }

    /// Rows without what they belong to: table, record, number of the outcome.
    pub(in crate::record) fn orphans(&self) -> Result<Vec<(String, String, u32)>, IndexError> {
        let sql = "
            SELECT 'figures', record, number FROM figures
            WHERE NOT EXISTS (SELECT 1 FROM outcomes o WHERE o.record = figures.record AND o.number = figures.number)
            UNION SELECT 'findings', record, number FROM findings
            WHERE NOT EXISTS (SELECT 1 FROM outcomes o WHERE o.record = findings.record AND o.number = findings.number)
            UNION SELECT 'outcomes', record, number FROM outcomes
            WHERE NOT EXISTS (SELECT 1 FROM records r WHERE r.record = outcomes.record)
            UNION SELECT 'seals', record, number FROM seals
            WHERE NOT EXISTS (SELECT 1 FROM outcomes o WHERE o.record = seals.record AND o.number = seals.number)
              AND NOT EXISTS (SELECT 1 FROM case_entries e WHERE e.case_name = seals.record AND e.number = seals.number)
            UNION SELECT 'parts', label, 0 FROM parts
            WHERE NOT EXISTS (SELECT 1 FROM records r WHERE r.part = parts.part)
            UNION SELECT 'traces', record, 0 FROM traces
            WHERE NOT EXISTS (SELECT 1 FROM records r WHERE r.record = traces.record)";
        self.list(sql, [], |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?)))
    }

    /// What SQLite's own check says of the file; empty when nothing.
    ///
    /// # Errors
    /// The database can't be read at all.
    pub fn damage(&self) -> Result<Vec<String>, IndexError> {
        let said: Vec<String> = self.list("PRAGMA integrity_check(20)", [], |row| row.get(0))?;
        Ok(said.into_iter().filter(|line| line != "ok").collect())
    }

    pub(super) fn list<T>(
        &self,
        sql: &str,
        parameters: impl rusqlite::Params,
        read: impl FnMut(&SqlRow<'_>) -> rusqlite::Result<T>,
    ) -> Result<Vec<T>, IndexError> {
        let list =
            || -> rusqlite::Result<Vec<T>> { self.db.prepare(sql)?.query_map(parameters, read)?.collect() };
        list().map_err(|e| self.failed(e))
    }
}

fn summary(row: &SqlRow<'_>) -> rusqlite::Result<RecordSummary> {
    let outcomes: u32 = row.get(6)?;
    let state = match (outcomes, row.get(11)?) {
        (0, _) => RecordState::Unfinished,
        (_, false) => RecordState::Unsealed,
        (_, true) => RecordState::Sealed,
    };
    let findings: Option<String> = row.get(12)?;
    let mut kinds: Vec<String> = Vec::new();
    for kind in findings.unwrap_or_default().split_whitespace() {
        if !kinds.iter().any(|k| k == kind) {
            kinds.push(kind.to_owned());
        }
    }
    Ok(RecordSummary {
        record: row.get(0)?,
        kind: row.get(1)?,
        label: row.get(2)?,
        begun: row.get(3)?,
        month: row.get(13)?,
        simulated: row.get(4)?,
        state,
        traces: row.get(5)?,
        outcomes,
        judged: row.get(7)?,
        verdict: row.get(8)?,
        scope: row.get(9)?,
        sheet: row.get(10)?,
        grade: row.get(14)?,
        cut_short: row.get::<_, Option<bool>>(15)?.unwrap_or(false),
        not_done: row.get(16)?,
        findings: kinds,
    })
}
