//! The shop's key for commands that seal without a job.

use super::surroundings::Surroundings;
use super::terminal::aside::aside;
use crate::job::sealing;
use crate::record::seal::ShopKey;

/// The key that is sealed with, made at first use; a warning where it can't be used.
pub fn to_seal_with(surroundings: &Surroundings<'_>) -> Option<ShopKey> {
    sealing::to_seal_with(&surroundings.key_file_or_why(), &mut |line| aside(format!("trackpair: {line}")))
}
