//! TOML part files: any mix of faults on either kind of part and sensor. `PARTS.md` documents the format.

use std::path::{Path, PathBuf};

use thiserror::Error;

use crate::spec::{PartSpec, SpecError};

/// Why a part file cannot be used.
#[derive(Debug, Error)]
pub enum PartFileError {
    /// It cannot be read.
    #[error("cannot read part file {path}: {cause}; check the path")]
    Read {
        /// The file.
        path: PathBuf,
        /// The system's message.
        cause: std::io::Error,
    },
    /// It is not what a part file must be.
    #[error("part file {path} does not fit the format (see PARTS.md): {cause}")]
    Format {
        /// The file.
        path: PathBuf,
        /// Where and what.
        cause: Box<toml::de::Error>,
    },
    /// A number is out of range, or a fault in the wrong kind of part.
    #[error("part file {path}: {cause}")]
    Range {
        /// The file.
        path: PathBuf,
        /// Which.
        cause: SpecError,
    },
}

/// Reads a part file's text; `path` is for messages alone.
///
/// # Errors
/// Unknown keys or values, with line and column; a number out of range, with the range; a fault that such a part cannot have.
pub fn parse(text: &str, path: &Path) -> Result<PartSpec, PartFileError> {
    let spec: PartSpec = toml::from_str(text)
        .map_err(|cause| PartFileError::Format { path: path.to_owned(), cause: Box::new(cause) })?;
    spec.validate().map_err(|cause| PartFileError::Range { path: path.to_owned(), cause })?;
    Ok(spec)
}

/// Loads a part file.
///
/// # Errors
/// As [`parse`], and when the file cannot be read.
pub fn load(path: &Path) -> Result<PartSpec, PartFileError> {
    let text = std::fs::read_to_string(path)
        .map_err(|cause| PartFileError::Read { path: path.to_owned(), cause })?;
    parse(&text, path)
}
