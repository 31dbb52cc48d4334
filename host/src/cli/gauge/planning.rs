//! `gauge plan`: the plan into its folder, and the labels for the parts.

use super::super::conclude::{say, style};
use super::super::measuring::of_folder;
use super::super::sheets::Shelf;
use super::super::{Ending, Failure, Surroundings, date};
use super::PlanStudy;
use crate::gauge::anova::Mountings;
use crate::gauge::plan::{Asked, Plan, plan};
use crate::record::study_folder::{STUDY, StudyFolder};
use crate::report::compare::terminal;
use crate::report::gauge::labels;
use anyhow::Context;
use serde::Serialize;

/// What `gauge plan --json` prints.
#[derive(Serialize)]
struct Document<'a> {
    schema: u32,
    document: &'static str,
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
