//! The study's tables as text and as JSON. It counts nothing itself.

use crate::class::Class;
use crate::tally::{Coverage, OfClass, OfHealthy, coverage, of_class, of_healthy};
use crate::trial::Trial;
use serde::Serialize;
use trackpair::verdict::Verdict;
use trackpair_tests::shares::Magnitude;

/// Figures whose uncertainty is held against the truth.
const COVERED: [&str; 10] = [
    "closed_volts",
    "open_volts",
    "span",
    "linearity_independent",
    "linearity_terminal",
    "linearity_zero_based",
    "correlation_worst",
    "correlation_offset",
    "correlation_slope",
    "hysteresis",
];

/// The whole study.
#[derive(Serialize)]
pub struct Study<'a> {
    pub simulated: bool,
    pub seed: u64,
    pub parts: usize,
    pub seconds: f64,
    pub classes: Vec<OfClass>,
    pub healthy: Vec<OfHealthy>,
    pub coverage: Vec<Coverage>,
    pub trials: &'a [Trial],
}

impl<'a> Study<'a> {
    /// Counts everything.
    pub fn new(trials: &'a [Trial], seed: u64, seconds: f64) -> Self {
        let of = |class: Class| trials.iter().filter(|t| t.class == class).collect::<Vec<_>>();
        let healthy = of(Class::Healthy);
        let mut groups = vec![of_healthy(&healthy, true, "all")];
        for hall in [true, false] {
            for topology in ["complementary", "half-slope", "parallel-offset"] {
                let some: Vec<&Trial> =
                    healthy.iter().filter(|t| t.hall == hall && t.topology == topology).copied().collect();
                groups.push(of_healthy(&some, hall, topology));
            }
        }
        let mut covered = Vec::new();
        for figure in COVERED {
            for (hall, good) in [(true, true), (false, true), (true, false), (false, false)] {
                let some: Vec<&Trial> =
                    trials.iter().filter(|t| t.hall == hall && (t.class == Class::Healthy) == good).collect();
                covered.extend(coverage(&some, figure, hall, good));
            }
        }
        let classes = Class::ALL.into_iter().filter(|c| !of(*c).is_empty()).map(|c| of_class(c, &of(c)));
        Self {
            simulated: true,
            seed,
            parts: trials.len(),
            seconds,
            classes: classes.collect(),
            healthy: groups,
            coverage: covered,
            trials,
        }
    }

    /// Every table.
    pub fn print(&self) {
        println!("Study of simulated grip sensors (invented parts, nothing measured on hardware)");
        println!(
            "{} parts, seed {}, {:.0} s; shares with exact 95 % bounds (Clopper and Pearson)\n",
            self.parts, self.seed, self.seconds
        );
        self.print_detection();
        self.print_healthy();
        self.print_places();
        self.print_coverage();
        self.print_confusion();
    }

    fn print_detection(&self) {
        println!(
            "Detection. Nominal: upper half of the severity's range. Escape: bad and judged within. Bad: a true figure breaks"
        );
        println!(
            "its limit (where curves and play tell all), else nominal. Hard: judged outside, no true figure breaks a limit"
        );
        println!(
            "{:<20} {:>4}  {:<20} {:<20} {:<20} {:<5} {:<28} {:<8} undecided",
            "class", "n", "detected", "detected nominal", "first answer right", "study", "escapes", "hard"
        );
        for c in self.classes.iter().filter(|c| c.class != Class::Healthy) {
            let never = if c.never_happened > 0 {
                format!(" ({} never happened)", c.never_happened)
            } else {
                String::new()
            };
            let escapes = format!("{} of {} <={:.3}{never}", c.escapes.hits, c.escapes.of, c.escapes.high);
            println!(
                "{:<20} {:>4}  {:<20} {:<20} {:<20} {:<5} {:<28} {:<8} {}",
                c.name,
                c.detected.of,
                c.detected.to_string(),
                c.detected_nominal.to_string(),
                c.right_first.to_string(),
                c.prototype_study_right.map_or("-".into(), |p| format!("{p:.2}")),
                escapes,
                c.hard.map_or("-".into(), |h| format!("{} of {}", h.hits, h.of)),
                c.undecided.hits
            );
        }
        println!("study: share right in the prototype study, complementary alone, 60 parts a class\n");
        println!("Severities:");
        for c in &self.classes {
            println!("  {:<20} {}", c.name, c.class.words().1);
        }
        println!();
    }

