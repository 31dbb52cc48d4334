//! One record being kept: its traces as they come, then an outcome with its documents, sealed.

use super::archive_error::ArchiveError;
use super::head;
use super::index::{
    Index, NewRecord, NewTrace, StoredSeal, StoredTraceFile, Table, Writing, figure_rows, finding_rows,
    outcome_row,
};
use super::names::{RECORDS, TRACES, month, outcome_path, trace_path};
use super::parquet_file::trace_to_parquet;
use super::seal::{
    FileEntry, MANIFEST_SCHEMA, Manifest, PrintedCode, ShopKey, seal_document, sha256, sha256_hex,
};
use super::stored::StoredRecord;
use super::whole_file::write_whole;
use crate::outcome::{Outcome, Stamp};
use crate::quantity::{Channel, PartKind};
use crate::session::Story;
use crate::trace::Trace;
use std::fs;
use std::path::{Path, PathBuf};

/// Name of the file that shows what happened on the line.
pub(super) const SESSION: &str = "session";

/// A document that goes with an outcome.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Document {
    /// Its name without number and ending: `report`.
    pub stem: &'static str,
    /// `html`, `pdf`.
    pub ending: &'static str,
    /// Its bytes, with an empty slot for the seal where it was stamped.
    pub bytes: Vec<u8>,
}

/// What was kept of an outcome.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct KeptOutcome {
    /// Its number in the record, from 1.
    pub number: u32,
    /// Fingerprint of its seal; none without a key.
    pub fingerprint: Option<String>,
    /// Its documents' files.
    pub documents: Vec<PathBuf>,
    /// What the user should know: the clock, the head.
    pub warnings: Vec<String>,
}

/// With what an outcome is sealed, and when.
#[derive(Clone, Copy, Debug)]
pub struct Sealing<'a> {
    /// The shop's key; none when it can't be used.
    pub key: Option<&'a ShopKey>,
    /// The date, RFC 3339.
    pub date: &'a str,
}

/// One record's folder.
#[derive(Debug)]
pub struct RecordFolder {
    archive: PathBuf,
    record: String,
    label: String,
    begun: String,
    month: String,
    kind: Option<PartKind>,
    simulated: bool,
    traces: Vec<FileEntry>,
    /// What happened on the line while it was recorded, until an outcome takes it.
    session: Option<Vec<u8>>,
    index: Option<Index>,
    used: bool,
}

/// A folder in which nothing was to be kept is not left behind: it would look like a record.
impl Drop for RecordFolder {
    fn drop(&mut self) {
        if !self.used {
            // Someone else may have put something there; then it stays.
            let _ = fs::remove_dir(self.path());
            let _ = fs::remove_dir(self.archive.join(RECORDS));
        }
    }
}

impl RecordFolder {
    /// A new one, whose folder has been made.
    pub(super) fn new(archive: &Path, record: String, label: &str, started: &str) -> Self {
        Self {
            archive: archive.to_path_buf(),
            record,
            label: label.to_owned(),
            begun: started.to_owned(),
            month: month(started),
            kind: None,
            simulated: false,
            traces: Vec::new(),
            session: None,
            index: None,
            used: false,
        }
    }

    /// One that is there.
    pub(super) fn again(archive: &Path, stored: &StoredRecord) -> Self {
        let summary = &stored.summary;
        let entry = |t: &StoredTraceFile| FileEntry {
            path: t.file.clone(),
            sha256: t.sha256.clone(),
            bytes: t.bytes,
        };
        let mut folder = Self::new(archive, summary.record.clone(), &summary.label, &summary.begun);
        folder.kind = PartKind::from_name(&summary.kind);
        folder.simulated = summary.simulated;
        folder.traces = stored.traces.iter().map(entry).collect();
        folder.used = true;
        folder
    }

    /// Says what the record is about where its traces alone do not: a pair has traces of both parts.
    pub fn of_kind(&mut self, kind: PartKind) {
        self.kind = Some(kind);
    }

    /// Takes up a record that has no trace yet: its folder is there, the index does not know it.
    pub(super) fn without_traces(archive: &Path, record: &str, label: &str, started: &str) -> Self {
        let mut folder = Self::new(archive, record.to_owned(), label, started);
        folder.keep();
        folder
    }

    /// Keeps the folder, also when nothing more comes: something that is not a trace lies in it.
    pub(super) fn keep(&mut self) {
        self.used = true;
    }

    /// Bytes of the traces so far.
    pub fn bytes_of_traces(&self) -> u64 {
        self.traces.iter().map(|t| t.bytes).sum()
    }

