//! What the gears wind up by while a coasting rotor is arrested, measured on the arrest itself. It knows no lash.
//!
//! Once through its play the rotor takes the plate along, against the default spring, until both stand, and the spring brings them back. The
//! other flank carries all the while, so at one place rotor and plate stand further apart on the way down than on the way back by the
//! difference of the mesh's torque over its stiffness. That difference is twice the plate's own friction; what both ways differ by in acceleration is
//! twice all friction over the inertia. Hence stiffness over inertia, up to the share of friction that is the plate's (`PLATE_SHARE`); and
//! the wind-up over the arrest is the rotor's change of acceleration from one flank to the other over it:
//! wound = h·(gain before + fall after)/(share·(fall down − gain back)), h = hysteresis of rotor less plate between both ways.
//! Nothing else is assumed of the mesh, and what the sensor or the gears err by at a place drops out.

use super::estimate::Estimate;
use crate::analysis::linear;
use crate::analysis::statistics;
use std::ops::Range;

/// Share of the drive's friction that acts on the plate, not on the rotor. Engineering assumption (the physics study: 0.40).
const PLATE_SHARE: Estimate = Estimate { value: 0.4, uncertainty: 0.12 };
/// Samples after the contact whose fall of speed counts as the fall after it.
const AFTER: Range<usize> = 3..15;
/// The ways down and back count where the rotor is at least this fast, degrees of plate per second.
const FAST: (f64, f64) = (15.0, 10.0);
/// The way back ends where the rotor is slower than this, degrees of plate per second.
const ENDS: f64 = 8.0;
/// Fewer samples of either way at the same places show no hysteresis.
const LEAST: usize = 8;
/// Unknowns: a cubic of the place, and the way.
const UNKNOWNS: usize = 5;

/// An arrest as the rotor and the plate saw it.
pub struct Arrested<'a> {
    /// Rotor less plate, degrees of plate; the sensor's lag taken off.
    pub apart_deg: &'a [f64],
    /// Rotor, degrees of plate.
    pub rotor_deg: &'a [f64],
    /// Speed of the rotor towards closed, degrees of plate per second.
    pub closing_deg_s: &'a [f64],
    /// Samples before the arrest.
    pub before: Range<usize>,
    /// Sample at which the other flank carries.
    pub contact: usize,
}

/// What the gears wound up by.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct WindUp {
    /// Over the arrest, degrees of plate; what one arrest scatters by and what the share of friction leaves open.
    pub wound_deg: Estimate,
    /// The part of that uncertainty which all arrests share, degrees.
    pub common_deg: f64,
    /// Rotor less plate, down less back, degrees.
    pub hysteresis_deg: Estimate,
    /// Wind-up that the rotor's friction alone can hold, degrees of plate.
    pub held_deg: f64,
}

/// Slope of values over their samples.
pub(super) fn slope(values: &[f64]) -> Option<f64> {
    let x: Vec<f64> = (0..values.len()).map(|k| k as f64).collect();
    statistics::fit_line(&x, values).map(|f| f.slope)
}

/// Measures it. None where the plate was not taken along and back over the same places.
pub fn measure(a: &Arrested<'_>) -> Option<WindUp> {
    let w = a.closing_deg_s;
    let smooth = |k: usize| w.get(k - 2..k + 3).map(|w| w.iter().sum::<f64>() / 5.0);
    let end = w.len().min(a.apart_deg.len()).checked_sub(3)?;
    let from = a.contact + AFTER.start + 2;
    let turn = (from..end).find(|k| smooth(*k).is_some_and(|w| w < 0.0))?;
    let back = (turn + 10..end).find(|k| smooth(*k).is_some_and(|w| w > -ENDS)).unwrap_or(end);
    let down: Vec<usize> =
        (from..turn.saturating_sub(3)).filter(|k| smooth(*k).is_some_and(|w| w > FAST.0)).collect();
    let up: Vec<usize> = (turn + 3..back).filter(|k| smooth(*k).is_some_and(|w| w < -FAST.1)).collect();
    let ends = |of: &[usize]| {
        let places = || of.iter().map(|k| a.rotor_deg[*k]);
        (places().fold(f64::INFINITY, f64::min), places().fold(f64::NEG_INFINITY, f64::max))
    };
    let (d, u) = (ends(&down), ends(&up));
    let (low, high) = (d.0.max(u.0), d.1.min(u.1));
    let both = |of: &[usize]| -> Vec<usize> {
        of.iter().copied().filter(|k| (low..=high).contains(&a.rotor_deg[*k])).collect()
    };
    let (down, up) = (both(&down), both(&up));
    if down.len() < LEAST || up.len() < LEAST {
        return None;
    }
    let hysteresis = hysteresis(a, &down, &up, 0.5 * (low + high), 0.5 * (high - low).max(1e-6))?;
    let of = |of: &[usize]| slope(&of.iter().map(|k| w[*k]).collect::<Vec<f64>>());
    // Accelerations per sample: their unit drops out.
    let (fall, gain_back) = (-of(&down)?, -of(&up)?);
    let after = -slope(w.get(a.contact + AFTER.start..a.contact + AFTER.end)?)?;
    let before = slope(w.get(a.before.clone())?)?;
    let factor = (before + after) / (PLATE_SHARE.value * (fall - gain_back));
    if !(factor > 0.0 && factor.is_finite()) {
        return None;
    }
    // No mesh winds up backwards.
    let wound = (hysteresis.value * factor).max(0.0);
    let common_deg = wound * PLATE_SHARE.uncertainty / PLATE_SHARE.value;
    let error = (hysteresis.uncertainty * factor).hypot(common_deg);
    Some(WindUp {
        wound_deg: Estimate::new(wound, error)?,
        common_deg,
        hysteresis_deg: hysteresis,
        held_deg: hysteresis.value.max(0.0) * (1.0 - PLATE_SHARE.value) / (2.0 * PLATE_SHARE.value),
    })
}

