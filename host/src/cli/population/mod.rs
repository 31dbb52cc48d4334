//! `population`: good parts of a shop's own. One file per question: `learn` (bodies among which worn teeth are searched for), `limits` (that good
//! parts would give); `shown`: a population for people and for programs.

mod learn;
mod limits;
pub mod shown;

use super::ending::Ending;
use super::surroundings::Surroundings;
use crate::analysis::body::population::Population;
use crate::job::Failure;
use crate::job::population::read;
use crate::quantity::PartKind;
use crate::sheet::shipped_of;
use clap::Subcommand;
use shown::PopulationShown;
use std::path::{Path, PathBuf};

/// What `show` takes for the populations that ship with the program.
const SHIPPED: &str = "shipped";

/// `population`.
#[derive(Debug, Subcommand)]
pub enum PopulationCommand {
    /// Learn from the records of good bodies, 20 at least, how the lost motion of their gears varies
    Learn(learn::LearnPopulation),
    /// Propose limits from good parts of one kind, 10 at least: normal tolerance bounds
    Limits(limits::ProposeLimits),
    /// Where a population came from, and which wear can be seen among it
    Show {
        /// A file that `population learn` wrote, or the word shipped
        #[arg(value_name = "FILE|shipped")]
        file: PathBuf,
        /// Print it as JSON
        #[arg(long)]
        json: bool,
    },
}

/// Carries out `population`.
pub fn population(command: &PopulationCommand, surroundings: &Surroundings<'_>) -> Result<Ending, Failure> {
    match command {
        PopulationCommand::Learn(args) => learn::learn(args),
        PopulationCommand::Show { file, json } => show(file, *json),
        PopulationCommand::Limits(args) => limits::limits(args, surroundings),
    }
}

fn show(file: &Path, json: bool) -> Result<Ending, Failure> {
    let populations = if file == Path::new(SHIPPED) {
        shipped_of(PartKind::Body).map(|sheet| Population::shipped(&sheet)).collect()
    } else {
        vec![read(file)?]
    };
    let shown = populations.iter().map(PopulationShown::of).collect::<Result<_, _>>()?;
    shown::print(shown, json);
    Ok(Ending::Done)
}
