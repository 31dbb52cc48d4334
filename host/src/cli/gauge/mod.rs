//! `gauge`: a study of the rig's own scatter, planned in blind order, swept in as many sittings as it takes, and worked out.
//!
//! - `planning`: what is to be mounted when.
//! - `running`: mounting by mounting on the rig.
//! - `counted`: which sweeps of a folder count.
//! - `resulting`: what comes of them.

mod counted;
mod planning;
mod resulting;
mod running;

use super::{Ending, Failure, Surroundings};
use clap::{Args, Subcommand};
use std::path::PathBuf;

/// `gauge`.
#[derive(Debug, Subcommand)]
pub enum GaugeCommand {
    /// Plan a study: every part mounted once a round, each round in another order, its labels blind
    Plan(PlanStudy),
    /// Sweep what is still to be swept, mounting by mounting; interrupted, it goes on where it was
    Run(RunStudy),
    /// What the rig itself contributes to each figure: %GRR, categories, and the stated uncertainty against what was seen
    Result(StudyResult),
}

/// `gauge plan`.
#[derive(Args, Debug)]
pub struct PlanStudy {
    /// Folder of the study, which is made
    #[arg(value_name = "STUDY")]
    pub study: PathBuf,
    /// A part, in your words; give one for each, 10 are common practice. Choose parts that differ as those you judge do
    #[arg(long, value_name = "NAME", required = true)]
    pub part: Vec<String>,
    /// Mountings of each part
    #[arg(long, value_name = "N", default_value_t = 3)]
    pub mountings: usize,
    /// Sweeps of each mounting
    #[arg(long, value_name = "N", default_value_t = 3)]
    pub repeats: usize,
    /// All parts share what changes from round to round: a person, an adapter, a day
    #[arg(long)]
    pub shared: bool,
    /// Seed of order and labels [else: drawn]
    #[arg(long, value_name = "N")]
    pub seed: Option<u64>,
    /// Part sheet whose limits are the tolerance, by name or file [else: the shipped one whose topology the parts show]
    #[arg(long, value_name = "NAME|FILE")]
    pub sheet: Option<String>,
    /// Print the plan as JSON
    #[arg(long)]
    pub json: bool,
}

/// `gauge run`.
#[derive(Args, Debug)]
pub struct RunStudy {
    /// Folder of the study
    #[arg(value_name = "STUDY")]
    pub study: PathBuf,
    /// The rig that every part is mounted on [else: TRACKPAIR_RIG, configuration]
    #[arg(long, value_name = "ADDRESS")]
    pub rig: Option<String>,
    /// The rig on which a part is, where parts have rigs of their own, as simulated ones have: NAME=ADDRESS
    #[arg(long, value_name = "NAME=ADDRESS", conflicts_with = "rig")]
    pub part: Vec<String>,
    /// At most so many mountings in this sitting
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(1..))]
    pub most: Option<u32>,
    /// Accept the cautions that are shown before a throttle body is driven
    #[arg(long)]
    pub i_have_read_the_cautions: bool,
}

/// `gauge result`.
#[derive(Args, Debug)]
pub struct StudyResult {
    /// Folder of the study
    #[arg(value_name = "STUDY")]
    pub study: PathBuf,
    /// Also each figure in a sentence, its sources with their intervals, and its tables of variance
    #[arg(long)]
    pub details: bool,
    /// Write the result, with its details, to this HTML file
    #[arg(long, value_name = "FILE")]
    pub report: Option<PathBuf>,
    /// Print the result as JSON on stdout
    #[arg(long)]
    pub json: bool,
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
