//! Rows that several tables show: a figure, and a name with its text. It does not know where they stand.

/// A figure.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct FigureRow {
    /// Name in words.
    pub name: String,
    /// Line in words, or "pair".
    pub line: String,
    /// Under which condition, in words; empty without one.
    pub condition: String,
    /// Value with uncertainty and unit.
    pub value: String,
    /// The unit alone.
    pub unit: &'static str,
    /// Limit, or "–".
    pub limit: String,
    /// Limit without its unit, for narrow columns.
    pub limit_number: String,
    /// Rows of the same figure from here on; 0 in those that continue one.
    pub rows: usize,
    /// Verdict's word, or "no limit".
    pub verdict: &'static str,
    /// Place, or "–".
    pub place: String,
    /// Number of its source among [`People::sources`], from 1.
    pub source: Option<usize>,
    /// What would decide it.
    pub would_decide: Option<String>,
}

impl FigureRow {
    /// Name with line and condition: "latency, 99th percentile (low range, opening)".
    pub fn full_name(&self) -> String {
        let mut name = self.name.clone();
        if self.line != "pair" {
            name = format!("{name}, {}", self.line);
        }
        if !self.condition.is_empty() {
            name = format!("{name} ({})", self.condition);
        }
        name
    }
}

/// A name and its text.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Named {
    /// The name.
    pub name: String,
    /// The text.
    pub text: String,
}

/// Counts the rows of each figure, so that its name need not be repeated.
pub fn group(rows: &mut [FigureRow]) {
    let mut first = 0;
    rows.iter_mut().for_each(|row| row.rows = 1);
    for k in 1..rows.len() {
        if rows[k].name == rows[first].name {
            rows[first].rows += 1;
            rows[k].rows = 0;
        } else {
            first = k;
        }
    }
}
