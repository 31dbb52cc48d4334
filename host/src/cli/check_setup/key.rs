//! Whether the shop's key is there for its owner alone.

use super::Check;
use std::path::Path;

const KEY: &str = "key";

/// The key's file, where one is configured.
pub fn check(file: Option<&Path>) -> Check {
    let Some(file) = file else {
        return Check::ok(KEY, "none is configured: one is made at the first record");
    };
    let shown = file.display();
    let metadata = match std::fs::metadata(file) {
        Ok(metadata) if metadata.is_file() => metadata,
        Ok(_) => {
            let advice = "name the key's file in the configuration";
            return Check::problem(KEY, format!("{shown} is not a file"), advice);
        }
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => {
            return Check::ok(KEY, format!("{shown} is not there yet: it is made at the first record"));
        }
        Err(error) => {
            let advice = "make it readable for you alone: it seals the records";
            return Check::problem(KEY, format!("{shown} can't be read: {error}"), advice);
        }
    };
    if let Some(check) = open_to_others(file, &metadata) {
        return check;
    }
    match std::fs::File::open(file) {
        Ok(_) => Check::ok(KEY, format!("{shown} is readable by you alone")),
        Err(error) => {
            let advice = "make it readable for you alone: it seals the records";
            Check::problem(KEY, format!("{shown} can't be read: {error}"), advice)
        }
    }
}

#[cfg(unix)]
fn open_to_others(file: &Path, metadata: &std::fs::Metadata) -> Option<Check> {
    use std::os::unix::fs::PermissionsExt;
    let mode = metadata.permissions().mode() & 0o777;
    (mode & 0o077 != 0).then(|| {
        let found = format!(
            "{} has mode {mode:o}: others on this machine could seal records in the shop's name",
            file.display()
        );
        Check::problem(KEY, found, format!("chmod 600 {}", file.display()))
    })
}

/// Elsewhere rights are no mode.
#[cfg(not(unix))]
fn open_to_others(_: &Path, _: &std::fs::Metadata) -> Option<Check> {
    None
}
