//! A view as text for the terminal and as one self-contained HTML file.

use super::view::{Table, View};
use crate::report::terminal::{Page, Style, list, simulated};
use askama::Template;

/// Widest cell of a table that still stands in a column, characters.
const WIDEST: usize = 44;

/// The page as the template sees it.
#[derive(Template)]
#[template(path = "comparison.html")]
struct Sheet<'a> {
    view: &'a View,
}

/// The view as HTML; it is also well-formed XML.
pub fn html(view: &View) -> String {
    Sheet { view }.render().expect("writing to a string cannot fail")
}

/// The view as text, ending in a newline. Nothing in it depends on colour.
pub fn terminal(view: &View, style: Style) -> String {
    let mut page = Page::new(style);
    if view.simulated {
        simulated(&mut page);
    }
    let title = page.painted(&view.title.to_uppercase(), "1");
    page.line(&title);
    page.paragraph("", &view.lead);
    for table in &view.tables {
        page.heading(&table.title);
        rows(&mut page, table);
    }
    for (heading, sentences) in &view.lists {
        list(&mut page, heading, sentences);
    }
    page.finish()
}

/// Columns where they fit the width, otherwise each row as a sentence.
fn rows(page: &mut Page, table: &Table) {
    let widths: Vec<usize> = (0..table.columns.len())
        .map(|k| {
            let cells = table.rows.iter().map(|r| r[k].chars().count());
            cells.chain([table.columns[k].chars().count()]).max().unwrap_or(0)
        })
        .collect();
    let whole: usize = widths.iter().map(|w| w + 2).sum();
    if whole > page.style.width || widths.iter().any(|w| *w > WIDEST) {
        for row in &table.rows {
            as_sentence(page, table, row);
        }
        return;
    }
    let line = |cells: &mut dyn Iterator<Item = &str>| {
        let padded = cells.zip(&widths).map(|(cell, width)| format!("  {cell:<width$}"));
        padded.collect::<String>()
    };
    page.line(&line(&mut table.columns.iter().copied()));
    for row in &table.rows {
        page.line(&line(&mut row.iter().map(String::as_str)));
    }
}

fn as_sentence(page: &mut Page, table: &Table, row: &[String]) {
    let (name, rest) = row.split_first().map_or(("", &[][..]), |(name, rest)| (name.as_str(), rest));
    let said = rest.iter().zip(&table.columns[1..]).filter(|(cell, _)| !cell.is_empty());
    let said: Vec<String> = said.map(|(cell, head)| format!("{head} {cell}")).collect();
    page.paragraph("  ", name);
    page.paragraph("      ", &said.join(" · "));
}
