//! A log of JSON lines, each lasting before it is acknowledged, held by one program at a time. It does not know what a line means.
//!
//! A line is appended and synced; a program that is cut off in it leaves a torn last line, which never counts and is cut off when the log
//! goes on.

use serde::Serialize;
use serde::de::DeserializeOwned;
use std::fs::{File, OpenOptions, TryLockError};
use std::io::{self, BufRead, BufReader, Read, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};

/// Takes a line over, or says what is wrong with it.
pub type Taking<'a, T> = &'a mut dyn FnMut(T) -> Result<(), String>;

/// Why a log can't be used.
#[derive(Debug, thiserror::Error)]
pub enum LineLogError {
    /// It can't be read or written.
    #[error("can't use {path}: {cause}; what was acknowledged is in it. Mend that (is there room on the disk?) and go on with the same command", path = .path.display())]
    File {
        /// The log.
        path: PathBuf,
        /// The system's message.
        cause: io::Error,
    },
    /// Another program has it.
    #[error("{path} is in use by another program; end that one (Ctrl-C), or wait for it", path = .path.display())]
    Taken {
        /// The log.
        path: PathBuf,
    },
    /// A line before the last makes no sense.
    #[error("line {line} of {path} makes no sense ({cause}): it was altered; take it from a backup", path = .path.display())]
    Altered {
        /// The log.
        path: PathBuf,
        /// Which line, from 1.
        line: u64,
        /// What is wrong with it.
        cause: String,
    },
}

/// A log that this program holds.
#[derive(Debug)]
pub struct LineLog {
    file: File,
    path: PathBuf,
    /// Bytes of whole lines.
    bytes: u64,
}

impl LineLog {
    /// Begins one that is not there yet; its name is lasting once this returns.
    ///
    /// # Errors
    /// It is there already, or can't be written.
    pub fn begin(path: &Path) -> Result<Self, LineLogError> {
        let failed = |cause| LineLogError::File { path: path.to_path_buf(), cause };
        let file = OpenOptions::new().read(true).append(true).create_new(true).open(path).map_err(failed)?;
        hold(&file, path)?;
        if let Some(folder) = path.parent().filter(|_| cfg!(unix)) {
            // The file's name is only lasting once its folder is synced.
            File::open(folder).and_then(|f| f.sync_all()).map_err(failed)?;
        }
        Ok(Self { file, path: path.to_path_buf(), bytes: 0 })
    }

    /// Takes up one that is there, handing on its lines; bytes of a torn last line, which [`Self::cut_torn`] takes away.
    ///
    /// # Errors
    /// There is none ([`io::ErrorKind::NotFound`]), it was altered, or another program holds it.
    pub fn again<T: DeserializeOwned>(
        path: &Path,
        lines: Taking<'_, T>,
    ) -> Result<(Self, u64), LineLogError> {
        let failed = |cause| LineLogError::File { path: path.to_path_buf(), cause };
        // Through this very handle: where locks bind, another one could not read.
        let mut file = OpenOptions::new().read(true).append(true).open(path).map_err(failed)?;
        hold(&file, path)?;
        let reading = file.seek(SeekFrom::Start(0)).and_then(|_| file.try_clone()).map_err(failed)?;
        let bytes = read_from(reading, path, lines)?;
        let all = file.metadata().map_err(failed)?.len();
        Ok((Self { file, path: path.to_path_buf(), bytes }, all - bytes))
    }

    /// Cuts a torn last line off.
    ///
    /// # Errors
    /// It can't be written.
    pub fn cut_torn(&mut self) -> Result<(), LineLogError> {
        let all = self.file.metadata().map_err(|cause| self.failed(cause))?.len();
        if self.bytes < all {
            self.file
                .set_len(self.bytes)
                .and_then(|()| self.file.sync_all())
                .map_err(|cause| self.failed(cause))?;
        }
        Ok(())
    }

    /// Whether it has no whole line.
    pub const fn is_empty(&self) -> bool {
        self.bytes == 0
    }

    /// Appends a line; once it returns, the line is lasting.
    ///
    /// # Errors
    /// It can't be written; then nothing of it counts.
    pub fn append(&mut self, line: &impl Serialize) -> Result<(), LineLogError> {
        let mut text = serde_json::to_string(line).map_err(|e| self.failed(e.into()))?;
        text.push('\n');
        let written = self.file.write_all(text.as_bytes()).and_then(|()| self.file.sync_data());
        if let Err(cause) = written {
            // What is half written must not stand before the next line; if it can't be cut off now, it is when the log goes on.
            let _ = self.file.set_len(self.bytes);
            return Err(self.failed(cause));
        }
        self.bytes += text.len() as u64;
        Ok(())
    }

    /// Hands on every line so far.
    ///
    /// # Errors
    /// It can't be read, or was altered.
    pub fn read<T: DeserializeOwned>(&mut self, lines: Taking<'_, T>) -> Result<(), LineLogError> {
        let file = self.file.seek(SeekFrom::Start(0)).and_then(|_| self.file.try_clone());
        read_from(file.map_err(|cause| self.failed(cause))?, &self.path, lines).map(|_| ())
    }

    /// Every byte of it.
    ///
    /// # Errors
    /// It can't be read.
    pub fn contents(&mut self) -> Result<Vec<u8>, LineLogError> {
        let mut bytes = Vec::new();
        let read = self.file.seek(SeekFrom::Start(0)).and_then(|_| self.file.read_to_end(&mut bytes));
        read.map(|_| bytes).map_err(|cause| self.failed(cause))
    }

    fn failed(&self, cause: io::Error) -> LineLogError {
        LineLogError::File { path: self.path.clone(), cause }
    }
}

/// The lock is given up by the system when the program ends, however it ends.
fn hold(file: &File, path: &Path) -> Result<(), LineLogError> {
    file.try_lock().map_err(|why| match why {
        TryLockError::WouldBlock => LineLogError::Taken { path: path.to_path_buf() },
        TryLockError::Error(cause) => LineLogError::File { path: path.to_path_buf(), cause },
    })
}

/// Hands on the lines of a log; bytes up to the end of the last whole one.
///
/// # Errors
/// It can't be read, or a line before the last makes no sense.
pub fn read<T: DeserializeOwned>(path: &Path, lines: Taking<'_, T>) -> Result<u64, LineLogError> {
    let file = File::open(path).map_err(|cause| LineLogError::File { path: path.to_path_buf(), cause })?;
    read_from(file, path, lines)
}

fn read_from<T: DeserializeOwned>(
    file: File,
    path: &Path,
    lines: Taking<'_, T>,
) -> Result<u64, LineLogError> {
    let mut reader = BufReader::new(file);
    let (mut whole, mut number, mut text) = (0, 0, Vec::new());
    let mut broken: Option<String> = None;
    loop {
        text.clear();
        let read = reader.read_until(b'\n', &mut text);
        let count = read.map_err(|cause| LineLogError::File { path: path.to_path_buf(), cause })?;
        if count == 0 {
            return Ok(whole);
        }
        let altered = |line, cause| LineLogError::Altered { path: path.to_path_buf(), line, cause };
        if let Some(cause) = broken {
            return Err(altered(number, cause));
        }
        number += 1;
        match serde_json::from_slice::<T>(&text) {
            Ok(line) if text.ends_with(b"\n") => {
                lines(line).map_err(|cause| altered(number, cause))?;
                whole += count as u64;
            }
            Ok(_) => broken = Some("it has no end".to_owned()),
            Err(cause) => broken = Some(cause.to_string()),
        }
    }
}
