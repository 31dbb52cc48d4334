//! Whether the archive can be written, and whether it has room.

use super::check::Check;
use std::fs;
use std::io::{self, Write};
use std::path::Path;

const ARCHIVE: &str = "archive";
const SPACE: &str = "space";

/// Below this no record of a throttle body fits for sure, bytes. One takes about 5 MB of Parquet, HTML and PDF; the rest is for the
/// database's journal and for what else the machine writes meanwhile. Engineering assumption.
pub const LEAST_BYTES: u64 = 64 << 20;
/// Below this some hundred records fit, bytes. Engineering assumption.
pub const FEW_BYTES: u64 = 1 << 30;

/// Rights and space.
pub fn checks(archive: &Path) -> Vec<Check> {
    // Where nothing is yet, what is there already must let it be made.
    let existing = archive.ancestors().find(|p| !p.as_os_str().is_empty() && p.exists());
    let existing = existing.unwrap_or(Path::new("."));
    let rights = rights(archive, existing, probe(existing));
    let space = match fs4::available_space(existing) {
        Ok(bytes) => space(bytes),
        Err(error) => {
            let advice = "look yourself that the disk has room";
            Check::warning(SPACE, format!("free space is not known: {error}"), advice)
        }
    };
    vec![rights, space]
}

/// Writes a file there and removes it.
fn probe(folder: &Path) -> io::Result<()> {
    if !folder.is_dir() {
        return Err(io::ErrorKind::NotADirectory.into());
    }
    let file = folder.join(format!(".trackpair-probe-{}", std::process::id()));
    let written = fs::File::create_new(&file).and_then(|mut f| f.write_all(b"probe"));
    let removed = fs::remove_file(&file);
    written.and(removed)
}

/// What is made of a probe in the first folder on the way to the archive that exists.
pub fn rights(archive: &Path, existing: &Path, probe: io::Result<()>) -> Check {
    let shown = archive.display();
    let Err(cause) = probe else {
        return if archive == existing {
            Check::ok(ARCHIVE, format!("{shown} can be written"))
        } else {
            Check::ok(ARCHIVE, format!("{shown} is not there yet and can be made"))
        };
    };
    use io::ErrorKind as Kind;
    let (why, advice) = match cause.kind() {
        Kind::StorageFull | Kind::QuotaExceeded => ("no space is left", "free some, or give another folder"),
        Kind::ReadOnlyFilesystem => ("it is read-only", "mount it for writing, or give another folder"),
        Kind::PermissionDenied => {
            ("writing there is not allowed", "take it over with chown, or give another folder")
        }
        Kind::NotADirectory => {
            ("there is a file in the place of the folder", "move it away, or give another folder")
        }
        _ => ("the system refused", "mend that, or give another folder"),
    };
    let advice = format!("{advice}: --archive DIR, TRACKPAIR_ARCHIVE, or `archive = …` in the configuration");
    Check::problem(
        ARCHIVE,
        format!("{shown} can't be written, for at {}: {why} ({cause})", existing.display()),
        advice,
    )
}

/// What is made of so many free bytes.
pub fn space(bytes: u64) -> Check {
    let free = format!("{} MB are free", bytes / 1_000_000);
    let advice = "free some, or keep the records elsewhere with --archive DIR";
    if bytes < LEAST_BYTES {
        Check::problem(SPACE, format!("{free}: not enough for a record of a throttle body"), advice)
    } else if bytes < FEW_BYTES {
        Check::warning(SPACE, format!("{free}: enough for some records only"), advice)
    } else {
        Check::ok(SPACE, free)
    }
}
