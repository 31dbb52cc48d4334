//! A table of a document: columns, rows, cells, and what of them a short form shows. Widths are the medium's business.

use super::text::Text;

/// What a verdict comes to; every medium has a sign or a word of its own for each.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Mark {
    /// Nothing was judged.
    Open,
    /// In order.
    Within,
    /// Neither.
    Undecided,
    /// Not in order.
    Outside,
}

impl Mark {
    /// Of a verdict's word; any other word judges nothing.
    pub fn of(word: &str) -> Self {
        match word {
            "within" => Self::Within,
            "undecided" => Self::Undecided,
            "outside" => Self::Outside,
            _ => Self::Open,
        }
    }
}

/// A verdict as it is shown: its mark and its word, which need no colour.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Judged {
    /// What it comes to.
    pub mark: Mark,
    /// `within`, `outside`, `undecided`, or why there is none.
    pub word: &'static str,
}

impl Judged {
    /// From its word.
    pub fn of(word: &'static str) -> Self {
        Self { mark: Mark::of(word), word }
    }
}

/// A line of a cell.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Line {
    /// Text.
    Text(Text),
    /// A verdict.
    Verdict(Judged),
}

/// A cell.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Cell {
    /// Its lines, in order.
    pub lines: Vec<Line>,
    /// Its text in a short form; none where it is the same.
    pub brief: Option<String>,
}

impl Cell {
    /// One line of text.
    pub fn new(text: impl Into<Text>) -> Self {
        Self { lines: vec![Line::Text(text.into())], brief: None }
    }

    /// A verdict alone.
    pub fn verdict(word: &'static str) -> Self {
        Self { lines: vec![Line::Verdict(Judged::of(word))], brief: None }
    }

    /// The same with another text in the short form.
    #[must_use]
    pub fn brief(self, text: impl Into<String>) -> Self {
        Self { brief: Some(text.into()), ..self }
    }

    /// Its verdict, where it has one.
    pub fn judged(&self) -> Option<Judged> {
        self.lines.iter().find_map(|line| if let Line::Verdict(judged) = line { Some(*judged) } else { None })
    }

    /// Whether there is a verdict in it and nothing else.
    pub fn is_verdict(&self) -> bool {
        matches!(self.lines.as_slice(), [Line::Verdict(_)])
    }

    /// Its text on one line, without its verdict.
    pub fn letters(&self) -> String {
        let text = |line: &Line| if let Line::Text(text) = line { Some(text.letters()) } else { None };
        self.lines.iter().filter_map(text).collect::<Vec<_>>().join(" ")
    }

    /// What the short form shows.
    pub fn short(&self) -> String {
        self.brief.clone().unwrap_or_else(|| self.letters())
    }
}

/// A column.
#[derive(Clone, Debug, PartialEq)]
pub struct Column {
    /// Its head.
    pub head: Text,
    /// Its head in a short form; none where it is the same.
    pub brief: Option<String>,
    /// Whether the short form has it.
    pub in_brief: bool,
    /// Its share of the width, where tables below each other are to line up; all columns of a table have one, or none has.
    pub share: Option<f32>,
}

impl Column {
    /// A column that every form has.
    pub fn new(head: impl Into<Text>) -> Self {
        Self { head: head.into(), brief: None, in_brief: true, share: None }
    }

    /// With another head in the short form.
    #[must_use]
    pub fn brief(self, head: impl Into<String>) -> Self {
        Self { brief: Some(head.into()), ..self }
    }

    /// Left out of the short form.
    #[must_use]
    pub fn in_full(self) -> Self {
        Self { in_brief: false, ..self }
    }

    /// With a share of the width.
    #[must_use]
    pub fn share(self, share: f32) -> Self {
        Self { share: Some(share), ..self }
    }

    /// The head in the short form.
    pub fn short(&self) -> String {
        self.brief.clone().unwrap_or_else(|| self.head.letters())
    }
}

/// Columns with these heads.
pub fn columns<T: Into<Text>>(heads: impl IntoIterator<Item = T>) -> Vec<Column> {
    heads.into_iter().map(Column::new).collect()
}

/// A row.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Row {
    /// A cell for each column; the first names the row.
    pub cells: Vec<Cell>,
    /// Whether it goes on with the name of the row above it.
    pub continues: bool,
    /// Whether the reader is to look at it first.
    pub stands_out: bool,
    /// Whether it is about the rows above it, not one of them.
    pub about_others: bool,
    /// A sentence below it.
    pub note: Option<Text>,
}

impl Row {
    /// A row of cells.
    pub fn new(cells: Vec<Cell>) -> Self {
        Self { cells, ..Self::default() }
    }

    /// A row of one line of text in each cell.
    pub fn of<T: Into<Text>>(cells: impl IntoIterator<Item = T>) -> Self {
        Self::new(cells.into_iter().map(Cell::new).collect())
    }
}

/// Which rows the short form shows.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum BriefRows {
    /// All.
    #[default]
    All,
    /// Those that stand out.
    StandingOut,
}

/// A table.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Table {
    /// Columns.
    pub columns: Vec<Column>,
    /// Rows.
    pub rows: Vec<Row>,
    /// Rows of the short form.
    pub brief: BriefRows,
}

impl Table {
    /// A table that is short in every form.
    pub fn new(columns: Vec<Column>, rows: Vec<Row>) -> Self {
        Self { columns, rows, ..Self::default() }
    }

    /// Whether its rows stand in groups: those of one name, or those that another one is about.
    pub fn is_grouped(&self) -> bool {
        self.rows.iter().any(|row| row.continues || row.about_others)
    }

    /// For each row how many rows bear its name, 0 for one that goes on.
    pub fn spans(&self) -> Vec<usize> {
        let count = |k: usize| 1 + self.rows[k + 1..].iter().take_while(|r| r.continues).count();
        self.rows.iter().enumerate().map(|(k, row)| if row.continues { 0 } else { count(k) }).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_row_spans_those_that_go_on_with_its_name() {
        let row = |continues| Row { continues, ..Row::default() };
        let rows = [false, true, true, false].map(row).to_vec();
        assert_eq!(Table::new(Vec::new(), rows).spans(), [3, 0, 0, 1]);
    }

    #[test]
    fn the_worst_mark_is_the_largest() {
        let words = ["within", "outside", "undecided", "no limit"].map(Mark::of);
        assert_eq!(words.into_iter().max(), Some(Mark::Outside));
        assert!(Mark::Undecided > Mark::Within && Mark::Within > Mark::Open);
    }
}
