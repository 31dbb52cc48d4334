//! The figures of a report: a grip's as one list, a throttle body's in groups; then what would decide the undecided ones, where limits come
//! from, and what each figure is.

use super::report::facts;
use super::table::{Cell, Column, Judged, Line, Row, Table};
use super::text::{Text, Tone, texts};
use super::{Block, List, Topic, about, part};
use crate::outcome::Outcome;
use crate::report::format::NOTHING;
use crate::report::groups::{FigureGroupRows, Grid};
use crate::report::people::People;
use crate::report::rows::FigureRow;

/// How figures are to be read.
const READING: &str =
    "Value ± expanded uncertainty (95 %, k = 2). Volts and millivolts are at a supply of exactly 5 V.";
/// How their limits are to be read where sources are listed.
const SOURCES: &str = "Raised numbers name the source of a limit.";

/// The section of figures.
pub fn figures(outcome: &Outcome, people: &People) -> Block {
    let nothing = match (outcome.scope.as_str(), people.figures.is_empty()) {
        ("readiness", _) => Some("None: a self-check judges no figure of the part."),
        (_, true) => {
            Some("No figure could be had from what was recorded; the reasons are under “Not testable”.")
        }
        _ => None,
    };
    let mut blocks = match nothing {
        // A self-check that judges no figure need not say so where space is short.
        Some(text) if outcome.scope == "readiness" => {
            vec![Block::InFull(vec![Block::Paragraph(text.into())])]
        }
        Some(text) => vec![Block::Paragraph(text.into())],
        None => tables(people),
    };
    let undecided: Vec<Text> = people.undecided().iter().map(|n| Text::named(&n.name, &n.text)).collect();
    if !undecided.is_empty() {
        let list = vec![Block::List(List::aside(undecided))];
        blocks.push(part("What would decide the undecided figures", list));
    }
    let mut more = Vec::new();
    if !people.sources.is_empty() {
        let list = List { numbered: true, ..List::aside(texts(&people.sources)) };
        more.push(part("Sources of the limits", vec![Block::List(list)]));
    }
    more.push(part("What each figure is", facts(&people.definitions)));
    blocks.push(Block::InFull(more));
    about(Topic::Figures, "Figures", blocks)
}

fn tables(people: &People) -> Vec<Block> {
    let mut blocks = vec![Block::Note(READING.into())];
    if !people.sources.is_empty() {
        blocks.push(Block::InFull(vec![Block::Note(SOURCES.into())]));
    }
    if people.groups.is_empty() {
        blocks.push(list(&people.figures, "line"));
    }
    blocks.extend(people.groups.iter().map(group));
    blocks
}

fn group(group: &FigureGroupRows) -> Block {
    let mut blocks = Vec::new();
    if !group.reading.is_empty() {
        blocks.push(Block::InFull(vec![Block::Note(group.reading.into())]));
    }
    blocks.extend(group.grid.as_ref().map(grid));
    if !group.rows.is_empty() {
        blocks.push(list(&group.rows, group.second));
    }
    part(group.title, blocks)
}

/// Figures one below the other; `second` heads the second column, which is left out when it says nothing.
fn list(rows: &[FigureRow], second: &str) -> Block {
    let shares: [f32; 6] = if second.is_empty() {
        [0.29, 0.0, 0.24, 0.23, 0.14, 0.10]
    } else {
        [0.245, 0.125, 0.215, 0.195, 0.13, 0.09]
    };
    let column = |head: &str, k: usize| Column::new(head).share(shares[k]);
    let mut columns = vec![column("figure", 0)];
    // A short form names each figure whole.
    columns.extend((!second.is_empty()).then(|| column(second, 1).in_full()));
    columns.extend([
        column("value ± uncertainty", 2).brief("value"),
        column("limit", 3),
        column("verdict", 4),
        column("where", 5).in_full(),
    ]);
    let row = |row: &FigureRow| {
        let mut cells = vec![Cell::new(&row.name).brief(row.full_name())];
        if !second.is_empty() {
            cells.push(Cell::new(if row.condition.is_empty() { &row.line } else { &row.condition }));
        }
        cells.extend([
            Cell::new(&row.value),
            Cell::new(limit(&row.limit, row.source)).brief(&row.limit_number),
            Cell::verdict(row.verdict),
            Cell::new(&row.place),
        ]);
        Row { continues: row.rows == 0, ..Row::new(cells) }
    };
    Block::Table(Table::new(columns, rows.iter().map(row).collect()))
}

/// Figures by condition: a row per condition, a column per figure.
fn grid(grid: &Grid) -> Block {
    let corner = 0.2;
    let share = (1.0 - corner) / grid.columns.len().max(1) as f32;
    let measured = |k: usize| grid.rows.iter().filter_map(move |(_, cells)| cells[k].as_ref());
    // The short form says a unit once, in the head of its column.
    let short = |k: usize, head: &str| match measured(k).next().map_or("", |c| c.unit) {
        "" => head.to_owned(),
        unit => format!("{head}, {unit}"),
    };
    let heads = grid.columns.iter().enumerate();
    let heads = heads.map(|(k, head)| Column::new(head).brief(short(k, head)).share(share));
    let columns = [Column::new(grid.corner).brief("").share(corner)].into_iter().chain(heads).collect();
    let cell = |(k, found): (usize, &Option<FigureRow>)| {
        let Some(row) = found else { return Cell::new(Text::faint("not measured")).brief(NOTHING) };
        let mut lines = vec![Line::Text((&row.value).into()), Line::Verdict(Judged::of(row.verdict))];
        if grid.limits[k].is_none() {
            lines.push(Line::Text(limit(&row.limit, row.source)));
        }
        let bare = row.value.strip_suffix(row.unit).map_or(row.value.as_str(), str::trim_end);
        Cell { lines, brief: Some(bare.to_owned()) }
    };
    let mut rows: Vec<Row> = grid
        .rows
        .iter()
        .map(|(name, cells)| {
            let cells = cells.iter().enumerate().map(cell);
            Row::new([Cell::new(name)].into_iter().chain(cells).collect())
        })
        .collect();
    let limits = grid.limits.iter().enumerate().map(|(k, common)| match common {
        None => Cell::new(Text::faint("in each cell")).brief("several"),
        Some(common) => {
            let number = measured(k).next().map_or(NOTHING, |c| c.limit_number.as_str());
            let source =
                if common.name.is_empty() { String::new() } else { format!("\u{a0}{}", common.name) };
            Cell::new(Text::faint(&common.text).and(source, Tone::Raised)).brief(number)
        }
    });
    let cells = [Cell::new(Text::faint("limit"))].into_iter().chain(limits).collect();
    rows.push(Row { about_others: true, ..Row::new(cells) });
    Block::Table(Table::new(columns, rows))
}

/// A limit with the raised number of its source.
fn limit(text: &str, source: Option<usize>) -> Text {
    let source = source.map_or(String::new(), |number| format!("\u{a0}{number}"));
    Text::from(text).and(source, Tone::Raised)
}
