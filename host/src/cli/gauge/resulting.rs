//! `gauge result`: what comes of the sweeps that count.

use super::counted::{sweeps_of, whole_rounds};
use crate::cli::ending::Ending;
use crate::cli::surroundings::Surroundings;
use crate::cli::terminal::say::{say, style, write_report};
use crate::gauge::documents::StudyDocument;
use crate::gauge::plan::Plan;
use crate::gauge::study::{Swept, study};
use crate::job::Failure;
use crate::job::sweep::of_folder;
use crate::record::study_folder::{STUDY, StudyFolder, SweepLine};
use crate::report::gauge::result as shown;
use crate::report::{Lines, html, terminal};
use anyhow::anyhow;
use clap::Args;
use std::collections::BTreeSet;
use std::path::PathBuf;

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

/// Fewest whole rounds that say what a mounting contributes.
const LEAST_ROUNDS: usize = 2;

/// Carries out `gauge result`.
///
/// # Errors
/// [`Failure::Usage`] when fewer than two rounds are done.
pub fn result(args: &StudyResult, surroundings: &Surroundings<'_>) -> Result<Ending, Failure> {
    let (plan, sweeps) = StudyFolder::read::<Plan>(&args.study, STUDY).map_err(of_folder)?;
    let rounds = whole_rounds(&plan, &sweeps);
    if rounds.len() < LEAST_ROUNDS {
        let done = plan.order.iter().filter(|m| sweeps_of(&plan, **m, &sweeps).is_some()).count();
        return Err(Failure::Usage(anyhow!(
            "{done} of {} mountings are done, {} whole rounds; a result takes {LEAST_ROUNDS} rounds at least: `trackpair gauge run {}` goes on",
            plan.order.len(),
            rounds.len(),
            args.study.display()
        )));
    }
    let counted: Vec<(usize, usize, usize, &SweepLine)> = plan
        .order
        .iter()
        .filter_map(|m| Some((*m, rounds.iter().position(|r| *r == m.round)?)))
        .flat_map(|(m, round)| {
            let own = sweeps_of(&plan, m, &sweeps).unwrap_or_default();
            own.into_iter().enumerate().map(move |(repeat, line)| (m.part, round, repeat, line))
        })
        .collect();
    let swept: Vec<Swept<'_>> = counted
        .iter()
        .map(|&(part, mounting, repeat, line)| Swept { part, mounting, repeat, figures: &line.figures })
        .collect();
    let layout = [plan.parts.len(), rounds.len(), plan.repeats];
    let lines: Vec<&SweepLine> = counted.iter().map(|c| c.3).collect();
    let document = StudyDocument {
        schema: 1,
        document: "gauge_result",
        simulated: lines.iter().any(|l| l.simulated),
        rigs: distinct(lines.iter().filter_map(|l| l.rig.clone())),
        sheets: distinct(lines.iter().map(|l| l.sheet.clone())),
        analyses: distinct(lines.iter().map(|l| l.analysis.clone())),
        rounds: rounds.len(),
        sweeps: counted.len(),
        study: study(layout, plan.mountings_are, &swept),
        plan,
    };
    let topologies = distinct(lines.iter().map(|l| l.topology.clone()));
    let names = match topologies.as_slice() {
        [one] => Lines::of_topology(one),
        _ => Lines::default(),
    };
    let reported = args
        .report
        .as_deref()
        .map_or(Ok(()), |file| write_report(html(&shown(&document, names, true)).as_bytes(), file));
    say(&terminal(&shown(&document, names, args.details), style(surroundings)), &document, args.json);
    reported?;
    Ok(Ending::Done)
}

fn distinct(all: impl Iterator<Item = String>) -> Vec<String> {
    all.collect::<BTreeSet<String>>().into_iter().collect()
}
