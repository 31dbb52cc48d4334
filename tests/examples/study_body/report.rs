//! The study's tables as text. It runs nothing.

use crate::class::Class;
use crate::trial::{Error, Trial};
use std::collections::BTreeMap;
use trackpair::analysis::statistics::{mean, standard_deviation};
use trackpair::verdict::Verdict;
use trackpair_tests::shares::{Magnitude, Share};

/// Upper edges of the depths that tooth defects are counted by, degrees.
const DEPTHS: [f64; 6] = [0.20, 0.25, 0.30, 0.40, 0.60, 2.0];

/// Every table.
pub fn print(trials: &[Trial], seed: u64, seconds: f64) {
    println!("Study of simulated throttle bodies (invented parts, nothing measured on hardware)");
    println!(
        "{} bodies, seed {seed}, {seconds:.0} s; shares with exact 95 % bounds (Clopper and Pearson)\n",
        trials.len()
    );
    print_detection(trials);
    print_healthy(trials);
    print_teeth(trials);
    print_errors(trials);
    print_confusion(trials);
}

fn of(trials: &[Trial], class: Class) -> Vec<&Trial> {
    trials.iter().filter(|t| t.class == class).collect()
}

fn print_detection(trials: &[Trial]) {
    println!("Detection. Nominal: upper half of the severity's range. Escape: nominal and judged within.");
    println!(
        "{:<22} {:>4}  {:<21} {:<21} {:<21} {:<6} {:<12} undecided",
        "class", "n", "not within", "right first", "right first, nominal", "study", "escapes"
    );
    let (mut escaped, mut all_nominal) = (0, 0);
    for class in Class::ALL.into_iter().filter(|c| *c != Class::Healthy) {
        let all = of(trials, class);
        if all.is_empty() {
            continue;
        }
        let nominal: Vec<&Trial> = all.iter().filter(|t| t.nominal).copied().collect();
        let escapes = nominal.iter().filter(|t| t.verdict == Some(Verdict::Within)).count();
        (escaped, all_nominal) = (escaped + escapes, all_nominal + nominal.len());
        println!(
            "{:<22} {:>4}  {:<21} {:<21} {:<21} {:<6} {:<12} {}",
            class.words().0,
            all.len(),
            Share::count(&all, |t| t.verdict != Some(Verdict::Within)).to_string(),
            Share::count(&all, |t| t.right_first).to_string(),
            Share::count(&nominal, |t| t.right_first).to_string(),
            class.words().2.map_or("-".into(), |p| format!("{p:.2}")),
            format!("{escapes} of {}", nominal.len()),
            all.iter().filter(|t| t.verdict == Some(Verdict::Undecided)).count(),
        );
    }
    println!("escapes at nominal severity in all: {}", Share::new(escaped as u64, all_nominal as u64));
    let faulty: Vec<&Trial> = trials.iter().filter(|t| t.nominal).collect();
    println!("first kind right at nominal severity: {}", Share::count(&faulty, |t| t.right_first));
    println!("study: share right in the prototype study, 40 bodies a class\n\nSeverities:");
    for class in Class::ALL {
        println!("  {:<22} {}", class.words().0, class.words().1);
    }
    println!();
}

fn print_healthy(trials: &[Trial]) {
    let healthy = of(trials, Class::Healthy);
    let sure = |t: &&Trial| t.findings.iter().any(|f| f.confidence >= 0.95);
    println!("Healthy bodies: {}", healthy.len());
    println!(
        "  false rejects (judged outside)      {}",
        Share::count(&healthy, |t| t.verdict == Some(Verdict::Outside))
    );
    println!("  sure false alarms (finding >= 95 %) {}", Share::count(&healthy, sure));
    println!("  any finding                         {}", Share::count(&healthy, |t| !t.findings.is_empty()));
    println!(
        "  undecided                           {}",
        Share::count(&healthy, |t| t.verdict == Some(Verdict::Undecided))
    );
    println!("  bench failed                        {}\n", Share::count(&healthy, |t| t.verdict.is_none()));
}

fn print_teeth(trials: &[Trial]) {
    println!("Teeth: found (worn or missing told), by depth and by place; error of the place");
    let teeth: Vec<&Trial> = trials.iter().filter(|t| t.class.is_at_a_tooth()).collect();
    let row = |name: String, some: &[&Trial]| {
        if some.is_empty() {
            return;
        }
        let place = Magnitude::of(some.iter().filter_map(|t| t.centre_error));
        let place = place.map_or("-".into(), |m| format!("{:.2} deg, 95 % {:.2}", m.median, m.at_95));
        println!(
            "  {name:<30} {:>4}  {:<22} {place}",
            some.len(),
            Share::count(some, |t| t.tooth_told).to_string()
        );
    };
    for class in [Class::WornTooth, Class::WornTeeth, Class::ChippedTooth] {
        let mut low = 0.0;
        for high in DEPTHS {
            let within = |t: &&&Trial| t.class == class && (low..high).contains(&t.amount);
            let some: Vec<&Trial> = teeth.iter().filter(within).copied().collect();
            row(format!("{} {low:.2} to {high:.2} deg", class.words().0), &some);
            low = high;
        }
    }
    for place in [10.0, 14.0, 18.0, 22.0] {
        let at = |t: &&&Trial| t.class == Class::WornTooth && t.centre_deg == Some(place) && t.amount >= 0.2;
        row(
            format!("worn tooth >= 0.20 at {place} deg"),
            &teeth.iter().filter(at).copied().collect::<Vec<_>>(),
        );
    }
    let missing: Vec<&Trial> = teeth.iter().filter(|t| t.class == Class::MissingTooth).copied().collect();
    row("missing tooth".to_owned(), &missing);
    println!();
}

