//! Which cause is named for which planted fault, over seeded simulated parts on the whole bench: `cargo run --release -p
//! trackpair-tests --example defect_causes -- 60 400` (parts per fault, healthy parts). It prints how often each kind of
//! finding was the first, any, or absent, with exact binomial bounds.

use std::collections::BTreeMap;
use trackpair::analysis::causes;
use trackpair::analysis::curve::Curves;
use trackpair::analysis::grip::{GripTraces, analyse};
use trackpair::analysis::prepared::Prepared;
use trackpair::analysis::statistics::{Resampler, clopper_pearson, quantile};
use trackpair::sheet::{PartSheet, shipped};
use trackpair_rig_sim::fault::{Channel, Fault, Lead, LeakTo, Shape, Towards};
use trackpair_rig_sim::part::Part;
use trackpair_rig_sim::spec::{PartSpec, Sensor, Topology};
use trackpair_rig_sim::{RigSpec, SimBoard, SimRig};
use trackpair_tests::{bench::run_plan, parallel::on_all_cores, sim_link};

/// Kind of finding, confidence, text.
type Told = (&'static str, f64, String);

/// One simulated part and what was reported of it.
struct Case {
    hall: bool,
    planted: String,
    score: f64,
    told: Vec<Told>,
}

/// Kinds of finding of one part, surest first within the program's own order; `confidence` beside.
fn findings(spec: PartSpec, seed: u64, sheet: &PartSheet) -> (f64, Vec<Told>) {
    let part = Part::draw("study", spec, seed);
    let rig = SimRig::new(SimBoard::new(part, RigSpec::default(), seed));
    let run = run_plan(sim_link::over(rig, "sim:study".to_owned()), sheet);
    if !run.moved {
        return (0.0, vec![("not_moving", 1.0, String::new())]);
    }
    let Some(sweep) = run.sweep else { return (0.0, vec![("no sweep", 1.0, String::new())]) };
    let prepared = Prepared::new(&sweep, sheet);
    let score = Curves::new(&prepared, sheet).and_then(|c| causes::deviation_score(&c, sheet)).unwrap_or(0.0);
    let analysis = analyse(GripTraces { sweep: &sweep, leads: run.leads.as_ref(), flex: None }, sheet);
    (score, analysis.findings.iter().map(|f| (f.kind.name(), f.confidence, f.text.clone())).collect())
}

/// A number between two, evenly in its logarithm.
fn between(r: &mut Resampler, low: f64, high: f64) -> f64 {
    (low.ln() + r.uniform() * (high / low).ln()).exp()
}

const CLASSES: [&str; 15] = [
    "healthy",
    "flat spot",
    "dropout 1 line",
    "dropout ground",
    "supply lead",
    "ground lead",
    "signal lead",
    "leak",
    "gain/offset",
    "hysteresis",
    "common bend",
    "noisy track",
    "dead line",
    "swapped",
    "seized",
];

/// What a right answer is called; empty = no finding.
fn right(class: &str) -> &'static [&'static str] {
    match class {
        "flat spot" => &["flat_spot"],
        "dropout 1 line" | "dropout ground" => &["dropout"],
        "supply lead" => &["supply_lead"],
        "ground lead" => &["ground_lead"],
        "signal lead" => &["signal_lead"],
        "leak" => &["leakage"],
        "gain/offset" => &["gain_offset"],
        "common bend" => &["common_nonlinearity"],
        "noisy track" => &["noisy_track"],
        "dead line" => &["dead_channel"],
        "swapped" => &["swapped_channels"],
        "seized" => &["not_moving"],
        _ => &[],
    }
}

