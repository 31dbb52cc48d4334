//! Pieces as parts of elements. Lines and frames belong to none; neither do heads and feet of pages and heads of tables that are repeated.

use super::element::{Element, Role};
use super::piece::{Item, Piece};
use std::rc::Rc;

/// Pieces as one element of a role, however many pages they spread over.
pub fn within(role: Role, pieces: Vec<Piece>) -> Vec<Piece> {
    as_part_of(&Element::new(role), pieces)
}

/// Pieces as parts of an element.
pub fn as_part_of(element: &Rc<Element>, pieces: Vec<Piece>) -> Vec<Piece> {
    pieces
        .into_iter()
        .map(|piece| Piece { items: vec![Item::within(element, piece.items)], ..piece })
        .collect()
}

/// Text that is part of nothing becomes a paragraph.
pub fn covered(pieces: Vec<Piece>) -> Vec<Piece> {
    let paragraph = Element::new(Role::P);
    let cover = |item: Item| match item {
        Item::Text { .. } => Item::within(&paragraph, vec![item]),
        other => other,
    };
    pieces
        .into_iter()
        .map(|piece| Piece { items: piece.items.into_iter().map(cover).collect(), ..piece })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn text_that_nobody_named_is_a_paragraph_and_what_was_named_stays() {
        let text = |text: &str| Item::Text {
            at: (0.0, 0.0),
            text: text.to_owned(),
            style: super::super::rich::Style::new(9.0),
        };
        let heading = Item::within(&Element::new(Role::H2), vec![text("a")]);
        let piece = Piece { items: vec![heading, text("b")], ..Piece::default() };
        let roles: Vec<Role> = covered(vec![piece])[0]
            .items
            .iter()
            .map(|item| if let Item::Within { element, .. } = item { element.role } else { panic!("bare") })
            .collect();
        assert_eq!(roles, [Role::H2, Role::P]);
    }
}
