//! The form that is filled in at the vehicle, on paper: what is done, what is expected, a box for each line.

use super::blocks::{SMALL, Setter, beside};
use super::colour::{FAINT, INK};
use super::piece::{Item, Piece, keep_together};
use super::report::letterhead;
use super::rich::{Rich, Style};
use crate::report::letterhead::Letterhead;
use crate::report::text::{LABEL, plain};
use crate::report::vehicle::{Basis, Group, VehicleInput, groups};
use crate::vehicle::CAUTIONS;

/// Height of a box and the room below it, points: a hand at a vehicle needs it.
const BOX: (f32, f32) = (19.0, 4.0);
/// Width of a box, points.
const BOX_WIDTH: f32 = 112.0;
/// Room between the two columns, points.
const GUTTER: f32 = 18.0;
const TINY: Style = Style::new(6.2).colour(FAINT);
const ROW: Style = Style::new(8.6);

/// Everything, in order.
pub fn content(input: &VehicleInput<'_>, set: &Setter<'_>) -> Vec<Piece> {
    let mut pieces: Vec<Piece> =
        input.shop.and_then(Letterhead::of).map(|s| letterhead(set, &s)).into_iter().collect();
    let title = format!("Vehicle checks before a part is pulled: {}", input.check.kind.name());
    pieces.extend(set.paragraph(&Rich::new(title, Style::new(15.0).bold()), 0.0));
    pieces.extend(blanks(set, input));
    pieces.push(set.framed(1.0, 6.0, |inside| inside.list(&CAUTIONS.map(str::to_owned), SMALL)).before(8.0));
    for group in groups(input.check) {
        pieces.extend(group_pieces(set, &group));
    }
    pieces.extend(rests_on(set, &Basis::of(input.check)));
    pieces
}

/// What everything rests on.
pub fn rests_on(set: &Setter<'_>, basis: &Basis) -> Vec<Piece> {
    let all = [basis.wires.clone(), vec![basis.meter.clone()], basis.sources.clone()].concat();
    [set.heading("Rests on"), set.list(&all, Style::new(7.4))].concat()
}

/// Lines to be written on.
fn blanks(set: &Setter<'_>, input: &VehicleInput<'_>) -> Vec<Piece> {
    let known =
        |name: &str, text: Option<&str>| format!("{name}: {}", plain(text.unwrap_or_default(), LABEL));
    let (case, vehicle) = (known("case", input.case), known("vehicle", input.vehicle));
    let rows = [
        [case.as_str(), "date and time:"],
        [vehicle.as_str(), "checked by:"],
        ["meter:", "probes held together, Ω:"],
    ];
    rows.iter().map(|row| two_columns(set, row.iter().map(|words| blank(set, words))).before(3.0)).collect()
}

fn column_width(set: &Setter<'_>) -> f32 {
    (set.width - GUTTER) / 2.0
}

fn two_columns(set: &Setter<'_>, cells: impl Iterator<Item = Piece>) -> Piece {
    let step = column_width(set) + GUTTER;
    let columns: Vec<(f32, Piece)> = cells.enumerate().map(|(k, cell)| (k as f32 * step, cell)).collect();
    beside(&columns)
}

fn blank(set: &Setter<'_>, words: &str) -> Piece {
    let narrow = Setter { width: column_width(set), ..*set };
    let mut piece = Piece::joined(&narrow.paragraph(&Rich::new(words, SMALL), 0.0));
    let y = piece.height.max(16.0) + 1.0;
    piece.items = piece.items.iter().map(|i| i.moved((0.0, y - 2.0 - piece.height))).collect();
    piece.items.push(Item::Rule { from: (0.0, y), to: (narrow.width, y), width: 0.6, colour: INK });
    piece.height = y;
    piece
}

fn group_pieces(set: &Setter<'_>, group: &Group) -> Vec<Piece> {
    let mut pieces = set.sub(&group.title);
    let mut how = Rich::new(group.instruction, SMALL.colour(FAINT));
    if !group.expected.is_empty() {
        how = how.and(format!(" Expected: {}.", group.expected), SMALL.bold());
    }
    pieces.extend(set.paragraph(&how, 0.0));
    let cells: Vec<Piece> = group
        .rows
        .iter()
        .filter(|r| !r.computed)
        .map(|row| {
            let expected = if group.expected.is_empty() { row.expected.as_str() } else { "" };
            cell(set, &row.place, &row.id, expected, group.unit)
        })
        .collect();
    // A supply stands alone, so that both signals of one opening stand side by side.
    let alone = if cells.len() % 2 == 1 && group.unit == "V" { 1 } else { 0 };
    let (first, others) = cells.split_at(alone);
    for pair in first.chunks(1).chain(others.chunks(2)) {
        pieces.push(two_columns(set, pair.iter().cloned()).before(2.0));
    }
    keep_together(&mut pieces);
    pieces
}

fn cell(set: &Setter<'_>, place: &str, id: &str, expected: &str, unit: &str) -> Piece {
    let words = Setter { width: column_width(set) - BOX_WIDTH - 8.0, ..*set };
    let mut name = Rich::new(place, ROW);
    if !expected.is_empty() {
        name = name.and(format!(": {expected}"), ROW.bold());
    }
    let mut left = words.paragraph(&name, 0.0);
    left.extend(words.paragraph(&Rich::new(id, TINY), 0.0));
    let left = Piece::joined(&left);
    let from = column_width(set) - BOX_WIDTH;
    let wide = set.fonts.width(unit, false, TINY.size);
    let mut items = left.items.clone();
    items.push(Item::Frame { at: (from, 1.0), size: (BOX_WIDTH, BOX.0), width: 0.8 });
    items.push(Item::Text {
        at: (from + BOX_WIDTH - wide - 4.0, BOX.0 - 3.0),
        text: set.fonts.shown(unit),
        style: TINY,
    });
    Piece { height: left.height.max(BOX.0 + BOX.1), items, ..Piece::default() }
}
