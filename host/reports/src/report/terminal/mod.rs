//! A document in its short form as lines of a terminal. It returns text and writes nothing; whether the terminal knows colour or more than
//! ASCII is the caller's knowledge. It chooses no words.
//!
//! - `page`: lines of a width.
//! - `blocks`: blocks of a document.
//! - `table`: tables, in columns or as sentences.
//! - `tally`: histograms in letters.

mod blocks;
mod page;
mod table;
mod tally;

use super::document::{Block, Document};
use blocks::blocks;
use page::Page;

/// What the terminal can show.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Style {
    /// Columns; 40 at least are used.
    pub width: usize,
    /// Whether colour codes are written.
    pub colour: bool,
    /// Whether only ASCII is written.
    pub ascii: bool,
}

impl Default for Style {
    fn default() -> Self {
        Self { width: 80, colour: false, ascii: false }
    }
}

/// The document, ending in a newline. Nothing in it depends on colour. Cautions come last, where they are seen when the rest has scrolled
/// away.
pub fn terminal(document: &Document, style: Style) -> String {
    let mut page = Page::new(style);
    if let Some(simulated) = &document.simulated {
        page.stripes(simulated);
    }
    let is_caution = |block: &&Block| matches!(block, Block::Cautions(_));
    for block in document.blocks.iter().filter(|b| !is_caution(b)) {
        blocks(&mut page, std::slice::from_ref(block));
    }
    for block in document.blocks.iter().filter(is_caution) {
        blocks(&mut page, std::slice::from_ref(block));
    }
    page.finish()
}
