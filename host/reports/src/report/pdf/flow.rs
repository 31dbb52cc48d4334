//! Pieces onto pages: in order, kept together where they ask for it, heads of tables repeated, pictures in their low editions where that
//! fills a page. It does not know what they say.

use super::piece::{Item, Piece};

/// Where pieces stand on a page; points.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Column {
    /// Top left corner.
    pub at: (f32, f32),
    /// Height.
    pub height: f32,
}

/// What each page shows, page by page; at least one.
pub fn pages(pieces: &[Piece], column: Column) -> Vec<Vec<Item>> {
    let mut flow = Flow { column, pages: vec![Vec::new()], used: 0.0 };
    let mut rest = pieces;
    while !rest.is_empty() {
        let (group, after) = rest.split_at(first_group(rest));
        if flow.gains_by_lowering(rest) {
            flow.place(&group.iter().map(Piece::lowered).collect::<Vec<_>>());
        } else {
            flow.place(group);
        }
        rest = after;
    }
    flow.pages
}

/// How many pieces at the beginning belong together.
fn first_group(pieces: &[Piece]) -> usize {
    pieces.iter().position(|p| !p.keep).map_or(pieces.len(), |k| k + 1)
}

struct Flow {
    column: Column,
    pages: Vec<Vec<Item>>,
    used: f32,
}

impl Flow {
    /// Pieces that belong together: on this page if they fit, on the next if they fit there, and else piece by piece.
    fn place(&mut self, group: &[Piece]) {
        let height = |first: f32| -> f32 {
            let mut all = first;
            for (k, piece) in group.iter().enumerate() {
                all += piece.height + if k > 0 || first > 0.0 { piece.before } else { 0.0 };
            }
            all
        };
        let head = group.first().and_then(|p| p.head.as_ref()).map_or(0.0, |h| h.height);
        let fits_here = height(self.used) <= self.column.height;
        let fits_alone = height(0.0) + head <= self.column.height;
        if !fits_here && fits_alone {
            self.turn();
        }
        for piece in group {
            self.put(piece);
        }
    }

    /// Whether more of the pictures at the beginning of `rest` fit onto this page in their low editions than as they are.
    fn gains_by_lowering(&self, rest: &[Piece]) -> bool {
        let (mut high, mut low) = (self.used, self.used);
        let (mut high_fit, mut rest) = (true, rest);
        while !rest.is_empty() {
            let (group, after) = rest.split_at(first_group(rest));
            if group.iter().all(|piece| piece.low.is_none()) {
                return false;
            }
            for piece in group {
                high += piece.height + if high > 0.0 { piece.before } else { 0.0 };
                low += piece.lowered().height + if low > 0.0 { piece.before } else { 0.0 };
            }
            high_fit &= high <= self.column.height;
            if low > self.column.height {
                return false;
            }
            if !high_fit {
                return true;
            }
            rest = after;
        }
        false
    }

    fn put(&mut self, piece: &Piece) {
        let before = if self.used > 0.0 { piece.before } else { 0.0 };
        if self.used > 0.0 && self.used + before + piece.height > self.column.height {
            self.turn();
        }
        if self.used == 0.0 {
            if let Some(head) = &piece.head {
                self.draw(&head.bare());
            }
        } else {
            self.used += before;
        }
        self.draw(piece);
    }

    fn draw(&mut self, piece: &Piece) {
        let by = (self.column.at.0, self.column.at.1 + self.used);
        if let Some(page) = self.pages.last_mut() {
            page.extend(piece.items.iter().map(|i| i.moved(by)));
        }
        self.used += piece.height;
    }

    fn turn(&mut self) {
        self.pages.push(Vec::new());
        self.used = 0.0;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::pdf::rich::Style;
    use std::rc::Rc;

    fn piece(text: &str, height: f32, keep: bool) -> Piece {
        let item = Item::Text { at: (0.0, 0.0), text: text.to_owned(), style: Style::new(9.0) };
        Piece { height, keep, items: vec![item], ..Piece::default() }
    }

    #[track_caller]
    fn check(pieces: &[Piece], expected: &[&[&str]]) {
        let texts = |page: Vec<Item>| -> Vec<String> {
            page.into_iter()
                .filter_map(|i| if let Item::Text { text, .. } = i { Some(text) } else { None })
                .collect()
        };
        let shown: Vec<Vec<String>> =
            pages(pieces, Column { at: (0.0, 0.0), height: 100.0 }).into_iter().map(texts).collect();
        assert_eq!(shown, expected);
    }

    #[test]
    fn what_does_not_fit_goes_to_the_next_page_and_takes_its_heading_along() {
        let pieces = [piece("a", 60.0, false), piece("heading", 20.0, true), piece("b", 30.0, false)];
        check(&pieces, &[&["a"], &["heading", "b"]]);
    }

    #[test]
    fn what_is_too_long_to_stay_together_is_broken_and_nothing_is_lost() {
        let pieces = [piece("a", 50.0, true), piece("b", 50.0, true), piece("c", 50.0, false)];
        check(&pieces, &[&["a", "b"], &["c"]]);
        check(
            &[piece("higher than a page", 500.0, false), piece("b", 1.0, false)],
            &[&["higher than a page"], &["b"]],
        );
    }

    #[test]
    fn the_head_of_a_table_is_repeated_on_every_page_and_only_there() {
        let head = Rc::new(piece("head", 10.0, true));
        let row = |name| Piece { head: Some(Rc::clone(&head)), ..piece(name, 40.0, false) };
        let pieces = [(*head).clone(), row("1"), row("2"), row("3"), piece("after", 40.0, false)];
        check(&pieces, &[&["head", "1", "2"], &["head", "3", "after"]]);
    }

    #[test]
    fn pictures_are_lowered_only_where_one_more_then_fits_on_the_page() {
        let low = |name: &str| Some(Box::new(piece(&format!("{name} low"), 30.0, false)));
        let picture = |name: &str| Piece { low: low(name), ..piece(name, 45.0, false) };
        // Two fit as they are and three lowered; of four the last stands alone as it is.
        check(&["a", "b"].map(picture), &[&["a", "b"]]);
        check(&["a", "b", "c"].map(picture), &[&["a low", "b low", "c low"]]);
        // No more fit: as they are.
        let high = |name: &str| Piece { low: low(name), ..piece(name, 80.0, false) };
        let [a, b] = ["a", "b"].map(high);
        check(&[piece("text", 60.0, false), a, b], &[&["text", "a low"], &["b"]]);
        check(&[piece("text", 80.0, false), picture("a")], &[&["text"], &["a"]]);
    }

    #[test]
    fn a_document_of_nothing_has_a_page() {
        check(&[], &[&[]]);
    }
}
