//! Dead band at a stop: travel before the stop over which the output no longer changes.
//!
//! A hinge: the straight part of the arriving stroke (1.5° to 6° from the stop) is carried on to the value at rest; where they
//! meet, the dead band begins. Arriving with a play of h, the line is ahead by h/2, so a dead band shorter than h/2 hides
//! behind it: that goes into the uncertainty. Hysteresis is reported by itself. (Dead band: ISA-51.1, from memory.)

use super::Figure;
use super::curve::Curves;
use super::ends::{self, End};
use super::prepared::Prepared;
use super::statistics;
use super::uncertainty::Calibration;
use crate::quantity::{Channel, FigureName};

/// Straight part, degrees from the stop.
const STRAIGHT_DEG: (f64, f64) = (1.5, 6.0);

/// Dead band of a line at a stop. None without a stroke that arrives there or a rest.
pub fn analyse(
    prepared: &Prepared<'_>,
    curves: &Curves,
    line: usize,
    end: End,
    calibration: &Calibration,
) -> Option<Figure> {
    let curve = curves.line[line].as_ref()?;
    let stop = ends::stop(prepared, curves, line, end).filter(|s| s.visits > 0)?;
    let (low, high) = prepared.travel_deg?;
    let (arriving, name, at) = match end {
        End::Closed => (&curve.down, FigureName::DeadBandClosed, low),
        End::Open => (&curve.up, FigureName::DeadBandOpen, high),
    };
    let away = |k: usize| (curves.deg[k] - at).abs();
    let straight: Vec<usize> = (0..curves.len())
        .filter(|k| (STRAIGHT_DEG.0..STRAIGHT_DEG.1).contains(&away(*k)) && arriving[*k].is_finite())
        .collect();
    let x: Vec<f64> = straight.iter().map(|k| away(*k)).collect();
    let y: Vec<f64> = straight.iter().map(|k| arriving[*k]).collect();
    let fit = statistics::fit_line(&x, &y)?;
    if fit.slope.abs() < 0.2 * curve.slope.abs() || x.len() < 10 {
        return None;
    }
    let hinge = ((stop.ratio - fit.intercept) / fit.slope).max(0.0);
    let half_play = 0.5 * curve.hysteresis_deg.unwrap_or(0.0).abs();
    let value = hinge + half_play.min(hinge);
    // What the straight part itself scatters by (texture) the extrapolation may be off by as well.
    let texture = fit.residual_sd.hypot(fit.intercept_error) / fit.slope.abs();
    let rest =
        stop.scatter.hypot(calibration.smoothed_step(line, curve.slope, curves.step_deg)) / fit.slope.abs();
    let hidden = if hinge < half_play { half_play / 3.0f64.sqrt() } else { 0.0 };
    // The stop itself is known to the rest's trim and the angle's noise.
    let place = 0.02f64.hypot(prepared.angle_noise_deg);
    Some(Figure {
        name,
        channel: Some(Channel::SENSORS[line]),
        value,
        standard_uncertainty: texture.hypot(rest).hypot(hidden).hypot(place),
        upper_bound: None,
        at_deg: Some(at),
        definition: format!(
            "travel before the stop over which the output no longer changes: hinge of the arriving stroke's straight part \
             ({} to {} deg) and the value at rest",
            STRAIGHT_DEG.0, STRAIGHT_DEG.1
        ),
    })
}