/// Rotor less plate on the way back less that on the way down, at the same places.
fn hysteresis(a: &Arrested<'_>, down: &[usize], up: &[usize], middle: f64, half: f64) -> Option<Estimate> {
    let row = |k: usize, way: f64| {
        let x = (a.rotor_deg[k] - middle) / half;
        ([1.0, x, x * x, x * x * x, way], a.apart_deg[k])
    };
    let rows: Vec<([f64; UNKNOWNS], f64)> =
        down.iter().map(|k| row(*k, -0.5)).chain(up.iter().map(|k| row(*k, 0.5))).collect();
    // Beside the right-hand side stands the unit vector of the way: its solution is the way's variance.
    let mut m = vec![vec![0.0f64; UNKNOWNS + 2]; UNKNOWNS];
    for (x, y) in &rows {
        for i in 0..UNKNOWNS {
            for j in 0..UNKNOWNS {
                m[i][j] += x[i] * x[j];
            }
            m[i][UNKNOWNS] += x[i] * y;
        }
    }
    m[UNKNOWNS - 1][UNKNOWNS + 1] = 1.0;
    linear::solve(&mut m)?;
    let solution: Vec<f64> = m.iter().map(|r| r[UNKNOWNS]).collect();
    let left: f64 = rows
        .iter()
        .map(|(x, y)| (y - x.iter().zip(&solution).map(|(x, s)| x * s).sum::<f64>()).powi(2))
        .sum();
    let variance = left / (rows.len() - UNKNOWNS) as f64 * m[UNKNOWNS - 1][UNKNOWNS + 1];
    Estimate::new(solution[UNKNOWNS - 1], variance.max(0.0).sqrt())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// An arrest with a fall of 4 per sample down, a gain of 1 back and a hysteresis of `h` degrees.
    fn arrest(h: f64) -> (Vec<f64>, Vec<f64>, Vec<f64>) {
        let (mut apart, mut rotor, mut speed) = (Vec::new(), Vec::new(), Vec::new());
        let (mut w, mut at) = (180.0f64, 10.0f64);
        for k in 0..260 {
            let down = w > 0.0;
            speed.push(w);
            rotor.push(at);
            let noise = 0.02 * (12.9898 * f64::from(k)).sin();
            apart.push(0.3 * (0.5 * at).sin() + noise + if down { 0.0 } else { h });
            w -= if k < 40 {
                -0.25
            } else if down {
                4.0
            } else {
                1.0
            };
            if w < -60.0 {
                w = -60.0;
            }
            at -= w * 2e-4;
        }
        (apart, rotor, speed)
    }

    #[test]
    fn the_wind_up_follows_from_the_hysteresis_and_the_accelerations() {
        for h in [0.005, 0.017, 0.05] {
            let (apart, rotor, speed) = arrest(h);
            let a = Arrested {
                apart_deg: &apart,
                rotor_deg: &rotor,
                closing_deg_s: &speed,
                before: 5..35,
                contact: 41,
            };
            let found = measure(&a).expect("down and back");
            assert!(
                (found.hysteresis_deg.value - h).abs() < 4.0 * found.hysteresis_deg.uncertainty,
                "{found:?}"
            );
            // (0.25 + 4)/(0.4·(4 − 1)) of the hysteresis.
            let factor = 4.25 / 1.2;
            assert!((found.wound_deg.value / found.hysteresis_deg.value - factor).abs() < 0.4, "{found:?}");
        }
    }

    #[test]
    fn a_plate_that_is_not_taken_along_tells_none() {
        let a = Arrested {
            apart_deg: &[0.0; 50],
            rotor_deg: &[0.0; 50],
            closing_deg_s: &[1.0; 50],
            before: 0..10,
            contact: 12,
        };
        assert_eq!(measure(&a), None);
    }
}
