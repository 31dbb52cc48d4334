//! A document as PDF. It returns bytes: the same for the same document. It chooses no words; it does not write, ask the time, or judge.
//!
//! - `fonts`: which characters there are and how wide they are.
//! - `rich`: text in lines.
//! - `piece`: what is not broken.
//! - `blocks`: headings, paragraphs, lists.
//! - `table`: rows and their cells.
//! - `colour`: colours.
//! - `picture`: vector pictures, signs, logos.
//! - `plot`, `hatch`: pictures of the program's own.
//! - `drawing`: what an SVG draws.
//! - `flow`: pieces onto pages.
//! - `frame`: head and foot of each page.
//! - `draw`: pages.
//! - `brush`: operators of a page.
//! - `shared`: what pages share.
//! - `file`, `typeface`: objects of the file.
//! - `setting`: a document's text in a column. `render`: its blocks, in order.
//! - `callouts`: what stands out of the text.
//! - `tables`: a document's tables.
//! - `forms`: what is filled in by hand.
//! - `element`, `tags`: what each stretch is, for readers that speak the file.

mod blocks;
mod brush;
mod callouts;
pub mod colour;
mod draw;
mod drawing;
mod element;
mod file;
mod flow;
mod fonts;
mod forms;
mod frame;
mod hatch;
mod picture;
mod piece;
mod plot;
mod render;
mod rich;
mod setting;
mod shared;
mod table;
mod tables;
mod tags;
mod typeface;

use super::Paper;
use super::document::{Block, Document, Layout};

use blocks::Setter;
use draw::draw;
use file::Labels;
use fonts::Fonts;
use frame::Frame;
use picture::Signs;
use piece::{Item, Piece};
use setting::Setting;

/// Why there is no document.
#[derive(Debug, thiserror::Error)]
pub enum PdfError {
    /// The embedded font is damaged.
    #[error("the font that the program brings can't be read; build or install the program anew")]
    Font,
    /// A picture that the program drew itself can't be read back.
    #[error("a picture of the document can't be drawn ({0}); take the HTML report, and report this")]
    Picture(#[from] usvg::Error),
}

/// The document as PDF.
///
/// # Errors
/// The program's own font or pictures are damaged; nothing in a document makes it fail.
pub fn pdf(document: &Document, paper: Paper) -> Result<Vec<u8>, PdfError> {
    let fonts = Fonts::load()?;
    let labels = Labels { title: document.title.clone(), sealed: document.sealing().is_some() };
    draw(&fonts, paper, &pages(&fonts, document, paper)?, &labels)
}

/// What every page shows, its head and foot last.
fn pages(fonts: &Fonts, document: &Document, paper: Paper) -> Result<Vec<Vec<Item>>, PdfError> {
    let frame = Frame::of(document, paper);
    let pieces = pieces(fonts, document, &frame)?;
    let mut pages = flow::pages(&pieces, frame.column());
    let total = pages.len();
    for (k, page) in pages.iter_mut().enumerate() {
        page.extend(frame.items(fonts, k + 1, total));
    }
    Ok(pages)
}

/// What the document says, piece by piece; for a single page the fullest edition that is no higher than the page.
fn pieces(fonts: &Fonts, document: &Document, frame: &Frame) -> Result<Vec<Piece>, PdfError> {
    let signs = Signs::new()?;
    let set = Setter { fonts, width: frame.width() };
    let titled = document.blocks.iter().any(|block| matches!(block, Block::Title(_)));
    let setting = Setting { set, signs: &signs, layout: document.layout, titled };
    if document.layout != Layout::OnePage {
        return setting.blocks(&document.blocks);
    }
    let mut page = Piece::default();
    for blocks in std::iter::once(&document.blocks).chain(&document.shorter) {
        page = Piece::joined(&setting.blocks(blocks)?);
        if page.height <= frame.column().height {
            break;
        }
    }
    Ok(vec![page])
}

/// What stands on paper, without head and foot of the pages, in the order in which it is drawn.
#[cfg(test)]
pub fn pdf_texts(document: &Document, paper: Paper) -> Vec<String> {
    let fonts = Fonts::load().expect("the font is whole");
    let pieces = pieces(&fonts, document, &Frame::of(document, paper)).expect("pictures can be drawn");
    let items = pieces.iter().flat_map(|piece| &piece.items).flat_map(Item::leaves);
    items.filter_map(|i| if let Item::Text { text, .. } = i { Some(text.clone()) } else { None }).collect()
}

/// How many pictures stand on paper: signs, plots, codes.
#[cfg(test)]
pub fn pdf_pictures(document: &Document, paper: Paper) -> usize {
    let fonts = Fonts::load().expect("the font is whole");
    let pieces = pieces(&fonts, document, &Frame::of(document, paper)).expect("pictures can be drawn");
    pieces
        .iter()
        .flat_map(|piece| &piece.items)
        .flat_map(Item::leaves)
        .filter(|i| matches!(i, Item::Picture { .. }))
        .count()
}

#[cfg(test)]
mod tests;
