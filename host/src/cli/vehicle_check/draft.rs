//! What was answered so far: a readings file in the archive's folder, replaced whole after every answer, so that nothing is lost when the
//! questions are broken off.

use crate::cli::options::archive::named;
use crate::cli::surroundings::Surroundings;
use crate::job::Failure;
use crate::record::Archive;
use crate::vehicle::Setup;
use crate::vehicle::file::ReadingsFile;
use anyhow::{Context, anyhow};
use std::fs;
use std::path::{Path, PathBuf};

/// Where drafts lie in the archive's folder; names with a point are no part of the archive.
const FOLDER: &str = ".drafts";

/// A draft's place.
#[derive(Clone, Debug)]
pub struct Draft {
    /// Its file.
    pub path: PathBuf,
}

impl Draft {
    /// That of a case, or the one that has none.
    ///
    /// # Errors
    /// The platform names no place for an archive.
    pub fn of(
        typed: Option<&Path>,
        case: Option<&str>,
        surroundings: &Surroundings<'_>,
    ) -> Result<Self, Failure> {
        let dir = match named(typed, surroundings)? {
            Some(dir) => dir,
            None => Archive::default_dir().map_err(|e| Failure::Usage(e.into()))?,
        };
        let name =
            case.map_or_else(|| "vehicle-check.toml".to_owned(), |case| format!("vehicle-check-{case}.toml"));
        Ok(Self { path: dir.join(FOLDER).join(name) })
    }

    /// Whether there is one.
    pub fn exists(&self) -> bool {
        self.path.exists()
    }

    /// Replaces it whole.
    ///
    /// # Errors
    /// It can't be written.
    pub fn save(&self, file: &ReadingsFile, setup: &Setup) -> Result<(), Failure> {
        let write = || -> anyhow::Result<()> {
            let folder = self.path.parent().ok_or_else(|| anyhow!("a draft has a folder"))?;
            fs::create_dir_all(folder)?;
            let part = self.path.with_extension("part");
            fs::write(&part, file.text(setup))?;
            fs::rename(&part, &self.path)?;
            Ok(())
        };
        write()
            .with_context(|| {
                format!("the answers can't be saved in {}; choose another --archive", self.path.display())
            })
            .map_err(Failure::Other)
    }

    /// Removes it: what it held is kept elsewhere.
    pub fn done(&self) {
        // One that stays is asked about at the next `enter`; nothing is lost by it.
        let _ = fs::remove_file(&self.path);
    }
}
