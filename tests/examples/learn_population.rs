//! Learns what the lost-motion maps of healthy simulated bodies look like and writes the population file that ships with the
//! program: `cargo run --release -p trackpair-tests --example learn_population -- 500 FILE`.
//!
//! Each body is run over the real protocol: rest, creep, a few steps (they show the inductance) and the tooth map.

use anyhow::{Context, Result};
use tokio_util::sync::CancellationToken;
use trackpair::analysis::body::BodyTraces;
use trackpair::analysis::body::measured::{Measured, Recordings};
use trackpair::analysis::body::population::{Origin, Population};
use trackpair::analysis::body::tooth_map::ToothMap;
use trackpair::procedure::{Bench, Recording, Setup};
use trackpair::session::{Options, Session};
use trackpair::sheet::{PartSheet, shipped};
use trackpair::trace::Trace;

/// Seeds from here on are learned from; studies use lower ones.
const FIRST_SEED: u64 = 1_000_000;
/// Steps per range and direction: enough for the inductance.
const STEPS: u32 = 4;

fn main() -> Result<()> {
    let mut arguments = std::env::args().skip(1);
    let bodies: u64 = arguments.next().context("give the number of bodies")?.parse()?;
    let file = arguments.next().context("give the file to write")?;
    let mut sheet = shipped("body").context("no sheet for a body ships")?;
    if let Some(plan) = sheet.body.as_mut() {
        plan.steps = STEPS;
    }
    let seeds: Vec<u64> = (FIRST_SEED..FIRST_SEED + bodies).collect();
    let maps: Vec<ToothMap> = seeds.iter().filter_map(|seed| map(*seed, &sheet)).collect();
    println!("{} maps of {bodies} bodies", maps.len());
    let gears = sheet.body.as_ref().and_then(|b| b.gears).context("the sheet names no gears")?;
    let origin = Origin {
        simulated: true,
        kind: sheet.name.clone(),
        seeds: format!("good-body, seeds {FIRST_SEED} to {}", FIRST_SEED + bodies - 1),
        rig: "simulated rig".into(),
        program: format!("trackpair {}", env!("CARGO_PKG_VERSION")),
        note: format!(
            "strokes of {} V, {} per body; healthy spread: engineering assumption",
            sheet.body.as_ref().map_or(0.0, |b| b.map_volts),
            sheet.body.as_ref().map_or(0, |b| b.map_strokes)
        ),
    };
    let population = Population::learn(&maps, gears.tooth_pitch_deg(), origin)?;
    println!("largest z of healthy bodies: {:?}, threshold {:.2}", population.null, population.null.at(1e-3));
    std::fs::write(&file, population.write()).with_context(|| file.clone())?;
    Ok(())
}

/// The map of one healthy body; none where a procedure failed.
fn map(seed: u64, sheet: &PartSheet) -> Option<ToothMap> {
    let link = trackpair_tests::bench::link(&format!("good-body?seed={seed}"));
    let session = Session::open(link, Options::default()).ok()?;
    let stop = CancellationToken::new();
    let mut silent = |_| {};
    let setup = Setup {
        sheet,
        part: format!("good-body {seed}"),
        started: "2026-01-01T00:00:00+00:00".to_owned(),
        stop: &stop,
        progress: &mut silent,
    };
    let mut bench = Bench::new(session, setup);
    let mut traces: Vec<Trace> = Vec::new();
    let mut keep = |r: Recording| traces.extend(r.trace);
    bench.rest_and_stops().recordings.into_iter().for_each(&mut keep);
    keep(bench.creep());
    keep(bench.steps());
    keep(bench.tooth_map());
    bench.finish().ok()?;
    let sorted = BodyTraces::sorted(&traces);
    Measured::new(&Recordings::new(&sorted, sheet), &sorted, sheet, &Population::assumed()).map.ok()
}
