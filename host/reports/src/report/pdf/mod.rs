//! Report and certificate as PDF, from the same words and pictures as the other media. It returns bytes: the same for the same
//! input. It does not write, ask the time, or judge.
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
//! - `report`, `figures`: what a report says, in order.
//! - `suspects`: causes that fit.
//! - `certificate`: what a buyer's page says.
//! - `vehicle_form`, `vehicle_check`: checks at the vehicle, to be filled in and judged.

mod blocks;
mod brush;
mod certificate;
mod colour;
mod draw;
mod drawing;
mod figures;
mod file;
mod flow;
mod fonts;
mod frame;
mod hatch;
mod picture;
mod piece;
mod plot;
mod report;
mod rich;
mod shared;
mod suspects;
mod table;
mod typeface;
mod vehicle_check;
mod vehicle_form;

use super::vehicle::VehicleInput;
use super::{Paper, ReportInput};
pub use certificate::CertificateInput;

use blocks::Setter;
use draw::draw;
use file::Labels;
use fonts::Fonts;
use frame::Frame;
use piece::{Item, Piece};

/// Why there is no document.
#[derive(Debug, thiserror::Error)]
pub enum PdfError {
    /// The embedded font is damaged.
    #[error("the font that the program brings can't be read; build or install the program anew")]
    Font,
    /// A self-check alone says nothing of the part.
    #[error("a self-check judges no part, so there is nothing to certify; qualify the part first")]
    NothingJudged,
    /// A picture that the program drew itself can't be read back.
    #[error("a picture of the document can't be drawn ({0}); take the HTML report, and report this")]
    Picture(#[from] usvg::Error),
}

/// The report as PDF.
///
/// # Errors
/// The program's own font or pictures are damaged; nothing in an outcome makes it fail.
pub fn pdf(input: &ReportInput<'_>, paper: Paper) -> Result<Vec<u8>, PdfError> {
    let fonts = Fonts::load()?;
    let frame = report_frame(input, paper);
    let pieces = report::content(input, &Setter { fonts: &fonts, width: frame.width() })?;
    document(&fonts, paper, &frame, &pieces, input.stamp.is_some())
}

/// The certificate as PDF: one page, whatever the outcome holds.
///
/// # Errors
/// [`PdfError::NothingJudged`] for a self-check; else as [`pdf`].
pub fn certificate(input: &CertificateInput<'_>, paper: Paper) -> Result<Vec<u8>, PdfError> {
    let fonts = Fonts::load()?;
    let frame = certificate::frame(input, paper);
    let page =
        certificate::content(input, &Setter { fonts: &fonts, width: frame.width() }, frame.column().height)?;
    document(&fonts, paper, &frame, &[page], input.stamp.is_some())
}

/// The form of vehicle checks as PDF.
///
/// # Errors
/// The program's own font is damaged.
pub fn vehicle_form_pdf(input: &VehicleInput<'_>, paper: Paper) -> Result<Vec<u8>, PdfError> {
    let fonts = Fonts::load()?;
    let title = format!("Vehicle checks, {}: form", input.check.kind.name());
    let frame = Frame::titled(title, None, input.shop, VEHICLE_FOOT, paper);
    let pieces = vehicle_form::content(input, &Setter { fonts: &fonts, width: frame.width() });
    document(&fonts, paper, &frame, &pieces, false)
}

/// Judged vehicle checks as PDF.
///
/// # Errors
/// The program's own font or pictures are damaged.
pub fn vehicle_check_pdf(input: &VehicleInput<'_>, paper: Paper) -> Result<Vec<u8>, PdfError> {
    let fonts = Fonts::load()?;
    let check = input.check;
    let title =
        format!("Vehicle checks, {}: {}", check.kind.name(), crate::vehicle::headline(check.conclusion));
    let frame = Frame::titled(title, input.stamp, input.shop, VEHICLE_FOOT, paper);
    let pieces = vehicle_check::content(input, &Setter { fonts: &fonts, width: frame.width() })?;
    document(&fonts, paper, &frame, &pieces, input.stamp.is_some())
}

const VEHICLE_FOOT: &str = "Trackpair, vehicle checks before a part is pulled";

fn report_frame(input: &ReportInput<'_>, paper: Paper) -> Frame {
    let foot = "Trackpair, bench report on a removed throttle-by-wire part";
    Frame::of(input.outcome, input.stamp, input.shop, foot, paper)
}

/// Pieces on framed pages, as a file.
fn document(
    fonts: &Fonts,
    paper: Paper,
    frame: &Frame,
    pieces: &[Piece],
    sealed: bool,
) -> Result<Vec<u8>, PdfError> {
    let labels = Labels { title: frame.title.clone(), sealed };
    draw(fonts, paper, &framed(fonts, frame, pieces), &labels)
}

/// What every page shows, its head and foot last.
fn framed(fonts: &Fonts, frame: &Frame, pieces: &[Piece]) -> Vec<Vec<Item>> {
    let mut pages = flow::pages(pieces, frame.column());
    let total = pages.len();
    for (k, page) in pages.iter_mut().enumerate() {
        page.extend(frame.items(fonts, k + 1, total));
    }
    pages
}

#[cfg(test)]
mod tests;
