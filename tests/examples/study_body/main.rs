//! Study of seeded simulated throttle bodies on the whole bench: how well figures and their uncertainties hold against the truth,
//! how often faults are found, named, placed, passed over; how often good bodies are rejected.
//! `scripts/study body [--parts N] [--seed S]`.
//!
//! - [`class`]: what is planted. - [`trial`]: one body on the bench. - [`truth`]: true figures. - [`report`]: the tables.

mod class;
mod report;
mod trial;
mod truth;

use clap::Parser;
use class::Class;
use std::path::PathBuf;
use std::time::Instant;
use trackpair_rig_sim::random::Random;
use trackpair_tests::parallel::on_all_cores;

/// A third of the bodies is healthy.
const HEALTHY_SHARE: f64 = 1.0 / 3.0;

/// Study of seeded simulated throttle bodies on the whole bench.
#[derive(Debug, Parser)]
struct Args {
    /// Bodies in all; a third of them healthy.
    #[arg(long, default_value_t = 1200)]
    parts: u64,
    /// Seed of the study; the same seed gives the same bodies and answers.
    #[arg(long, default_value_t = 1)]
    seed: u64,
    /// Writes everything, body by body, to this file.
    #[arg(long)]
    json: Option<PathBuf>,
    /// Also prints every body that was answered wrongly.
    #[arg(long)]
    wrong: bool,
    /// Tries this body alone and prints it.
    #[arg(long)]
    only: Option<u64>,
    /// Tries this class alone.
    #[arg(long)]
    class: Option<String>,
    /// Instead of the study: one worn tooth of fixed depths, so many bodies each.
    #[arg(long)]
    teeth: Option<u64>,
}

/// What body `index` is. Depends on nothing but the seed and the index.
fn drawn(seed: u64, index: u64) -> (u64, class::Drawn) {
    let mut random = Random::new("study body", seed.wrapping_mul(1_000_003).wrapping_add(index));
    let faulty = Class::ALL.len() - 1;
    let class =
        if random.unit() < HEALTHY_SHARE { Class::Healthy } else { Class::ALL[1 + index as usize % faulty] };
    (seed * 1_000_000 + index, class::draw(class, &mut random))
}

fn main() -> anyhow::Result<()> {
    let args = Args::parse();
    // A bench that fails is counted; its words are kept with the body.
    std::panic::set_hook(Box::new(|_| {}));
    if let Some(index) = args.only {
        let (seed, body) = drawn(args.seed, index);
        report::print_one("one body", &trial::run(index, seed, &body));
        return Ok(());
    }
    if let Some(each) = args.teeth {
        teeth(each, args.seed);
        return Ok(());
    }
    let started = Instant::now();
    let trials: Vec<trial::Trial> = on_all_cores(args.parts, |index| {
        if index % 100 == 0 && index > 0 {
            eprintln!("{index} of {} after {:.0} s", args.parts, started.elapsed().as_secs_f64());
        }
        let (seed, body) = drawn(args.seed, index);
        let wanted = args.class.as_ref().is_none_or(|c| *c == body.class.words().0);
        wanted.then(|| trial::run(index, seed, &body))
    })
    .into_iter()
    .flatten()
    .collect();
    report::print(&trials, args.seed, started.elapsed().as_secs_f64());
    if args.wrong {
        report::print_wrong(&trials);
    }
    if let Some(file) = &args.json {
        std::fs::write(file, serde_json::to_string_pretty(&trials)?)?;
    }
    Ok(())
}

/// Depths of the table of worn teeth, extra lash in degrees, three fifths of it on the opening flank.
const DEPTHS: [f64; 5] = [0.10, 0.15, 0.20, 0.25, 0.40];

/// How often one worn tooth of a depth is found, and how near it is placed.
fn teeth(each: u64, seed: u64) {
    println!("One worn tooth 3 deg above rest or more, simulated; {each} bodies a row, seed {seed}");
    for (row, depth_deg) in (0..).zip(DEPTHS) {
        let trials: Vec<trial::Trial> = on_all_cores(each, |k| {
            let index = row * each + k;
            let mut random =
                Random::new("study body teeth", seed.wrapping_mul(1_000_003).wrapping_add(index));
            trial::run(index, seed * 1_000_000 + index, &class::worn_tooth(depth_deg, &mut random))
        });
        report::print_depth(depth_deg, &trials);
    }
}
