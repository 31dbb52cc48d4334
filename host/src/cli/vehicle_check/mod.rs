//! `vehicle-check`: the checks at the vehicle before a part is pulled. One file per question: `form` (to fill in by hand), `enter` (what was
//! written into it), `show`; `basis`: what options and files mean; `prompt`: the guided questions; `draft`: what was answered so far.

mod basis;
mod draft;
mod enter;
mod form;
mod prompt;
mod show;

use super::{Ending, Failure, Surroundings};
use crate::report::vehicle::{VehicleInput, vehicle_check_html};
use crate::report::{Paper, vehicle_check_pdf};
use crate::vehicle::{Conclusion, VehicleCheck};
use crate::verdict::Verdict;
use clap::Subcommand;

/// `vehicle-check`.
#[derive(Debug, Subcommand)]
pub enum VehicleCheckCommand {
    /// Write the form to be filled in at the vehicle, and the file that its readings are entered into
    Form(form::Form),
    /// Judge what was measured: from a file, from options, or asked for line by line
    Enter(enter::Enter),
    /// Print a stored worksheet
    Show(show::Show),
}

/// Carries out `vehicle-check`.
///
/// # Errors
/// [`Failure`]; nothing that was entered is lost then.
pub fn vehicle_check(
    command: &VehicleCheckCommand,
    surroundings: &Surroundings<'_>,
) -> Result<Ending, Failure> {
    match command {
        VehicleCheckCommand::Form(args) => form::form(args, surroundings),
        VehicleCheckCommand::Enter(args) => enter::enter(args, surroundings),
        VehicleCheckCommand::Show(args) => show::show(args, surroundings),
    }
}

/// How a worksheet ends a command: cleared wiring is within.
const fn ending(check: &VehicleCheck) -> Ending {
    Ending::Judged(match check.conclusion {
        Conclusion::PullThePart => Verdict::Within,
        Conclusion::MendTheRunFirst => Verdict::Outside,
        Conclusion::Undecided => Verdict::Undecided,
    })
}

/// A medium by the ending of a file's name.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Medium {
    Html,
    Pdf,
}

impl Medium {
    fn of(file: &std::path::Path) -> Result<Self, Failure> {
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
fn document(input: &VehicleInput<'_>, medium: Medium, paper: Paper) -> Result<Vec<u8>, Failure> {
    match medium {
        Medium::Html => Ok(vehicle_check_html(input).into_bytes()),
        Medium::Pdf => vehicle_check_pdf(input, paper).map_err(|e| Failure::Other(e.into())),
    }
}
