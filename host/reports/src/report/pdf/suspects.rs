//! Suspects on paper: one block each, which no page end cuts.

use super::blocks::{BODY, SMALL, Setter};
use super::colour::{FAINT, INK};
use super::piece::{Item, Piece, keep_together};
use super::rich::{Rich, Style};
use crate::report::suspects::SuspectRow;
use crate::report::text::capital;

/// What the numbers mean; the page says the same.
const READING: &str = "Causes that fit, most likely first. Numbers before a reason are its weight: +2.3 makes the odds ten times as high. Tied: less than \
     twice as likely one way or the other.";

/// Every suspect; nothing when there is none.
pub fn suspects(set: &Setter<'_>, rows: &[SuspectRow]) -> Vec<Piece> {
    if rows.is_empty() {
        return Vec::new();
    }
    let mut pieces = set.paragraph(&Rich::new(READING, SMALL.colour(FAINT)), 0.0);
    pieces.iter_mut().for_each(|p| p.keep = true);
    for row in rows {
        let mut block = set.paragraph(&Rich::new(capital(&row.heading), Style::new(10.0).bold()), 0.0);
        for line in &row.lines {
            let text = Rich::new(format!("{}: ", line.name), SMALL.bold()).and(line.text.clone(), SMALL);
            block.extend(set.paragraph(&text, 1.5));
        }
        block.push(marked(set, "Next check: ", &row.next_check));
        keep_together(&mut block);
        if let Some(first) = block.first_mut() {
            first.before = 8.0;
        }
        pieces.extend(block);
    }
    pieces
}

/// What to do, with a rule at its left.
pub fn marked(set: &Setter<'_>, name: &str, text: &str) -> Piece {
    let narrow = Setter { width: set.width - 9.0, ..*set };
    let rich = Rich::new(name, BODY.bold()).and(text, BODY);
    let mut piece = Piece::joined(&narrow.paragraph(&rich, 0.0)).indented(9.0).before(3.5);
    piece.items.push(Item::Rule { from: (1.0, 0.0), to: (1.0, piece.height), width: 2.0, colour: INK });
    piece
}
