//! A long recording for benches: one simulated sweep of very many cycles.

use crate::bench::{link, run_plan};
use trackpair::sheet::{PartSheet, shipped};
use trackpair::trace::Trace;

/// The sheet that [`big_trace`] belongs to.
///
/// # Panics
/// Never: it is shipped.
pub fn sheet() -> PartSheet {
    shipped("grip-complementary").expect("shipped")
}

/// A sweep of a healthy part with so many cycles that it has at least `scans` scans of rising, falling, supply and reference.
///
/// # Panics
/// When the simulated bench fails.
pub fn big_trace(scans: usize) -> Trace {
    let mut sheet = sheet();
    let usual = sweep(&sheet).len();
    sheet.sweep.cycles += 1;
    let per_cycle = sweep(&sheet).len() - usual;
    let more = scans.saturating_sub(usual).div_ceil(per_cycle);
    sheet.sweep.cycles += u32::try_from(more).expect("a length that a bench can record");
    let mut trace = sweep(&sheet);
    assert!(trace.len() >= scans, "{} scans in {} cycles", trace.len(), sheet.sweep.cycles);
    trace.columns.retain(|c| ["rising", "falling", "supply", "reference"].contains(&c.channel.name()));
    trace
}

fn sweep(sheet: &PartSheet) -> Trace {
    run_plan(link("good-grip?seed=1"), sheet).sweep.expect("swept")
}
