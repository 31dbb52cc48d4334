//! The folder of a gauge study or of a known part: what is to be done, one line per sweep of what was seen, and the traces.
//!
//! ```text
//! FOLDER/plan.json, or FOLDER/known.json    what is to be done; written once
//! FOLDER/sweeps.jsonl                       one synced line per sweep
//! FOLDER/traces/sweep-0017-sweep.parquet    the samples
//! ```
//!
//! A sweep counts once its line is synced; its traces are written before. It does not know what figures mean.

use super::line_log::{LineLog, LineLogError};
use super::parquet_file::{ParquetError, trace_to_parquet};
use super::whole_file::write_whole;
use crate::outcome::OutcomeFigure;
use crate::trace::Trace;
use serde::de::DeserializeOwned;
use serde::{Deserialize, Serialize};
use std::fs;
use std::io;
use std::path::{Path, PathBuf};

/// Version of a line.
pub const SWEEP_SCHEMA: u32 = 1;
/// The lines.
const SWEEPS: &str = "sweeps.jsonl";
/// The samples.
const TRACES: &str = "traces";

/// Why a folder can't be used.
#[derive(Debug, thiserror::Error)]
pub enum StudyError {
    /// Nothing of the kind is there.
    #[error("{path} is not there: {what} begins with `{begin}`", path = .path.display())]
    Missing {
        /// The file.
        path: PathBuf,
        /// What would be there.
        what: &'static str,
        /// The command that makes one.
        begin: &'static str,
    },
    /// One is there already.
    #[error("{path} is there already: {what} is never written over; give another folder", path = .path.display())]
    Taken {
        /// The file.
        path: PathBuf,
        /// What is there.
        what: &'static str,
    },
    /// It can't be read or written.
    #[error("can't use {path}: {cause}", path = .path.display())]
    File {
        /// The file.
        path: PathBuf,
        /// The system's message.
        cause: io::Error,
    },
    /// Its head makes no sense.
    #[error("{path} makes no sense ({cause}): it was altered, or is of a newer program; take it from a backup", path = .path.display())]
    Altered {
        /// The file.
        path: PathBuf,
        /// What is wrong with it.
        cause: String,
    },
    /// Its lines.
    #[error(transparent)]
    Lines(#[from] LineLogError),
    /// A trace.
    #[error(transparent)]
    Trace(#[from] ParquetError),
}

/// What kind of folder: the file at its head, its name in words, the command that makes one.
#[derive(Clone, Copy, Debug)]
pub struct Kind {
    /// File at the head.
    pub head: &'static str,
    /// In words.
    pub what: &'static str,
    /// The command that begins one.
    pub begin: &'static str,
}

/// A gauge study.
pub const STUDY: Kind =
    Kind { head: "plan.json", what: "a gauge study", begin: "trackpair gauge plan STUDY --part NAME …" };
/// A known part.
pub const KNOWN: Kind = Kind {
    head: "known.json",
    what: "a known part",
    begin: "trackpair check-part register KNOWN --rig ADDRESS",
};

/// One sweep.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct SweepLine {
    /// Version of the shape.
    pub schema: u32,
    /// Number, from 1; also those count that failed.
    pub number: u64,
    /// When, RFC 3339.
    pub date: String,
    /// The part, by its name in the plan.
    pub part: String,
    /// Mounting of that part, from 1.
    pub mounting: u64,
    /// Sweep of that mounting, from 1.
    pub repeat: u64,
    /// Model and serial of the rig; null where it did not say.
    pub rig: Option<String>,
    /// Whether it was simulated.
    pub simulated: bool,
    /// Version of the analysis.
    pub analysis: String,
    /// Part sheet that it was judged by.
    pub sheet: String,
    /// Topology that lines are named by; empty for a part without.
    pub topology: String,
    /// Verdict, in its stored name.
    pub verdict: String,
    /// Why it does not count; null for one that does.
    pub failure: Option<String>,
    /// Every figure as judged.
    pub figures: Vec<OutcomeFigure>,
    /// Files of its samples, from the folder.
    pub traces: Vec<String>,
}

/// A folder whose lines this program holds.
#[derive(Debug)]
pub struct StudyFolder {
    dir: PathBuf,
    log: LineLog,
    sweeps: Vec<SweepLine>,
    torn_bytes: u64,
}

impl StudyFolder {
    /// Makes a folder with its head.
    ///
    /// # Errors
    /// One is there already, or it can't be written.
    pub fn begin(dir: &Path, kind: Kind, head: &impl Serialize) -> Result<Self, StudyError> {
        let path = dir.join(kind.head);
        if path.exists() || dir.join(SWEEPS).exists() {
            return Err(StudyError::Taken { path, what: kind.what });
        }
        let mut text = serde_json::to_string_pretty(head)
            .map_err(|e| StudyError::Altered { path: path.clone(), cause: e.to_string() })?;
        text.push('\n');
        write_whole(&path, text.as_bytes()).map_err(|cause| StudyError::File { path, cause })?;
        let log = LineLog::begin(&dir.join(SWEEPS))?;
        Ok(Self { dir: dir.to_path_buf(), log, sweeps: Vec::new(), torn_bytes: 0 })
    }

