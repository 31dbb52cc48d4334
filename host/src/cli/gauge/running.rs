//! `gauge run`: mounting by mounting on the rig, each sweep kept as soon as it is there.

use super::counted::sweeps_of;
use crate::cli::ending::Ending;
use crate::cli::options::mounted::rig_meant;
use crate::cli::surroundings::Surroundings;
use crate::cli::terminal::mounting::{ask_to_mount, stopped, sweep_at_terminal, tell_of_torn};
use crate::gauge::plan::{Mounting, Plan};
use crate::job::Failure;
use crate::job::sheets::Shelf;
use crate::job::sweep::{Occasion, needs_hands, of_folder, on_occasion};
use crate::link::Address;
use crate::record::study_folder::{STUDY, StudyFolder};
use anyhow::anyhow;
use clap::Args;
use std::path::PathBuf;

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
    pub rig_of: Vec<String>,
    /// At most so many mountings in this sitting
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(1..))]
    pub most: Option<u32>,
    /// Accept the cautions that are shown before a throttle body is driven
    #[arg(long)]
    pub i_have_read_the_cautions: bool,
}

/// Carries out `gauge run`.
///
/// # Errors
/// [`Failure::Usage`] for addresses that fit no part, [`Failure::Rig`] when a sweep was cut short or nobody mounted the part: what was swept is kept.
pub fn run_study(args: &RunStudy, surroundings: &Surroundings<'_>) -> Result<Ending, Failure> {
    let (mut folder, plan) = StudyFolder::open::<Plan>(&args.study, STUDY).map_err(of_folder)?;
    tell_of_torn(&folder);
    let shelf = Shelf::new(plan.sheet.as_deref())?;
    let addresses = addresses(args, &plan, surroundings)?;
    let left: Vec<(usize, Mounting)> = plan
        .order
        .iter()
        .copied()
        .enumerate()
        .filter(|(_, m)| sweeps_of(&plan, *m, folder.sweeps()).is_none())
        .collect();
    let done = plan.order.len() - left.len();
    if done > 0 && !left.is_empty() {
        eprintln!("{done} of {} mountings are done; going on", plan.order.len());
    }
    let now = args.most.map_or(left.len(), |most| left.len().min(most as usize));
    let sitting =
        Sitting { plan: &plan, shelf: &shelf, cautions_read: args.i_have_read_the_cautions, surroundings };
    for (place, mounting) in left.iter().copied().take(now) {
        sitting.mount_and_sweep(place, mounting, &addresses[mounting.part], &mut folder)?;
    }
    let name = args.study.display();
    match left.len() - now {
        0 => eprintln!("all {} mountings are done: `trackpair gauge result {name}`", plan.order.len()),
        more => eprintln!("{more} mountings are left: `trackpair gauge run {name}` goes on"),
    }
    Ok(Ending::Done)
}

/// One sitting at a rig.
struct Sitting<'a> {
    plan: &'a Plan,
    shelf: &'a Shelf,
    cautions_read: bool,
    surroundings: &'a Surroundings<'a>,
}

impl Sitting<'_> {
    /// Has a part mounted and sweeps it; `place` is that of the mounting in the plan.
    fn mount_and_sweep(
        &self,
        place: usize,
        mounting: Mounting,
        rig: &str,
        folder: &mut StudyFolder,
    ) -> Result<(), Failure> {
        let plan = self.plan;
        let part = &plan.parts[mounting.part];
        let (round, rounds) = (mounting.round, plan.mountings);
        let head = format!("round {round} of {rounds}, mounting {} of {}", place + 1, plan.order.len());
        if needs_hands(rig) {
            let what = format!(
                "{head}: take off what is on the rig, and mount the part labelled {} anew",
                part.code
            );
            ask_to_mount(&what, self.surroundings)?;
        }
        for repeat in 1..=plan.repeats {
            if self.surroundings.stop.is_cancelled() {
                return Err(stopped());
            }
            // A simulated rig is the same for the whole study; parts may share a seed, so mountings are numbered over all of them.
            let number = (mounting.part * rounds + round) as u64;
            let rig = on_occasion(rig, &[("rig", plan.seed), ("mounting", number), ("sweep", repeat as u64)]);
            let occasion = Occasion {
                rig: &rig,
                label: &part.code,
                part: &part.name,
                mounting: round,
                repeat,
                cautions_read: self.cautions_read,
            };
            sweep_at_terminal(folder, occasion, self.shelf, self.surroundings)?;
        }
        eprintln!("{head}: {} swept {} times", part.code, plan.repeats);
        Ok(())
    }
}

/// The rig of each part, in the plan's order.
fn addresses(args: &RunStudy, plan: &Plan, surroundings: &Surroundings<'_>) -> Result<Vec<String>, Failure> {
    let usage = |what: String| Failure::Usage(anyhow!(what));
    let names = || plan.parts.iter().map(|p| p.name.as_str()).collect::<Vec<_>>().join(", ");
    if args.rig_of.is_empty() {
        let rig = rig_meant(args.rig.as_deref(), surroundings)?;
        Address::parse(rig).map_err(|e| Failure::Usage(e.into()))?;
        if !needs_hands(rig) {
            return Err(usage(format!(
                "a simulated rig has its part with it, and this study has {}: give --rig-of NAME=sim:PART?seed=N for each of them",
                names()
            )));
        }
        return Ok(vec![rig.to_owned(); plan.parts.len()]);
    }
    let mut given = Vec::new();
    for typed in &args.rig_of {
        let Some((name, address)) = typed.split_once('=') else {
            return Err(usage(format!("--rig-of {typed:?} is not NAME=ADDRESS")));
        };
        Address::parse(address).map_err(|e| Failure::Usage(e.into()))?;
        if !plan.parts.iter().any(|p| p.name == name) {
            return Err(usage(format!("no part of this study is named {name:?}; there are: {}", names())));
        }
        given.push((name, address));
    }
    let of = |name: &str| {
        given.iter().find(|(n, _)| *n == name).map(|(_, address)| (*address).to_owned()).ok_or_else(|| {
            usage(format!("no rig is given for the part {name:?}: give --rig-of {name}=ADDRESS as well"))
        })
    };
    plan.parts.iter().map(|p| of(&p.name)).collect()
}
