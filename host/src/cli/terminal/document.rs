//! Documents for programs: one JSON text on stdout. Their shapes are published (`published`); what is in them is the commands' own business.

use serde::Serialize;
use std::io::Write;

/// Prints a document, pretty, with a final newline. A reader that has gone away is no failure.
pub fn print_document(document: &impl Serialize) {
    // Every document is made of texts, finite numbers, truths and lists: it serialises.
    let mut text = serde_json::to_string_pretty(document).unwrap_or_default();
    text.push('\n');
    let _ = std::io::stdout().write_all(text.as_bytes());
}
