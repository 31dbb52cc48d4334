//! The archive folder: one folder per record, each file written whole or not at all.

use super::parquet_file::{ParquetError, trace_to_parquet};
use crate::trace::Trace;
use std::fs;
use std::io::{self, Write};
use std::path::{Path, PathBuf};

/// Longest part of a folder's name that comes from the user's words, characters.
const LABEL_CHARS: usize = 40;
/// Records of one second and label that are told apart.
const MOST_ALIKE: u32 = 1000;

/// Why the archive can't be used.
#[derive(Debug, thiserror::Error)]
pub enum ArchiveError {
    /// The folder can't be made or written.
    #[error("can't keep records in {path}: {} ({cause}); give another folder with --archive DIR", said(.cause), path = .path.display())]
    Folder {
        /// The folder.
        path: PathBuf,
        /// What the system said.
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
        /// What the system said.
        cause: io::Error,
    },
    /// A file of that name is there already.
    #[error("{path} is there already and is never overwritten; begin a new record", path = .path.display())]
    Exists {
        /// The file.
        path: PathBuf,
    },
    /// A trace can't be turned into Parquet.
    #[error(transparent)]
    Parquet(#[from] ParquetError),
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
        Ok(base.data_dir().join("trackpair").join("records"))
    }

    /// Opens (and makes) a folder, and proves that it can be written.
    ///
    /// # Errors
    /// [`ArchiveError::Folder`] when it can't.
    pub fn open(dir: &Path) -> Result<Self, ArchiveError> {
        let failed = |cause| ArchiveError::Folder { path: dir.to_path_buf(), cause };
        fs::create_dir_all(dir).map_err(failed)?;
        let probe = dir.join(format!(".probe-{}", std::process::id()));
        fs::File::create(&probe).and_then(|mut f| f.write_all(b"probe")).map_err(failed)?;
        fs::remove_file(&probe).map_err(failed)?;
        Ok(Self { dir: dir.to_path_buf() })
    }

    /// Opens the given folder or the default one; when it can't be written, a folder among the system's temporary files,
    /// with a warning: nothing that is recorded shall be lost.
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
        let own = temporary.join(format!("trackpair-records-{}", std::process::id()));
        let shared = temporary.join("trackpair-records");
        let archive = Self::open(&shared).or_else(|_| Self::open(&own))?;
        let instead = archive.dir.clone();
        Ok((archive, Some(FallbackWarning { cause, instead })))
    }

    /// Where it is.
    pub fn dir(&self) -> &Path {
        &self.dir
    }

    /// Makes a folder for a new record, named by date and the user's words for the part.
    ///
    /// # Errors
    /// [`ArchiveError::Folder`] when it can't be made.
    pub fn begin_record(&self, label: &str, started: &str) -> Result<RecordFolder, ArchiveError> {
        let stem = format!("{}-{}", date_stem(started), label_stem(label));
        for number in 1..=MOST_ALIKE {
            let name = if number == 1 { stem.clone() } else { format!("{stem}-{number}") };
            let path = self.dir.join(name);
            match fs::create_dir(&path) {
                Ok(()) => return Ok(RecordFolder { path, traces: 0, used: false }),
                Err(cause) if cause.kind() == io::ErrorKind::AlreadyExists => {}
                Err(cause) => return Err(ArchiveError::Folder { path, cause }),
            }
        }
        let cause =
            io::Error::new(io::ErrorKind::AlreadyExists, "too many records of the same second and part");
        Err(ArchiveError::Folder { path: self.dir.join(stem), cause })
    }
}

/// One record's folder.
#[derive(Debug)]
pub struct RecordFolder {
    path: PathBuf,
    traces: u32,
    used: bool,
}

/// A folder in which nothing was to be kept is not left behind: it would look like a record.
impl Drop for RecordFolder {
    fn drop(&mut self) {
        if !self.used {
            // Someone else may have put something there; then it stays.
            let _ = fs::remove_dir(&self.path);
        }
    }
}

impl RecordFolder {
    /// Where it is.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Writes a trace as `trace-N-PROCEDURE.parquet`; its file name.
    ///
    /// # Errors
    /// [`ArchiveError::File`] when it can't be written. The trace stays with the caller, who may write it elsewhere.
    pub fn store_trace(&mut self, trace: &Trace) -> Result<String, ArchiveError> {
        let name = format!("trace-{}-{}.parquet", self.traces + 1, trace.provenance.procedure.name());
        self.store(&name, &trace_to_parquet(trace)?)?;
        self.traces += 1;
        Ok(name)
    }

    /// Writes a file whole or not at all: beside it first, synced, then renamed. What is there is never overwritten.
    ///
    /// # Errors
    /// [`ArchiveError::File`] when it can't be written, [`ArchiveError::Exists`] when it is there already.
    pub fn store(&mut self, name: &str, bytes: &[u8]) -> Result<(), ArchiveError> {
        self.used = true;
        let path = self.path.join(name);
        if path.exists() {
            return Err(ArchiveError::Exists { path });
        }
        let part = self.path.join(format!(".{name}.part"));
        let result = fs::File::create(&part)
            .and_then(|file| fill(file, bytes))
            .and_then(|()| fs::rename(&part, &path))
            .and_then(|()| sync_folder(&self.path));
        result.map_err(|cause| {
            // What is half written does not count; that it can't be removed changes nothing.
            let _ = fs::remove_file(&part);
            ArchiveError::File { path, cause }
        })
    }
}

/// Writes and syncs a file.
fn fill(mut file: fs::File, bytes: &[u8]) -> io::Result<()> {
    file.write_all(bytes)?;
    file.sync_all()
}

/// A rename is only lasting once its folder is synced. Where folders can't be opened, the system does that itself.
fn sync_folder(path: &Path) -> io::Result<()> {
    if cfg!(unix) { fs::File::open(path)?.sync_all() } else { Ok(()) }
}

/// `2026-01-31T14:05:06+01:00` → `20260131-140506`.
fn date_stem(started: &str) -> String {
    let digits: String = started.chars().filter(char::is_ascii_digit).take(14).collect();
    match digits.split_at_checked(8) {
        Some((day, time)) if !time.is_empty() => format!("{day}-{time}"),
        _ => "undated".to_owned(),
    }
}

/// The user's words as part of a file name: letters and digits of any language, everything else a hyphen.
fn label_stem(label: &str) -> String {
    let mut stem = String::new();
    for c in label.chars().take(4 * LABEL_CHARS) {
        if c.is_alphanumeric() {
            stem.extend(c.to_lowercase());
        } else if !stem.ends_with('-') && !stem.is_empty() {
            stem.push('-');
        }
    }
    let stem: String = stem.chars().take(LABEL_CHARS).collect();
    match stem.trim_end_matches('-') {
        "" => "part".to_owned(),
        stem => stem.to_owned(),
    }
}

#[cfg(test)]
#[path = "archive_tests.rs"]
mod tests;
