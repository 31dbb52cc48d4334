//! Study of suspects: a confusion matrix of causes over the fault library and its severities, grip sensors and throttle bodies, on the
//! whole bench. `scripts/study suspects [--parts N] [--seed S]`.
//!
//! Faults and their ranges are those of the studies `grip` and `body`. A severity is `low` in the lower half of its range (in
//! logarithm), `nominal` from its middle on, `high` in its uppermost quarter.
//!
//! - [`trial`]: one part on the bench. - [`report`]: the tables.

#[path = "../study_body/class.rs"]
#[expect(dead_code, reason = "what the other study alone needs of its classes")]
mod body_class;
#[path = "../study_grip/class.rs"]
#[expect(dead_code, reason = "what the other study alone needs of its classes")]
mod grip_class;
mod report;
mod trial;

use clap::Parser;
use std::time::Instant;
use trackpair_rig_sim::random::Random;
use trackpair_tests::parallel::on_all_cores;
use trial::{Class, Trial};

/// Study of suspects over the fault library.
#[derive(Debug, Parser)]
struct Args {
    /// Parts in all, as many of each class.
    #[arg(long, default_value_t = 1950)]
    parts: u64,
    /// Seed of the study; the same seed gives the same parts and answers.
    #[arg(long, default_value_t = 1)]
    seed: u64,
    /// Tries classes whose name contains this alone.
    #[arg(long)]
    class: Option<String>,
    /// Also prints every part whose cause is not first and alone.
    #[arg(long)]
    wrong: bool,
}

fn main() {
    let args = Args::parse();
    let started = Instant::now();
    // A bench that fails is counted; its words are kept with the part.
    std::panic::set_hook(Box::new(|_| {}));
    let classes = Class::all();
    let trials: Vec<Option<Trial>> = on_all_cores(args.parts, |index| {
        let class = classes[index as usize % classes.len()];
        let wanted = args.class.as_ref().is_none_or(|part| class.name().contains(part.as_str()));
        let mut random = Random::new("study suspects", args.seed.wrapping_mul(1_000_003).wrapping_add(index));
        wanted.then(|| trial::run(class, args.seed * 1_000_000 + index, &mut random))
    });
    let trials: Vec<Trial> = trials.into_iter().flatten().collect();
    println!(
        "{} parts, seed {}, {:.0} s; shares with exact 95 % bounds (Clopper and Pearson 1934)",
        trials.len(),
        args.seed,
        started.elapsed().as_secs_f64()
    );
    report::print(&trials);
    if args.wrong {
        report::print_wrong(&trials);
    }
}
