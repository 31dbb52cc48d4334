//! `case`: from a complaint to what was done about it. One file per question: `new`, `note` (and close), `list`, `show`; `typed`: what
//! options mean; `ask`: the guided prompt.

mod ask;
pub mod list;
mod new;
mod note;
pub mod show;
mod state;
mod typed;

use super::ending::Ending;
use super::surroundings::Surroundings;
use crate::job::Failure;
use clap::Subcommand;

/// `case`.
#[derive(Debug, Subcommand)]
pub enum CaseCommand {
    /// Begin a case: complaint, vehicle, parts, what the eye saw; without options it asks
    New(new::NewCase),
    /// Every case, a line each
    List(list::ListCases),
    /// One case: complaint, parts, checks, records, causes that fit, what to do next
    Show(show::ShowCase),
    /// Add what came to light or was done: words, what was seen, records, plugs pulled, what was mended
    Note(note::NoteCase),
    /// End a case; one whose fault only went away by replugging stays open
    Close(note::CloseCase),
}

/// Carries out `case`.
///
/// # Errors
/// [`Failure`]; nothing was written then.
pub fn case(command: &CaseCommand, surroundings: &Surroundings<'_>) -> Result<Ending, Failure> {
    match command {
        CaseCommand::New(args) => new::new(args, surroundings),
        CaseCommand::List(args) => list::list(args, surroundings),
        CaseCommand::Show(args) => show::show(args, surroundings),
        CaseCommand::Note(args) => note::note(args, surroundings),
        CaseCommand::Close(args) => note::close(args, surroundings),
    }
}
