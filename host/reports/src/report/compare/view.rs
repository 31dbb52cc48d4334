//! What a comparison says, as tables and lists of words that every medium shows alike.

use crate::compare::subject::{Quantity, Side};
use crate::quantity::Unit;
use crate::report::format;
use crate::report::plot::Plot;
use crate::report::text::{LABEL, SENTENCE, plain};
use crate::report::words::{self, Lines};

/// The whole page.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct View {
    /// What it is.
    pub title: String,
    /// What comes of it, in a sentence.
    pub lead: String,
    /// Whether any of the records was simulated.
    pub simulated: bool,
    /// Tables in order.
    pub tables: Vec<Table>,
    /// Lists of sentences with their heading.
    pub lists: Vec<(String, Vec<String>)>,
    /// Pictures; shown after the first tables.
    pub plots: Vec<Plot>,
}

/// A table.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Table {
    /// Heading.
    pub title: String,
    /// Heads of the columns; the first names the row.
    pub columns: Vec<&'static str>,
    /// Rows of as many cells.
    pub rows: Vec<Vec<String>>,
    /// Whether its rows are what the reader is to look at first.
    pub strong: bool,
}

impl View {
    /// Adds a table unless it is empty.
    pub fn table(&mut self, table: Table) {
        if !table.rows.is_empty() {
            self.tables.push(table);
        }
    }

    /// Adds a list unless it is empty; sentences from outside are made harmless.
    pub fn list(&mut self, heading: &str, sentences: impl IntoIterator<Item = String>) {
        let sentences: Vec<String> = sentences.into_iter().map(|s| plain(&s, SENTENCE)).collect();
        if !sentences.is_empty() {
            self.lists.push((heading.to_owned(), sentences));
        }
    }
}

/// Letters that name the records: A, B, … Z, then numbers.
pub fn letter(index: usize) -> String {
    match u8::try_from(index) {
        Ok(index) if index < 26 => char::from(b'A' + index).to_string(),
        _ => format!("{}", index + 1),
    }
}

/// "voltage at closed stop, rising line", "latency, median (low range, opening)".
pub fn named(quantity: &Quantity, lines: Lines) -> String {
    let mut name = words::figure(&quantity.figure);
    if quantity.channel.is_some() {
        name = format!("{name}, {}", lines.stored(quantity.channel.as_deref(), ""));
    }
    let condition = quantity.condition.words().replace(" deg", "°");
    if !condition.is_empty() {
        name = format!("{name} ({condition})");
    }
    plain(&name, LABEL)
}

/// Value with expanded uncertainty, without its unit.
pub fn number(value: f64, expanded_uncertainty: f64) -> String {
    match format::rounded(value, expanded_uncertainty) {
        (value, Some(uncertainty)) => format!("{value} ± {uncertainty}"),
        (value, None) => value,
    }
}

/// A difference: its sign is always written.
pub fn signed(value: f64, expanded_uncertainty: f64) -> String {
    let text = number(value, expanded_uncertainty);
    if text.starts_with('−') || value == 0.0 { text } else { format!("+{text}") }
}

/// Two significant digits, upward, with the unit.
pub fn at_least(value: f64, unit: Unit) -> String {
    format::with_unit(&format::rounded_up(value), unit)
}

/// The records, one row each.
pub fn records(sides: &[Side], first: usize) -> Table {
    let row = |(k, s): (usize, &Side)| {
        let label = if s.label.trim().is_empty() { "no words given".to_owned() } else { s.label.clone() };
        let cells = [
            letter(first + k),
            s.record.clone(),
            label,
            words::time(&s.recorded),
            s.verdict.name().to_owned(),
            s.sheet.clone(),
            s.rig.clone().unwrap_or_else(|| "none".to_owned()),
        ];
        cells.map(|cell| plain(&cell, LABEL)).to_vec()
    };
    Table {
        title: "Records".to_owned(),
        columns: vec!["", "record", "part, in the user's words", "recorded", "verdict", "sheet", "rig"],
        rows: sides.iter().enumerate().map(row).collect(),
        strong: false,
    }
}
