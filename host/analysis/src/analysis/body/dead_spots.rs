//! Turns of the rotor in which the brushes lose contact, from slow ramps. It does not name a cause.
//!
//! A slow drive is resistive: |v − K'ω| = R·|i| + V_b, whatever friction does. Where a brush loses contact the loop raises the volts
//! and the current does not follow: the excess |v − K'ω| − V_b − R·|i| stands up by volts for the time that the rotor takes over the
//! place, or for good where the drive can't cross it. The place comes back with every turn of the rotor.
//!
//! A rotor that runs free, as over a missing tooth, makes the same excess by its EMF, but only for the few degrees of the gap: the excess'
//! integral over K' distinguishes them.

use super::motor::{BRUSH_PER_A, Block, RAD, Winding};
use crate::analysis::statistics;

/// Excess that counts: so many spreads of the rest, and at least so many volts. Induction of a slow drive stays below 0.3 V.
const EXCESS: (f64, f64) = (8.0, 0.8);
/// Least spread of the excess, V: ripple of a good commutator at two amps (engineering assumption).
const LEAST_SPREAD: f64 = 0.05;
/// Largest: where few blocks moved freely, their spread is that of the fault.
const MOST_SPREAD: f64 = 0.15;
/// Current that apparent resistance is reckoned with at least, A: the meter's own offset.
const LEAST_AMPS: f64 = 0.02;
/// A dead spot adds at least this, Ω. Engineering assumption.
const LEAST_OHM: f64 = 3.0;
/// A rotor that runs free over a gap of the gears goes less than this, degrees of plate.
const FREE_DEG: f64 = 6.0;
/// Sightings nearer than this are one place, degrees.
const PLACE_DEG: f64 = 1.5;

/// A place where the brushes lose contact.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DeadSpot {
    /// Where in the travel, degrees: rotor angle turned into plate angle.
    pub at_deg: f64,
    /// Its width as seen, degrees of plate.
    pub width_deg: f64,
    /// Largest apparent resistance above the winding's, Ω.
    pub ohm: f64,
    /// Largest excess over the spread of the rest.
    pub z: f64,
    /// Passes that showed it.
    pub passes: usize,
}

/// Places that stand out, each in order of travel: of the brushes, and of a rotor that ran free.
pub(super) fn find(
    blocks: &[Block],
    winding: &Winding,
    emf: f64,
    block_s: f64,
) -> (Vec<DeadSpot>, Vec<DeadSpot>) {
    let excess = |b: &Block| {
        let i = b.amps.abs();
        b.volts.abs() - winding.brush * (BRUSH_PER_A * i).tanh() - winding.ohm * i
    };
    // A drive that is stuck shows nothing of the spread.
    let moving = blocks.iter().filter(|b| b.moving);
    let mut all: Vec<f64> = moving.map(excess).filter(|e| e.is_finite()).collect();
    let sd = statistics::robust_sd(&mut all).unwrap_or(0.0).clamp(LEAST_SPREAD, MOST_SPREAD);
    let limit = (EXCESS.0 * sd).max(EXCESS.1);
    let (mut sightings, mut free): (Vec<DeadSpot>, Vec<DeadSpot>) = (Vec::new(), Vec::new());
    for run in blocks.chunk_by(|a, b| (excess(a) > limit) == (excess(b) > limit)) {
        // One block alone may be a jerk of the plate.
        if run.len() < 2 || excess(&run[0]) <= limit {
            continue;
        }
        let Some(worst) = run.iter().max_by(|a, b| excess(a).total_cmp(&excess(b))) else { continue };
        let ends = run
            .iter()
            .map(|b| b.deg)
            .fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), d| (a.min(d), b.max(d)));
        let turned = run.iter().map(excess).sum::<f64>() * block_s / emf / RAD;
        // Brushes that lift add ohms; a stall's own ripple does not.
        let ohm = excess(worst) / worst.amps.abs().max(LEAST_AMPS);
        if turned > FREE_DEG && ohm < LEAST_OHM {
            continue;
        }
        let of = if turned > FREE_DEG { &mut sightings } else { &mut free };
        of.push(DeadSpot {
            at_deg: 0.5 * (ends.0 + ends.1),
            width_deg: ends.1 - ends.0,
            ohm,
            z: excess(worst) / sd,
            passes: 1,
        });
    }
    (places(sightings), places(free))
}

/// Sightings of one place as one.
fn places(mut sightings: Vec<DeadSpot>) -> Vec<DeadSpot> {
    sightings.retain(|s| s.at_deg.is_finite());
    sightings.sort_by(|a, b| a.at_deg.total_cmp(&b.at_deg));
    let one = |group: &[DeadSpot]| {
        let most = |f: fn(&DeadSpot) -> f64| group.iter().map(f).fold(0.0, f64::max);
        DeadSpot {
            at_deg: group.iter().map(|s| s.at_deg).sum::<f64>() / group.len() as f64,
            width_deg: most(|s| s.width_deg),
            ohm: most(|s| s.ohm),
            z: most(|s| s.z),
            passes: group.len(),
        }
    };
    sightings.chunk_by(|a, b| b.at_deg - a.at_deg < PLACE_DEG).map(one).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ramp(dead: impl Fn(f64) -> bool) -> Vec<Block> {
        (0..800)
            .map(|k| {
                let deg = f64::from(k) * 0.1;
                let amps = if dead(deg) { 0.4 } else { 1.4 };
                Block { deg, volts: if dead(deg) { 9.0 } else { 1.15 * amps + 0.15 }, amps, moving: true }
            })
            .collect()
    }

    #[test]
    fn a_place_where_volts_rise_and_amps_do_not_follow_is_found_where_it_lies() {
        let winding = Winding::known(1.15, 0.15);
        let dead = |d: f64| (20.0..20.8).contains(&d) || (37.6..38.4).contains(&d);
        let (found, free) = find(&ramp(dead), &winding, 0.383, 0.005);
        assert_eq!(free, []);
        assert_eq!(found.len(), 2, "{found:?}");
        assert!((found[0].at_deg - 20.4).abs() < 0.2 && (found[1].at_deg - 38.0).abs() < 0.2, "{found:?}");
        // (9 − 0.15 − 1.15·0.4)/0.4 above the winding.
        assert!((found[0].ohm - 20.975).abs() < 1e-6, "{found:?}");
    }

    #[test]
    fn a_rotor_that_runs_free_for_two_degrees_is_no_dead_spot() {
        // Two blocks of 5 ms with 1.5 V of EMF: 0.015 V s over 0.383 V s/rad are 2.2 degrees.
        let mut blocks = ramp(|_| false);
        for b in &mut blocks[300..302] {
            (b.amps, b.volts) = (0.4, 1.15 * 0.4 + 0.15 + 1.5);
        }
        let (dead, free) = find(&blocks, &Winding::known(1.15, 0.15), 0.383, 0.005);
        assert_eq!((dead.len(), free.len()), (0, 1));
        assert!((free[0].at_deg - 30.05).abs() < 0.2, "{free:?}");
    }

    #[test]
    fn a_good_commutator_has_none() {
        assert_eq!(find(&ramp(|_| false), &Winding::known(1.15, 0.15), 0.383, 0.005), (vec![], vec![]));
        assert_eq!(find(&[], &Winding::known(1.15, 0.15), 0.383, 0.005), (vec![], vec![]));
    }
}
