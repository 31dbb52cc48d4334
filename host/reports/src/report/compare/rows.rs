//! What every comparison names and rounds alike: records, quantities, numbers.

use crate::compare::subject::{Quantity, Side};
use crate::quantity::Unit;
use crate::report::document::Document;
use crate::report::format;
use crate::report::text::{LABEL, plain};
use crate::report::words::{self, Lines};

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
pub fn records(document: &mut Document, sides: &[Side]) {
    let row = |(k, s): (usize, &Side)| {
        let label = if s.label.trim().is_empty() { "no words given".to_owned() } else { s.label.clone() };
        let cells = [
            letter(k),
            s.record.clone(),
            label,
            words::time(&s.recorded),
            s.verdict.name().to_owned(),
            s.sheet.clone(),
            s.rig.clone().unwrap_or_else(|| "none".to_owned()),
        ];
        cells.map(|cell| plain(&cell, LABEL)).to_vec()
    };
    let heads = ["", "record", "part, in the user's words", "recorded", "verdict", "sheet", "rig"];
    document.table("Records", heads, sides.iter().enumerate().map(row), false);
}
