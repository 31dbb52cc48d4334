//! Files that are whole or absent: written beside their place, synced, then renamed. It does not know what they hold.

use std::fs;
use std::io::{self, Write};
use std::path::{Path, PathBuf};

/// Ending of what is half written. Such a file never counts.
pub(super) const PART: &str = ".part";

/// Writes a file whole or not at all; folders are made. What is there already is replaced.
pub(super) fn write_whole(path: &Path, bytes: &[u8]) -> io::Result<()> {
    let folder = path.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
    make_folders(folder)?;
    let name = path.file_name().unwrap_or_default().to_string_lossy();
    let part: PathBuf = folder.join(format!(".{name}-{}{PART}", std::process::id()));
    let result = fs::File::create(&part)
        .and_then(|file| fill(file, bytes))
        .and_then(|()| fs::rename(&part, path))
        .and_then(|()| sync_folder(folder));
    if result.is_err() {
        // What is half written does not count; that it can't be removed changes nothing.
        let _ = fs::remove_file(&part);
    }
    result
}

/// Writes and syncs a file.
pub(super) fn fill(mut file: fs::File, bytes: &[u8]) -> io::Result<()> {
    file.write_all(bytes)?;
    file.sync_all()
}

/// Makes the folders that are missing, each lasting before the next.
fn make_folders(folder: &Path) -> io::Result<()> {
    if folder.is_dir() {
        return Ok(());
    }
    let parent = folder.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
    make_folders(parent)?;
    match fs::create_dir(folder) {
        // Another program may have made it at this moment.
        Err(cause) if cause.kind() == io::ErrorKind::AlreadyExists && folder.is_dir() => Ok(()),
        Err(cause) => Err(cause),
        Ok(()) => sync_folder(parent),
    }
}

/// A rename is only lasting once its folder is synced. Where folders can't be opened, the system does that itself.
fn sync_folder(path: &Path) -> io::Result<()> {
    if cfg!(unix) { fs::File::open(path)?.sync_all() } else { Ok(()) }
}
