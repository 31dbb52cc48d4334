//! Pages as a file: items become operators of PDF. Nothing in it depends on when or where it is made.

use super::PdfError;
use super::brush::{Brush, Letters, Paint, Pen};
use super::colour::INK;
use super::element::{Element, Role, Tree};
use super::file::{Labels, file};
use super::fonts::Fonts;
use super::piece::Image;
use super::piece::Item;
use super::shared::Shared;
use super::{drawing, plot};
use crate::report::Paper;
use usvg::Transform;

/// The file.
///
/// # Errors
/// The program's own font is damaged.
pub fn draw(fonts: &Fonts, paper: Paper, pages: &[Vec<Item>], labels: &Labels) -> Result<Vec<u8>, PdfError> {
    let size = paper.points();
    let (mut shared, mut tree) = (Shared::default(), Tree::default());
    let document = tree.place(&Element::new(Role::Document), None);
    let contents: Vec<Vec<u8>> =
        pages.iter().map(|items| page(fonts, &mut shared, &mut tree, document, size.1, items)).collect();
    file(fonts, size, &contents, &shared, &tree, labels)
}

/// The operators of a page.
fn page(
    fonts: &Fonts,
    shared: &mut Shared,
    tree: &mut Tree,
    document: usize,
    height: f32,
    items: &[Item],
) -> Vec<u8> {
    tree.begin_page();
    let mut marking = Marking { brush: Brush::new(fonts, shared, height), tree, open: None };
    items.iter().for_each(|item| marking.draw(item, document));
    marking.close();
    marking.brush.finish()
}

/// Draws items, each marked as part of its element.
struct Marking<'a, 'b> {
    brush: Brush<'a>,
    tree: &'b mut Tree,
    /// Whose stretch is open: an element's, or that of what is part of none.
    open: Option<Option<usize>>,
}

impl Marking<'_, '_> {
    fn draw(&mut self, item: &Item, around: usize) {
        if let Item::Within { element, items } = item {
            let place = self.tree.place(element, Some(around));
            items.iter().for_each(|item| self.draw(item, place));
            return;
        }
        let role = self.tree.nodes[around].element.role;
        let owner = match item {
            Item::Text { .. } => role != Role::Document,
            Item::Picture { .. } | Item::Pixels { .. } => role == Role::Figure,
            _ => false,
        };
        self.turn_to(owner.then_some(around));
        draw_item(&mut self.brush, item);
    }

    fn turn_to(&mut self, owner: Option<usize>) {
        if self.open == Some(owner) {
            return;
        }
        self.close();
        let part = owner.map(|place| (self.tree.nodes[place].element.role, self.tree.mark(place)));
        self.brush.begin_marked(part);
        self.open = Some(owner);
    }

    fn close(&mut self) {
        if self.open.take().is_some() {
            self.brush.end_marked();
        }
    }
}

fn draw_item(brush: &mut Brush<'_>, item: &Item) {
    match item {
        Item::Text { at, text, style } => {
            let letters = Letters { size: style.size, bold: style.bold, colour: style.colour, upward: false };
            brush.text(text, *at, letters);
        }
        Item::Rule { from, to, width, colour } => {
            brush.stroke_with(&Paint::Solid(*colour), Pen::solid(*width));
            brush.through(&[*from, *to]);
            brush.stroke();
        }
        Item::Frame { at, size, width } => {
            brush.stroke_with(&Paint::Solid(INK), Pen::solid(*width));
            brush.rect(*at, *size);
            brush.stroke();
        }
        Item::Picture { at, size, image } => brush.apart(|brush| {
            let (width, height) = image.size();
            let (x, y) = (size.0 / width, size.1 / height);
            brush.transform(Transform::from_row(x, 0.0, 0.0, y, at.0, at.1));
            match image {
                Image::Plot(picture) => plot::draw(brush, picture),
                Image::Drawing(tree) => drawing::draw(brush, tree),
            }
        }),
        Item::Pixels { at, size, image } => brush.image(image, *at, *size),
        Item::Within { items, .. } => items.iter().for_each(|item| draw_item(brush, item)),
    }
}
