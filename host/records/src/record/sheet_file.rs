//! A part sheet by name or from a file.

use crate::sheet::{PartSheet, SheetError, parse, shipped, shipped_names};
use std::path::{Path, PathBuf};

/// Why a sheet can't be had.
#[derive(Debug, thiserror::Error)]
pub enum SheetFileError {
    /// Neither a shipped name nor a file.
    #[error(
        "no part sheet is named {name:?} and there is no such file; shipped sheets: {known}; or give a TOML file"
    )]
    Unknown {
        /// As given.
        name: String,
        /// Names of the shipped sheets.
        known: String,
    },
    /// The file can't be read.
    #[error("can't read the part sheet {path}: {cause}", path = .path.display())]
    Read {
        /// The file.
        path: PathBuf,
        /// The system's message.
        cause: std::io::Error,
    },
    /// The text is not a usable sheet.
    #[error(transparent)]
    Sheet(#[from] SheetError),
}

/// Loads a sheet: a shipped name, or the path of a TOML file.
///
/// # Errors
/// Unknown name, unreadable file, or a text that is no usable sheet (with line and column).
pub fn load(name_or_path: &str) -> Result<PartSheet, SheetFileError> {
    if let Some(sheet) = shipped(name_or_path) {
        return Ok(sheet);
    }
    let path = Path::new(name_or_path);
    match std::fs::read_to_string(path) {
        Ok(text) => Ok(parse(&text, name_or_path)?),
        Err(cause) if cause.kind() == std::io::ErrorKind::NotFound => {
            Err(SheetFileError::Unknown { name: name_or_path.to_owned(), known: shipped_names().join(", ") })
        }
        Err(cause) => Err(SheetFileError::Read { path: path.to_path_buf(), cause }),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_sheet_is_found_by_name_and_by_file_and_its_mistakes_name_the_file() {
        assert_eq!(load("grip-half-slope").unwrap().name, "grip-half-slope");
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("mine.toml");
        let name = path.to_str().unwrap();
        let text = crate::sheet::shipped_text("grip-half-slope").unwrap();
        std::fs::write(&path, text.replace("\"grip-half-slope\"", "\"mine\"")).unwrap();
        assert_eq!(load(name).unwrap().name, "mine");
        std::fs::write(&path, text.replace("travel_deg", "travel")).unwrap();
        let error = load(name).unwrap_err().to_string();
        assert!(error.contains("mine.toml:") && error.contains("unknown key `travel`"), "{error}");
    }

    #[test]
    fn an_unknown_name_lists_the_known_ones_and_a_folder_is_no_sheet() {
        let error = load("no-such-sheet").unwrap_err().to_string();
        assert!(error.contains("grip-complementary, grip-half-slope, grip-parallel-offset"), "{error}");
        let dir = tempfile::tempdir().unwrap();
        let error = load(dir.path().to_str().unwrap()).unwrap_err().to_string();
        assert!(error.contains("can't read the part sheet"), "{error}");
    }
}
