//! False alarms of the searches for flat spots and noisy stretches on healthy simulated parts, over sensors, rates, speeds, numbers
//! of strokes and lengths of travel: `cargo run --release -p trackpair-tests --example flat_spot_threshold -- 20000`.
//!
//! The parts' static curves are the simulator's own (a magnet's waves, a track's grain at 0.4 and 0.12°), read by a rig
//! that is simplified to play, noise, steps and an eccentric reference; the whole bench takes 100 times as long.

use trackpair::analysis::curve::Curves;
use trackpair::analysis::prepared::Prepared;
use trackpair::analysis::{dropout, flat_spot, noise_map, statistics};
use trackpair::quantity::{Channel, ProcedureKind, Unit};
use trackpair::sheet::{PartSheet, shipped};
use trackpair::trace::{Column, Provenance, Trace, TraceEnd};
use trackpair_rig_sim::part::Part;
use trackpair_rig_sim::random::Random;
use trackpair_rig_sim::spec::{PartSpec, Sensor, Topology};
use trackpair_tests::parallel::on_all_cores;

/// Travel of the simulated parts, degrees.
const TRAVEL_DEG: f64 = 75.0;

/// One way of sweeping one kind of part.
#[derive(Clone, Copy)]
struct Condition {
    sensor: Sensor,
    rate_hz: f64,
    speed_deg_s: f64,
    strokes: u32,
    /// Degrees swept.
    travel_deg: f64,
    /// Whether the part itself is that long (its curve stretched), or only part of its travel is swept.
    stretched: bool,
}

/// Rate (Hz), speed (deg/s), strokes, travel (deg), stretched.
const SWEEPS: [(f64, f64, u32, f64, bool); 12] = [
    (5000.0, 60.0, 2, 75.0, false),
    (5000.0, 60.0, 10, 75.0, false),
    (5000.0, 60.0, 1, 75.0, false),
    (5000.0, 15.0, 2, 75.0, false),
    (5000.0, 180.0, 2, 75.0, false),
    (20_000.0, 120.0, 2, 75.0, false),
    (1000.0, 60.0, 2, 75.0, false),
    (200.0, 60.0, 6, 75.0, false),
    (50.0, 30.0, 6, 75.0, false),
    (5000.0, 60.0, 6, 30.0, false),
    (5000.0, 60.0, 6, 45.0, true),
    (5000.0, 60.0, 6, 120.0, true),
];

fn conditions() -> impl Iterator<Item = Condition> {
    SWEEPS.into_iter().flat_map(|(rate_hz, speed_deg_s, strokes, travel_deg, stretched)| {
        [Sensor::Hall, Sensor::Potentiometer].map(|sensor| Condition {
            sensor,
            rate_hz,
            speed_deg_s,
            strokes,
            travel_deg,
            stretched,
        })
    })
}

impl Condition {
    fn name(&self) -> String {
        let long = if self.stretched { "long part" } else { "swept" };
        format!(
            "{:<13} {:>5} Hz {:>3} deg/s {:>2} strokes {:>3} deg {long:<9}",
            format!("{:?}", self.sensor),
            self.rate_hz,
            self.speed_deg_s,
            self.strokes,
            self.travel_deg
        )
    }

    fn sheet(&self) -> PartSheet {
        let mut sheet = shipped("grip-complementary").expect("shipped");
        sheet.travel_deg = if self.stretched { self.travel_deg } else { TRAVEL_DEG };
        sheet
    }

    /// Angle per scan, degrees: strokes with 30 ms ramps, rests of 0.1 s at their ends.
    fn motion(&self) -> Vec<f64> {
        let rest = (0.1 * self.rate_hz).ceil() as usize;
        let ramp = 0.03;
        let total = self.travel_deg / self.speed_deg_s + ramp;
        let steps = (total * self.rate_hz) as usize;
        let mut out = vec![0.0; rest];
        for stroke in 0..self.strokes {
            for i in 0..steps {
                let t = i as f64 / self.rate_hz;
                let way = |t: f64| 0.5 * self.speed_deg_s * t * t / ramp;
                let at = if t < ramp {
                    way(t)
                } else if t < total - ramp {
                    self.speed_deg_s * (t - 0.5 * ramp)
                } else {
                    self.travel_deg - way(total - t)
                };
                out.push(if stroke % 2 == 0 { at } else { self.travel_deg - at });
            }
            out.extend(std::iter::repeat_n(if stroke % 2 == 0 { self.travel_deg } else { 0.0 }, rest));
        }
        out
    }

