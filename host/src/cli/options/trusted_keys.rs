//! The public keys that a seal may be of.

use crate::cli::surroundings::Surroundings;
use crate::job::Failure;
use crate::record::seal::PublicKey;

/// The keys that a seal is to be of; without any given, this machine's own, if it has one.
///
/// # Errors
/// A given key can't be read.
pub fn trusted_keys(given: &[String], surroundings: &Surroundings<'_>) -> Result<Vec<PublicKey>, Failure> {
    if given.is_empty() {
        let own = surroundings.key_file().ok().filter(|file| file.is_file());
        return Ok(own.and_then(|file| PublicKey::load(&file.to_string_lossy()).ok()).into_iter().collect());
    }
    given.iter().map(|key| PublicKey::load(key).map_err(|e| Failure::Usage(e.into()))).collect()
}
