//! Tables as lines: in columns where they fit the width, otherwise a row as a sentence. The verdict of a row stands before it.

use super::page::{Page, code};
use crate::report::document::{BriefRows, Cell, Judged, Line, Mark, Row, Table};
use crate::report::format::NOTHING;
use crate::report::text::wrap;

/// Widest name that stands in a column, characters.
const WIDEST_NAME: usize = 44;

/// Width of a verdict's word, characters: the same for all tables, so that what is below each other lines up.
const VERDICT: usize = 9;

/// A table.
pub fn table(page: &mut Page, table: &Table) {
    let rows: Vec<&Row> =
        table.rows.iter().filter(|row| table.brief == BriefRows::All || row.stands_out).collect();
    if rows.is_empty() {
        return;
    }
    let shown: Vec<usize> = (0..table.columns.len())
        .filter(|k| table.columns[*k].in_brief && !rows.iter().all(|row| row.cells[*k].is_verdict()))
        .collect();
    let marks = rows.iter().flat_map(|row| &row.cells).any(|cell| cell.judged().is_some());
    let columns = Columns { table, rows, shown, marks };
    let natural = columns.widths(usize::MAX);
    if columns.whole(&natural) <= page.style.width && natural.first().is_none_or(|name| *name <= WIDEST_NAME)
    {
        columns.lines(page, &natural);
        return;
    }
    // A few long cells spoil no columns: their rows are written as sentences.
    let capped = columns.widths(if page.style.width < 90 { 22 } else { 28 });
    let fitting = columns.rows.iter().filter(|row| columns.fits(row, &capped, page)).count();
    if 2 * fitting > columns.rows.len() {
        columns.lines(page, &capped);
    } else {
        columns.rows.iter().for_each(|row| columns.sentence(page, row));
    }
}

/// A table's rows and columns that are shown.
struct Columns<'t> {
    table: &'t Table,
    rows: Vec<&'t Row>,
    /// Columns, by their places in the table.
    shown: Vec<usize>,
    /// Whether verdicts stand before the rows.
    marks: bool,
}

impl Columns<'_> {
    /// Widths of the columns: the widest of their cells that are no wider than `most`; of names a half more.
    fn widths(&self, most: usize) -> Vec<usize> {
        let width = |(place, k): (usize, &usize)| {
            let most = if place == 0 { most.saturating_add(most / 2) } else { most };
            let cells = self.rows.iter().map(|row| row.cells[*k].short().chars().count());
            let head = self.table.columns[*k].short().chars().count();
            cells.chain([head]).filter(|width| *width <= most).max().unwrap_or(0)
        };
        self.shown.iter().enumerate().map(width).collect()
    }

    /// Width of a whole line.
    fn whole(&self, widths: &[usize]) -> usize {
        self.indent() + widths.iter().sum::<usize>() + 2 * widths.len().saturating_sub(1)
    }

    /// What stands before the first column.
    fn indent(&self) -> usize {
        if self.marks { VERDICT + 2 } else { 2 }
    }

    /// Cells in their columns.
    fn padded(&self, cells: impl Iterator<Item = String>, widths: &[usize]) -> String {
        let cells: Vec<String> = cells.zip(widths).map(|(cell, width)| format!("{cell:<width$}")).collect();
        cells.join("  ").trim_end().to_owned()
    }

    fn row(&self, row: &Row, widths: &[usize]) -> String {
        self.padded(self.shown.iter().map(|k| row.cells[*k].short()), widths)
    }

    fn fits(&self, row: &Row, widths: &[usize], page: &Page) -> bool {
        self.indent() + self.row(row, widths).chars().count() <= page.style.width
    }

    /// Every row on its line, those that do not fit as sentences.
    fn lines(&self, page: &mut Page, widths: &[usize]) {
        let heads = self.padded(self.shown.iter().map(|k| self.table.columns[*k].short()), widths);
        let begin = if self.has_verdict_column() {
            format!(" {:<VERDICT$} ", "verdict")
        } else {
            " ".repeat(self.indent())
        };
        let line: String = format!("{begin}{heads}").chars().take(page.style.width).collect();
        page.line(&line);
        for row in &self.rows {
            if self.fits(row, widths, page) {
                let begin = self.begin(page, row);
                page.line(&format!("{begin}{}", self.row(row, widths)));
                self.note(page, row);
            } else {
                self.sentence(page, row);
            }
        }
    }

    /// Whether a column holds nothing but verdicts.
    fn has_verdict_column(&self) -> bool {
        (0..self.table.columns.len()).any(|k| self.rows.iter().all(|row| row.cells[k].is_verdict()))
    }

    /// The worst verdict of a row, or as many spaces.
    fn begin(&self, page: &Page, row: &Row) -> String {
        let judged = row.cells.iter().filter_map(Cell::judged);
        let Some(worst) = judged.max_by_key(|judged| judged.mark) else { return " ".repeat(self.indent()) };
        format!(" {} ", page.painted(&format!("{:<VERDICT$}", shown(worst)), code(worst.mark)))
    }

    /// The name on a line of its own, what the columns say of it below.
    fn sentence(&self, page: &mut Page, row: &Row) {
        let indent = self.indent();
        let name = row.cells.first().map(Cell::short).unwrap_or_default();
        for (k, line) in wrap(&name, page.style.width - indent).iter().enumerate() {
            let begin = if k == 0 { self.begin(page, row) } else { " ".repeat(indent) };
            page.line(&format!("{begin}{line}"));
        }
        let said =
            self.shown.iter().filter(|k| **k > 0).map(|k| (&self.table.columns[*k], whole(&row.cells[*k])));
        let said = said.filter(|(_, cell)| !cell.is_empty() && cell != NOTHING);
        let said: Vec<String> = said
            .map(|(column, cell)| {
                let head = if row.about_others || !self.marks || self.has_verdict_column() {
                    column.short()
                } else {
                    column.head.letters()
                };
                format!("{head} {cell}")
            })
            .collect();
        if !said.is_empty() {
            page.paragraph(&" ".repeat(indent + 2), &said.join(" · "));
        }
        self.note(page, row);
    }

    fn note(&self, page: &mut Page, row: &Row) {
        if let Some(note) = &row.note {
            page.paragraph(&" ".repeat(self.indent()), &note.letters());
        }
    }
}

/// A cell with its units and its verdict, on one line.
fn whole(cell: &Cell) -> String {
    let line = |line: &Line| match line {
        Line::Text(text) => text.letters(),
        Line::Verdict(judged) => shown(*judged),
    };
    cell.lines.iter().map(line).collect::<Vec<_>>().join(", ")
}

/// The word as shown: what needs attention in capitals, so that it is seen without colour.
fn shown(judged: Judged) -> String {
    if judged.mark == Mark::Outside { judged.word.to_uppercase() } else { judged.word.to_owned() }
}
