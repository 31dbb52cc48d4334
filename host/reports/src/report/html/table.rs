//! Tables as elements.

use super::writer::Writer;
use super::{apart, class_of, sign, text};
use crate::report::document::{Cell, Column, Judged, Line, Mark, Row, Table, Text};
use crate::report::format::NOTHING;

/// A table. On a narrow screen each of its rows is a card; one that is still wider is moved sideways by itself.
pub fn table(page: &mut Writer, table: &Table) {
    let aligned = !table.columns.is_empty() && table.columns.iter().all(|c| c.share.is_some());
    page.class("div", "wide-table", |page| {
        let name = page.headings().join(", ");
        page.element("table", &[("aria-label", name.as_str())], |page| {
            if aligned {
                columns(page, table);
            }
            page.element("thead", &[], |page| {
                page.element("tr", &[], |page| {
                    for column in &table.columns {
                        page.element("th", &[("scope", "col")], |page| text(page, &column.head));
                    }
                });
            });
            page.element("tbody", &[], |page| {
                for (row, span) in table.rows.iter().zip(table.spans()) {
                    self::row(page, row, &table.columns, span, table.is_grouped());
                }
            });
        });
    });
}

fn columns(page: &mut Writer, table: &Table) {
    page.element("colgroup", &[], |page| {
        for share in table.columns.iter().filter_map(|c| c.share) {
            page.empty("col", &[("style", &format!("width: {:.1}%", 100.0 * share))]);
        }
    });
}

/// A row; `span` is how many rows bear its name, 0 for one that goes on with the name above.
fn row(page: &mut Writer, row: &Row, columns: &[Column], span: usize, grouped: bool) {
    let mut classes = Vec::new();
    if grouped && !row.continues {
        classes.push("new");
    }
    if row.stands_out {
        classes.push("strong");
    }
    if row.about_others {
        classes.push("small");
    }
    page.class("tr", &classes.join(" "), |page| {
        let mut cells = row.cells.iter().zip(columns);
        if let Some((name, _)) = cells.next().filter(|_| span > 0) {
            let rows = span.to_string();
            let attributes: &[_] =
                if span > 1 { &[("scope", "rowgroup"), ("rowspan", &rows)] } else { &[("scope", "row")] };
            page.element("th", attributes, |page| lines(page, name));
        }
        cells.for_each(|(one, column)| cell(page, one, column));
    });
    if let Some(note) = &row.note {
        let width = row.cells.len().to_string();
        page.class("tr", "note", |page| {
            page.element("td", &[("colspan", &width)], |page| apart(page, note));
        });
    }
}

/// A cell. Where it says something it bears the head of its column, for a screen so narrow that its row becomes a card.
fn cell(page: &mut Writer, cell: &Cell, column: &Column) {
    let class = cell.judged().map_or(String::new(), |j| format!("verdict-cell {}", class_of(j.mark)));
    let head = column.head.letters();
    let mut attributes = Vec::new();
    if !class.is_empty() {
        attributes.push(("class", class.as_str()));
    }
    if cell.judged().is_some() || ![NOTHING, ""].contains(&cell.letters().as_str()) {
        attributes.push(("data-head", head.as_str()));
    }
    page.element("td", &attributes, |page| lines(page, cell));
}

fn lines(page: &mut Writer, cell: &Cell) {
    for (k, line) in cell.lines.iter().enumerate() {
        if k > 0 {
            page.empty("br", &[]);
        }
        match line {
            Line::Text(said) => apart(page, said),
            Line::Verdict(judged) => word(page, *judged),
        }
    }
}

/// A verdict's sign and word.
fn word(page: &mut Writer, judged: Judged) {
    if judged.mark == Mark::Open {
        text(page, &Text::faint(judged.word));
    } else {
        sign(page, judged.mark);
        page.letters(judged.word);
    }
}
