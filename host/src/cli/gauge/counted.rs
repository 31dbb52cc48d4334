//! Which sweeps of a study count: those of mountings that were swept to their end without being taken off.
//!
//! A sitting that ended in the middle of a mounting leaves it unfinished: whether the part has been taken off since is not known, so that mounting
//! is made again, and what was swept of it stays in the folder.

use crate::gauge::plan::{Mounting, Plan};
use crate::record::study_folder::SweepLine;

/// The sweeps of one mounting that count, in their order; none until it is finished.
pub fn sweeps_of<'s>(plan: &Plan, mounting: Mounting, sweeps: &'s [SweepLine]) -> Option<Vec<&'s SweepLine>> {
    let name = &plan.parts.get(mounting.part)?.name;
    let own = sweeps.iter().filter(|s| s.part == *name && s.mounting == mounting.round as u64);
    let mut found: Vec<&SweepLine> = Vec::new();
    for sweep in own.filter(|s| s.failure.is_none()) {
        if sweep.repeat == 1 {
            found.clear();
        }
        found.push(sweep);
    }
    (found.len() == plan.repeats).then_some(found)
}

/// Rounds, from 1, of which every mounting is finished.
pub fn whole_rounds(plan: &Plan, sweeps: &[SweepLine]) -> Vec<usize> {
    let whole = |round: &usize| {
        let mut own = plan.order.iter().filter(|m| m.round == *round);
        own.all(|m| sweeps_of(plan, *m, sweeps).is_some())
    };
    (1..=plan.mountings).filter(whole).collect()
}
