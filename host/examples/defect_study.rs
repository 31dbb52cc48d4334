//! False alarms and detection of what finds defects, on invented parts: `cargo run --release -p trackpair-host --example
//! defect_study -- false-alarms 10000`, `-- flat-spots 200`, `-- dropouts 400`. It prints tables with exact binomial bounds.

#[path = "../analysis/src/analysis/synthetic.rs"]
#[allow(dead_code, reason = "the study uses a part of the generator")]
mod synthetic;

use std::sync::atomic::{AtomicU64, Ordering};
use synthetic::{Dropout, FlatSpot, Synthetic};
use trackpair::analysis::curve::Curves;
use trackpair::analysis::prepared::Prepared;
use trackpair::analysis::{dropout, flat_spot, noise_map, statistics};
use trackpair::{quantity, sheet, trace};

/// What one healthy sweep gave.
#[derive(Clone, Copy, Default)]
struct Healthy {
    strongest: f64,
    flat: u32,
    noise: f64,
    noisy: u32,
    dropouts: u32,
}

/// One condition of the study.
#[derive(Clone, Copy)]
struct Condition {
    hall: bool,
    rate_hz: f64,
    speed: f64,
    cycles: u32,
}

const CONDITIONS: [Condition; 10] = [
    Condition { hall: true, rate_hz: 5000.0, speed: 60.0, cycles: 1 },
    Condition { hall: false, rate_hz: 5000.0, speed: 60.0, cycles: 1 },
    Condition { hall: true, rate_hz: 5000.0, speed: 60.0, cycles: 3 },
    Condition { hall: false, rate_hz: 5000.0, speed: 60.0, cycles: 3 },
    Condition { hall: true, rate_hz: 5000.0, speed: 180.0, cycles: 1 },
    Condition { hall: false, rate_hz: 5000.0, speed: 180.0, cycles: 1 },
    Condition { hall: true, rate_hz: 1000.0, speed: 60.0, cycles: 1 },
    Condition { hall: false, rate_hz: 1000.0, speed: 60.0, cycles: 1 },
    Condition { hall: true, rate_hz: 200.0, speed: 120.0, cycles: 5 },
    Condition { hall: false, rate_hz: 200.0, speed: 120.0, cycles: 5 },
];

impl Condition {
    fn part(&self, seed: u64) -> Synthetic {
        let base = if self.hall { Synthetic::hall(seed) } else { Synthetic::pot(seed) };
        Synthetic { rate_hz: self.rate_hz, speeds: vec![self.speed], cycles: self.cycles, ..base }
    }

    fn name(&self) -> String {
        format!(
            "{:<4} {:>6} Hz {:>4} deg/s {} cycles",
            if self.hall { "Hall" } else { "pot" },
            self.rate_hz,
            self.speed,
            self.cycles
        )
    }
}

/// Runs `work` for every seed on all cores; results in order of seed.
fn on_all_cores<T: Send + Clone + Default>(count: u64, work: impl Fn(u64) -> T + Sync) -> Vec<T> {
    let next = AtomicU64::new(0);
    let threads = std::thread::available_parallelism().map_or(1, usize::from);
    let mut out = vec![T::default(); count as usize];
    let parts: Vec<Vec<(u64, T)>> = std::thread::scope(|scope| {
        let handles: Vec<_> = (0..threads)
            .map(|_| {
                scope.spawn(|| {
                    let mut own = Vec::new();
                    loop {
                        let seed = next.fetch_add(1, Ordering::Relaxed);
                        if seed >= count {
                            return own;
                        }
                        own.push((seed, work(seed)));
                    }
                })
            })
            .collect();
        handles.into_iter().map(|h| h.join().unwrap_or_default()).collect()
    });
    for (seed, value) in parts.into_iter().flatten() {
        out[seed as usize] = value;
    }
    out
}

fn healthy(condition: &Condition, seed: u64) -> Healthy {
    let part = condition.part(seed);
    let (trace, sheet) = (part.trace(), part.sheet());
    let prepared = Prepared::new(&trace, &sheet);
    let found = dropout::find(&prepared, &sheet);
    let mut out = Healthy { dropouts: found.events.len() as u32, ..Healthy::default() };
    let curves = Curves::new(&prepared, &sheet);
    for line in 0..2 {
        let noisy = noise_map::find(&prepared, line, &found, &sheet);
        if let Some(curves) = &curves {
            let flat = flat_spot::find(&prepared, curves, line, noisy.with_jumps.as_ref(), &found, &sheet);
            out.strongest = out.strongest.max(flat.strongest.unwrap_or(0.0));
            out.flat += flat.findings.len() as u32;
        }
        out.noise = out.noise.max(noisy.strongest.unwrap_or(0.0));
        out.noisy += noisy.findings.len() as u32;
    }
    out
}

