//! The shop's key: where it lies, made at first use, shown and exported.

use super::ending::Ending;
use super::options::new_file::write_new_bytes;
use super::surroundings::Surroundings;
use crate::job::Failure;
use crate::record::seal::{KeyError, ShopKey};
use anyhow::anyhow;
use clap::Subcommand;
use std::io::ErrorKind;
use std::path::{Path, PathBuf};

/// `key`.
#[derive(Debug, Subcommand)]
pub enum KeyCommand {
    /// Where it lies, and its public key
    Show,
    /// The public key as PEM, for those who check reports; with --private the key itself, for a safe place
    Export {
        /// Write it to this file, which is not there yet
        #[arg(long, value_name = "FILE")]
        out: Option<PathBuf>,
        /// The private key: whoever has it can seal in the shop's name
        #[arg(long)]
        private: bool,
    },
    /// Take an exported private key as the shop's; one that is there is never overwritten
    Import {
        /// The exported file
        from: PathBuf,
    },
}

/// Carries out `key`.
pub fn key(command: &KeyCommand, surroundings: &Surroundings<'_>) -> Result<Ending, Failure> {
    let file = surroundings.key_file()?;
    let load = || ShopKey::load(&file).map_err(|error| own(&file, error));
    match command {
        KeyCommand::Show => {
            let key = load()?;
            println!("file        {}", file.display());
            println!("public key  {}", key.public().to_hex());
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

/// What is wrong with this machine's own key.
fn own(file: &Path, error: KeyError) -> Failure {
    match error {
        KeyError::File { cause, .. } if cause.kind() == ErrorKind::NotFound => Failure::Usage(anyhow!(
            "this machine has no key yet ({} does not exist): the first sealed record makes one, `trackpair key import FILE` takes over \
             an exported one",
            file.display()
        )),
        error => failed(error),
    }
}

fn failed(error: KeyError) -> Failure {
    Failure::Usage(error.into())
}
