//! Report and certificate as PDF, from the same words and pictures as the other media. It returns bytes: the same for the same
//! input. It does not write, ask the time, or judge.
//!
//! - `fonts`: which characters there are and how wide they are.
//! - `rich`: text in lines.
//! - `piece`: what is not broken.
//! - `blocks`: headings, paragraphs, lists.
//! - `table`: rows and their cells.
//! - `picture`: vector pictures, signs, logos.
//! - `flow`: pieces onto pages.
//! - `frame`: head and foot of each page.
//! - `draw`: pages as a file.
//! - `report`, `figures`: what a report says, in order.
//! - `certificate`: what a buyer's page says.

mod blocks;
mod draw;
mod figures;
mod flow;
mod fonts;
mod frame;
mod picture;
mod piece;
mod report;
mod rich;
mod table;

use super::{Paper, ReportInput};
use blocks::Setter;
use draw::{Labels, draw};
use fonts::Fonts;
use frame::Frame;

/// Why there is no document.
#[derive(Debug, thiserror::Error)]
pub enum PdfError {
    /// The embedded font is damaged.
    #[error("the font that the program brings can't be read; build or install the program anew")]
    Font,
    /// A picture that the program drew itself can't be read back.
    #[error("a picture of the document can't be drawn ({0}); take the HTML report, and report this")]
    Picture(#[from] usvg::Error),
    /// The file can't be made of the pages.
    #[error("the document can't be made ({0}); take the HTML report, and report this")]
    File(String),
}

/// The report as PDF.
///
/// # Errors
/// The program's own font or pictures are damaged; nothing in an outcome makes it fail.
pub fn pdf(input: &ReportInput<'_>, paper: Paper) -> Result<Vec<u8>, PdfError> {
    let fonts = Fonts::load()?;
    let frame = Frame::of_report(input, paper);
    let pieces = report::content(input, &Setter { fonts: &fonts, width: frame.width() })?;
    let pages = flow::pages(&pieces, frame.column());
    let total = pages.len();
    let framed = pages.into_iter().enumerate().map(|(k, mut page)| {
        page.extend(frame.items(&fonts, k + 1, total));
        page
    });
    let labels = Labels { title: frame.title.clone(), sealed: input.stamp.is_some() };
    draw(&fonts, paper, &framed.collect::<Vec<_>>(), labels)
}