/// Severities begin near what can be seen; those of a prototype study, so that tables can be laid side by side.
fn fault(class: &str, hall: bool, r: &mut Resampler) -> Option<Fault> {
    let channel = if r.uniform() < 0.5 { Channel::Rising } else { Channel::Falling };
    let sign = if r.uniform() < 0.5 { 1.0 } else { -1.0 };
    let place = 8.0 + 57.0 * r.uniform();
    let drop = |lead| Fault::Dropout {
        lead,
        rate_per_s: 1.0,
        burst_s: 0.0,
        pause_s: 0.0,
        flex_rate_per_s: 0.0,
        at_deg: 0.0,
        chance_per_pass: 0.0,
        min_us: 20.0,
        max_us: 5000.0,
        towards: Towards::Ground,
    };
    Some(match class {
        "flat spot" => Fault::FlatSpot {
            channel,
            centre_deg: place,
            width_deg: between(r, 0.5, 3.0),
            slope_loss: 0.4 + 0.6 * r.uniform(),
            shape: if r.uniform() < 0.5 { Shape::Snap } else { Shape::Permanent },
        },
        "dropout 1 line" => drop(if channel == Channel::Rising { Lead::Rising } else { Lead::Falling }),
        "dropout ground" => drop(Lead::Ground),
        "supply lead" => Fault::SupplyLead { ohms: between(r, 12.0, 60.0) },
        "ground lead" => Fault::GroundLead { ohms: between(r, 12.0, 60.0) },
        "signal lead" => Fault::SignalLead { channel, ohms: between(r, 300.0, 5000.0) },
        "leak" => Fault::Leakage {
            channel,
            // Source 50 ohm (Hall), 230 to 580 ohm along a track: 0.25 to 3 % and 0.5 to 5 % of the reading.
            ohms: if hall { between(r, 1500.0, 20_000.0) } else { between(r, 9000.0, 90_000.0) },
            to: LeakTo::Ground,
        },
        "gain/offset" if r.uniform() < 0.5 => {
            Fault::OffsetError { channel, percent_of_supply: sign * between(r, 2.0, 8.0) }
        }
        "gain/offset" => Fault::GainError { channel, percent: sign * between(r, 4.0, 15.0) },
        "hysteresis" => Fault::Hysteresis { channel: Channel::Both, play_deg: between(r, 0.4, 3.0) },
        "common bend" => Fault::CommonNonlinearity {
            amplitude_deg: between(r, 0.9, 4.0),
            period_deg: if r.uniform() < 0.5 { 75.0 } else { 90.0 },
            phase_deg: 360.0 * r.uniform(),
        },
        "noisy track" => Fault::NoisyTrack {
            channel,
            centre_deg: 10.0 + 55.0 * r.uniform(),
            width_deg: between(r, 1.0, 10.0),
            noise_volts: between(r, 6e-3, 80e-3),
        },
        "dead line" => {
            Fault::DeadChannel { channel, level_percent: if r.uniform() < 0.5 { 1.0 } else { 99.0 } }
        }
        "swapped" => Fault::SwappedChannels {},
        "seized" => Fault::Seized { friction_nm: 3.0 },
        _ => return None,
    })
}

fn main() {
    let words: Vec<String> = std::env::args().skip(1).collect();
    let number = |k: usize, other| words.get(k).and_then(|n| n.parse().ok()).unwrap_or(other);
    let (per_fault, healthy) = (number(0, 60), number(1, 400));
    let only = words.get(2);
    let Some(sheet) = shipped("grip-complementary") else { return };
    for (k, class) in CLASSES.into_iter().enumerate().filter(|(_, c)| only.is_none_or(|o| o == c)) {
        let count = if class == "healthy" { healthy } else { per_fault };
        let all = on_all_cores(count, |seed| {
            let mut r = Resampler::new(seed * 31 + k as u64);
            let hall = r.uniform() < 0.5;
            let mut spec = PartSpec::healthy(
                if hall { Sensor::Hall } else { Sensor::Potentiometer },
                Topology::Complementary,
            );
            spec.faults.extend(fault(class, hall, &mut r));
            let planted = format!("{:?}", spec.faults);
            let (score, told) = findings(spec, 100_000 * k as u64 + seed, &sheet);
            Case { hall, planted, score, told }
        });
        tell(class, count, &all, words.len() > 3);
    }
}

fn tell(class: &str, count: u64, all: &[Case], every: bool) {
    let wanted = right(class);
    let first = |t: &Case| t.told.iter().max_by(|a, b| a.1.total_cmp(&b.1)).map(|f| f.0);
    let hits = |f: &dyn Fn(&Case) -> bool| all.iter().filter(|t| f(t)).count() as u64;
    let named = if wanted.is_empty() {
        hits(&|t| t.told.is_empty())
    } else {
        hits(&|t| t.told.iter().any(|f| wanted.contains(&f.0)))
    };
    let best =
        if wanted.is_empty() { named } else { hits(&|t| first(t).is_some_and(|f| wanted.contains(&f))) };
    let (low, high) = clopper_pearson(named, count, 0.95);
    let mut others: BTreeMap<&str, u64> = BTreeMap::new();
    for t in all {
        let mut kinds: Vec<&str> = t.told.iter().map(|f| f.0).filter(|k| !wanted.contains(k)).collect();
        kinds.sort_unstable();
        kinds.dedup();
        if t.told.is_empty() && !wanted.is_empty() {
            kinds.push("nothing");
        }
        for kind in kinds {
            *others.entry(kind).or_default() += 1;
        }
    }
    let share = |n: u64| n as f64 / count as f64;
    println!(
        "{class:<15} named {:.3} ({low:.3} to {high:.3}), surest {:.3}; besides: {others:?}",
        share(named),
        share(best)
    );
    let mut scores: Vec<f64> = all.iter().map(|t| t.score).collect();
    let score = |p, v: &mut Vec<f64>| quantile(v, p).unwrap_or(f64::NAN);
    println!(
        "                deviation score, quantiles 10 50 90 99 100 %: {:.1} {:.1} {:.1} {:.1} {:.1}",
        score(0.1, &mut scores),
        score(0.5, &mut scores),
        score(0.9, &mut scores),
        score(0.99, &mut scores),
        score(1.0, &mut scores)
    );
    if every {
        let wrong = |t: &Case| {
            t.told.iter().any(|f| !wanted.contains(&f.0)) || (t.told.is_empty() && !wanted.is_empty())
        };
        for t in all.iter().filter(|t| wrong(t)) {
            println!("    {} {:.1} {} {:?}", if t.hall { "Hall" } else { "pot" }, t.score, t.planted, t.told);
        }
    }
}
