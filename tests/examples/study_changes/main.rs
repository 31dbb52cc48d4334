//! Study of comparisons: how often a part that did not change is called changed when it is measured again, and how often a known change
//! is shown. `scripts/study changes [--parts N] [--seed S]`.
//!
//! Each part is measured twice, each time on another rig of one kind (other calibration, other mounting, fresh noise): nothing that two
//! measurements on one rig would share is shared, as the comparison assumes.

mod planted;

use clap::Parser;
use planted::{CHANGES, Planted};
use std::collections::BTreeMap;
use trackpair::compare::changes::{Changes, Question, compare};
use trackpair::compare::figures::Change;
use trackpair::compare::subject::Subject;
use trackpair::outcome::{Outcome, OutcomeInputs, StoredTrace, build};
use trackpair::quantity::FigureName;
use trackpair::sheet::{PartSheet, shipped};
use trackpair::trace::Trace;
use trackpair_rig_sim::rig_spec::RigSpec;
use trackpair_rig_sim::spec::Kind;
use trackpair_rig_sim::{Part, PartSpec, SimBoard, SimRig, part_address};
use trackpair_tests::bench::run_plan;
use trackpair_tests::body_bench::run_body_plan;
use trackpair_tests::parallel::on_all_cores;
use trackpair_tests::shares::Share;
use trackpair_tests::sim_link::over;

/// Parts that are measured twice without a change.
const UNCHANGED: [&str; 7] = [
    "good-grip",
    "good-pot-grip",
    "worn-grip",
    "noisy-grip",
    "loose-connector-grip",
    "good-body",
    "worn-teeth-body",
];

/// Study of comparisons of seeded simulated parts.
#[derive(Debug, Parser)]
struct Args {
    /// Parts of each kind.
    #[arg(long, default_value_t = 100)]
    parts: u64,
    /// Seed of the study; the same seed gives the same parts and answers.
    #[arg(long, default_value_t = 1)]
    seed: u64,
    /// This kind of part or change alone.
    #[arg(long)]
    only: Option<String>,
    /// Also prints the figures that scatter by more than their uncertainties.
    #[arg(long)]
    spread: bool,
}

/// A part on a rig that `seed` draws, judged.
fn measure(part: Part, seed: u64) -> Outcome {
    let body = part.spec().kind == Kind::Body;
    let link = over(SimRig::new(SimBoard::new(part, RigSpec::default(), seed)), "sim:study".to_owned());
    let sheet = shipped(if body { "body" } else { "grip-complementary" }).expect("shipped");
    if body {
        let run = run_body_plan(link, &sheet);
        let (analysis, judgement) = run.judge(&sheet);
        outcome(&analysis, &judgement, &sheet, &run.traces.iter().collect::<Vec<_>>())
    } else {
        let run = run_plan(link, &sheet);
        let (analysis, judgement) = run.judge(&sheet);
        let traces: Vec<&Trace> = [&run.self_check, &run.sweep, &run.leads].into_iter().flatten().collect();
        outcome(&analysis, &judgement, &sheet, &traces)
    }
}

fn outcome(
    analysis: &trackpair::analysis::PartAnalysis,
    judgement: &trackpair::verdict::Judgement,
    sheet: &PartSheet,
    traces: &[&Trace],
) -> Outcome {
    let stored: Vec<StoredTrace<'_>> = traces.iter().map(|trace| StoredTrace { trace, file: None }).collect();
    build(OutcomeInputs {
        session: Default::default(),
        analysis,
        judgement,
        sheet,
        topology_shown: None,
        readings: &[],
        doubts: &[],
        traces: &stored,
        judged: "2026-01-01T00:00:00+00:00",
        warnings: &[],
    })
}

/// Both measurements of one part, compared.
fn pair(before: Part, after: Part, seed: u64) -> Changes {
    let (a, b) = (measure(before, 2 * seed), measure(after, 2 * seed + 1));
    let subjects = [Subject { record: "before", outcome: &a }, Subject { record: "after", outcome: &b }];
    compare(&subjects, Question::AgainstFirst).expect("one kind")
}

/// Figures that were called changed.
fn changed(changes: &Changes) -> impl Iterator<Item = String> {
    changes.pairs[0].figures.iter().filter(|c| c.changed).map(|c| {
        let q = &c.quantity;
        format!("{} {} {}", q.figure, q.channel.as_deref().unwrap_or(""), q.condition.words())
    })
}

