//! Headings, paragraphs, lists, framed blocks: text as pieces of a column. It does not know what it says.

use super::colour::{FAINT, INK};
use super::element::Role;
use super::fonts::{Fonts, LINE};
use super::picture::Picture;
use super::piece::{Item, Piece, keep_together};
use super::rich::{Line, Rich, Style};
use super::tags::within;

/// Plain text.
pub const BODY: Style = Style::new(9.3);
/// Notes, captions, what stands in columns.
pub const SMALL: Style = Style::new(8.2);
/// Everything on a page that must hold all.
pub const QUIET: Style = Style::new(7.8);
const HEADING: Style = Style::new(12.0).bold();
const SUB: Style = Style::new(9.6).bold();

/// Sets text into a column.
#[derive(Clone, Copy)]
pub struct Setter<'f> {
    /// The faces.
    pub fonts: &'f Fonts,
    /// Width of the column, points.
    pub width: f32,
}

impl Setter<'_> {
    /// The heading of a section, with a rule below.
    pub fn heading(&self, text: &str) -> Vec<Piece> {
        let title = within(Role::H2, self.paragraph(&Rich::new(text, HEADING), 0.0));
        let mut whole = Piece::joined(&title).before(17.0);
        let y = whole.height + 2.0;
        whole.items.push(Item::Rule { from: (0.0, y), to: (self.width, y), width: 1.1, colour: INK });
        whole.height = y + 5.0;
        whole.keep = true;
        vec![whole]
    }

    /// A heading within a section, or one of as little weight that stands in none.
    pub fn sub(&self, text: &str, role: Role) -> Vec<Piece> {
        let title = within(role, self.paragraph(&Rich::new(text, SUB), 0.0));
        let mut whole = Piece::joined(&title).before(10.0);
        whole.height += 2.5;
        whole.keep = true;
        vec![whole]
    }

    /// A paragraph with room above it. Neither its first nor its last line stands alone on a page.
    pub fn paragraph(&self, text: &Rich, before: f32) -> Vec<Piece> {
        let lines = text.lines(self.fonts, self.width);
        let mut pieces: Vec<Piece> = lines.iter().map(|line| line_piece(line, 0.0)).collect();
        let count = pieces.len();
        for (k, piece) in pieces.iter_mut().enumerate() {
            piece.keep = k + 1 < count && (k == 0 || k + 2 >= count);
        }
        if let Some(first) = pieces.first_mut() {
            first.before = before;
        }
        pieces
    }

    /// The same, `by` points to the right; what is in `mark` stands left of its first line.
    pub fn hanging(&self, mark: &str, style: Style, by: f32, text: &Rich, before: f32) -> Vec<Piece> {
        let narrow = Setter { width: self.width - by, ..*self };
        let mut pieces: Vec<Piece> = narrow.paragraph(text, before).iter().map(|p| p.indented(by)).collect();
        if let Some(first) = pieces.first_mut()
            && let Some(line) = Rich::new(mark, style).lines(self.fonts, self.width).first()
        {
            first.items.splice(0..0, line.items((0.0, 0.0)));
        }
        pieces
    }

    /// A name, so many points wide, and its text.
    pub fn fact_beside(&self, name: &str, text: &Rich, left: f32, style: Style) -> Vec<Piece> {
        let names = Rich::new(name, style.colour(FAINT)).lines(self.fonts, left - 10.0);
        let texts = text.lines(self.fonts, self.width - left);
        let rows = names.len().max(texts.len());
        let height = style.size * LINE;
        let line = |k: usize| {
            let items = texts.get(k).map_or(Vec::new(), |line| line.items((left, 0.0)));
            // Lines of the name stay together, and so do short texts.
            Piece {
                height,
                items,
                keep: k + 1 < names.len() || rows <= 6 && k + 1 < rows,
                ..Piece::default()
            }
        };
        let mut pieces: Vec<Piece> = (0..rows).map(line).collect();
        if let Some(first) = pieces.first_mut() {
            // The name is drawn whole before the text, so that a reader of the file finds it together.
            let name = names.iter().enumerate().flat_map(|(k, line)| line.items((0.0, k as f32 * height)));
            let items: Vec<Item> = name.chain(first.items.iter().cloned()).collect();
            first.items = items;
        }
        if let Some(first) = pieces.first_mut() {
            first.before = 2.0;
        }
        pieces
    }

    /// A frame around pieces that are made by `inside` for the width within; it is not broken.
    pub fn framed(&self, line: f32, padding: f32, inside: impl FnOnce(&Self) -> Vec<Piece>) -> Piece {
        let narrow = Setter { width: self.width - 2.0 * padding, ..*self };
        let whole = Piece::joined(&inside(&narrow));
        let height = whole.height + 2.0 * padding;
        let half = line / 2.0;
        let frame = Item::Frame { at: (half, half), size: (self.width - line, height - line), width: line };
        let items = whole.items.iter().map(|i| i.moved((padding, padding)));
        Piece { height, items: std::iter::once(frame).chain(items).collect(), ..Piece::default() }
    }

    /// A picture under its title, over its caption; they stay together.
    pub fn figure(&self, title: &str, picture: &Picture, low: Option<&Picture>, caption: &str) -> Vec<Piece> {
        let drawn = |picture: &Picture| Piece {
            height: picture.height(self.width),
            before: 3.0,
            items: vec![picture.figure((0.0, 0.0), self.width)],
            ..Piece::default()
        };
        let mut pieces = within(Role::H3, self.paragraph(&Rich::new(title, SUB), 11.0));
        pieces.push(Piece { low: low.map(drawn).map(Box::new), ..drawn(picture) });
        pieces.extend(within(Role::P, self.paragraph(&Rich::new(caption, SMALL.colour(FAINT)), 2.0)));
        keep_together(&mut pieces);
        pieces
    }
}

/// A line as a piece, `by` points to the right.
pub fn line_piece(line: &Line, by: f32) -> Piece {
    Piece { height: line.height(), items: line.items((by, 0.0)), ..Piece::default() }
}

/// Pieces side by side: each at its distance from the left; as high as the highest.
pub fn beside(columns: &[(f32, Piece)]) -> Piece {
    let height = columns.iter().map(|(_, p)| p.height).fold(0.0, f32::max);
    let items = columns.iter().flat_map(|(x, p)| p.items.iter().map(|i| i.moved((*x, 0.0)))).collect();
    Piece { height, items, ..Piece::default() }
}
