//! What a leak draws from the supply along the travel. A sensor that is off draws no more for it; a leak draws by the line's voltage:
//! that distinguishes them where the curves can't. It names no cause.
//!
//! A leak of R from a line at ratio r: to ground, an active output takes V·r/R from the supply, a track the share r of it (the rest
//! turns over in its lower part), V·r²/R; to the supply, a track takes V·(1 − r)²/R by the same reason mirrored. What an active output
//! does that sinks is its maker's matter: it is taken for V·(1 − r)/R or nothing, whichever fits.

use crate::analysis::leads::AtPlace;

/// What else changes a sensor's current along the travel, amperes: the rig's inputs (1 MΩ) and the output stage. Engineering assumption.
const OTHERWISE_AMPS: f64 = 10e-6;
/// How well a leak's resistance is known from the curves, relative: by the spread of healthy parts.
const OHM_SPREAD: f64 = 0.3;
/// Most that the current says against a cause, χ²: it is one witness.
const MOST: f64 = 40.0;
/// Change along the travel from which a leak is reported by the current alone, amperes.
pub(super) const LEAST_AMPS: f64 = 45e-6;

/// A leak.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Leak {
    /// Of this line.
    pub line: usize,
    /// To the supply; otherwise to ground.
    pub to_supply: bool,
    /// Its resistance, Ω.
    pub ohm: f64,
}

impl Leak {
    /// What it draws at a place, amperes.
    fn amps(&self, at: &AtPlace, track: bool) -> f64 {
        let r = at.ratio[self.line];
        let towards = if self.to_supply { 1.0 - r } else { r };
        let share = if track { towards } else { 1.0 };
        at.volts * towards * share / self.ohm
    }
}

/// χ² of the changes of current along the travel, with a leak or without; 0 where it was not recorded at two places.
pub(super) fn misfit(places: &[Option<AtPlace>; 3], leak: Option<Leak>, track: bool) -> f64 {
    let without = squares(places, |_| 0.0);
    let Some(leak) = leak else { return without.min(MOST) };
    let with = squares(places, |at| leak.amps(at, track));
    let sinks = leak.to_supply && !track;
    (if sinks { with.min(without) } else { with }).min(MOST)
}

/// Squares of measured less expected, both about their means, over their variance.
fn squares(places: &[Option<AtPlace>; 3], expected: impl Fn(&AtPlace) -> f64) -> f64 {
    let seen: Vec<&AtPlace> = places.iter().flatten().collect();
    if seen.len() < 2 {
        return 0.0;
    }
    let n = seen.len() as f64;
    let mean = |of: &dyn Fn(&AtPlace) -> f64| seen.iter().map(|at| of(at)).sum::<f64>() / n;
    let (measured, wanted) = (mean(&|at| at.amps.value), mean(&expected));
    seen.iter()
        .map(|at| {
            let (own, should) = (at.amps.value - measured, expected(at) - wanted);
            let sd = OTHERWISE_AMPS.hypot(at.amps.standard_uncertainty).hypot(OHM_SPREAD * should);
            ((own - should) / sd).powi(2)
        })
        .sum()
}

/// A leak reported by the current alone: how much it changes along the travel, amperes, and the resistance that draws it, Ω. None below
/// what may be otherwise, and where no single leak draws like that.
pub(super) fn alone(places: &[Option<AtPlace>; 3], track: bool) -> Option<(f64, f64)> {
    let seen: Vec<&AtPlace> = places.iter().flatten().collect();
    let amps = || seen.iter().map(|at| at.amps.value);
    let change = amps().fold(f64::NEG_INFINITY, f64::max) - amps().fold(f64::INFINITY, f64::min);
    if seen.len() < 3 || change < LEAST_AMPS {
        return None;
    }
    let candidates =
        (0..2).flat_map(|line| [false, true].map(|to_supply| Leak { line, to_supply, ohm: 1.0 }));
    let fitted = candidates.filter_map(|unit| {
        let drawn: Vec<f64> = seen.iter().map(|at| unit.amps(at, track)).collect();
        let mean = drawn.iter().sum::<f64>() / drawn.len() as f64;
        let centre = amps().sum::<f64>() / drawn.len() as f64;
        let (mut xy, mut xx) = (0.0, 0.0);
        for (at, x) in seen.iter().zip(&drawn) {
            xy += (x - mean) * (at.amps.value - centre);
            xx += (x - mean) * (x - mean);
        }
        let ohm = xx / xy;
        let leak = Leak { ohm, ..unit };
        (ohm.is_finite() && ohm > 0.0).then(|| (squares(places, |at| leak.amps(at, track)), ohm))
    });
    let (left, ohm) = fitted.min_by(|a, b| a.0.total_cmp(&b.0))?;
    // Three places less mean and size: one degree of freedom, 3.3 standard deviations.
    (left < 11.0).then_some((change, ohm))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::leads::Estimate;

    /// A complementary pair at three places that draws `extra` beside 10 mA.
    fn places(extra: impl Fn(f64) -> f64) -> [Option<AtPlace>; 3] {
        [0.2, 0.5, 0.8].map(|r| {
            let amps = Estimate { value: 0.010 + extra(r), standard_uncertainty: 1e-6 };
            Some(AtPlace { ratio: [r, 1.0 - r], volts: 5.0, amps })
        })
    }

    #[test]
    fn a_leak_draws_by_the_lines_voltage_and_a_wrong_gain_nothing() {
        // 10 kΩ to ground behind an active output: 5 V · r / 10 kΩ.
        let leaking = places(|r| 5.0 * r / 10_000.0);
        let leak = Leak { line: 0, to_supply: false, ohm: 10_000.0 };
        assert!(misfit(&leaking, Some(leak), false) < 0.1);
        assert!(misfit(&leaking, None, false) >= MOST);
        assert!(misfit(&places(|_| 0.0), Some(leak), false) > 5.0);
        assert!(misfit(&places(|_| 0.0), None, false) < 0.1);
    }

    #[test]
    fn an_active_output_that_sinks_may_draw_or_not() {
        let leak = Leak { line: 1, to_supply: true, ohm: 10_000.0 };
        assert!(misfit(&places(|_| 0.0), Some(leak), false) < 0.1);
        assert!(misfit(&places(|r| 5.0 * r / 10_000.0), Some(leak), false) < 0.1);
        // A track has no such choice.
        assert!(misfit(&places(|_| 0.0), Some(leak), true) > 5.0);
    }

    #[test]
    fn the_current_alone_tells_a_leak_and_its_resistance() {
        let (change, ohm) = alone(&places(|r| 5.0 * r * r / 30_000.0), true).expect("a leak");
        // 5 V · (0.64 − 0.04)/30 kΩ = 100 µA.
        assert!((change - 100e-6).abs() < 1e-9 && (ohm / 30_000.0 - 1.0).abs() < 1e-6, "{change} {ohm}");
        assert_eq!(alone(&places(|_| 0.0), true), None);
        // What no leak draws: more in the middle than at both ends.
        let middle = places(|r| 200e-6 * (1.0 - (r - 0.5).abs()));
        assert_eq!(alone(&middle, false), None);
    }
}
