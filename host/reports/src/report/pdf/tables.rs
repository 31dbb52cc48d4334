//! Tables of a document as rows of paper, and how wide their columns are where the document does not say.

use super::colour::{FAINT, OUTSIDE, mark_colour};
use super::fonts::Fonts;
use super::piece::Piece;
use super::rich::{Rich, Style};
use super::setting::{Setting, rich};
use super::table::{self, GUTTER, SIGN};
use crate::report::document::{Cell, Judged, Line, Mark, Row, Table, Text};

/// A table.
pub fn table(setting: &Setting<'_>, of: &Table) -> Vec<Piece> {
    let style = setting.small();
    let head: Vec<Rich> = of.columns.iter().map(|c| rich(&c.head, style.bold())).collect();
    let rows: Vec<table::Row> = of
        .rows
        .iter()
        .enumerate()
        .map(|(k, one)| table::Row {
            begins: of.is_grouped() && !one.continues,
            ..row(setting, one, of.rows.get(k + 1))
        })
        .collect();
    let shares: Option<Vec<f32>> = of.columns.iter().map(|c| c.share).collect();
    let shares = shares.unwrap_or_else(|| widths(setting, of));
    table::table(&setting.set, &shares, head, &rows)
}

fn row(setting: &Setting<'_>, row: &Row, next: Option<&Row>) -> table::Row {
    let cells = row.cells.iter().enumerate().map(|(k, one)| match k {
        // Rows of one figure stay together: only the first bears its name.
        0 if row.continues => table::Cell::default(),
        0 if row.stands_out => cell(setting, one, setting.small().bold()),
        _ => cell(setting, one, setting.small()),
    });
    table::Row {
        cells: cells.collect(),
        begins: false,
        keep: setting.is_compact() || next.is_some_and(|next| next.continues || next.about_others),
        note: row.note.as_ref().map(|note| rich(note, setting.small().colour(FAINT))),
    }
}

fn cell(setting: &Setting<'_>, cell: &Cell, style: Style) -> table::Cell {
    let line = |line: &Line| match line {
        Line::Text(text) => (None, rich(text, style)),
        Line::Verdict(judged) => (setting.signs.of(judged.mark), word(*judged, style)),
    };
    table::Cell(cell.lines.iter().map(line).collect())
}

/// The word of a verdict.
fn word(judged: Judged, style: Style) -> Rich {
    let style = match judged.mark {
        Mark::Outside => style.bold().colour(OUTSIDE),
        Mark::Open => style.colour(FAINT),
        mark => style.colour(mark_colour(mark)),
    };
    Rich::new(judged.word, style)
}

/// Shares of columns by what stands in them: as wide as their longest line where there is room for all, else each has its longest word, and
/// the room that is left is shared by what else they would take.
fn widths(setting: &Setting<'_>, of: &Table) -> Vec<f32> {
    let columns: Vec<(f32, f32)> = (0..of.columns.len()).map(|k| extent(setting, of, k)).collect();
    let (least, most) = columns.iter().fold((0.0, 0.0), |(l, m), (least, most)| (l + least, m + most));
    let room = setting.set.width;
    let width = |(own_least, own_most): &(f32, f32)| {
        if most <= room {
            own_most * room / most
        } else if least <= room {
            own_least + (room - least) * (own_most - own_least) / (most - least)
        } else {
            own_least * room / least
        }
    };
    columns.iter().map(|column| width(column) / room).collect()
}

/// What a column takes with a line for each word, and with none broken, points.
fn extent(setting: &Setting<'_>, of: &Table, column: usize) -> (f32, f32) {
    let style = setting.small();
    let mut all = measured(setting.set.fonts, &of.columns[column].head, style.bold());
    for cell in of.rows.iter().filter_map(|r| r.cells.get(column)) {
        for line in &cell.lines {
            let (least, most) = match line {
                Line::Text(text) => measured(setting.set.fonts, text, style),
                Line::Verdict(judged) => {
                    let (least, most) = measured(setting.set.fonts, &judged.word.into(), style.bold());
                    (least + SIGN.1, most + SIGN.1)
                }
            };
            all = (all.0.max(least), all.1.max(most));
        }
    }
    (all.0 + GUTTER + 1.0, all.1 + GUTTER + 1.0)
}

/// Widths of the longest word and of the whole text, points.
fn measured(fonts: &Fonts, text: &Text, style: Style) -> (f32, f32) {
    let letters = fonts.shown(&text.letters());
    let width = |text: &str| fonts.width(text, true, style.size);
    (letters.split(' ').map(width).fold(0.0, f32::max), width(&letters))
}
