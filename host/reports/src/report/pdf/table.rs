//! Tables: a head that is repeated on every page, rows that stay whole where they can. It does not know what they say.

use super::blocks::Setter;
use super::colour::{HAIR, INK, RULE};
use super::element::{Element, Role, Scope};
use super::fonts::Fonts;
use super::picture::Picture;
use super::piece::{Item, Piece};
use super::rich::{Line, Rich};
use super::tags::within;
use std::rc::Rc;

/// Room above and below the text of a cell, points.
const PADDING: f32 = 2.6;
/// Room between columns, points.
pub const GUTTER: f32 = 8.0;
/// A row higher than so many points is broken between its lines.
const HIGHEST_ROW: f32 = 220.0;
/// Size of a sign before a word, and the room that it takes, points.
pub const SIGN: (f32, f32) = (8.4, 11.5);

/// Paragraphs of a cell, each with a sign before it or none.
#[derive(Clone, Debug, Default)]
pub struct Cell(pub Vec<(Option<Picture>, Rich)>);

impl Cell {
    /// One paragraph.
    pub fn text(text: Rich) -> Self {
        Self(vec![(None, text)])
    }
}

/// One row.
#[derive(Clone, Debug, Default)]
pub struct Row {
    /// A cell for each column.
    pub cells: Vec<Cell>,
    /// Whether a stronger rule stands above it.
    pub begins: bool,
    /// Whether it stays with the next one.
    pub keep: bool,
    /// A sentence below it, over all columns.
    pub note: Option<Rich>,
}

/// Shares of the width for each column; they add up to 1.
pub type Shares<'a> = &'a [f32];

/// The table as pieces.
pub fn table(set: &Setter<'_>, shares: Shares<'_>, head: Vec<Rich>, rows: &[Row]) -> Vec<Piece> {
    let columns = columns(set.width, shares);
    let head: Vec<Cell> = head.into_iter().map(Cell::text).collect();
    let heads = head.iter().map(|_| Element::head(Scope::Column)).collect::<Vec<_>>();
    let mut head = joined(&lay(set.fonts, &columns, &head), &heads);
    head.items = vec![Item::within(&Element::new(Role::TR), head.items)];
    head.items.push(Item::Rule {
        from: (0.0, head.height),
        to: (set.width, head.height),
        width: 0.9,
        colour: INK,
    });
    head.keep = true;
    let head = Rc::new(head);
    let mut pieces = vec![(*head).clone()];
    for (k, row) in rows.iter().enumerate() {
        pieces.extend(row_pieces(set, &columns, row, k == 0, &head));
    }
    if let Some(last) = pieces.last_mut() {
        last.items.push(Item::Rule {
            from: (0.0, last.height),
            to: (set.width, last.height),
            width: 0.6,
            colour: RULE,
        });
        last.keep = false;
    }
    within(Role::Table, pieces)
}

/// Beginning and width of each column.
fn columns(width: f32, shares: Shares<'_>) -> Vec<(f32, f32)> {
    let mut x = 0.0;
    let place = |share: &f32| {
        let from = x;
        x += share * width;
        (from, share * width - GUTTER)
    };
    shares.iter().map(place).collect()
}

/// A line of a cell: where it begins, its sign, itself.
struct Laid {
    x: f32,
    sign: Option<Picture>,
    line: Line,
}

impl Laid {
    fn items(&self, y: f32) -> Vec<Item> {
        let indent = if self.sign.is_some() { SIGN.1 } else { 0.0 };
        let mut items = self.line.items((self.x + indent, y));
        if let Some(sign) = &self.sign {
            items.push(sign.item((self.x, y + (self.line.height() - SIGN.0) / 2.0), SIGN.0));
        }
        items
    }
}

/// Lines of each cell.
fn lay(fonts: &Fonts, columns: &[(f32, f32)], cells: &[Cell]) -> Vec<Vec<Laid>> {
    let lay_cell = |((x, width), cell): (&(f32, f32), &Cell)| {
        let paragraphs = cell.0.iter().flat_map(|(sign, text)| {
            let room = if sign.is_some() { width - SIGN.1 } else { *width };
            let lines = text.lines(fonts, room).into_iter().enumerate();
            lines.map(|(k, line)| Laid { x: *x, sign: sign.clone().filter(|_| k == 0), line })
        });
        paragraphs.collect()
    };
    columns.iter().zip(cells).map(lay_cell).collect()
}

/// Cells as one piece; each is drawn whole before the next, so that a reader of the file finds its text together.
fn joined(cells: &[Vec<Laid>], elements: &[Rc<Element>]) -> Piece {
    let mut whole = Piece::default();
    for (cell, element) in cells.iter().zip(elements) {
        let mut y = PADDING;
        let mut items = Vec::new();
        for laid in cell {
            items.extend(laid.items(y));
            y += laid.line.height();
        }
        whole.items.push(Item::within(element, items));
        whole.height = whole.height.max(y + PADDING);
    }
    whole
}

fn row_pieces(
    set: &Setter<'_>,
    columns: &[(f32, f32)],
    row: &Row,
    first: bool,
    head: &Rc<Piece>,
) -> Vec<Piece> {
    let cells = lay(set.fonts, columns, &row.cells);
    let elements: Vec<Rc<Element>> = (0..cells.len())
        .map(|k| if k == 0 { Element::head(Scope::Row) } else { Element::new(Role::TD) })
        .collect();
    let whole = joined(&cells, &elements);
    let pieces = if whole.height <= HIGHEST_ROW { vec![whole] } else { broken(&cells, &elements) };
    let mut pieces = within(Role::TR, pieces);
    if let Some(note) = &row.note {
        pieces.iter_mut().for_each(|piece| piece.keep = true);
        pieces.extend(within(Role::TR, within(Role::TD, set.paragraph(note, 0.0))));
        if let Some(last) = pieces.last_mut() {
            last.height += PADDING;
        }
    }
    for piece in &mut pieces {
        piece.head = Some(Rc::clone(head));
    }
    if let Some(piece) = pieces.first_mut().filter(|_| !first) {
        let (width, colour) = if row.begins { (0.6, RULE) } else { (0.5, HAIR) };
        piece.items.push(Item::Rule { from: (0.0, 0.0), to: (set.width, 0.0), width, colour });
    }
    if let Some(last) = pieces.last_mut() {
        last.keep = row.keep;
    }
    pieces
}

/// A piece per line.
fn broken(cells: &[Vec<Laid>], elements: &[Rc<Element>]) -> Vec<Piece> {
    let rows = cells.iter().map(Vec::len).max().unwrap_or_default();
    let line = |k: usize| {
        let mut piece = Piece::default();
        for (cell, element) in cells.iter().zip(elements) {
            let Some(laid) = cell.get(k) else { continue };
            piece.items.push(Item::within(element, laid.items(PADDING * 0.5)));
            piece.height = piece.height.max(laid.line.height() + PADDING * 0.5);
        }
        piece
    };
    (0..rows).map(line).collect()
}
