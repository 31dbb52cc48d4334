//! A file of the user's choosing, which is never written over.

use crate::job::Failure;
use anyhow::{Context, anyhow};
use std::fs;
use std::io::Write;
use std::path::Path;

/// Writes a file of the user's choosing that is not there yet.
///
/// # Errors
/// [`Failure::Usage`] when it is there, [`Failure::Other`] when it can't be written.
pub fn write_new_bytes(path: &Path, bytes: &[u8]) -> Result<(), Failure> {
    let mut file = match fs::File::create_new(path) {
        Err(cause) if cause.kind() == std::io::ErrorKind::AlreadyExists => {
            return Err(Failure::Usage(anyhow!(
                "{} is there already and is never overwritten; name another file with --out",
                path.display()
            )));
        }
        opened => opened.with_context(|| unwritable(path)).map_err(Failure::Other)?,
    };
    file.write_all(bytes).with_context(|| unwritable(path)).map_err(Failure::Other)
}

fn unwritable(path: &Path) -> String {
    format!("can't write {}; name another file with --out", path.display())
}