/// One row of the table of worn teeth.
pub fn print_depth(depth_deg: f64, trials: &[Trial]) {
    let errors: Vec<f64> = trials.iter().filter_map(|t| t.centre_error).collect();
    println!(
        "  {depth_deg:.2} deg: told {}; within 1 deg {}; not called within {}",
        Share::count(trials, |t| t.tooth_told),
        Share::count(&errors, |e| e.abs() <= 1.0),
        Share::count(trials, |t| t.verdict != Some(Verdict::Within)),
    );
}

fn print_errors(trials: &[Trial]) {
    println!(
        "Figures against the truth: share of true values within value +- U (k = 2), bias and sd of the error"
    );
    println!(
        "{:<28} {:<8} {:<21} {:>10} {:>10} {:>10} {:>10} {:>5}",
        "figure", "bodies", "covered", "bias", "sd", "95 %", "mean U", "n"
    );
    let mut by_figure: BTreeMap<(&str, bool), Vec<Error>> = BTreeMap::new();
    for t in trials {
        for error in &t.errors {
            by_figure
                .entry((error.figure.as_str(), t.class != Class::Healthy))
                .or_default()
                .push(error.clone());
        }
    }
    for ((figure, faulty), errors) in by_figure {
        let values: Vec<f64> = errors.iter().map(|e| e.error).collect();
        println!(
            "{figure:<28} {:<8} {:<21} {:>10.5} {:>10.5} {:>10.5} {:>10.5} {:>5}",
            if faulty { "faulty" } else { "healthy" },
            Share::count(&errors, |e| e.error.abs() <= e.expanded).to_string(),
            mean(&values).unwrap_or(f64::NAN),
            standard_deviation(&values).unwrap_or(f64::NAN),
            Magnitude::of(values.iter().copied()).map_or(f64::NAN, |m| m.at_95),
            mean(&errors.iter().map(|e| e.expanded).collect::<Vec<_>>()).unwrap_or(f64::NAN),
            errors.len()
        );
    }
    println!();
}

fn print_confusion(trials: &[Trial]) {
    println!("First answer per planted class");
    for class in Class::ALL {
        let mut told: BTreeMap<&str, u64> = BTreeMap::new();
        for t in of(trials, class) {
            *told.entry(t.first()).or_default() += 1;
        }
        let mut told: Vec<_> = told.into_iter().collect();
        told.sort_by_key(|(_, n)| std::cmp::Reverse(*n));
        let told: Vec<String> = told.iter().map(|(k, n)| format!("{k} {n}")).collect();
        println!("  {:<22} {}", class.words().0, told.join(", "));
    }
    println!();
}

/// Every body that was answered wrongly, with what reproduces it.
pub fn print_wrong(trials: &[Trial]) {
    for t in trials {
        let what = match (t.class, t.verdict) {
            (_, None) => "bench failed",
            (Class::Healthy, Some(Verdict::Outside)) => "false reject",
            (Class::Healthy, Some(Verdict::Undecided)) => "undecided",
            (Class::Healthy, _) if !t.findings.is_empty() => "false alarm",
            (Class::Healthy, _) => continue,
            (_, Some(Verdict::Within)) if t.nominal => "escape",
            _ if !t.right_first && t.nominal => "wrong first",
            _ => continue,
        };
        print_one(what, t);
    }
}

/// One body in full.
pub fn print_one(what: &str, t: &Trial) {
    println!(
        "--- {what}: index {}, {:?}, severity {:.2}, amount {:.3}, verdict {:?}, outside {:?}, seed={}",
        t.index, t.class, t.severity, t.amount, t.verdict, t.outside, t.seed
    );
    println!("{}", t.part.trim_end());
    for f in &t.findings {
        println!("  > {} {:.3} {}", f.kind, f.confidence, f.text);
    }
    for reason in t.reasons.iter().take(5).chain(&t.failure) {
        println!("  = {reason}");
    }
    for e in &t.errors {
        println!("  . {:<28} error {:+.5}, U {:.5}", e.figure, e.error, e.expanded);
    }
}
