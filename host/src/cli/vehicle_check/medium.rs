//! A judged worksheet in a medium, and how it ends a command.

use crate::cli::ending::Ending;
use crate::job::Failure;
use crate::report::vehicle::{VehicleInput, vehicle_check_html};
use crate::report::{Paper, vehicle_check_pdf};
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

/// The judged worksheet in a medium.
pub fn document(input: &VehicleInput<'_>, medium: Medium, paper: Paper) -> Result<Vec<u8>, Failure> {
    match medium {
        Medium::Html => Ok(vehicle_check_html(input).into_bytes()),
        Medium::Pdf => vehicle_check_pdf(input, paper).map_err(|e| Failure::Other(e.into())),
    }
}
