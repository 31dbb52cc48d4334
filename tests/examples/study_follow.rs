//! Grip and throttle body together, over many simulated pairs: false alarms of sound pairs, and which faults of either part show in how the
//! plate follows. Prints a table with exact bounds. `study_follow [--parts N] [--seed S]`.

use anyhow::{Context, Result};
use clap::Parser;
use trackpair_tests::cli::outcome_of;
use trackpair_tests::parallel::on_all_cores;
use trackpair_tests::shares::{Magnitude, Share};

const GRIPS: [&str; 9] = [
    "cracked-wire-grip",
    "loose-connector-grip",
    "lifting-wiper-grip",
    "dead-channel-grip",
    "worn-grip",
    "corroded-ground-grip",
    "sticky-grip",
    "off-centre-grip",
    "noisy-grip",
];
const BODIES: [&str; 9] = [
    "torn-feedback-body",
    "offset-feedback-body",
    "sticky-body",
    "dry-body",
    "hot-winding-body",
    "dead-spot-body",
    "worn-teeth-body",
    "weak-spring-body",
    "broken-spring-body",
];

#[derive(Parser)]
struct Arguments {
    /// Pairs per row; four times as many sound ones
    #[arg(long, default_value_t = 10)]
    parts: u64,
    /// First seed
    #[arg(long, default_value_t = 1)]
    seed: u64,
}

/// What was reported of a pair.
struct Seen {
    verdict: String,
    /// Median time from the grip's step to the plate's, ms; none where it was never made to follow.
    latency_ms: Option<f64>,
    /// Largest deviation of the plate at any speed of the grip, degrees.
    deviation_deg: Option<f64>,
}

fn main() -> Result<()> {
    let arguments = Arguments::parse();
    println!("seeds from {}", arguments.seed);
    println!(
        "{:<40} {:>5} {:>22} {:>22} {:>12} {:>15}",
        "pair", "pairs", "outside", "undecided", "latency, ms", "deviation, deg"
    );
    let sound = ("good-grip", "good-body");
    let grips = GRIPS.map(|grip| (grip, sound.1));
    let bodies = BODIES.map(|body| (sound.0, body));
    for (k, (grip, body)) in [sound].into_iter().chain(grips).chain(bodies).enumerate() {
        let pairs = if k == 0 { 4 * arguments.parts } else { arguments.parts };
        let seen = on_all_cores(pairs, |n| follow(grip, body, arguments.seed + n));
        let seen = seen.into_iter().collect::<Result<Vec<Seen>>>()?;
        let share = |verdict: &str| Share::count(&seen, |s| s.verdict == verdict).to_string();
        let median = |of: fn(&Seen) -> Option<f64>| {
            Magnitude::of(seen.iter().filter_map(of)).map_or("-".to_owned(), |m| format!("{:.2}", m.median))
        };
        println!(
            "{:<40} {pairs:>5} {:>22} {:>22} {:>12} {:>15}",
            format!("{grip} + {body}"),
            share("outside"),
            share("undecided"),
            median(|s| s.latency_ms),
            median(|s| s.deviation_deg)
        );
    }
    Ok(())
}

fn follow(grip: &str, body: &str, seed: u64) -> Result<Seen> {
    let rig = format!("sim:{grip}+{body}?seed={seed}");
    let outcome = outcome_of(&["follow", "--rig", &rig])?;
    let figures = outcome["figures"].as_array().context("figures")?;
    let largest = |name: &str| {
        figures.iter().filter(|f| f["figure"] == name).filter_map(|f| f["value"].as_f64()).reduce(f64::max)
    };
    Ok(Seen {
        verdict: outcome["verdict"].as_str().context("a verdict")?.to_owned(),
        latency_ms: largest("follow_latency_p50"),
        deviation_deg: largest("follow_deviation"),
    })
}
