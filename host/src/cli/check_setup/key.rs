//! Whether the shop's key can seal, is its owner's alone, and is the one that sealed the archive's newest record.

use super::check::Check;
use crate::record::Archive;
use crate::record::seal::{KeyError, ShopKey};
use std::io::ErrorKind;
use std::path::Path;

const KEY: &str = "key";
const INDEX: &str = "index";

/// The key's file, where the system or the configuration names one, beside the public key of the archive's last seal (hex).
pub fn check(file: Option<&Path>, last_seal: Option<&str>) -> Check {
    let Some(file) = file else {
        let advice = "write `key = …` into the configuration, or name the key's file in TRACKPAIR_KEY";
        return Check::warning(KEY, "this system names no place for it: records are not sealed", advice);
    };
    let shown = file.display();
    let key = match ShopKey::load(file) {
        Ok(key) => key.public().to_hex(),
        Err(error) => return unusable(file, &error, last_seal),
    };
    match last_seal.filter(|last| *last != key) {
        Some(last) => Check::warning(
            KEY,
            format!("{shown} is {key}, but the archive's last seal was made with another key: {last}"),
            OTHER_KEY,
        ),
        None => Check::ok(KEY, format!("{shown} is readable by you alone; public key {key}")),
    }
}

const OTHER_KEY: &str = "if the key was not changed on purpose, bring the old one back with `trackpair key import`; otherwise give both public keys to whoever checks (`records verify --key OLD --key NEW`)";

fn unusable(file: &Path, error: &KeyError, last_seal: Option<&str>) -> Check {
    let shown = file.display();
    match error {
        KeyError::File { cause, .. } if cause.kind() == ErrorKind::NotFound => match last_seal {
            None => Check::ok(KEY, format!("{shown} is not there yet: it is made at the first record")),
            Some(last) => Check::warning(
                KEY,
                format!("{shown} is not there, but the archive's last seal was made with a key: {last}"),
                "a new key would be made at the next record: bring the old one back with `trackpair key import`",
            ),
        },
        KeyError::File { .. } if file.is_dir() => {
            Check::problem(KEY, format!("{shown} is not a file"), "name the key's file in the configuration")
        }
        KeyError::Exposed { mode, .. } => {
            let found = format!(
                "{shown} has mode {mode:o}: others on this machine could seal records in the shop's name"
            );
            Check::problem(KEY, found, format!("chmod 600 {shown}"))
        }
        KeyError::NoKey { .. } => Check::problem(
            KEY,
            format!("{shown} holds no private key (PKCS#8 PEM): records are not sealed"),
            "move it away, then bring a copy of the key back with `trackpair key import`, or let the next record make a new one",
        ),
        other => {
            let advice = "make it readable for you alone: it seals the records";
            Check::problem(KEY, format!("{shown} can't be read: {other}"), advice)
        }
    }
}

/// The public key of an archive's last seal, hex; a check where its index can't be used.
pub fn last_seal(archive: &Path) -> Result<Option<String>, Check> {
    if !archive.join(crate::record::INDEX_FILE).exists() {
        return Ok(None);
    }
    let seals = Archive::open_to_read(archive).and_then(|archive| Ok(archive.index()?.seals()?));
    match seals {
        Ok(seals) => Ok(seals.last().map(|last| last.seal.key.clone())),
        Err(error) => {
            let advice = "until then nothing can be kept in this archive; --archive DIR names another";
            Err(Check::problem(INDEX, error.to_string(), advice))
        }
    }
}
