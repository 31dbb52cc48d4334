//! Reads the logs of soaks. It knows their lines as JSON, not the program's types.

use anyhow::{Context, Result};
use serde_json::Value;
use std::path::Path;

/// Every whole line of the log in a record's folder.
///
/// # Errors
/// There is none, or a line before the last is no JSON.
pub fn log_lines(record: &Path) -> Result<Vec<Value>> {
    let text = std::fs::read_to_string(record.join("soak.jsonl"))?;
    let whole = text.rfind('\n').map_or("", |end| &text[..=end]);
    whole.lines().map(|line| serde_json::from_str(line).with_context(|| line.to_owned())).collect()
}

/// Its rounds.
///
/// # Errors
/// As [`log_lines`].
pub fn rounds(record: &Path) -> Result<Vec<Value>> {
    Ok(log_lines(record)?.into_iter().filter(|line| line["line"] == "round").collect())
}
