//! Every grip figure, curve and finding of a long recording, on one core. `items` are samples (scans × channels).
//!
//! The peer is `tests/python/bench_figures.py` (numpy and scipy) on the same trace; `scripts/bench analysis` runs both.

use divan::Bencher;
use divan::counter::ItemsCount;
use trackpair::analysis::grip::{GripTraces, analyse};
use trackpair_tests::big_trace::{big_trace, sheet};

fn main() {
    divan::main();
}

/// Scans of four channels: 10 M samples.
const SCANS: usize = 2_500_000;

#[divan::bench(sample_count = 5)]
fn all_grip_figures_of_10_m_samples(bencher: Bencher) {
    let (trace, sheet) = (big_trace(SCANS), sheet());
    bencher
        .counter(ItemsCount::new(trace.len() * trace.columns.len()))
        .bench_local(|| analyse(GripTraces { sweep: &trace, leads: None, flex: None }, &sheet));
}
