//! A document in its short form as lines of a terminal. It returns text and writes nothing; whether the terminal knows colour or more than
//! ASCII is the caller's knowledge. It chooses no words.
//!
//! - `page`: lines of a width.
//! - `blocks`: blocks of a document.
//! - `summary`: a report in brief.
//! - `table`: tables, in columns or as sentences.
//! - `tally`: histograms in letters.

mod blocks;
mod page;
mod summary;
mod table;
mod tally;

use super::document::{Block, Document};
use blocks::blocks;
use page::Page;

pub use summary::in_brief;

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
    let mut ordered: Vec<&Block> = document.blocks.iter().collect();
    ordered.sort_by_key(|block| place(block));
    ordered.into_iter().for_each(|block| blocks(&mut page, std::slice::from_ref(block)));
    page.finish()
}

/// Where a block stands; those of one place stand in the order of the document.
const fn place(block: &Block) -> usize {
    match block {
        Block::Cautions(_) => 1,
        _ => 0,
    }
}
