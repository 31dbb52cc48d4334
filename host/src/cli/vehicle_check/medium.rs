//! A document in a medium, and how a judged worksheet ends a command.

use crate::cli::ending::Ending;
use crate::job::Failure;
use crate::report::document::Document;
use crate::report::{Paper, html, pdf};
use crate::vehicle::{Conclusion, VehicleCheck};
use crate::verdict::Verdict;

/// How a worksheet ends a command: cleared wiring is within.
pub const fn ending(check: &VehicleCheck) -> Ending {
    Ending::Judged(match check.conclusion {
        Conclusion::PullThePart => Verdict::Within,
        Conclusion::MendTheRunFirst => Verdict::Outside,
        Conclusion::Undecided => Verdict::Undecided,
    })
}

/// A medium by the ending of a file's name.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Medium {
    /// A page for the screen.
    Html,
    /// Paper.
    Pdf,
}

impl Medium {
    /// By the ending of a file's name.
    ///
    /// # Errors
    /// It is neither.
    pub fn of(file: &std::path::Path) -> Result<Self, Failure> {
        match file.extension().and_then(|e| e.to_str()).map(str::to_ascii_lowercase).as_deref() {
            Some("html") => Ok(Self::Html),
            Some("pdf") => Ok(Self::Pdf),
            _ => Err(Failure::Usage(anyhow::anyhow!(
                "{} ends neither in .pdf nor in .html; name a file that does",
                file.display()
            ))),
        }
    }
}

/// A document in a medium.
///
/// # Errors
/// The program's own font or pictures are damaged.
pub fn rendered(document: &Document, medium: Medium, paper: Paper) -> Result<Vec<u8>, Failure> {
    match medium {
        Medium::Html => Ok(html(document).into_bytes()),
        Medium::Pdf => pdf(document, paper).map_err(|e| Failure::Other(e.into())),
    }
}