    /// Takes a folder up, with its head. A program that was cut off before its first line left no file of lines; it is made.
    ///
    /// # Errors
    /// There is none, it was altered, or another program has it.
    pub fn open<H: DeserializeOwned>(dir: &Path, kind: Kind) -> Result<(Self, H), StudyError> {
        let head = head(dir, kind)?;
        let path = dir.join(SWEEPS);
        let mut sweeps = Vec::new();
        let opened = LineLog::again(&path, &mut |line: SweepLine| taken(line, &mut sweeps));
        let (mut log, torn_bytes) = match opened {
            Err(LineLogError::File { cause, .. }) if cause.kind() == io::ErrorKind::NotFound => {
                (LineLog::begin(&path)?, 0)
            }
            other => other?,
        };
        log.cut_torn()?;
        Ok((Self { dir: dir.to_path_buf(), log, sweeps, torn_bytes }, head))
    }

    /// Reads a folder without holding it: head and lines.
    ///
    /// # Errors
    /// There is none, or it was altered.
    pub fn read<H: DeserializeOwned>(dir: &Path, kind: Kind) -> Result<(H, Vec<SweepLine>), StudyError> {
        let head = head(dir, kind)?;
        let mut sweeps = Vec::new();
        match super::line_log::read(&dir.join(SWEEPS), &mut |line: SweepLine| taken(line, &mut sweeps)) {
            Err(LineLogError::File { cause, .. }) if cause.kind() == io::ErrorKind::NotFound => {}
            other => drop(other?),
        }
        Ok((head, sweeps))
    }

    /// Sweeps so far, in their order.
    pub fn sweeps(&self) -> &[SweepLine] {
        &self.sweeps
    }

    /// Bytes of a last line that was torn when a program was cut off: that sweep does not count.
    pub const fn torn_bytes(&self) -> u64 {
        self.torn_bytes
    }

