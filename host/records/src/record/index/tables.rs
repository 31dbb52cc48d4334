//! An outcome as rows of the index's tables: what is written, and what is held against it when the archive is verified.

use crate::outcome::{Outcome, OutcomeFigure, OutcomeFinding};
use rusqlite::types::Value;

/// Values of one row, in the order of its table's columns.
pub(in crate::record) type Row = Vec<Value>;

/// A table whose rows come from an outcome; the first two columns are record and number.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(in crate::record) struct Table {
    /// Its name.
    pub name: &'static str,
    /// Its columns.
    pub columns: &'static [&'static str],
}

impl Table {
    /// Outcomes: one row each.
    pub const OUTCOMES: Self = Self {
        name: "outcomes",
        columns: &[
            "record", "number", "file", "judged", "scope", "verdict", "aborted", "sheet", "program",
            "analysis", "grade", "mating", "lead", "not_done",
        ],
    };
    /// Figures: one row each.
    pub const FIGURES: Self = Self {
        name: "figures",
        columns: &[
            "record",
            "number",
            "position",
            "figure",
            "channel",
            "region",
            "direction",
            "from_deg",
            "bridge",
            "value",
            "expanded_uncertainty",
            "unit",
            "upper_bound",
            "at_deg",
            "limit_min",
            "limit_max",
            "limit_bound",
            "verdict",
            "speed_deg_s",
        ],
    };
    /// Findings: one row each.
    pub const FINDINGS: Self = Self {
        name: "findings",
        columns: &[
            "record",
            "number",
            "position",
            "kind",
            "channel",
            "from_deg",
            "to_deg",
            "confidence",
            "effect",
            "text",
        ],
    };

    /// `INSERT` with a parameter per column.
    pub fn insert(&self) -> String {
        let marks = vec!["?"; self.columns.len()].join(", ");
        format!("INSERT INTO {} ({}) VALUES ({marks})", self.name, self.columns.join(", "))
    }

    /// `SELECT` of the rows of record ?1 and outcome number ?2, in order.
    pub fn select(&self) -> String {
        let columns = self.columns.join(", ");
        format!("SELECT {columns} FROM {} WHERE record = ?1 AND number = ?2 ORDER BY 3", self.name)
    }
}

/// The row of an outcome.
pub(in crate::record) fn outcome_row(record: &str, number: u32, file: &str, outcome: &Outcome) -> Row {
    let version = |name: &str| outcome.versions.get(name).cloned().unwrap_or_default();
    vec![
        text(record),
        Value::Integer(number.into()),
        text(file),
        text(&outcome.judged),
        text(&outcome.scope),
        name_of(&outcome.verdict),
        Value::Integer(outcome.aborted.into()),
        text(&outcome.sheet.name),
        Value::Text(version("trackpair")),
        Value::Text(version("analysis")),
        maybe(outcome.grade.as_ref().and_then(|g| g.name.as_deref())),
        outcome.matings.as_ref().map_or(Value::Null, |m| Value::Integer(m.counted.into())),
        maybe(outcome.matings.as_ref().and_then(|m| m.lead.as_ref()).map(|lead| lead.of.as_str())),
        maybe(not_done(outcome).as_deref()),
    ]
}

/// What was planned and not done to its end, in a line; none when all was done.
fn not_done(outcome: &Outcome) -> Option<String> {
    let said =
        outcome.not_done.iter().map(|n| format!("{}: {}", n.procedure.replace('_', " "), n.how.words()));
    (!outcome.not_done.is_empty()).then(|| said.collect::<Vec<_>>().join("; "))
}

/// The rows of its figures.
pub(in crate::record) fn figure_rows(record: &str, number: u32, outcome: &Outcome) -> Vec<Row> {
    let figure = |f: &OutcomeFigure| {
        let limit = f.limit.as_ref();
        vec![
            text(&f.figure),
            maybe(f.channel.as_deref()),
            maybe(f.condition.region.map(|r| r.name())),
            maybe(f.condition.direction.map(|d| d.name())),
            number_or_null(f.condition.from_deg),
            maybe(f.condition.bridge.map(|b| b.name())),
            Value::Real(f.value),
            Value::Real(f.expanded_uncertainty),
            name_of(&f.unit),
            number_or_null(f.upper_bound),
            number_or_null(f.at_deg),
            number_or_null(limit.and_then(|l| l.min)),
            number_or_null(limit.and_then(|l| l.max)),
            number_or_null(limit.and_then(|l| l.bound)),
            f.verdict.map_or(Value::Null, |v| name_of(&v)),
            number_or_null(f.condition.speed_deg_s),
        ]
    };
    numbered(record, number, outcome.figures.iter().map(figure))
}

/// The rows of its findings.
pub(in crate::record) fn finding_rows(record: &str, number: u32, outcome: &Outcome) -> Vec<Row> {
    let finding = |f: &OutcomeFinding| {
        vec![
            text(&f.kind),
            maybe(f.channel.as_deref()),
            number_or_null(f.from_deg),
            number_or_null(f.to_deg),
            Value::Real(f.confidence),
            f.effect.map_or(Value::Null, |e| name_of(&e)),
            text(&f.text),
        ]
    };
    numbered(record, number, outcome.findings.iter().map(finding))
}

/// Record, number and position (from 1) before each row.
fn numbered(record: &str, number: u32, rows: impl Iterator<Item = Row>) -> Vec<Row> {
    let head =
        |position: usize| [text(record), Value::Integer(number.into()), Value::Integer(position as i64)];
    rows.zip(1..).map(|(row, position)| head(position).into_iter().chain(row).collect()).collect()
}

fn text(text: &str) -> Value {
    Value::Text(text.to_owned())
}

fn maybe(word: Option<&str>) -> Value {
    word.map_or(Value::Null, text)
}

fn number_or_null(number: Option<f64>) -> Value {
    number.map_or(Value::Null, Value::Real)
}

/// The name under which the outcome's JSON has a word.
fn name_of(word: &impl serde::Serialize) -> Value {
    match serde_json::to_value(word) {
        Ok(serde_json::Value::String(name)) => Value::Text(name),
        _ => Value::Null,
    }
}
