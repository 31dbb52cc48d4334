//! Which paper is meant.

use crate::cli::config::paper_from_name;
use crate::report::Paper;

/// A paper by its name.
///
/// # Errors
/// There is no such paper.
pub fn paper(name: &str) -> Result<Paper, String> {
    paper_from_name(name).ok_or_else(|| "there are a4 and letter".to_owned())
}
