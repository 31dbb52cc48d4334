//! Detection limits: the smallest flat spot and the shortest dropout that the whole bench finds, over a grid. It looks for the
//! planted one alone.

use crate::in_parallel;
use crate::trial::{bench, sheet};
use trackpair::analysis::Finding;
use trackpair::quantity::{Channel as Line, FindingKind};
use trackpair_rig_sim::fault::{Channel, Fault, Lead, Shape, Towards};
use trackpair_rig_sim::random::Random;
use trackpair_rig_sim::spec::{PartSpec, Sensor, Topology};
use trackpair_tests::shares::Share;

const WIDTHS_DEG: [f64; 9] = [0.2, 0.3, 0.5, 0.7, 1.0, 1.4, 2.0, 2.8, 4.0];
const LENGTHS_US: [f64; 10] = [1.0, 2.0, 3.0, 5.0, 10.0, 20.0, 50.0, 100.0, 300.0, 1000.0];

/// Found spots of `each` parts with one spot in either line at different places.
fn spots_found(
    sensor: Sensor,
    shape: Shape,
    width: f64,
    loss: f64,
    each: u64,
    seed: u64,
    threads: usize,
) -> Share {
    let (sheet, _) = sheet(Topology::Complementary);
    let found: u64 = in_parallel(each, threads, |k| {
        let key = seed.wrapping_mul(1_000_003).wrapping_add(k);
        let mut random = Random::new("flat spots", key);
        // The shortest and the longest spot lie clear of the stops and of each other.
        let centres = [random.between(6.0, 34.0), random.between(40.0, 68.0)];
        let mut spec = PartSpec::healthy(sensor, Topology::Complementary);
        for (channel, centre_deg) in [Channel::Rising, Channel::Falling].into_iter().zip(centres) {
            spec.faults.push(Fault::FlatSpot {
                channel,
                centre_deg,
                width_deg: width,
                slope_loss: loss,
                shape,
            });
        }
        let findings = bench(spec, key, &sheet).map_or_else(|_| Vec::new(), |b| b.analysis.findings);
        let hit = |line: usize| {
            findings.iter().any(|f| {
                f.kind == FindingKind::FlatSpot
                    && f.channel == Some(Line::SENSORS[line])
                    && centre(f).is_some_and(|c| (c - centres[line]).abs() < width.max(1.0))
            })
        };
        Some(u64::from(hit(0)) + u64::from(hit(1)))
    })
    .into_iter()
    .sum();
    Share::new(found, 2 * each)
}

fn centre(finding: &Finding) -> Option<f64> {
    finding.from_deg.zip(finding.to_deg).map(|(from, to)| 0.5 * (from + to))
}

/// Prints the smallest width found, by sensor, shape and slope loss: widths are tried in rising order until two in a row are
/// found every time.
pub fn flat_spots(each: u64, seed: u64, threads: usize) {
    println!(
        "Smallest flat spot of which all were found, and the next wider one too ({} spots a cell, so a",
        2 * each
    );
    println!(
        "probability of at least {:.3} with 97.5 % confidence); 5 cycles at 60 deg/s, 5 kHz, complementary,",
        Share::new(2 * each, 2 * each).low
    );
    println!("simulated. Beside it: share found by width.");
    // Prototype study: one up/down sweep, Pd >= 99 %.
    let prototype = [
        (Sensor::Hall, Shape::Snap, ["<=0.2", "0.3", "0.5", "0.7"]),
        (Sensor::Hall, Shape::Permanent, ["<=0.2", "0.2", "0.5", "not up to 3"]),
        (Sensor::Potentiometer, Shape::Snap, ["0.5", "0.7", "2.0", "not up to 3"]),
        (Sensor::Potentiometer, Shape::Permanent, ["1.0", "2.0", "not up to 3", "not up to 3"]),
    ];
    for (sensor, shape, theirs) in prototype {
        for (loss, theirs) in [1.0, 0.6, 0.3, 0.15].into_iter().zip(theirs) {
            let mut cells = Vec::new();
            let (mut run, mut least) = (0, None);
            for width in WIDTHS_DEG {
                let share = spots_found(sensor, shape, width, loss, each, seed, threads);
                cells.push(format!("{width}:{:.2}", share.hits as f64 / share.of as f64));
                if share.hits == share.of {
                    run += 1;
                    least = least.or(Some(width));
                } else {
                    (run, least) = (0, None);
                }
                if run == 2 {
                    break;
                }
            }
            let least = least.map_or("not up to 4".to_owned(), |w| format!("{w} deg"));
            println!(
                "{sensor:?} {shape:?}, loss {:>3.0} %: {least} (prototype study {theirs}); {}",
                100.0 * loss,
                cells.join(" ")
            );
        }
    }
}

/// Prints the share of losses of contact that were reported, by length.
pub fn dropouts(each: u64, seed: u64, threads: usize) {
    println!(
        "Share of losses of contact that were counted, at any place and moment of the sweep, by length in us"
    );
    println!("({each} parts a cell, some 50 losses each; 5 kHz, 100 us filter, complementary, simulated).");
    println!("Prototype study: a full open (2.5 V to 0) from 2.4 us on is seen with 99 %.");
    for sensor in [Sensor::Hall, Sensor::Potentiometer] {
        for (lead, towards) in [
            (Lead::Rising, Towards::Open),
            (Lead::Rising, Towards::Ground),
            (Lead::Falling, Towards::Open),
            (Lead::Supply, Towards::Open),
            (Lead::Ground, Towards::Open),
        ] {
            let mut cells = Vec::new();
            for length in LENGTHS_US {
                let share = losses_told(sensor, lead, towards, length, each, seed, threads);
                cells.push(format!("{length}:{:.3}", share.hits as f64 / share.of.max(1) as f64));
                if share.hits == share.of && length >= 50.0 {
                    break;
                }
            }
            println!("{sensor:?} {lead:?} to {towards:?}: {}", cells.join(" "));
        }
    }
}

fn losses_told(
    sensor: Sensor,
    lead: Lead,
    towards: Towards,
    length: f64,
    each: u64,
    seed: u64,
    threads: usize,
) -> Share {
    let (sheet, _) = sheet(Topology::Complementary);
    let counts = in_parallel(each, threads, |k| {
        let fault = Fault::Dropout {
            lead,
            rate_per_s: 3.0,
            burst_s: 0.0,
            pause_s: 0.0,
            flex_rate_per_s: 0.0,
            at_deg: 0.0,
            chance_per_pass: 0.0,
            min_us: length,
            max_us: length,
            towards,
        };
        let spec = PartSpec::healthy(sensor, Topology::Complementary).with(fault);
        let benched = bench(spec, seed.wrapping_mul(1_000_003).wrapping_add(k), &sheet).ok()?;
        let events: f64 = benched
            .analysis
            .findings
            .iter()
            .filter(|f| f.kind == FindingKind::Dropout)
            .flat_map(|f| &f.details)
            .filter(|d| d.name == "events")
            .map(|d| d.value)
            .sum();
        let lost = benched.outages.len() as u64;
        Some(((events as u64).min(lost), lost))
    });
    Share::new(counts.iter().map(|c| c.0).sum(), counts.iter().map(|c| c.1).sum())
}
