//! Tables of the study: a line for each class and severity, then who was named in whose stead.

use crate::trial::{Class, Trial};
use std::collections::BTreeMap;
use trackpair_tests::shares::Share;

/// A part of a severity range, by name.
type Tier = (&'static str, fn(&Trial) -> bool);

/// Tiers as the head of `main` states them.
const TIERS: [Tier; 3] =
    [("low", |t| t.severity < 0.5), ("nominal", |t| t.severity >= 0.5), ("high", |t| t.severity >= 0.75)];

/// Prints every table.
pub fn print(trials: &[Trial]) {
    println!(
        "\nright: the true cause is first or tied with the first; alone: first and not tied; ties: mean size of the first tie"
    );
    println!("healthy: right is no suspect at all\n");
    println!(
        "{:<28} {:<8} {:>4} {:>21} {:>6} {:>5} {:>5} {:>5}",
        "class", "severity", "n", "right", "alone", "ties", "none", "two+"
    );
    for class in Class::all() {
        let own: Vec<&Trial> = trials.iter().filter(|t| t.class == class).collect();
        for (tier, within) in TIERS {
            if class.cause().is_none() && tier != "nominal" {
                continue;
            }
            let some: Vec<&Trial> = own.iter().copied().filter(|t| within(t)).collect();
            row(&class.name(), tier, &some);
        }
    }
    println!();
    for (tier, within) in TIERS {
        let faulty = |grip: bool| -> Vec<&Trial> {
            let of_kind = |t: &&Trial| matches!(t.class, Class::Grip(_)) == grip;
            trials.iter().filter(|t| t.class.cause().is_some() && within(t)).filter(of_kind).collect()
        };
        row("all faulty grips", tier, &faulty(true));
        row("all faulty bodies", tier, &faulty(false));
    }
    confusion(trials);
}

fn row(name: &str, tier: &str, some: &[&Trial]) {
    if some.is_empty() {
        return;
    }
    let right = Share::count(some, |t| t.is_right());
    let alone = Share::count(some, |t| t.is_alone());
    let sizes: Vec<f64> = some.iter().map(|t| t.first().len() as f64).filter(|n| *n > 0.0).collect();
    let mean = if sizes.is_empty() { 0.0 } else { sizes.iter().sum::<f64>() / sizes.len() as f64 };
    let none = some.iter().filter(|t| t.first().is_empty()).count();
    let several = some.iter().filter(|t| t.problems() > 1).count();
    println!(
        "{name:<28} {tier:<8} {:>4} {right:>21} {:>6.3} {mean:>5.2} {none:>5} {several:>5}",
        some.len(),
        alone.hits as f64 / alone.of as f64
    );
}

/// Rows: what was planted, from nominal severity on. Columns: first suspect, `+` with its ties.
fn confusion(trials: &[Trial]) {
    println!("\nconfusion, nominal and above: planted -> first suspects (ties joined by +): parts");
    for class in Class::all() {
        let mut counts: BTreeMap<String, usize> = BTreeMap::new();
        let own = trials.iter().filter(|t| t.class == class && t.severity >= 0.5);
        for trial in own {
            let told = match &trial.suspects {
                None => "bench failed".to_owned(),
                Some(s) if s.is_empty() => "none".to_owned(),
                Some(_) => trial.first().join("+"),
            };
            *counts.entry(told).or_default() += 1;
        }
        let mut counts: Vec<_> = counts.into_iter().collect();
        counts.sort_by_key(|(_, n)| std::cmp::Reverse(*n));
        let told: Vec<String> = counts.iter().map(|(what, n)| format!("{what}: {n}")).collect();
        if !told.is_empty() {
            println!("{:<28} {}", class.name(), told.join(", "));
        }
    }
}

/// Every part whose cause is not first and alone.
pub fn print_wrong(trials: &[Trial]) {
    for trial in trials.iter().filter(|t| !t.is_alone()) {
        let name = trial.class.name();
        println!("\n{name}, seed {}, severity {:.2}: {}", trial.seed, trial.severity, trial.planted);
        for suspect in trial.suspects.iter().flatten() {
            println!(
                "   {} {} {:.2}: {}",
                suspect.problem,
                suspect.cause,
                suspect.probability,
                suspect.evidence.join("; ")
            );
        }
    }
}
