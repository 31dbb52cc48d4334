//! `gauge plan`: the plan into its folder, and the labels for the parts.

use crate::cli::clock::date;
use crate::cli::ending::Ending;
use crate::cli::surroundings::Surroundings;
use crate::cli::terminal::say::{say, style};
use crate::gauge::anova::Mountings;
use crate::gauge::plan::{Asked, Plan, plan};
use crate::job::Failure;
use crate::job::sheets::Shelf;
use crate::job::sweep::of_folder;
use crate::record::study_folder::{STUDY, StudyFolder};
use crate::report::gauge::labels;
use crate::report::terminal;
use anyhow::Context;
use clap::Args;
use serde::Serialize;
use std::path::PathBuf;

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

/// What `gauge plan --json` prints.
#[derive(Serialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct Document<'a> {
    schema: u32,
    document: &'static str,
    /// What is to be done.
    plan: &'a Plan,
}

/// Carries out `gauge plan`.
///
/// # Errors
/// [`Failure::Usage`] for a study that makes no sense, a sheet that can't be used, or a folder that has one already.
pub fn plan_study(args: &PlanStudy, surroundings: &Surroundings<'_>) -> Result<Ending, Failure> {
    if args.sheet.is_some() {
        Shelf::new(args.sheet.as_deref())?;
    }
    let seed = match args.seed {
        Some(seed) => seed,
        None => drawn()?,
    };
    let asked = Asked {
        made: date(),
        seed,
        mountings_are: if args.shared { Mountings::Crossed } else { Mountings::Nested },
        mountings: args.mountings,
        repeats: args.repeats,
        sheet: args.sheet.clone(),
        parts: args.part.clone(),
    };
    let plan = plan(asked).map_err(|e| Failure::Usage(e.into()))?;
    StudyFolder::begin(&args.study, STUDY, &plan).map_err(of_folder)?;
    let view = labels(&plan, &args.study.display().to_string());
    let document = Document { schema: 1, document: "gauge_plan", plan: &plan };
    say(&terminal(&view, style(surroundings)), &document, args.json);
    Ok(Ending::Done)
}

/// A seed that nobody knows beforehand; short enough to be typed.
fn drawn() -> Result<u64, Failure> {
    let seed = getrandom::u32().map_err(|e| anyhow::anyhow!("{e}"));
    seed.map(u64::from).context("the system gives no random numbers; give --seed N").map_err(Failure::Other)
}
