//! Study of seeded simulated grip sensors on the whole bench: how often faults are found, named, placed, passed over; how often
//! good parts are rejected; whether stated uncertainties hold. `scripts/study grip [--parts N] [--seed S] [--threads T]`.
//!
//! - [`class`]: what is planted. - [`trial`]: one part on the bench. - [`truth`]: true figures. - [`tally`]: counts and bounds.
//! - [`report`]: the tables. - [`limits`]: smallest flat spot and shortest dropout seen.

mod class;
mod limits;
mod report;
mod tally;
mod trial;
mod truth;

use anyhow::Context;
use clap::{Parser, ValueEnum};
use class::Class;
use std::path::PathBuf;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::Instant;
use trackpair_rig_sim::random::Random;

/// A third of the parts is healthy.
const HEALTHY_SHARE: f64 = 1.0 / 3.0;

#[derive(Clone, Copy, Debug, ValueEnum)]
enum Table {
    /// Smallest width of a flat spot that is found.
    FlatSpot,
    /// Shortest dropout that is found.
    Dropout,
}

/// Study of seeded simulated grip sensors on the whole bench.
#[derive(Debug, Parser)]
struct Args {
    /// Parts in all; a third of them healthy.
    #[arg(long, default_value_t = 2600)]
    parts: u64,
    /// Seed of the study; the same seed gives the same parts and answers.
    #[arg(long, default_value_t = 1)]
    seed: u64,
    /// Threads.
    #[arg(long, default_value_t = 2)]
    threads: usize,
    /// Writes everything, part by part, to this file.
    #[arg(long)]
    json: Option<PathBuf>,
    /// Also prints every part that was answered wrongly.
    #[arg(long)]
    wrong: bool,
    /// Tries this part alone and prints it.
    #[arg(long)]
    only: Option<u64>,
    /// Tries this class alone.
    #[arg(long)]
    class: Option<String>,
    /// A table of detection limits instead of the study.
    #[arg(long, value_enum)]
    table: Option<Table>,
    /// Parts for each cell of such a table.
    #[arg(long, default_value_t = 20)]
    each: u64,
}

/// What part `index` is. Depends on nothing but the seed, the index and the number of parts' healthy share.
fn drawn(seed: u64, index: u64) -> (u64, class::Drawn) {
    let mut random = Random::new("study grip", seed.wrapping_mul(1_000_003).wrapping_add(index));
    let faulty = Class::ALL.len() - 1;
    let class =
        if random.unit() < HEALTHY_SHARE { Class::Healthy } else { Class::ALL[1 + index as usize % faulty] };
    (seed * 1_000_000 + index, class::draw(class, &mut random))
}

/// Does `work` for 0 to `count`, on so many threads; answers in order. Progress goes to standard error.
pub fn in_parallel<T: Send>(count: u64, threads: usize, work: impl Fn(u64) -> Option<T> + Sync) -> Vec<T> {
    let (next, started) = (AtomicU64::new(0), Instant::now());
    let worker = || {
        let mut own = Vec::new();
        loop {
            let index = next.fetch_add(1, Ordering::Relaxed);
            if index >= count {
                return own;
            }
            if index % 100 == 0 && index > 0 {
                eprintln!("{index} of {count} after {:.0} s", started.elapsed().as_secs_f64());
            }
            own.extend(work(index).map(|answer| (index, answer)));
        }
    };
    let mut all: Vec<(u64, T)> = std::thread::scope(|scope| {
        let handles: Vec<_> = (0..threads.max(1)).map(|_| scope.spawn(worker)).collect();
        handles.into_iter().flat_map(|h| h.join().expect("a worker does not panic")).collect()
    });
    all.sort_by_key(|(index, _)| *index);
    all.into_iter().map(|(_, answer)| answer).collect()
}

fn main() -> anyhow::Result<()> {
    let args = Args::parse();
    // A bench that fails is counted; its words are kept with the part.
    std::panic::set_hook(Box::new(|_| {}));
    if let Some(index) = args.only {
        let (seed, part) = drawn(args.seed, index);
        report::print_one("one part", &trial::run(index, seed, &part));
        return Ok(());
    }
    match args.table {
        Some(Table::FlatSpot) => limits::flat_spots(args.each, args.seed, args.threads),
        Some(Table::Dropout) => limits::dropouts(args.each, args.seed, args.threads),
        None => study(&args)?,
    }
    Ok(())
}

fn study(args: &Args) -> anyhow::Result<()> {
    let started = Instant::now();
    let trials = in_parallel(args.parts, args.threads, |index| {
        let (seed, part) = drawn(args.seed, index);
        let wanted = args.class.as_ref().is_none_or(|c| *c == part.class.words().0);
        wanted.then(|| trial::run(index, seed, &part))
    });
    let study = report::Study::new(&trials, args.seed, started.elapsed().as_secs_f64());
    study.print();
    if args.wrong {
        study.print_wrong();
    }
    if let Some(file) = &args.json {
        let text = serde_json::to_string_pretty(&study)?;
        std::fs::write(file, text).with_context(|| format!("can't write {}", file.display()))?;
    }
    Ok(())
}
