//! The shop's key where records are sealed: made at first use; without a usable one, a record is kept all the same.

use crate::cli::surroundings::Surroundings;
use crate::cli::terminal::aside::aside;
use crate::job::Failure;
use crate::record::seal::ShopKey;

/// The key that a record is sealed with, made at first use. When it can't be used the record is kept all the same, unsealed, and why
/// is said.
pub fn to_seal_with(surroundings: &Surroundings<'_>) -> Option<ShopKey> {
    let loaded = surroundings.key_file().and_then(|file| {
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
