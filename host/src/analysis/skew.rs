//! Time by which the second line lags the first, µs.
//!
//! At speed v a lag of τ moves the second line by −slope₂·v·τ against the first: up and down strokes differ by twice that. So
//! does a difference of hysteresis between the lines, which does not change with speed. Where strokes of one direction differ
//! in speed by enough, τ is the regression of the residual on speed and hysteresis drops out; otherwise the difference of up
//! and down is used and a quarter of the hysteresis stands in the uncertainty: the two can't be told apart at one speed.

use super::Figure;
use super::curve::{Curves, LineCurve};
use super::prepared::Prepared;
use super::{lag, statistics};
use crate::quantity::{Condition, FigureName};

/// A line that moves by less than this share of the other's span tells no time.
const LEAST_SPAN: f64 = 0.05;
/// Least hysteresis that may differ between lines, degrees. Engineering assumption.
const LEAST_PLAY_DEG: f64 = 0.02;
/// Left out at each stop, degrees.
const EDGE_DEG: f64 = 1.0;

/// Skew of the pair. None without both lines, or when neither way works.
pub fn analyse(prepared: &Prepared<'_>, curves: &Curves) -> Option<Figure> {
    let (first, second) = (curves.line[0].as_ref()?, curves.line[1].as_ref()?);
    let still =
        |line: &LineCurve, other: &LineCurve| line.slope == 0.0 || line.span < LEAST_SPAN * other.span;
    if still(first, second) || still(second, first) || prepared.speed_deg_s <= 0.0 {
        return None;
    }
    // Through the measured slopes, so that a common lag or a gain error does not show.
    let m = second.slope / first.slope;
    let (value, uncertainty, how) = match lag::by_speed(
        &curves.deg,
        &curves.recorded,
        curves.step_deg,
        [-m, 1.0],
        second.slope,
    ) {
        Some(lag::Lag { seconds, error }) => {
            (seconds, error, "regression of the residual on speed; hysteresis drops out".to_owned())
        }
        None => {
            let play = [first, second]
                .iter()
                .filter_map(|l| l.hysteresis_deg)
                .map(f64::abs)
                .fold(LEAST_PLAY_DEG, f64::max);
            let (tau, error) = by_direction(prepared, curves, m)?;
            let confusion = 0.25 * play / (2.0 * prepared.speed_deg_s);
            let how = "difference of up and down strokes at one speed; a difference of hysteresis between the lines looks the \
                       same and is in the uncertainty";
            (tau, error.hypot(confusion), how.to_owned())
        }
    };
    Some(Figure {
        name: FigureName::Skew,
        channel: None,
        value: 1e6 * value,
        standard_uncertainty: 1e6 * uncertainty,
        upper_bound: None,
        at_deg: None,
        condition: Condition::NONE,
        definition: format!("time the second line lags the first, positive = later; {how}"),
    })
}

/// Half the mean difference of up and down over slope and speed, seconds.
fn by_direction(prepared: &Prepared<'_>, curves: &Curves, m: f64) -> Option<(f64, f64)> {
    let (first, second) = (curves.line[0].as_ref()?, curves.line[1].as_ref()?);
    let edge = curves.bins_in(EDGE_DEG);
    let mut half = Vec::new();
    let mut variance = 0.0;
    for k in edge..curves.len().checked_sub(edge)? {
        let d = (second.up[k] - m * first.up[k]) - (second.down[k] - m * first.down[k]);
        if d.is_finite() {
            half.push(0.5 * d);
            variance += 0.25
                * (second.up_error[k].powi(2)
                    + second.down_error[k].powi(2)
                    + m * m * (first.up_error[k].powi(2) + first.down_error[k].powi(2)));
        }
    }
    if half.len() < 10 {
        return None;
    }
    let scale = second.slope * prepared.speed_deg_s;
    let n = half.len() as f64;
    Some((-statistics::mean(&half)? / scale, (variance.sqrt() / n / scale).abs()))
}
