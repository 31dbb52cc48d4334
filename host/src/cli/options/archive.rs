//! Which archive is meant.

use crate::cli::surroundings::Surroundings;
use crate::job::Failure;
use crate::record::Archive;
use clap::Args;
use std::path::{Path, PathBuf};

/// Which archive.
#[derive(Args, Debug)]
pub struct Where {
    /// Folder of the archive [else: TRACKPAIR_ARCHIVE, configuration, the platform's place for data]
    #[arg(long, value_name = "DIR")]
    pub archive: Option<PathBuf>,
}

/// Opens the archive that is meant, for reading.
///
/// # Errors
/// There is none, or it can't be used.
pub fn open(typed: Option<&Path>, surroundings: &Surroundings<'_>) -> Result<Archive, Failure> {
    Archive::open_to_read(&dir(typed, surroundings)?).map_err(|e| Failure::Usage(e.into()))
}

/// The folder of the archive that is meant.
///
/// # Errors
/// The configuration can't be used, or the platform names no place.
pub fn dir(typed: Option<&Path>, surroundings: &Surroundings<'_>) -> Result<PathBuf, Failure> {
    match named(typed, surroundings)? {
        Some(dir) => Ok(dir),
        None => Archive::default_dir().map_err(|e| Failure::Usage(e.into())),
    }
}

/// The folder of the archive as it was typed, or else configured; none where only the platform's place is left.
///
/// # Errors
/// The configuration can't be used.
pub fn named(typed: Option<&Path>, surroundings: &Surroundings<'_>) -> Result<Option<PathBuf>, Failure> {
    let config = surroundings.config()?;
    Ok(typed.map(Path::to_path_buf).or_else(|| config.archive.value.clone()))
}
