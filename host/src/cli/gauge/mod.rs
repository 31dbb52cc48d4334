//! `gauge`: a study of the rig's own scatter, planned in blind order, swept in as many sittings as it takes, and worked out.
//!
//! - `planning`: what is to be mounted when.
//! - `running`: mounting by mounting on the rig.
//! - `counted`: which sweeps of a folder count.
//! - `resulting`: what comes of them.

mod counted;
pub mod planning;
mod resulting;
mod running;

use super::ending::Ending;
use super::surroundings::Surroundings;
use crate::job::Failure;
use clap::Subcommand;

/// `gauge`.
#[derive(Debug, Subcommand)]
pub enum GaugeCommand {
    /// Plan a study: every part mounted once a round, each round in another order, its labels blind
    Plan(planning::PlanStudy),
    /// Sweep what is still to be swept, mounting by mounting; interrupted, it goes on where it was
    Run(running::RunStudy),
    /// What the rig itself contributes to each figure: %GRR, categories, and the stated uncertainty against what was seen
    Result(resulting::StudyResult),
}

/// Carries out `gauge`.
///
/// # Errors
/// As the commands' own.
pub fn gauge(command: &GaugeCommand, surroundings: &Surroundings<'_>) -> Result<Ending, Failure> {
    match command {
        GaugeCommand::Plan(args) => planning::plan_study(args, surroundings),
        GaugeCommand::Run(args) => running::run_study(args, surroundings),
        GaugeCommand::Result(args) => resulting::result(args, surroundings),
    }
}
