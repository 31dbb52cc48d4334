//! Simulated seconds per second: the whole simulated bench (part, rig core, protocol, session, recorder) on one core.
//!
//! One iteration is a full plan (self-check, sweep, leads check) of a grip, or five procedures of a throttle body, whose lash,
//! gears and motor take a step every 20 µs. `items` are simulated microseconds, so `Mitem/s` reads as "times real time". The
//! peer is the clock on the wall: 1 × real time.

use divan::Bencher;
use divan::counter::ItemsCount;
use tokio_util::sync::CancellationToken;
use trackpair::procedure::{Bench, Setup};
use trackpair::session::{Options, Session};
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

/// Rest and stops, creep, release, lash, tooth map; the rig's time at the end, µs.
fn body_procedures(part: &str) -> u64 {
    let sheet = shipped("body").expect("shipped");
    let session = Session::open(link(part), Options::default()).unwrap_or_else(|e| panic!("{e}"));
    let (stop, mut silent) = (CancellationToken::new(), |_| {});
    let setup = Setup {
        sheet: &sheet,
        part: "invented part".to_owned(),
        started: "2026-01-01T00:00:00+00:00".to_owned(),
        stop: &stop,
        progress: &mut silent,
    };
    let mut bench = Bench::new(session, setup);
    bench.rest_and_stops();
    bench.creep();
    bench.release();
    bench.lash();
    let last = bench.tooth_map();
    bench.finish().unwrap_or_else(|e| panic!("the rig did not confirm that it is unpowered: {e}"));
    let trace = last.trace.unwrap_or_else(|| panic!("{:?}", last.failure));
    trace.time_us.last().copied().expect("samples")
}

#[divan::bench(args = ["good-grip", "cracked-wire-grip"], sample_count = 10)]
fn whole_plan(bencher: Bencher, part: &str) {
    let us = simulated_us(&plan(part));
    bencher.counter(ItemsCount::new(us)).bench_local(|| plan(part));
}

#[divan::bench(args = ["good-body", "worn-teeth-body"], sample_count = 10)]
fn body(bencher: Bencher, part: &str) {
    let us = body_procedures(part);
    bencher.counter(ItemsCount::new(us)).bench_local(|| body_procedures(part));
}
