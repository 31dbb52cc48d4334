//! What is filled in by hand, on paper: lines and boxes in two columns.

use super::blocks::{SMALL, Setter, beside};
use super::colour::{FAINT, INK};
use super::piece::{Item, Piece};
use super::rich::Style;
use super::setting::{Setting, rich};
use crate::report::document::{Blank, Boxes, Entry, Text, Tone};

/// Height of a box and the room below it, points: a hand at a vehicle needs it.
const BOX: (f32, f32) = (19.0, 4.0);
/// Width of a box, points.
const BOX_WIDTH: f32 = 112.0;
/// Room between the two columns, points.
const GUTTER: f32 = 18.0;
const TINY: Style = Style::new(6.2).colour(FAINT);
const ROW: Style = Style::new(8.6);

/// Lines to be written on.
pub fn blanks(set: &Setter<'_>, all: &[Blank]) -> Vec<Piece> {
    let rows = all.chunks(2).map(|row| two_columns(set, row.iter().map(|one| blank(set, one))));
    rows.map(|row| row.before(3.0)).collect()
}

fn blank(set: &Setter<'_>, blank: &Blank) -> Piece {
    let narrow = Setter { width: column_width(set), ..*set };
    let words = Text::from(format!("{}: {}", blank.name, blank.known.letters()));
    let mut piece = Piece::joined(&narrow.paragraph(&rich(&words, SMALL), 0.0));
    let y = piece.height.max(16.0) + 1.0;
    piece.items = piece.items.iter().map(|i| i.moved((0.0, y - 2.0 - piece.height))).collect();
    piece.items.push(Item::Rule { from: (0.0, y), to: (narrow.width, y), width: 0.6, colour: INK });
    piece.height = y;
    piece
}

/// Boxes to be filled in.
pub fn boxes(setting: &Setting<'_>, boxes: &Boxes) -> Vec<Piece> {
    let set = &setting.set;
    let (first, others) = boxes.all.split_at(usize::from(boxes.first_alone).min(boxes.all.len()));
    let rows = first.chunks(1).chain(others.chunks(2));
    rows.map(|row| two_columns(set, row.iter().map(|one| entry(set, one, boxes.unit))).before(2.0)).collect()
}

fn entry(set: &Setter<'_>, entry: &Entry, unit: &str) -> Piece {
    let words = Setter { width: column_width(set) - BOX_WIDTH - 8.0, ..*set };
    let mut name = entry.place.clone();
    if !entry.expected.is_empty() {
        name = name.and(format!(": {}", entry.expected.letters()), Tone::Strong);
    }
    let mut left = words.paragraph(&rich(&name, ROW), 0.0);
    left.extend(words.paragraph(&rich(&(&entry.id).into(), TINY), 0.0));
    let left = Piece::joined(&left);
    let from = column_width(set) - BOX_WIDTH;
    let unit = set.fonts.shown(if entry.computed { "computed" } else { unit });
    let wide = set.fonts.width(&unit, false, TINY.size);
    let mut items = left.items.clone();
    if !entry.computed {
        items.push(Item::Frame { at: (from, 1.0), size: (BOX_WIDTH, BOX.0), width: 0.8 });
    }
    items.push(Item::Text { at: (from + BOX_WIDTH - wide - 4.0, BOX.0 - 3.0), text: unit, style: TINY });
    Piece { height: left.height.max(BOX.0 + BOX.1), items, ..Piece::default() }
}

fn column_width(set: &Setter<'_>) -> f32 {
    (set.width - GUTTER) / 2.0
}

fn two_columns(set: &Setter<'_>, cells: impl Iterator<Item = Piece>) -> Piece {
    let step = column_width(set) + GUTTER;
    let columns: Vec<(f32, Piece)> = cells.enumerate().map(|(k, cell)| (k as f32 * step, cell)).collect();
    beside(&columns)
}