fn unchanged(name: &str, args: &Args) {
    let all = on_all_cores(args.parts, |k| {
        let seed = args.seed * 1_000_000 + k;
        let part = || part_address(&format!("{name}?seed={seed}")).expect("a named part").part;
        pair(part(), part(), seed)
    });
    let wrong = all.iter().filter(|c| changed(c).next().is_some()).count();
    let questions = all.iter().map(|c| c.family.questions).max().unwrap_or(0);
    println!(
        "{name:<22} {questions:>4} figures; called changed in any: {}",
        Share::new(wrong as u64, args.parts)
    );
    let mut figures: BTreeMap<String, usize> = BTreeMap::new();
    for figure in all.iter().flat_map(changed) {
        *figures.entry(figure).or_default() += 1;
    }
    let mut worst: Vec<_> = figures.into_iter().collect();
    worst.sort_by_key(|(_, n)| std::cmp::Reverse(*n));
    for (figure, count) in worst.into_iter().take(6) {
        println!("    {count:>4} x {figure}");
    }
    if args.spread {
        spread(&all);
    }
}

/// How far two measurements of one part lie apart, figure by figure, where that is more than their uncertainty.
fn spread(all: &[Changes]) {
    let mut figures: BTreeMap<&str, Vec<&Change>> = BTreeMap::new();
    for change in all.iter().flat_map(|c| &c.pairs[0].figures) {
        figures.entry(&change.quantity.figure).or_default().push(change);
    }
    for (figure, changes) in figures {
        let rms = |of: &dyn Fn(&Change) -> f64| {
            (changes.iter().map(|c| of(c).powi(2)).sum::<f64>() / changes.len() as f64).sqrt()
        };
        let sigmas = |c: &Change| 2.0 * c.difference / c.expanded_uncertainty.max(1e-12);
        let relative = |c: &Change| c.difference / c.before.value.abs().max(c.after.value.abs()).max(1e-12);
        let most = changes.iter().map(|c| sigmas(c).abs()).fold(0.0, f64::max);
        if most > 3.3 || rms(&sigmas) > 1.1 {
            println!(
                "      {figure:<22} sigmas: rms {:.2}, most {most:.1}; difference rms {:.4}, of the value {:.3}",
                rms(&sigmas),
                rms(&|c| c.difference),
                rms(&relative)
            );
        }
    }
}

fn grown(planted: &Planted, args: &Args) {
    let all = on_all_cores(args.parts, |k| {
        let seed = args.seed * 1_000_000 + k;
        let healthy = if planted.body {
            PartSpec::healthy_body()
        } else {
            PartSpec::healthy(planted::SENSOR, planted::TOPOLOGY)
        };
        let name = if planted.body { "good-body" } else { "good-grip" };
        let before = Part::draw(name, healthy.clone(), seed);
        let after = Part::draw(name, healthy.with((planted.fault)()), seed);
        pair(before, after, seed)
    });
    let of = |c: &Changes, name: FigureName| {
        c.pairs[0].figures.iter().filter(|f| f.quantity.figure == name.name()).any(|f| f.changed)
    };
    let shown = all.iter().filter(|c| of(c, planted.shows)).count();
    let least = all.iter().filter_map(|c| {
        let figure = c.pairs[0].figures.iter().find(|f| f.quantity.figure == planted.shows.name())?;
        figure.least_shown
    });
    let mut least: Vec<f64> = least.collect();
    least.sort_by(f64::total_cmp);
    let middle = least.get(least.len() / 2).map_or("-".to_owned(), |l| format!("{l:.3}"));
    println!(
        "{:<44} {:<22} shown in {}; least that would be shown, median: {middle} {}",
        planted.name,
        planted.shows.name(),
        Share::new(shown as u64, args.parts),
        planted.shows.unit().symbol()
    );
}

fn main() {
    let args = Args::parse();
    let wanted = |name: &str| args.only.as_deref().is_none_or(|only| name.contains(only));
    println!("measured twice without a change, {} parts each:", args.parts);
    for name in UNCHANGED.into_iter().filter(|n| wanted(n)) {
        unchanged(name, &args);
    }
    println!("grown worse between two measurements:");
    for planted in CHANGES.iter().filter(|p| wanted(p.name)) {
        grown(planted, &args);
    }
}
