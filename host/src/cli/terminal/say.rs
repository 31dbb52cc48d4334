//! What a command says in the end: text for people, a document for programs, or a report in a file.

use super::document::print_document;
use crate::cli::surroundings::Surroundings;
use crate::job::Failure;
use crate::report::Style;
use anyhow::Context;
use std::io::Write;
use std::path::Path;
use terminal_size::{Width, terminal_size};

/// Text for people on stdout; with `json` the document there and the text on stderr. A reader that has gone away is no failure.
pub fn say(text: &str, document: &impl serde::Serialize, json: bool) {
    if json {
        print_document(document);
        let _ = std::io::stderr().write_all(text.as_bytes());
    } else {
        let _ = std::io::stdout().write_all(text.as_bytes());
    }
}

/// Writes the report to a file of the user's choosing.
pub fn write_report(page: &[u8], file: &Path) -> Result<(), Failure> {
    std::fs::write(file, page)
        .with_context(|| {
            format!("can't write the report to {}; choose another --report FILE", file.display())
        })
        .map_err(Failure::Other)
}

/// Columns where neither environment nor terminal says how many there are.
const USUAL_COLUMNS: usize = 80;
/// Lines that are longer are hard to follow.
const MOST_COLUMNS: usize = 140;
/// Fewer than this can't hold a table.
const LEAST_COLUMNS: usize = 60;

/// What the terminal can show: its own width, unless COLUMNS says another.
pub fn style(surroundings: &Surroundings<'_>) -> Style {
    let said = std::env::var("COLUMNS").ok().and_then(|columns| columns.parse().ok());
    let own = || terminal_size().map(|(Width(columns), _)| usize::from(columns));
    let columns = said.or_else(own).unwrap_or(USUAL_COLUMNS);
    Style {
        width: columns.clamp(LEAST_COLUMNS, MOST_COLUMNS),
        colour: surroundings.colour,
        ascii: ascii_only(),
    }
}

/// Whether the locale knows ASCII alone.
pub fn ascii_only() -> bool {
    let locale =
        ["LC_ALL", "LC_CTYPE", "LANG"].iter().find_map(|v| std::env::var(v).ok().filter(|s| !s.is_empty()));
    locale.is_some_and(|locale| locale == "C" || locale == "POSIX")
}
