//! The archive's head: which seal is the newest, signed, in a file of its own. A chain that was cut at its end is shorter than its head
//! says. Who put back an older copy of the whole archive is not found by it; the newest fingerprint, kept elsewhere, shows it.

use super::archive_error::ArchiveError;
use super::index::Index;
use super::seal::{PublicKey, ShopKey, from_hex, hex};
use super::whole_file::write_whole;
use serde::{Deserialize, Serialize};
use std::path::Path;

/// Its file in the archive's folder.
pub(super) const HEAD_FILE: &str = "head.json";
/// What its signature is for.
const PURPOSE: &str = "trackpair archive head 1";

/// The newest seal.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub(super) struct Head {
    /// Its place in the chain.
    pub sequence: u64,
    /// Its fingerprint.
    pub fingerprint: String,
    /// When the head was written, RFC 3339.
    pub date: String,
    /// Public key.
    pub key: String,
    /// Signature, hex.
    pub signature: String,
}

impl Head {
    fn message(sequence: u64, fingerprint: &str, date: &str) -> Vec<u8> {
        format!("{sequence} {fingerprint} {date}").into_bytes()
    }

    /// Whether its key signed it.
    pub fn holds(&self) -> bool {
        let message = Self::message(self.sequence, &self.fingerprint, &self.date);
        let signature = from_hex::<64>(&self.signature);
        PublicKey::from_hex(&self.key).zip(signature).is_some_and(|(k, s)| k.verifies(PURPOSE, &message, &s))
    }
}

/// Writes the head as the index has it, while no other program can append: it never goes back. A program that is killed
/// before leaves it behind the chain, which is not a fault.
pub(super) fn renew(
    archive: &Path,
    index: &mut Index,
    key: &ShopKey,
    date: &str,
) -> Result<(), ArchiveError> {
    let writing = index.begin_writing()?;
    let Some(last) = writing.head()? else { return Ok(()) };
    let fingerprint = last.seal.fingerprint;
    let signature = key.sign(PURPOSE, &Head::message(last.sequence, &fingerprint, date));
    let head = Head {
        sequence: last.sequence,
        fingerprint,
        date: date.to_owned(),
        key: key.public().to_hex(),
        signature: hex(&signature),
    };
    let path = archive.join(HEAD_FILE);
    let text = serde_json::to_string_pretty(&head).unwrap_or_default() + "\n";
    write_whole(&path, text.as_bytes()).map_err(|cause| ArchiveError::File { path, cause })
}
