//! The shop's key where records are sealed: made at first use; without a usable one, a record is kept all the same.

use crate::record::seal::ShopKey;
use std::path::PathBuf;

/// The key that a record is sealed with, made at first use, from its file or why there is none. When it can't be used the record is kept all the
/// same, unsealed, and `warn` hears why.
pub fn to_seal_with(file: &Result<PathBuf, String>, warn: &mut dyn FnMut(String)) -> Option<ShopKey> {
    let loaded = file.as_ref().map_err(Clone::clone).and_then(|file| {
        let (key, made) = ShopKey::load_or_make(file).map_err(|e| format!("{:#}", anyhow::Error::from(e)))?;
        if made {
            warn(format!(
                "made the shop's key {} ({}): keep a copy of it in a safe place",
                file.display(),
                key.public().to_hex()
            ));
        }
        Ok(key)
    });
    loaded.map_err(|why| warn(format!("the record is kept but not sealed: {why}"))).ok()
}