fn false_alarms(count: u64) {
    let per = count.div_ceil(CONDITIONS.len() as u64);
    println!("false alarms, both lines, {per} sweeps per condition; 95 % Clopper-Pearson upper bounds");
    let mut total = [0u64; 4];
    for (k, condition) in CONDITIONS.iter().enumerate() {
        let all = on_all_cores(per, |seed| healthy(condition, 1_000_000 * (k as u64 + 1) + seed));
        let hits = |f: &dyn Fn(&Healthy) -> bool| all.iter().filter(|h| f(h)).count() as u64;
        let (flat, noisy, drops) = (hits(&|h| h.flat > 0), hits(&|h| h.noisy > 0), hits(&|h| h.dropouts > 0));
        let mut z: Vec<f64> = all.iter().map(|h| h.strongest).collect();
        let mut n: Vec<f64> = all.iter().map(|h| h.noise).collect();
        let q = |v: &mut Vec<f64>, p| statistics::quantile(v, p).unwrap_or(f64::NAN);
        println!(
            "{}: flat spot {flat} (score 50/99/99.9/100 %: {:.2} {:.2} {:.2} {:.2}), noisy {noisy} (ratio 99.9/100 %: {:.2} {:.2}), dropout {drops}",
            condition.name(),
            q(&mut z, 0.5),
            q(&mut z, 0.99),
            q(&mut z, 0.999),
            q(&mut z, 1.0),
            q(&mut n, 0.999),
            q(&mut n, 1.0)
        );
        for (t, v) in total.iter_mut().zip([flat, noisy, drops, per]) {
            *t += v;
        }
    }
    for (name, hits) in ["flat spot", "noisy track", "dropout"].iter().zip(total) {
        let (_, high) = statistics::clopper_pearson(hits, total[3], 0.90);
        println!("{name}: {hits} of {} sweeps, below {:.3} % (95 %)", total[3], 100.0 * high);
    }
}

fn flat_spots(count: u64) {
    println!("flat spots found of {count}, within 1 deg; 5 kHz, 60 deg/s, one cycle, first line");
    let widths = [0.2, 0.3, 0.5, 0.7, 1.0, 1.5, 2.0, 3.0];
    println!("kind shape     loss  {}", widths.map(|w| format!("{w:>6}")).join(""));
    for hall in [true, false] {
        for snap in [true, false] {
            for loss in [1.0, 0.6, 0.3, 0.15] {
                let row = widths.map(|width| {
                    let found = on_all_cores(count, |seed| spot_found(hall, snap, loss, width, seed));
                    format!("{:>6.3}", found.iter().filter(|f| **f).count() as f64 / count as f64)
                });
                println!(
                    "{:<4} {:<9} {loss:>4} {}",
                    if hall { "Hall" } else { "pot" },
                    if snap { "snap" } else { "permanent" },
                    row.join("")
                );
            }
        }
    }
}

fn spot_found(hall: bool, snap: bool, loss: f64, width: f64, seed: u64) -> bool {
    let condition = Condition { hall, rate_hz: 5000.0, speed: 60.0, cycles: 1 };
    let mut part = condition.part(50_000_000 + seed);
    let from = 8.0 + 55.0 * statistics::Resampler::new(seed).uniform();
    part.flat = vec![FlatSpot { line: 0, from_deg: from, width_deg: width, loss, snap }];
    let (trace, sheet) = (part.trace(), part.sheet());
    let prepared = Prepared::new(&trace, &sheet);
    let Some(curves) = Curves::new(&prepared, &sheet) else { return false };
    let found = dropout::find(&prepared, &sheet);
    let noisy = noise_map::find(&prepared, 0, &found, &sheet);
    let report = flat_spot::find(&prepared, &curves, 0, noisy.with_jumps.as_ref(), &found, &sheet);
    report.findings.iter().any(|f| {
        f.from_deg.is_some_and(|a| a < from + width + 1.0) && f.to_deg.is_some_and(|b| b > from - 1.0)
    })
}

fn dropouts(count: u64) {
    println!(
        "full opens of the first line, found of {count} and length as estimated (mean ± sd), no input filter"
    );
    for rate_hz in [1000.0, 5000.0, 20_000.0] {
        for scans in [0.5, 0.9, 1.0, 1.5, 3.0, 10.0, 100.0] {
            let length_s = scans / rate_hz;
            let all = on_all_cores(count, |seed| open_found(rate_hz, length_s, seed));
            let seen: Vec<f64> = all.into_iter().flatten().collect();
            println!(
                "{rate_hz:>6} Hz {:>8.0} us: found {:.3}, {:.0} ± {:.0} us",
                1e6 * length_s,
                seen.len() as f64 / count as f64,
                statistics::mean(&seen).unwrap_or(f64::NAN),
                statistics::standard_deviation(&seen).unwrap_or(f64::NAN)
            );
        }
    }
}

fn open_found(rate_hz: f64, length_s: f64, seed: u64) -> Option<f64> {
    let condition = Condition { hall: true, rate_hz, speed: 60.0, cycles: 1 };
    let mut part = condition.part(70_000_000 + seed);
    let at_s = 0.3 + 2.0 * statistics::Resampler::new(seed).uniform();
    part.dropouts = vec![Dropout { lines: [true, false], at_s, length_s, level: 0.0 }];
    let (trace, sheet) = (part.trace(), part.sheet());
    let report = dropout::find(&Prepared::new(&trace, &sheet), &sheet);
    let hit = report.events.iter().find(|e| (e.at_us as f64 * 1e-6 - 1.0 - at_s).abs() < 0.003)?;
    (hit.wire == dropout::Wire::First).then_some(hit.length_us)
}

fn main() {
    let words: Vec<String> = std::env::args().skip(1).collect();
    let count = words.get(1).and_then(|n| n.parse().ok());
    match words.first().map(String::as_str) {
        Some("false-alarms") => false_alarms(count.unwrap_or(10_000)),
        Some("flat-spots") => flat_spots(count.unwrap_or(200)),
        Some("dropouts") => dropouts(count.unwrap_or(400)),
        _ => println!("say false-alarms, flat-spots or dropouts, and how many"),
    }
}