    /// Takes away what a program that was cut off left among the traces: files that no row names. They never counted.
    ///
    /// # Errors
    /// One can't be removed.
    pub fn clear_leftovers(&self) -> Result<(), ArchiveError> {
        let named: Vec<PathBuf> = self.traces.iter().map(|t| self.archive.join(&t.path)).collect();
        for kind in PartKind::ALL {
            let month = self.archive.join(format!("{TRACES}/kind={}/month={}", kind.name(), self.month));
            let own = format!("record={}", self.record);
            let folders = fs::read_dir(month).into_iter().flatten().flatten().map(|e| e.path().join(&own));
            let files = folders.flat_map(|f| fs::read_dir(f).into_iter().flatten().flatten());
            for path in files.map(|e| e.path()).filter(|p| !named.contains(p)) {
                fs::remove_file(&path).map_err(|cause| ArchiveError::File { path, cause })?;
            }
        }
        Ok(())
    }

    /// Where outcomes and reports lie.
    pub fn path(&self) -> PathBuf {
        self.archive.join(RECORDS).join(&self.record)
    }

    /// The archive's folder.
    pub fn archive_dir(&self) -> &Path {
        &self.archive
    }

    /// The record's name.
    pub fn record(&self) -> &str {
        &self.record
    }

    /// Writes a trace and enters it into the index; its file from the archive's folder. Once it returns, the trace is lasting.
    ///
    /// # Errors
    /// It can't be written or entered. The trace stays with the caller, who may write it elsewhere.
    pub fn store_trace(&mut self, trace: &Trace) -> Result<String, ArchiveError> {
        self.used = true;
        let kind = *self.kind.get_or_insert_with(|| kind_of(trace));
        self.simulated |= trace.provenance.simulated;
        let position = self.traces.len() as u32 + 1;
        let procedure = trace.provenance.procedure.name();
        let file = trace_path(kind.name(), &self.month, procedure, &self.record, position);
        let bytes = trace_to_parquet(trace)?;
        self.write(&file, &bytes)?;
        let entry = FileEntry { sha256: sha256_hex(&bytes), bytes: bytes.len() as u64, path: file.clone() };
        let new = NewTrace {
            of: self.row(kind),
            position,
            procedure,
            scans: trace.len() as u64,
            ended: trace.end.name(),
            file: &file,
            sha256: &entry.sha256,
            bytes: entry.bytes,
        };
        self.index()?.add_trace(&new)?;
        self.traces.push(entry);
        Ok(file)
    }

    /// Takes what happened on the line, session by session: the next outcome keeps it beside itself, sealed with it.
    pub fn tell_of_sessions(&mut self, stories: &[Story]) {
        let lines: String = stories.iter().map(Story::to_jsonl).collect();
        self.session = Some(lines.into_bytes()).filter(|lines| !lines.is_empty());
    }

    /// Keeps an outcome: its file, its documents and its rows, whole or not at all; once it returns, they are lasting. With a key it
    /// is sealed, and the documents are made with its stamp; without one they are made without.
    ///
    /// # Errors
    /// It can't be written. Nothing of it counts then.
    pub fn conclude(
        &mut self,
        outcome: &Outcome,
        sealing: Sealing<'_>,
        documents: impl FnOnce(Option<&Stamp>) -> Vec<Document>,
    ) -> Result<KeptOutcome, ArchiveError> {
        self.used = true;
        let told = || outcome.part.kind.known().unwrap_or_default();
        let kind = self.kind.unwrap_or_else(told);
        let (row, traces, archive) = (self.row(kind), self.traces.clone(), self.archive.clone());
        let session = self.session.take();
        let index = self.index()?;
        let writing = index.begin_writing()?;
        let kept = Concluding { archive: &archive, row: &row, number: writing.next_number(&row.record)? };
        let file = kept.outcome(&writing, outcome)?;
        let session = session.map(|lines| kept.store(SESSION, "jsonl", &lines)).transpose()?;
        let mut done = match sealing.key {
            None => KeptOutcome {
                number: kept.number,
                fingerprint: None,
                documents: kept
                    .documents(documents(None))?
                    .into_iter()
                    .map(|d| archive.join(d.path))
                    .collect(),
                warnings: Vec::new(),
            },
            Some(key) => {
                let files = traces.into_iter().chain(session).chain([file]).collect();
                kept.seal(&writing, files, key, sealing.date, documents)?
            }
        };
        writing.commit()?;
        if let Some(key) = sealing.key {
            // What was committed counts; a head that stays behind the chain is not a fault of it.
            let failed = head::renew(&archive, index, key, sealing.date).err();
            done.warnings.extend(failed.map(|e| e.to_string()));
        }
        Ok(done)
    }

    fn row(&self, kind: PartKind) -> NewRecord {
        NewRecord {
            record: self.record.clone(),
            kind: kind.name(),
            label: self.label.clone(),
            begun: self.begun.clone(),
            month: self.month.clone(),
            simulated: self.simulated,
        }
    }

    fn index(&mut self) -> Result<&mut Index, ArchiveError> {
        let index = match self.index.take() {
            Some(index) => index,
            None => Index::open(&self.archive)?,
        };
        Ok(self.index.insert(index))
    }

    fn write(&self, file: &str, bytes: &[u8]) -> Result<(), ArchiveError> {
        write(&self.archive, file, bytes)
    }
}

