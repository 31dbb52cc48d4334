//! Traces from wherever they lie: a Parquet file, a record folder, another logger's CSV; distinguished by content, not by name.

use super::archive::Archive;
use super::archive_error::ArchiveError;
use super::csv_blocks::Source;
use super::csv_error::{CsvError, CsvWarning};
use super::csv_file::{CsvOptions, csv_trace_from};
use super::parquet_file::{ParquetError, trace_from_parquet, trace_from_parquet_file};
use super::stored::LoadedTrace;
use crate::trace::Trace;
use std::fs::{self, File};
use std::io::{self, Read};
use std::path::{Path, PathBuf};
use std::sync::Mutex;

/// Bytes of a file by which it is recognised.
const START: u64 = 1 << 16;

/// Why there is no trace.
#[derive(Debug, thiserror::Error)]
pub enum LoadError {
    /// The file or folder can't be read.
    #[error("can't read {path}: {cause}", path = .path.display())]
    Read {
        /// Which.
        path: PathBuf,
        /// The system's message.
        cause: io::Error,
    },
    /// A folder without traces.
    #[error("the folder {path} holds no trace-N-PROCEDURE.parquet; give a record's folder or a file", path = .path.display())]
    NoTrace {
        /// Which.
        path: PathBuf,
    },
    /// An outcome, not a trace.
    #[error("{path} holds JSON, not samples; give the record's folder or one of its .parquet files", path = .path.display())]
    Json {
        /// Which.
        path: PathBuf,
    },
    /// Parquet that can't be used.
    #[error("{path}: {cause}", path = .path.display())]
    Parquet {
        /// Which.
        path: PathBuf,
        /// Why.
        cause: ParquetError,
    },
    /// A record of an archive whose files are not as they were kept.
    #[error(transparent)]
    Archive(#[from] ArchiveError),
    /// CSV that can't be used.
    #[error("{path}: {cause}", path = .path.display())]
    Csv {
        /// Which.
        path: PathBuf,
        /// Why.
        cause: CsvError,
    },
}

/// What was found.
#[derive(Clone, Debug, PartialEq)]
pub struct Loaded {
    /// In the order of recording.
    pub traces: Vec<LoadedTrace>,
    /// What the reader should know.
    pub warnings: Vec<CsvWarning>,
}

/// Loads what a path holds. The options are for CSV; Parquet carries its own provenance.
///
/// # Errors
/// The path can't be read, holds no trace, or holds a damaged one.
pub fn load_traces(path: &Path, options: &CsvOptions) -> Result<Loaded, LoadError> {
    let failed = |cause| LoadError::Read { path: path.to_path_buf(), cause };
    if fs::metadata(path).map_err(failed)?.is_dir() {
        return folder(path);
    }
    let mut file = File::open(path).map_err(failed)?;
    let mut start = Vec::new();
    (&mut file).take(START).read_to_end(&mut start).map_err(failed)?;
    let regular = file.metadata().map_err(failed)?;
    if is_parquet(path, &start) {
        let trace = if regular.is_file() {
            trace_from_parquet_file(file)
        } else {
            file.read_to_end(&mut start).map_err(failed)?;
            trace_from_parquet(start)
        };
        return Ok(Loaded { traces: vec![loaded(path, trace)?], warnings: vec![] });
    }
    if start.iter().find(|b| !b.is_ascii_whitespace()) == Some(&b'{') {
        return Err(LoadError::Json { path: path.to_path_buf() });
    }
    // What can't be read twice, such as a pipe, is held whole.
    let source = if regular.is_file() {
        Source::File(Mutex::new(file), regular.len())
    } else {
        file.read_to_end(&mut start).map_err(failed)?;
        Source::Memory(&start)
    };
    let (trace, warnings) = csv_trace_from(source, &file_name(path), options)
        .map_err(|cause| LoadError::Csv { path: path.to_path_buf(), cause })?;
    Ok(Loaded { traces: vec![LoadedTrace { trace, file: None }], warnings })
}

/// By its first bytes; a file so damaged that they are gone is still meant as Parquet when it is named so.
fn is_parquet(path: &Path, bytes: &[u8]) -> bool {
    bytes.starts_with(b"PAR1") || path.extension().is_some_and(|e| e.eq_ignore_ascii_case("parquet"))
}

/// A record of an archive, each trace held against its SHA-256; or a folder that holds the traces itself.
fn folder(path: &Path) -> Result<Loaded, LoadError> {
    if let Some((archive, record)) = Archive::of_record_folder(path) {
        let traces = archive.traces(&archive.record(&record)?)?;
        return Ok(Loaded { traces, warnings: vec![] });
    }
    let failed = |cause| LoadError::Read { path: path.to_path_buf(), cause };
    let mut files: Vec<(u32, PathBuf)> = Vec::new();
    for entry in fs::read_dir(path).map_err(failed)? {
        let file = entry.map_err(failed)?.path();
        files.extend(trace_number(&file_name(&file)).map(|number| (number, file)));
    }
    if files.is_empty() {
        return Err(LoadError::NoTrace { path: path.to_path_buf() });
    }
    files.sort();
    let open = |path: PathBuf| {
        let file = File::open(&path).map_err(|cause| LoadError::Read { path: path.clone(), cause })?;
        loaded(&path, trace_from_parquet_file(file))
    };
    let traces = files.into_iter().map(|(_, file)| open(file)).collect::<Result<_, _>>()?;
    Ok(Loaded { traces, warnings: vec![] })
}

/// `trace-12-sweep.parquet` → 12.
fn trace_number(name: &str) -> Option<u32> {
    name.strip_suffix(".parquet")?.strip_prefix("trace-")?.split('-').next()?.parse().ok()
}

fn loaded(path: &Path, trace: Result<Trace, ParquetError>) -> Result<LoadedTrace, LoadError> {
    let trace = trace.map_err(|cause| LoadError::Parquet { path: path.to_path_buf(), cause })?;
    Ok(LoadedTrace { trace, file: Some(file_name(path)) })
}

fn file_name(path: &Path) -> String {
    path.file_name().map(|n| n.to_string_lossy().into_owned()).unwrap_or_default()
}

#[cfg(test)]
#[path = "load_tests.rs"]
mod tests;
