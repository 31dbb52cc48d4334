//! False alarms and detection of the search for dropouts on simulated parts: healthy ones and ones with other faults.
//! `cargo run --release -p trackpair-tests --example dropout_study -- alarms 1000`, `-- lengths 200`.
//!
//! - [`bench`]: traces. What is counted: sweeps with a sure event (one that counts in the rate), and with any.

mod bench;

use bench::Motion;
use trackpair::analysis::prepared::Prepared;
use trackpair::analysis::{dropout, statistics};
use trackpair_rig_sim::Part;
use trackpair_rig_sim::dropout::Outage;
use trackpair_rig_sim::fault::{Channel, Fault, Lead, Shape, Towards};
use trackpair_rig_sim::random::Random;
use trackpair_rig_sim::spec::{PartSpec, Sensor, Topology};
use trackpair_tests::parallel::on_all_cores;

/// What else may be wrong with a part without a dropout.
#[derive(Clone, Copy, Debug)]
enum Other {
    Healthy,
    PlayOfOne,
    PlayOfBoth,
    Sticky,
    FlatSnap,
    FlatCatchUp,
    FlatPermanent,
    Noisy,
    Seized,
}

const OTHERS: [Other; 9] = [
    Other::Healthy,
    Other::PlayOfOne,
    Other::PlayOfBoth,
    Other::Sticky,
    Other::FlatSnap,
    Other::FlatCatchUp,
    Other::FlatPermanent,
    Other::Noisy,
    Other::Seized,
];

impl Other {
    fn fault(self, r: &mut Random) -> Option<Fault> {
        let channel = if r.unit() < 0.5 { Channel::Rising } else { Channel::Falling };
        let flat = |shape, r: &mut Random| Fault::FlatSpot {
            channel,
            centre_deg: r.between(4.0, 71.0),
            width_deg: r.between_log(0.3, 4.0),
            slope_loss: r.between_log(0.3, 1.2),
            shape,
        };
        Some(match self {
            Self::Healthy | Self::Seized => return None,
            Self::PlayOfOne => Fault::Hysteresis { channel, play_deg: r.between_log(0.3, 4.0) },
            Self::PlayOfBoth | Self::Sticky => {
                Fault::Hysteresis { channel: Channel::Both, play_deg: r.between_log(0.3, 4.0) }
            }
            Self::FlatSnap => flat(Shape::Snap, r),
            Self::FlatCatchUp => flat(Shape::CatchUp, r),
            Self::FlatPermanent => flat(Shape::Permanent, r),
            Self::Noisy => Fault::NoisyTrack {
                channel,
                centre_deg: r.between(5.0, 70.0),
                width_deg: r.between_log(0.5, 15.0),
                noise_volts: r.between_log(4e-3, 0.15),
            },
        })
    }

    fn motion(self, r: &mut Random) -> Motion {
        match self {
            Self::Sticky => Motion::StickSlip,
            Self::Seized => Motion::Still,
            _ if r.unit() < 0.3 => Motion::Hand,
            _ => Motion::Sweep,
        }
    }
}

fn topology(r: &mut Random) -> Topology {
    match r.unit() {
        u if u < 0.5 => Topology::Complementary,
        u if u < 0.75 => Topology::HalfSlope,
        _ => Topology::ParallelOffset,
    }
}

/// What one trace gave.
#[derive(Clone, Debug, Default)]
struct Answer {
    sure: usize,
    unsure: usize,
    words: String,
}

