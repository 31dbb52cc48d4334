//! Every grip figure, curve and finding of a long recording, on one core; the same of a throttle body's whole plan. `items` are
//! samples (scans × channels).
//!
//! The grip's peer is `tests/python/bench_figures.py` (numpy and scipy) on the same trace; `scripts/bench analysis` runs both.

use divan::Bencher;
use divan::counter::ItemsCount;
use trackpair::analysis::body::{self, BodyTraces};
use trackpair::analysis::grip::{GripTraces, analyse};
use trackpair::sheet::shipped;
use trackpair_tests::bench::link;
use trackpair_tests::big_trace::{big_trace, sheet};
use trackpair_tests::body_bench::run_body_plan;

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

#[divan::bench(args = ["good-body", "worn-teeth-body"], sample_count = 10)]
fn a_whole_plan_of_a_body(bencher: Bencher, part: &str) {
    let sheet = shipped("body").expect("shipped");
    let run = run_body_plan(link(part), &sheet);
    let samples: usize = run.traces.iter().map(|t| t.len() * t.columns.len()).sum();
    bencher
        .counter(ItemsCount::new(samples))
        .bench_local(|| body::analyse(BodyTraces::sorted(&run.traces), &sheet));
}
