//! How late the plate's sensor is, from coasts alone. It corrects nothing.
//!
//! With the bridge open the terminals show the EMF, whose integral is the rotor's angle, and above rest plate and rotor turn together. A sensor
//! that is late by τ shows the plate ω·τ behind. What else sets rotor and plate apart at a place (bend of the sensor, errors of the gears, an error
//! of K') is the same at every pass of that place, and where an integral begins is the same all along one coast; so
//! D(coast, place) = f(place) + c(coast) + τ·ω(coast, place), fitted over coasts from several openings that pass the same places at different
//! speeds. f and c are taken off by turns (two-way fixed effects: Frisch, Waugh, Econometrica 1 (1933) 387), τ is the slope left.

use super::estimate::Estimate;
use super::motor::{RAD, integral};
use super::rest::stands;
use super::stretches::Recording;
use crate::analysis::statistics::mean;
use crate::trace::Stimulus;

/// Width of a place, degrees.
const PLACE_DEG: f64 = 1.0;
/// After the bridge opens, the time until the winding's current is gone, s.
const FLYBACK_S: f64 = 0.012;
/// A coast is used down to this above rest, degrees, and when it is at least this long.
const ABOVE_REST_DEG: f64 = 2.0;
const SHORTEST_DEG: f64 = 8.0;
/// Speed is a mean over this, s.
const SPEED_S: f64 = 0.002;
/// Rounds of taking off means by turns.
const ROUNDS: usize = 200;
/// What gears that wind up differently at different speeds add, s: seen on simulated bodies. Engineering assumption.
const MODEL_S: f64 = 25e-6;
/// Fewer degrees of freedom show no scatter.
const LEAST_DOF: usize = 10;

/// One place of one coast: rotor less plate, degrees, and speed, degrees per second.
struct Pass {
    coast: usize,
    place: usize,
    apart: f64,
    speed: f64,
}

/// How late the sensor is, s. None without at least two coasts over the same places at different speeds.
pub fn measure(recordings: &[&Recording], emf: f64, rest_deg: f64) -> Option<Estimate> {
    let mut passes: Vec<Pass> = Vec::new();
    let mut coasts = 0;
    for r in recordings {
        for s in r.stretches.iter().filter(|s| matches!(s.stimulus, Stimulus::Release { .. })) {
            let Some(found) = coast(r, s.range.clone(), emf, rest_deg) else { continue };
            passes.extend(found.into_iter().map(|(place, apart, speed)| Pass {
                coast: coasts,
                place,
                apart,
                speed,
            }));
            coasts += 1;
        }
    }
    // A place that one coast alone passed says nothing.
    let places = passes.iter().map(|p| p.place).max()? + 1;
    let mut count = vec![0usize; places];
    passes.iter().for_each(|p| count[p.place] += 1);
    passes.retain(|p| count[p.place] >= 2);
    let used = count.iter().filter(|n| **n >= 2).count();
    let dof = passes.len().checked_sub(used + coasts).filter(|d| *d >= LEAST_DOF)?;
    let apart = alone(&passes, places, coasts, |p| p.apart);
    let speed = alone(&passes, places, coasts, |p| p.speed);
    let squares: f64 = speed.iter().map(|w| w * w).sum();
    let slope = speed.iter().zip(&apart).map(|(w, d)| w * d).sum::<f64>() / squares;
    let left: f64 = speed.iter().zip(&apart).map(|(w, d)| (d - slope * w).powi(2)).sum();
    // Neighbouring places of a coast share the integral's noise: one in four is independent.
    Estimate::new(slope, (4.0 * left / dof as f64 / squares).sqrt()).map(|e| e.widened(MODEL_S))
}

/// A value less its mean over its place and over its coast.
fn alone(passes: &[Pass], places: usize, coasts: usize, of: impl Fn(&Pass) -> f64) -> Vec<f64> {
    let mut values: Vec<f64> = passes.iter().map(of).collect();
    for _ in 0..ROUNDS {
        for (groups, by) in [(places, (|p| p.place) as fn(&Pass) -> usize), (coasts, |p| p.coast)] {
            let mut sums = vec![(0.0, 0.0); groups];
            for (p, v) in passes.iter().zip(&values) {
                sums[by(p)] = (sums[by(p)].0 + v, sums[by(p)].1 + 1.0);
            }
            for (p, v) in passes.iter().zip(&mut values) {
                *v -= sums[by(p)].0 / sums[by(p)].1;
            }
        }
    }
    values
}

/// Places of one coast: number, rotor less plate, speed.
fn coast(
    r: &Recording,
    range: std::ops::Range<usize>,
    emf: f64,
    rest_deg: f64,
) -> Option<Vec<(usize, f64, f64)>> {
    let tail = r.tail(&range, 0.05);
    stands(r, tail.clone())?;
    let offset = mean(r.volts(tail))?;
    let start = range.start + r.samples(FLYBACK_S);
    let deg = r.deg(start..range.end);
    let end = deg.windows(5).position(|w| w.iter().sum::<f64>() < 5.0 * (rest_deg + ABOVE_REST_DEG))?;
    if deg.first()? - (rest_deg + ABOVE_REST_DEG) < SHORTEST_DEG {
        return None;
    }
    let volts = r.volts(start..start + end);
    let half = (r.samples(SPEED_S) / 2).max(1);
    let mut flux = 0.0;
    let mut sums: Vec<(f64, f64, f64)> = Vec::new();
    for k in 1..volts.len() {
        flux += integral(&volts[k - 1..=k], offset, r.period_s)?;
        let near = volts.get(k.saturating_sub(half)..(k + half + 1).min(volts.len()))?;
        let speed = (mean(near)? - offset) / emf / RAD;
        // The place is the rotor's: the plate's own noise must not choose it.
        let rotor = deg[0] + flux / emf / RAD;
        let place = (rotor / PLACE_DEG).max(0.0) as usize;
        if sums.len() <= place {
            sums.resize(place + 1, (0.0, 0.0, 0.0));
        }
        let sum = &mut sums[place];
        *sum = (sum.0 + rotor - deg[k], sum.1 + speed, sum.2 + 1.0);
    }
    let whole = sums.into_iter().enumerate().filter(|(_, s)| s.2 >= 3.0);
    Some(whole.map(|(place, s)| (place, s.0 / s.2, s.1 / s.2)).collect())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::body::synthetic::{Bench, programs};

    #[test]
    fn a_late_sensor_and_a_prompt_one_are_told_apart_on_bodies_whose_lag_is_known() {
        for seed in 1..=10u64 {
            let mut bench = Bench::healthy(seed);
            bench.lag_s = [0.0, 1e-4, 3e-4][seed as usize % 3];
            // Its filter is stepped once a scan and takes the newest value in: this much late at an even speed.
            let keep = if bench.lag_s > 0.0 { (-2e-4 / bench.lag_s).exp() } else { 0.0 };
            let lag_s = 2e-4 * keep / (1.0 - keep);
            let release = bench.run(&programs::releases()).recording;
            let creep = bench.run(&programs::creep()).recording;
            let found = measure(&[&release, &creep], bench.plant.emf(), bench.plant.th0.to_degrees());
            let found = found.expect("coasts from several openings");
            assert!((found.value - lag_s).abs() < 3.0 * found.uncertainty, "{found:?} for {lag_s}");
            assert!(found.uncertainty < 8e-5, "{found:?}");
        }
    }

    #[test]
    fn one_coast_alone_tells_no_lag() {
        assert_eq!(measure(&[], 0.383, 6.5), None);
    }
}
