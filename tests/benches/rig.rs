//! Simulated seconds per second: the whole simulated bench (part, rig core, protocol, session, recorder) on one core.
//!
//! One iteration is a full plan (self-check, sweep, leads check) of a healthy part. `items` are simulated microseconds, so
//! `Mitem/s` reads as "times real time". The peer is the clock on the wall: 1 × real time.

use divan::Bencher;
use divan::counter::ItemsCount;
use trackpair::sheet::shipped;
use trackpair_tests::bench::{Run, link, run_plan};

fn main() {
    divan::main();
}

fn simulated_us(run: &Run) -> u64 {
    let last = run.leads.as_ref().and_then(|t| t.time_us.last().copied());
    last.expect("the plan was done")
}

fn plan(part: &str) -> Run {
    run_plan(link(part), &shipped("grip-complementary").expect("shipped"))
}

#[divan::bench(args = ["good-grip", "cracked-wire-grip"], sample_count = 10)]
fn whole_plan(bencher: Bencher, part: &str) {
    let us = simulated_us(&plan(part));
    bencher.counter(ItemsCount::new(us)).bench_local(|| plan(part));
}