    fn print_healthy(&self) {
        println!("Healthy parts. False reject: judged outside. False alarm: any finding.");
        println!(
            "{:<25} {:>4}  {:<24} {:<24} {:<24}",
            "kind", "n", "false rejects", "false alarms", "undecided"
        );
        for h in &self.healthy {
            let kind = match (h.topology, h.hall) {
                ("all", _) => "all".to_owned(),
                (t, true) => format!("Hall {t}"),
                (t, false) => format!("pot {t}"),
            };
            println!(
                "{kind:<25} {:>4}  {:<24} {:<24} {:<24}",
                h.false_alarms.of,
                h.false_rejects.to_string(),
                h.false_alarms.to_string(),
                h.undecided.to_string()
            );
        }
        println!("prototype study: 1 alarm in 400, complementary alone (0.0025, at most 0.012)\n");
    }

    fn print_places(&self) {
        println!("Place and width, absolute errors, degrees");
        println!("{:<20} {:>5} {:>8} {:>8} {:>8} {:>8}", "class", "n", "centre", "95 %", "width", "95 %");
        let two = |m: Option<Magnitude>| match m {
            Some(m) => format!("{:>8.3} {:>8.3}", m.median, m.at_95),
            None => format!("{:>8} {:>8}", "-", "-"),
        };
        for c in &self.classes {
            if let Some(centre) = c.centre {
                println!("{:<20} {:>5} {} {}", c.name, centre.count, two(Some(centre)), two(c.width));
            }
        }
        println!(
            "prototype study, flat spots: centre 0.03 to 0.12 (95 %: 0.07 to 0.3), width 0.0 to 0.15 (0.1 to 0.6)\n"
        );
    }

    fn print_coverage(&self) {
        println!(
            "Stated uncertainty against the truth: share of true values within value +- U (k = 2), bias and sd of the error"
        );
        println!(
            "{:<23} {:<15} {:<20} {:>9} {:>9} {:>9} {:>5}",
            "figure", "parts", "covered", "bias", "sd", "mean U", "n"
        );
        for c in &self.coverage {
            let parts = format!(
                "{} {}",
                if c.hall { "Hall" } else { "pot" },
                if c.healthy { "good" } else { "faulty" }
            );
            println!(
                "{:<23} {parts:<15} {:<20} {:>9.4} {:>9.4} {:>9.4} {:>5}",
                c.figure,
                c.covered.to_string(),
                c.bias,
                c.sd,
                c.expanded,
                c.covered.of
            );
        }
        println!(
            "prototype study, one sweep, Hall (pot): error of independent linearity +0.014, sd 0.012 (-0.020, 0.012) %; terminal 0.000, \
             0.017 (-0.023, 0.025) %; hysteresis 0.000, 0.002 deg\n"
        );
    }

    fn print_confusion(&self) {
        println!("First answer per planted class (`figures outside`: no finding, but outside)");
        for c in &self.classes {
            let mut told: Vec<_> = c.told.iter().collect();
            told.sort_by(|a, b| b.1.cmp(a.1));
            let told: Vec<String> = told.iter().map(|(k, n)| format!("{k} {n}")).collect();
            println!("  {:<20} {}", c.name, told.join(", "));
        }
        println!();
    }

    /// Every part that was answered wrongly, with what reproduces it.
    pub fn print_wrong(&self) {
        for t in self.trials {
            let what = match (t.class, t.verdict) {
                (_, None) => "bench failed",
                (Class::Healthy, Some(Verdict::Outside)) => "false reject",
                (Class::Healthy, _) if !t.findings.is_empty() => "false alarm",
                (Class::Healthy, _) => continue,
                (_, Some(Verdict::Within)) if t.bad() => "escape",
                (_, Some(Verdict::Outside)) if t.truly_outside == Some(false) => "hard",
                _ if !t.right_first && t.detected() => "wrong first",
                _ if !t.detected() && t.nominal => "not detected",
                _ => continue,
            };
            print_one(what, t);
        }
    }
}

/// One part in full.
pub fn print_one(what: &str, t: &Trial) {
    println!(
        "--- {what}: index {}, {:?}, severity {:.2}, verdict {:?}, outages {:?}, outside {:?}, seed={}",
        t.index, t.class, t.severity, t.verdict, t.outages, t.outside, t.seed
    );
    println!("{}", t.part.trim_end());
    for f in &t.findings {
        println!("  > {} {:.3} {}", f.kind, f.confidence, f.text);
    }
    for reason in t.reasons.iter().take(4).chain(&t.failure) {
        println!("  = {reason}");
    }
}
