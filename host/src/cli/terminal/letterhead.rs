//! The shop on documents that a command makes without a job.

use super::aside::aside;
use crate::cli::surroundings::Surroundings;
use crate::job::without_logo;
use crate::report::Shop;

/// The shop that hands reports over, with a warning where its logo can't be used; none when nothing is configured.
pub fn letterhead(surroundings: &Surroundings<'_>) -> Option<Shop> {
    let shop = surroundings.shop()?;
    if let Some(warning) = without_logo(&shop) {
        aside(format!("trackpair: {warning}"));
    }
    Some(shop)
}
