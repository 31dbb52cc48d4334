//! A long recording made of one simulated sweep said over and over, for benches. It tells nothing new about a part.

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

/// A sweep of a healthy part repeated until it has at least `scans` scans of rising, falling, supply and reference.
///
/// # Panics
/// When the simulated bench fails.
pub fn big_trace(scans: usize) -> Trace {
    let mut trace = run_plan(link("good-grip?seed=1"), &sheet()).sweep.expect("swept");
    trace.columns.retain(|c| ["rising", "falling", "supply", "reference"].contains(&c.channel.name()));
    trace.marks.clear();
    let (once, period) = (trace.len(), u64::from(trace.provenance.period_us));
    let span = trace.time_us[once - 1] - trace.time_us[0] + period;
    let times = scans.div_ceil(once);
    let first = trace.time_us.clone();
    for k in 1..times as u64 {
        trace.time_us.extend(first.iter().map(|t| t + k * span));
    }
    for column in &mut trace.columns {
        column.values = column.values.repeat(times);
    }
    trace
}
