//! Dead band at a stop: travel before the stop over which the output no longer changes.
//!
//! A hinge: the straight part of the arriving stroke (1.5° to 6° from the stop, further in where the dead band reaches into that)
//! is carried on to the value at rest; where they meet, the dead band begins. Arriving with a play of h, the line is ahead by h/2: that is
//! given back. On the way out the dead band is longer by h than on the way in, and the definition names neither: rectangular within ±h/2.
//! Hysteresis is reported by itself. (Dead band: ISA-51.1, from memory.)

use super::Figure;
use super::budget::{Budget, Source};
use super::curve::Curves;
use super::ends::{self, End, Stop};
use super::prepared::Prepared;
use super::statistics::{self, LineFit};
use super::uncertainty::Calibration;
use crate::quantity::{Channel, Condition, FigureName};

/// Straight part, degrees from the stop.
const STRAIGHT_DEG: (f64, f64) = (1.5, 6.0);
/// The straight part begins at least this far from the hinge, degrees.
const CLEAR_DEG: f64 = 0.5;
/// A straight part that would begin further from the stop than this is not looked for, degrees.
const FURTHEST_DEG: f64 = 20.0;

/// Dead band of a line at a stop. None without a stroke that arrives there or a rest.
pub fn analyse(
    prepared: &Prepared<'_>,
    curves: &Curves,
    line: usize,
    end: End,
    calibration: &Calibration,
    travel_deg: f64,
) -> Option<Figure> {
    let curve = curves.line[line].as_ref()?;
    let stop = ends::stop(prepared, curves, line, end).filter(|s| s.visits > 0)?;
    let (arriving, name) = match end {
        End::Closed => (&curve.down, FigureName::DeadBandClosed),
        End::Open => (&curve.up, FigureName::DeadBandOpen),
    };
    let straight = straight_part(curves, arriving, curve.slope, &stop)?;
    let bend = straight.moved_by_half(&stop);
    let Straight { from, x, y, fit, hinge } = straight;
    let half_play = 0.5 * curve.hysteresis_deg.unwrap_or(0.0).abs();
    let value = hinge + half_play.min(hinge);
    // What the straight part itself scatters by (texture) the extrapolation may be off by as well.
    let (spread, widened) = statistics::widened_by_resemblance(&x, &y, &fit);
    let texture = spread * fit.residual_sd.hypot(fit.intercept_error * widened) / fit.slope.abs();
    let steps = calibration.smoothed_step(line, curve.slope, curves.step_deg) / fit.slope.abs();
    let place = prepared.angle_noise_deg / 12.0f64.sqrt();
    Some(Figure {
        name,
        channel: Some(Channel::SENSORS[line]),
        value,
        budget: Budget::of(Source::Scatter, texture.hypot(stop.scatter / fit.slope.abs()))
            .with(Source::Steps, steps)
            .with(Source::Play, half_play / 3.0f64.sqrt())
            .with(Source::Stop, ends::short_of_stop_deg(prepared, travel_deg, end) / 3.0f64.sqrt())
            .with(Source::Angle, place)
            .with(Source::Algorithm, bend),
        upper_bound: None,
        added: 0.0,
        at_deg: Some(stop.deg),
        condition: Condition::NONE,
        definition: format!(
            "travel before the stop over which the output no longer changes: hinge of the arriving stroke's straight part \
             ({from} to {} deg) and the value at rest",
            from + STRAIGHT_DEG.1 - STRAIGHT_DEG.0
        ),
    })
}

/// The straight part of an arriving stroke.
struct Straight {
    /// Where it begins, degrees from the stop.
    from: f64,
    /// Degrees from the stop.
    x: Vec<f64>,
    /// Ratios of supply.
    y: Vec<f64>,
    fit: LineFit,
    /// Where its line meets the value at rest, degrees from the stop.
    hinge: f64,
}

impl Straight {
    /// What the hinge moves by when the nearer or the further half alone is carried on, degrees, as a standard uncertainty: a bend of the
    /// line, or texture as long as the straight part, which its own scatter does not show. Rectangular within the two.
    fn moved_by_half(&self, stop: &Stop) -> f64 {
        let middle = self.from + 0.5 * (STRAIGHT_DEG.1 - STRAIGHT_DEG.0);
        let hinge = |near: bool| {
            let kept = self.x.iter().zip(&self.y).filter(|(x, _)| (**x < middle) == near);
            let (x, y): (Vec<f64>, Vec<f64>) = kept.map(|(x, y)| (*x, *y)).unzip();
            statistics::fit_line(&x, &y).map(|fit| (stop.ratio - fit.intercept) / fit.slope)
        };
        // The whole lies between both; the further half is carried on over twice the way, so half of what it moves by is the whole's.
        let off =
            |near: bool, share: f64| hinge(near).map_or(0.0, |h| share * (h.max(0.0) - self.hinge).abs());
        off(true, 1.0).max(off(false, 0.5)) / 3.0f64.sqrt()
    }
}

/// The nearest straight part that a dead band does not reach into. None without one.
fn straight_part(curves: &Curves, arriving: &[f64], slope: f64, stop: &Stop) -> Option<Straight> {
    let away = |k: usize| (curves.deg[k] - stop.deg).abs();
    let mut from = STRAIGHT_DEG.0;
    while from <= FURTHEST_DEG {
        let range = from..from + STRAIGHT_DEG.1 - STRAIGHT_DEG.0;
        let (x, y): (Vec<f64>, Vec<f64>) = (0..curves.len())
            .filter(|k| range.contains(&away(*k)) && arriving[*k].is_finite())
            .map(|k| (away(k), arriving[k]))
            .unzip();
        let fit = statistics::fit_line(&x, &y).filter(|_| x.len() >= 10)?;
        let hinge = ((stop.ratio - fit.intercept) / fit.slope).max(0.0);
        if fit.slope.abs() >= 0.2 * slope.abs() && hinge <= from - CLEAR_DEG {
            return Some(Straight { from, x, y, fit, hinge });
        }
        from += CLEAR_DEG;
    }
    None
}
