//! `vehicle-check`: the checks at the vehicle before a part is pulled. One file per question: `form` (to fill in by hand), `enter` (what was
//! written into it), `show`; `basis`: what options and files mean; `prompt`: the guided questions; `draft`: what was answered so far.

mod basis;
mod draft;
mod enter;
mod form;
mod medium;
mod prompt;
mod show;

use super::ending::Ending;
use super::surroundings::Surroundings;
use crate::job::Failure;
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
