//! Paired differences of states into drops, resistances and the kind of current.

use super::states::State;
use super::{AtPlace, Estimate, LOAD_OHM, SupplyCurrent};

/// Smallest difference of supply that is a step, volts.
const STEP_V: f64 = 0.4;
/// Least uncertainty of a ratio, of any cause: the converters' own nonlinearity. Engineering assumption.
const RATIO_FLOOR: f64 = 1e-5;

fn same_switches(a: &State, b: &State) -> bool {
    a.load == b.load && a.pull_down == b.pull_down
}

/// Drops in the ground and in the supply lead, volts; none without steps at two different ratios. The sensor's own ratio is
/// what the reading is without the drops, so the fit is repeated with them taken off.
pub(super) fn supply_steps(states: &[State]) -> Option<(Estimate, Estimate)> {
    let mut drops = fit_drops(states, 0.0, 0.0)?;
    for _ in 0..4 {
        drops = fit_drops(states, drops.0.value, drops.1.value)?;
    }
    Some(drops)
}

/// One fit with drops `ground` and `supply` taken off the readings.
fn fit_drops(states: &[State], ground: f64, supply: f64) -> Option<(Estimate, Estimate)> {
    // Normal equations of Δr = Δ(1/V)·(u_g·(1 − f) − u_s·f), weighted.
    let (mut aa, mut ab, mut bb, mut ay, mut by) = (0.0, 0.0, 0.0, 0.0, 0.0);
    let (mut lowest, mut highest) = (f64::INFINITY, f64::NEG_INFINITY);
    for (low, high) in steps(states) {
        let inverse = 1.0 / low.supply - 1.0 / high.supply;
        for line in 0..2 {
            let (Some(a), Some(b)) = (low.ratio[line], high.ratio[line]) else { continue };
            let f = (b.value - ground / high.supply) / (1.0 - (ground + supply) / high.supply).max(0.1);
            if !(0.02..=0.98).contains(&f) {
                continue;
            }
            let weight =
                1.0 / (a.standard_uncertainty.hypot(b.standard_uncertainty).hypot(RATIO_FLOOR)).powi(2);
            let (x, z, y) = (inverse * (1.0 - f), -inverse * f, a.value - b.value);
            aa += weight * x * x;
            ab += weight * x * z;
            bb += weight * z * z;
            ay += weight * x * y;
            by += weight * z * y;
            (lowest, highest) = (lowest.min(f), highest.max(f));
        }
    }
    let determinant = aa * bb - ab * ab;
    if highest - lowest <= 0.15 || determinant <= 0.0 || !determinant.is_finite() {
        return None;
    }
    let own_ground = (bb * ay - ab * by) / determinant;
    let own_supply = (aa * by - ab * ay) / determinant;
    Some((
        Estimate::new(own_ground, (bb / determinant).sqrt()),
        Estimate::new(own_supply, (aa / determinant).sqrt()),
    ))
}

/// Neighbouring states at one place that differ in the supply alone: (low, high).
fn steps(states: &[State]) -> impl Iterator<Item = (&State, &State)> {
    states
        .windows(2)
        .filter(|w| {
            w[0].place == w[1].place
                && same_switches(&w[0], &w[1])
                && (w[0].supply - w[1].supply).abs() > STEP_V
        })
        .filter(|w| w[0].supply > 1.0 && w[1].supply > 1.0)
        .map(|w| if w[0].supply < w[1].supply { (&w[0], &w[1]) } else { (&w[1], &w[0]) })
}

/// How the supply current behaves over the steps, and its value at the higher supply.
pub(super) fn current(states: &[State]) -> (SupplyCurrent, Option<Estimate>) {
    let amps = states
        .iter()
        .filter(|s| s.load == [false; 2])
        .max_by(|a, b| a.supply.total_cmp(&b.supply))
        .and_then(|s| s.amps);
    let mut powers = Vec::new();
    for (low, high) in steps(states) {
        if let (Some(a), Some(b)) = (low.amps, high.amps)
            && a.value > 1e-4
            && b.value > 1e-4
        {
            powers.push((b.value / a.value).ln() / (high.supply / low.supply).ln());
        }
    }
    if powers.is_empty() {
        return (SupplyCurrent::Unknown, amps);
    }
    // Current goes with supply^power: 0 for a constant current, 1 for a resistor.
    let power = powers.iter().sum::<f64>() / powers.len() as f64;
    let kind = if power.abs() < 0.3 {
        SupplyCurrent::Constant
    } else if (power - 1.0).abs() < 0.3 {
        SupplyCurrent::Ratiometric
    } else {
        SupplyCurrent::Unknown
    };
    (kind, amps)
}

/// Supply current at the first three places, with nothing switched on: the state of the highest supply, and the first of those.
pub(super) fn by_place(states: &[State]) -> [Option<AtPlace>; 3] {
    let mut places: Vec<usize> = states.iter().map(|s| s.place).collect();
    places.dedup();
    let mut out = [None; 3];
    for (slot, place) in out.iter_mut().zip(places) {
        let free = |s: &&State| s.place == place && s.load == [false; 2] && s.pull_down == [false; 2];
        let highest = states.iter().filter(free).map(|s| s.supply).fold(0.0, f64::max);
        let first = states.iter().filter(free).find(|s| s.supply > highest - STEP_V);
        *slot = first.and_then(|s| {
            let ratio = [s.ratio[0]?.value, s.ratio[1]?.value];
            Some(AtPlace { ratio, volts: s.supply, amps: s.amps? })
        });
    }
    out
}

/// Source resistance of a line and its ratio without load, from all steps of its load at one place.
pub(super) fn source(states: &[State], line: usize) -> Option<(Estimate, Estimate)> {
    let (mut n, mut ohm, mut variance, mut ratio, mut ratio_variance) = (0.0, 0.0, 0.0, 0.0, 0.0);
    let other = 1 - line;
    for w in states.windows(2) {
        let alike = w[0].place == w[1].place
            && w[0].load[other] == w[1].load[other]
            && w[0].pull_down == w[1].pull_down
            && (w[0].supply - w[1].supply).abs() < STEP_V;
        if !alike || w[0].load[line] == w[1].load[line] {
            continue;
        }
        let (on, off) = if w[0].load[line] { (&w[0], &w[1]) } else { (&w[1], &w[0]) };
        let (Some(on), Some(off)) = (on.ratio[line], off.ratio[line]) else { continue };
        if on.value < 0.01 || off.value < 0.01 {
            continue;
        }
        let (u_on, u_off) =
            (on.standard_uncertainty.hypot(RATIO_FLOOR), off.standard_uncertainty.hypot(RATIO_FLOOR));
        n += 1.0;
        ohm += LOAD_OHM * (off.value - on.value) / on.value;
        variance += (LOAD_OHM * off.value / (on.value * on.value)).powi(2) * u_on * u_on
            + (LOAD_OHM / on.value * u_off).powi(2);
        ratio += off.value;
        ratio_variance += off.standard_uncertainty.powi(2);
    }
    (n > 0.0).then(|| {
        (Estimate::new(ohm / n, variance.sqrt() / n), Estimate::new(ratio / n, ratio_variance.sqrt() / n))
    })
}
