//! How often a drift is seen in soaks of simulated grips: falsely on parts without one, rightly on parts with a known one. Prints a table with
//! exact bounds. `study_soak [--parts N] [--rounds N] [--seed S]`.

use anyhow::{Context, Result};
use clap::Parser;
use serde_json::Value;
use std::path::Path;
use trackpair_tests::cli::outcome_of;
use trackpair_tests::parallel::on_all_cores;
use trackpair_tests::shares::Share;

/// Drifts of the rising line that are planted, % of supply per hour.
const DRIFTS: [f64; 4] = [0.0, 0.003, 0.01, 0.03];

#[derive(Parser)]
struct Arguments {
    /// Parts per row; four times as many without a drift
    #[arg(long, default_value_t = 25)]
    parts: u64,
    /// Rounds of each soak, one in 20 s
    #[arg(long, default_value_t = 30)]
    rounds: u32,
    /// First seed
    #[arg(long, default_value_t = 1)]
    seed: u64,
}

/// What a soak said.
struct Seen {
    /// Figures that drift though nothing moves them.
    falsely: u64,
    /// Whether the rising line's voltage at its closed stop drifts.
    rising: bool,
    /// Whether the interval of its slope holds the truth.
    covered: bool,
}

fn main() -> Result<()> {
    let arguments = Arguments::parse();
    let folder = tempfile::tempdir()?;
    println!("{} rounds in 20 s each, a cycle a round; seeds from {}", arguments.rounds, arguments.seed);
    println!(
        "{:>12} {:>6} {:>26} {:>26} {:>26}",
        "% supply / h", "parts", "any figure falsely", "rising line drifts", "95 % interval holds"
    );
    for drift in DRIFTS {
        let part = folder.path().join(format!("drift-{drift}.toml"));
        std::fs::write(&part, part_file(drift))?;
        let parts = if drift == 0.0 { 4 * arguments.parts } else { arguments.parts };
        let seen = on_all_cores(parts, |k| soak(&part, arguments.seed + k, &arguments, drift));
        let seen = seen.into_iter().collect::<Result<Vec<Seen>>>()?;
        println!(
            "{drift:>12} {parts:>6} {:>26} {:>26} {:>26}",
            Share::count(&seen, |s| s.falsely > 0).to_string(),
            Share::count(&seen, |s| s.rising).to_string(),
            Share::count(&seen, |s| s.covered).to_string()
        );
    }
    Ok(())
}

fn part_file(drift: f64) -> String {
    format!(
        "kind = \"grip\"\nsensor = \"hall\"\ntopology = \"complementary\"\n[[fault]]\nkind = \"drift\"\nchannel = \"rising\"\n\
         percent_of_supply_per_hour = {drift:?}\n"
    )
}

fn soak(part: &Path, seed: u64, arguments: &Arguments, drift: f64) -> Result<Seen> {
    let rig = format!("sim:{}?seed={seed}", part.display());
    let length = format!("{}s", arguments.rounds * 20);
    let settings = ["--for", &length, "--every", "20s", "--cycles", "1", "--disk", "20MB"];
    let outcome = outcome_of(&[&["soak", "--rig", &rig], &settings[..]].concat())?;
    let drifts = outcome["soak"]["drifts"].as_array().context("drifts")?;
    // A drift of one line moves its voltages and what the two lines say together.
    let moved = |d: &Value| {
        d["channel"] == "rising" || d["figure"].as_str().is_some_and(|f| f.starts_with("correlation"))
    };
    let falsely = drifts.iter().filter(|d| d["drifts"] == true && (drift == 0.0 || !moved(d))).count();
    let closed = drifts
        .iter()
        .find(|d| d["figure"] == "closed_volts" && d["channel"] == "rising")
        .context("a figure")?;
    // % of supply at 5 V.
    let truth = drift / 100.0 * 5.0;
    let end = |name: &str| closed[name].as_f64().context("an end");
    Ok(Seen {
        falsely: falsely as u64,
        rising: closed["drifts"] == true,
        covered: (end("lower")?..=end("upper")?).contains(&truth),
    })
}