fn answer(other: Other, sensor: Sensor, seed: u64) -> Answer {
    let mut r = Random::new("dropout study", seed);
    let topology = topology(&mut r);
    let mut spec = PartSpec::healthy(sensor, topology);
    spec.faults.extend(other.fault(&mut r));
    let (words, part) = (format!("{:?}", spec.faults), Part::draw("dropout study", spec, seed));
    let motion = other.motion(&mut r);
    let rate_hz = [5000.0, 5000.0, 10_000.0, 1000.0][(r.unit() * 4.0) as usize % 4];
    let degrees = motion.degrees(3.2, &mut r);
    let trace = bench::trace(&part, &degrees, rate_hz, &[], &mut r);
    let sheet = bench::sheet(topology);
    let found = dropout::find(&Prepared::new(&trace, &sheet), &sheet);
    let sure = found.events.iter().filter(|e| e.is_sure()).count();
    let unsure = found.events.len() - sure;
    let first = found.events.iter().max_by(|a, b| a.confidence.total_cmp(&b.confidence));
    Answer { sure, unsure, words: format!("{topology:?} {motion:?} {rate_hz} Hz {words}: {first:?}") }
}

fn alarms(each: u64, tell: bool) {
    println!(
        "traces of 3.2 s with no dropout, {each} per row, simulated: with a sure event, with an unsure one alone"
    );
    let mut all = [0u64; 3];
    for (k, other) in OTHERS.into_iter().enumerate() {
        for (j, sensor) in [Sensor::Hall, Sensor::Potentiometer].into_iter().enumerate() {
            let first = 1_000_000 * (2 * k + j + 1) as u64;
            let answers = on_all_cores(each, |seed| answer(other, sensor, first + seed));
            let sure = answers.iter().filter(|a| a.sure > 0).count() as u64;
            let unsure = answers.iter().filter(|a| a.sure == 0 && a.unsure > 0).count() as u64;
            let (_, high) = statistics::clopper_pearson(sure, each, 0.90);
            println!(
                "{:<14} {:<14} sure {sure:>4} (below {:.2} %, 95 %), unsure {unsure:>4}",
                format!("{other:?}"),
                format!("{sensor:?}"),
                100.0 * high
            );
            if tell {
                for (seed, a) in answers.iter().enumerate().filter(|(_, a)| a.sure + a.unsure > 0).take(6) {
                    println!("    {} {} {} {}", first + seed as u64, a.sure, a.unsure, a.words);
                }
            }
            all.iter_mut().zip([sure, unsure, each]).for_each(|(t, v)| *t += v);
        }
    }
    let (_, high) = statistics::clopper_pearson(all[0], all[2], 0.90);
    println!(
        "{} of {} with a sure event, below {:.3} % (95 %); {} with an unsure one alone",
        all[0],
        all[2],
        100.0 * high,
        all[1]
    );
}

/// Share of opens of one line reported as sure, reported at all, and the length's bias and scatter.
fn lengths(each: u64) {
    println!("one open of a line at a moment of its own, 10 kHz, 100 us filter, {each} per cell, simulated:");
    println!("told as sure / told at all, length told: mean ± sd, us");
    for sensor in [Sensor::Hall, Sensor::Potentiometer] {
        for (towards, name) in
            [(Towards::Open, "open"), (Towards::Ground, "to ground"), (Towards::Supply, "to supply")]
        {
            for length in [2.0, 5.0, 20.0, 50.0, 200.0, 1000.0, 5000.0, 50_000.0] {
                let all = on_all_cores(each, |seed| open(sensor, towards, length, 900_000_000 + seed));
                let told: Vec<f64> = all.iter().filter_map(|a| a.1).collect();
                let sure = all.iter().filter(|a| a.0).count() as f64 / each as f64;
                println!(
                    "{:<13} {name:<10} {length:>6} us: {sure:.3} / {:.3}, {:.0} ± {:.0} us, on other lines {}",
                    format!("{sensor:?}"),
                    told.len() as f64 / each as f64,
                    statistics::mean(&told).unwrap_or(f64::NAN),
                    statistics::standard_deviation(&told).unwrap_or(f64::NAN),
                    all.iter().map(|a| a.2).sum::<usize>()
                );
            }
        }
    }
}