/// Writes a file of the archive.
fn write(archive: &Path, file: &str, bytes: &[u8]) -> Result<(), ArchiveError> {
    let path = archive.join(file);
    write_whole(&path, bytes).map_err(|cause| ArchiveError::File { path, cause })
}

/// An outcome on its way into the archive. What lies under its number already was left by a program that was cut off there, and
/// does not count: it is replaced.
struct Concluding<'a> {
    archive: &'a Path,
    row: &'a NewRecord,
    number: u32,
}

impl Concluding<'_> {
    /// The outcome's file and rows.
    fn outcome(&self, writing: &Writing<'_>, outcome: &Outcome) -> Result<FileEntry, ArchiveError> {
        let (record, number) = (&self.row.record, self.number);
        let file = self.store("outcome", "json", outcome.to_json().as_bytes())?;
        writing.enter_record(self.row)?;
        writing.insert(Table::OUTCOMES, &[outcome_row(record, number, &file.path, outcome)])?;
        writing.insert(Table::FIGURES, &figure_rows(record, number, outcome))?;
        writing.insert(Table::FINDINGS, &finding_rows(record, number, outcome))?;
        Ok(file)
    }

    /// The next link of the chain, the documents that show it, and its row.
    fn seal(
        &self,
        writing: &Writing<'_>,
        files: Vec<FileEntry>,
        key: &ShopKey,
        date: &str,
        documents: impl FnOnce(Option<&Stamp>) -> Vec<Document>,
    ) -> Result<KeptOutcome, ArchiveError> {
        let before = writing.head()?;
        let manifest = Manifest {
            schema: MANIFEST_SCHEMA,
            sequence: before.as_ref().map_or(1, |b| b.sequence + 1),
            previous: before.as_ref().map(|b| b.seal.fingerprint.clone()),
            record: self.row.record.clone(),
            number: self.number,
            sealed: date.to_owned(),
            key: key.public().to_hex(),
            kind: self.row.kind.to_owned(),
            label: self.row.label.clone(),
            begun: self.row.begun.clone(),
            files,
        };
        let seal = manifest.seal(key);
        let stamp = Stamp {
            record: self.row.record.clone(),
            fingerprint: seal.fingerprint.clone(),
            key: seal.key.clone(),
            code: PrintedCode::text(&self.row.record, &seal),
        };
        let digest = sha256(seal.manifest.as_bytes());
        let sealed = documents(Some(&stamp)).into_iter().map(|document| {
            // One that shows no seal is kept as it is; its hash is signed all the same.
            let bytes = seal_document(document.bytes.clone(), &digest, key).unwrap_or(document.bytes);
            Document { bytes, ..document }
        });
        let documents = self.documents(sealed.collect())?;
        let seal = seal.with_documents(&documents, key);
        self.store("seal", "json", seal.to_json().as_bytes())?;
        let clock = before.as_ref().and_then(|b| ClockWarning::of(b, date));
        writing.add_seal(&StoredSeal {
            sequence: manifest.sequence,
            record: manifest.record,
            number: manifest.number,
            previous: manifest.previous,
            seal,
        })?;
        Ok(KeptOutcome {
            number: self.number,
            fingerprint: Some(stamp.fingerprint),
            documents: documents.into_iter().map(|d| self.archive.join(d.path)).collect(),
            warnings: clock.map(|c| c.to_string()).into_iter().collect(),
        })
    }

    fn documents(&self, documents: Vec<Document>) -> Result<Vec<FileEntry>, ArchiveError> {
        documents.iter().map(|d| self.store(d.stem, d.ending, &d.bytes)).collect()
    }

    fn store(&self, stem: &str, ending: &str, bytes: &[u8]) -> Result<FileEntry, ArchiveError> {
        let path = outcome_path(&self.row.record, self.number, stem, ending);
        write(self.archive, &path, bytes)?;
        Ok(FileEntry { path, sha256: sha256_hex(bytes), bytes: bytes.len() as u64 })
    }
}

/// Told when the host's clock stands before the last seal's: the chain keeps the order all the same.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error(
    "the clock says {now}, but the archive's last seal is of {last}: was the clock set back? The order of the records is kept; their dates are in doubt. Set the clock"
)]
pub struct ClockWarning {
    /// What the clock says, RFC 3339.
    pub now: String,
    /// When the last seal was made, RFC 3339.
    pub last: String,
}

impl ClockWarning {
    pub(super) fn of(before: &StoredSeal, now: &str) -> Option<Self> {
        let last = before.seal.open().ok()?.sealed;
        let time = |text: &str| text.parse::<jiff::Timestamp>().ok();
        (time(now)? < time(&last)?).then(|| Self { now: now.to_owned(), last })
    }
}

/// A throttle body's motor is recorded in every trace of it.
fn kind_of(trace: &Trace) -> PartKind {
    if trace.channel(Channel::MotorAmps).is_some() { PartKind::Body } else { PartKind::Grip }
}