    fn trace(&self, seed: u64) -> Trace {
        let part =
            Part::draw("flat spot threshold", PartSpec::healthy(self.sensor, Topology::Complementary), seed);
        let mut random = Random::new("flat spot threshold rig", seed);
        let motion = self.motion();
        let scale = if self.stretched { TRAVEL_DEG / self.travel_deg } else { 1.0 };
        // The reference's own eccentricity after calibration, 1 sd, degrees; its 14-bit step.
        let (eccentric, phase) = (random.spread(0.012), random.between(0.0, std::f64::consts::TAU));
        let step = 360.0 / 16384.0;
        let deg = motion.iter().map(|d| d + eccentric * (d.to_radians() + phase).sin());
        let reference: Vec<f32> = deg.map(|d| ((d / step).round() * step) as f32).collect();
        let lines = [0, 1].map(|line| volts(&part, line, &motion, scale, &mut random));
        let n = motion.len();
        let supply = (0..n).map(|_| (5.0 + 1e-4 * random.normal()) as f32).collect();
        let [rising, falling] = lines;
        let column = |channel, unit, values| Column { channel, unit, values };
        Trace {
            provenance: self.provenance(),
            time_us: (0..n).map(|i| (i as f64 * 1e6 / self.rate_hz).round() as u64).collect(),
            columns: vec![
                column(Channel::Rising, Unit::Volt, rising),
                column(Channel::Falling, Unit::Volt, falling),
                column(Channel::Supply, Unit::Volt, supply),
                column(Channel::Reference, Unit::Degree, reference),
            ],
            gaps: Vec::new(),
            marks: Vec::new(),
            end: TraceEnd::Complete,
        }
    }

    fn provenance(&self) -> Provenance {
        Provenance {
            simulated: true,
            part: "invented".into(),
            started: "2026-01-01T00:00:00Z".into(),
            recorded_by: "study".into(),
            ..Provenance::bare(ProcedureKind::Sweep, (1e6 / self.rate_hz).round() as u32)
        }
    }
}

/// Volts of a line at 5 V: play, noise, the sensor's 12-bit output (Hall), the rig's noise and 16-bit step.
fn volts(part: &Part, line: usize, motion: &[f64], scale: f64, random: &mut Random) -> Vec<f32> {
    let half = 0.5 * part.hysteresis_deg(line);
    // A value held for 100 µs behind the rig's 100 µs filter keeps 0.68 of its rms.
    let noise = 0.68 * part.drawn().noise_volts;
    let hall = part.spec().sensor == Sensor::Hall;
    let mut seen = motion[0];
    let stepped = |v: f64, step: f64| (v / step).round() * step;
    let read = |at: &f64| {
        seen = seen.clamp(at - half, at + half);
        let mut v = 5.0 * part.transfer(scale * seen, line) + noise * random.normal();
        if hall {
            v = stepped(v, 5.0 / 4096.0);
        }
        stepped(v + 1.5e-4 * random.normal(), 5.12 / 65536.0) as f32
    };
    motion.iter().map(read).collect()
}

/// What one healthy sweep gave, the worse of both lines.
#[derive(Clone, Copy, Default)]
struct Answer {
    score: f64,
    flat_spots: usize,
    noise_ratio: f64,
    noisy: usize,
}

fn answer(condition: &Condition, sheet: &PartSheet, seed: u64) -> Answer {
    let trace = condition.trace(seed);
    let prepared = Prepared::new(&trace, sheet);
    let dropouts = dropout::find(&prepared, sheet);
    let curves = Curves::new(&prepared, sheet);
    let mut out = Answer::default();
    for line in 0..2 {
        let noise = noise_map::find(&prepared, line, &dropouts, sheet);
        out.noise_ratio = out.noise_ratio.max(noise.strongest.unwrap_or(0.0));
        out.noisy += noise.findings.len();
        if let Some(curves) = &curves {
            let flat = flat_spot::find(&prepared, curves, line, noise.with_jumps.as_ref(), &dropouts, sheet);
            out.score = out.score.max(flat.strongest.unwrap_or(0.0));
            out.flat_spots += flat.findings.len();
        }
    }
    out
}

/// Answers of `count` seeds.
fn answers(condition: &Condition, first: u64, count: u64) -> Vec<Answer> {
    let sheet = condition.sheet();
    on_all_cores(count, |k| answer(condition, &sheet, first + k))
}

fn main() -> anyhow::Result<()> {
    let count: u64 = std::env::args().nth(1).map_or(Ok(20_000), |n| n.parse())?;
    let each = count.div_ceil(2 * SWEEPS.len() as u64);
    println!(
        "{each} healthy sweeps of both lines per row, simulated; score and noise ratio: median, 99 %, largest"
    );
    let mut alarms = [0u64; 2];
    for (k, condition) in conditions().enumerate() {
        let all = answers(&condition, 1_000_000 * (k as u64 + 1), each);
        let (flat, noisy) = (
            all.iter().filter(|a| a.flat_spots > 0).count() as u64,
            all.iter().filter(|a| a.noisy > 0).count() as u64,
        );
        let quantiles = |f: fn(&Answer) -> f64| {
            let mut v: Vec<f64> = all.iter().map(f).collect();
            [0.5, 0.99, 1.0]
                .map(|p| format!("{:.2}", statistics::quantile(&mut v, p).unwrap_or(f64::NAN)))
                .join(" ")
        };
        println!(
            "{} flat spots {flat} ({}), noisy {noisy} ({})",
            condition.name(),
            quantiles(|a| a.score),
            quantiles(|a| a.noise_ratio)
        );
        alarms[0] += flat;
        alarms[1] += noisy;
    }
    let of = each * 2 * SWEEPS.len() as u64;
    for (name, hits) in ["flat spot", "noisy track"].iter().zip(alarms) {
        let (_, high) = statistics::clopper_pearson(hits, of, 0.90);
        println!("{name}: {hits} of {of} sweeps with an alarm, below {:.3} % (95 %)", 100.0 * high);
    }
    Ok(())
}