/// Share of losses of supply or ground whose length is reported within its expanded uncertainty, of those that are reported.
fn power(each: u64) {
    println!(
        "one loss of the part's supply or ground, 10 kHz, 100 us filter, {each} per cell, simulated: told, and held by 2 u"
    );
    for sensor in [Sensor::Hall, Sensor::Potentiometer] {
        for (lead, name) in [(Lead::Supply, "supply"), (Lead::Ground, "ground")] {
            for length in [50.0, 200.0, 1000.0, 5000.0, 50_000.0] {
                let all = on_all_cores(each, |seed| power_length(sensor, lead, length, 950_000_000 + seed));
                let told: Vec<&dropout::Event> = all.iter().flatten().collect();
                let held =
                    told.iter().filter(|e| (e.length_us - length).abs() <= 2.0 * e.length_u_us).count();
                let (low, _) = statistics::clopper_pearson(held as u64, told.len().max(1) as u64, 0.90);
                println!(
                    "{:<13} {name:<8} {length:>6} us: told {:>4}, held {held:>4} (above {:.1} %, 95 %)",
                    format!("{sensor:?}"),
                    told.len(),
                    100.0 * low
                );
            }
        }
    }
}

/// The event of a lead that feeds the part; a Hall sensor starts again for 300 us after it.
fn power_length(sensor: Sensor, lead: Lead, length_us: f64, seed: u64) -> Option<dropout::Event> {
    let mut r = Random::new("dropout study power", seed);
    let topology = topology(&mut r);
    let part = Part::draw("dropout study", PartSpec::healthy(sensor, topology), seed);
    let motion = [Motion::Sweep, Motion::Hand, Motion::Still][(r.unit() * 3.0) as usize % 3];
    let degrees = motion.degrees(2.0, &mut r);
    let start_us = r.between(0.2e6, 1.6e6);
    let restart_us = if sensor == Sensor::Hall && length_us > 31.0 { 300.0 } else { 0.0 };
    let end_us = start_us + length_us + restart_us;
    let outage = Outage { lead, towards: Towards::Open, start_us, end_us };
    let trace = bench::trace(&part, &degrees, 10_000.0, &[outage], &mut r);
    let sheet = bench::sheet(topology);
    let found = dropout::find(&Prepared::new(&trace, &sheet), &sheet);
    found.events.into_iter().find(|e| (e.at_us as f64 - start_us).abs() < 1500.0)
}

/// Whether an open was reported as sure; its length when reported at all; events that were not planted.
fn open(sensor: Sensor, towards: Towards, length_us: f64, seed: u64) -> (bool, Option<f64>, usize) {
    let mut r = Random::new("dropout study open", seed);
    let topology = topology(&mut r);
    let part = Part::draw("dropout study", PartSpec::healthy(sensor, topology), seed);
    let motion = [Motion::Sweep, Motion::Hand, Motion::Still][(r.unit() * 3.0) as usize % 3];
    let degrees = motion.degrees(2.0, &mut r);
    let start_us = r.between(0.2e6, 1.6e6);
    let (lead, wire) = if r.unit() < 0.5 {
        (Lead::Rising, dropout::Wire::First)
    } else {
        (Lead::Falling, dropout::Wire::Second)
    };
    let outage = Outage { lead, towards, start_us, end_us: start_us + length_us };
    let trace = bench::trace(&part, &degrees, 10_000.0, &[outage], &mut r);
    let sheet = bench::sheet(topology);
    let found = dropout::find(&Prepared::new(&trace, &sheet), &sheet);
    let own = |e: &&dropout::Event| e.wire == wire && (e.at_us as f64 - start_us).abs() < 1500.0;
    let hit = found.events.iter().find(own);
    (
        hit.is_some_and(|e| e.is_sure()),
        hit.map(|e| e.length_us),
        found.events.iter().filter(|e| !own(e)).count(),
    )
}

fn main() {
    let words: Vec<String> = std::env::args().skip(1).collect();
    let count = words.get(1).and_then(|n| n.parse().ok());
    match words.first().map(String::as_str) {
        Some("alarms") => alarms(count.unwrap_or(1000), words.iter().any(|w| w == "tell")),
        Some("lengths") => lengths(count.unwrap_or(200)),
        Some("power") => power(count.unwrap_or(200)),
        _ => println!("say alarms, lengths or power, and how many of each"),
    }
}