    /// Keeps a sweep: its traces, then its line, whose number and files are set here. Once it returns, both are lasting.
    ///
    /// # Errors
    /// It can't be written.
    pub fn keep(&mut self, mut line: SweepLine, traces: &[&Trace]) -> Result<&SweepLine, StudyError> {
        line.number = self.sweeps.last().map_or(1, |s| s.number + 1);
        line.traces = traces
            .iter()
            .enumerate()
            .map(|(k, trace)| {
                let procedure = trace.provenance.procedure.name();
                let file = format!("{TRACES}/sweep-{:04}-{}-{procedure}.parquet", line.number, k + 1);
                let path = self.dir.join(&file);
                write_whole(&path, &trace_to_parquet(trace)?)
                    .map_err(|cause| StudyError::File { path, cause })?;
                Ok(file)
            })
            .collect::<Result<_, StudyError>>()?;
        self.log.append(&line)?;
        self.sweeps.push(line);
        Ok(&self.sweeps[self.sweeps.len() - 1])
    }
}

fn taken(line: SweepLine, sweeps: &mut Vec<SweepLine>) -> Result<(), String> {
    if line.schema > SWEEP_SCHEMA {
        return Err(format!("schema {} is newer than this program", line.schema));
    }
    sweeps.push(line);
    Ok(())
}

fn head<H: DeserializeOwned>(dir: &Path, kind: Kind) -> Result<H, StudyError> {
    let path = dir.join(kind.head);
    let text = match fs::read_to_string(&path) {
        Err(cause) if cause.kind() == io::ErrorKind::NotFound => {
            return Err(StudyError::Missing { path, what: kind.what, begin: kind.begin });
        }
        Err(cause) => return Err(StudyError::File { path, cause }),
        Ok(text) => text,
    };
    serde_json::from_str(&text).map_err(|e| StudyError::Altered { path, cause: e.to_string() })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn line(part: &str) -> SweepLine {
        SweepLine {
            schema: SWEEP_SCHEMA,
            number: 0,
            date: "2026-01-31T14:05:06+01:00".to_owned(),
            part: part.to_owned(),
            mounting: 1,
            repeat: 1,
            rig: None,
            simulated: true,
            analysis: "1".to_owned(),
            sheet: "grip-complementary".to_owned(),
            topology: "complementary".to_owned(),
            verdict: "within".to_owned(),
            failure: None,
            figures: Vec::new(),
            traces: Vec::new(),
        }
    }

    #[test]
    fn a_folder_cut_at_any_byte_keeps_the_sweeps_before_and_goes_on() {
        let dir = tempfile::tempdir().unwrap();
        let mut folder = StudyFolder::begin(dir.path(), STUDY, &"plan").unwrap();
        folder.keep(line("one"), &[]).unwrap();
        folder.keep(line("two"), &[]).unwrap();
        drop(folder);
        let path = dir.path().join(SWEEPS);
        let whole = fs::read(&path).unwrap();
        let first = whole.iter().position(|b| *b == b'\n').unwrap() + 1;
        for cut in first..whole.len() {
            fs::write(&path, &whole[..cut]).unwrap();
            let (mut folder, head) = StudyFolder::open::<String>(dir.path(), STUDY).unwrap();
            assert_eq!((head.as_str(), folder.sweeps().len()), ("plan", 1), "cut at {cut}");
            assert_eq!(folder.torn_bytes(), (cut - first) as u64);
            assert_eq!(folder.keep(line("again"), &[]).unwrap().number, 2);
            drop(folder);
            let (_, lines) = StudyFolder::read::<String>(dir.path(), STUDY).unwrap();
            assert_eq!(lines.iter().map(|l| l.part.as_str()).collect::<Vec<_>>(), ["one", "again"]);
        }
    }

    #[test]
    fn a_folder_is_held_once_never_written_over_and_missed_with_words() {
        let dir = tempfile::tempdir().unwrap();
        let missing = StudyFolder::open::<String>(dir.path(), KNOWN).unwrap_err().to_string();
        assert!(missing.contains("trackpair check-part register"), "{missing}");
        let held = StudyFolder::begin(dir.path(), STUDY, &"plan").unwrap();
        let taken = StudyFolder::open::<String>(dir.path(), STUDY).unwrap_err();
        assert!(matches!(taken, StudyError::Lines(LineLogError::Taken { .. })), "{taken}");
        drop(held);
        assert!(matches!(StudyFolder::begin(dir.path(), STUDY, &"other"), Err(StudyError::Taken { .. })));
        fs::write(dir.path().join("plan.json"), "{").unwrap();
        assert!(matches!(StudyFolder::open::<String>(dir.path(), STUDY), Err(StudyError::Altered { .. })));
    }
}
