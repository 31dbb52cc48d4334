//! The shop's key: where it lies, made at first use, shown and exported.

use super::args::KeyCommand;
use super::aside::aside;
use super::{Ending, Failure, Surroundings};
use crate::record::seal::{KeyError, ShopKey};
use anyhow::{Context, anyhow};
use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};

/// Where the shop's key lies: where the configuration says, or beside the configuration.
///
/// # Errors
/// The configuration can't be used, or the platform names no place.
pub fn key_file(surroundings: &Surroundings<'_>) -> Result<PathBuf, Failure> {
    let config = surroundings.config()?;
    let beside = || config.path.as_deref().and_then(Path::parent).map(|folder| folder.join("shop.key"));
    config.key.value.clone().or_else(beside).ok_or_else(|| {
        Failure::Other(anyhow!(
            "this system names no place for settings; name the key's file in TRACKPAIR_KEY"
        ))
    })
}

/// The key that a record is sealed with, made at first use. When it can't be used the record is kept all the same, unsealed, and why
/// is said.
pub fn to_seal_with(surroundings: &Surroundings<'_>) -> Option<ShopKey> {
    let loaded = key_file(surroundings).and_then(|file| {
        let (key, made) = ShopKey::load_or_make(&file).map_err(|e| Failure::Other(e.into()))?;
        if made {
            aside(format!(
                "trackpair: made the shop's key {} ({}): keep a copy of it in a safe place",
                file.display(),
                key.public().to_hex()
            ));
        }
        Ok(key)
    });
    match loaded {
        Ok(key) => Some(key),
        Err(failure) => {
            aside(format!("trackpair: the record is kept but not sealed: {:#}", failure.error()));
            None
        }
    }
}

/// Carries out `key`.
pub fn key(command: &KeyCommand, surroundings: &Surroundings<'_>) -> Result<Ending, Failure> {
    let file = key_file(surroundings)?;
    let load = || ShopKey::load(&file).map_err(failed);
    match command {
        KeyCommand::Show => {
            println!("file        {}", file.display());
            println!("public key  {}", load()?.public().to_hex());
        }
        KeyCommand::Export { out, private } => {
            let key = load()?;
            match (out, private) {
                (Some(out), true) => key.save(out).map_err(failed)?,
                (Some(out), false) => write_new_bytes(out, key.public().to_pem().as_bytes())?,
                (None, true) => {
                    return Err(Failure::Usage(anyhow!(
                        "--private needs --out FILE: a private key is not printed"
                    )));
                }
                (None, false) => print!("{}", key.public().to_pem()),
            }
        }
        KeyCommand::Import { from } => {
            let key = ShopKey::load(from).map_err(failed)?;
            key.save(&file).map_err(failed)?;
            println!("{} is now the shop's key ({})", file.display(), key.public().to_hex());
        }
    }
    Ok(Ending::Done)
}

fn failed(error: KeyError) -> Failure {
    Failure::Usage(error.into())
}

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
