//! Time by which the second line lags the first, µs.
//!
//! At speed v a lag of τ moves the second line by −slope₂·v·τ against the first: up and down strokes differ by twice that. So
//! does a difference of hysteresis between the lines, which does not change with speed. Where strokes of one direction differ
//! in speed by enough, τ is the regression of the residual on speed and hysteresis drops out; otherwise the difference of up
//! and down is used and a quarter of the hysteresis stands in the uncertainty: the two can't be distinguished at one speed, however
//! many strokes there are. Where that hides more than a twentieth of the time between two samples of the monitor, the skew is not
//! testable from the recording. Slow drift is estimated beside it (see `lag`), so that it is not taken for time.

use super::Figure;
use super::budget::{Budget, Source};
use super::curve::{Curves, LineCurve};
use super::lag;
use super::prepared::Prepared;
use crate::quantity::{Condition, FigureName};
use crate::sheet::PartSheet;

/// A line that moves by less than this share of the other's span shows no time.
const LEAST_SPAN: f64 = 0.05;
/// Least hysteresis that may differ between lines, degrees. Engineering assumption.
const LEAST_PLAY_DEG: f64 = 0.02;
/// Largest standard uncertainty by which a skew is still a figure, of the monitor's period: a skew that small is nothing to a
/// controller that reads both lines so rarely. Engineering assumption.
const LARGEST_SHARE: f64 = 0.05;

/// Skew of the pair.
///
/// # Errors
/// Why it can't be had from this recording, and what would make it testable.
pub fn analyse(prepared: &Prepared<'_>, curves: &Curves, sheet: &PartSheet) -> Result<Figure, String> {
    let (Some(first), Some(second)) = (curves.line[0].as_ref(), curves.line[1].as_ref()) else {
        return Err("it needs both lines, moving".to_owned());
    };
    let still =
        |line: &LineCurve, other: &LineCurve| line.slope == 0.0 || line.span < LEAST_SPAN * other.span;
    if still(first, second) || still(second, first) || prepared.speed_deg_s <= 0.0 {
        return Err("it needs both lines, moving".to_owned());
    }
    // Through the measured slopes, so that a common lag or a gain error does not show.
    let weights = lag::without_motion([first.slope, second.slope]);
    let by_speed = lag::by_speed(&curves.deg, &curves.recorded, curves.step_deg, weights, second.slope);
    let (value, budget, how) = match by_speed {
        Some(lag::Lag { seconds, error }) => (
            seconds,
            Budget::of(Source::Scatter, error),
            "regression of the residual on speed; hysteresis and slow drift drop out",
        ),
        None => one_speed(prepared, curves, weights, [first, second])?,
    };
    let uncertainty = budget.total();
    let largest = LARGEST_SHARE * 1e-3 * sheet.monitor.period_ms;
    if uncertainty > largest {
        return Err(format!(
            "at {:.0} deg/s this recording leaves {:.0} us open (95 %), because a difference of hysteresis between the lines and \
             slow drift look the same; more strokes of the same speed do not help: sweep half of the strokes at a third of the speed, \
             in turn with the fast ones",
            prepared.speed_deg_s,
            2e6 * uncertainty
        ));
    }
    Ok(Figure {
        name: FigureName::Skew,
        channel: None,
        value: 1e6 * value,
        budget: budget.scaled(1e6),
        upper_bound: None,
        added: 0.0,
        at_deg: None,
        condition: Condition::NONE,
        definition: format!("time the second line lags the first, positive = later; {how}"),
    })
}

/// Half the difference of up and down over slope and speed, seconds.
fn one_speed(
    prepared: &Prepared<'_>,
    curves: &Curves,
    weights: [f64; 2],
    lines: [&LineCurve; 2],
) -> Result<(f64, Budget, &'static str), String> {
    let found = lag::by_direction(&curves.deg, &curves.recorded, weights).ok_or_else(|| {
        "it needs two strokes up and two down at least, or drift looks the same: record two full cycles, better strokes of two speeds"
            .to_owned()
    })?;
    let play = lines.iter().filter_map(|l| l.hysteresis_deg).map(f64::abs).fold(LEAST_PLAY_DEG, f64::max);
    let confusion = 0.25 * play / (2.0 * prepared.speed_deg_s);
    let scale = lines[1].slope * prepared.speed_deg_s;
    let how = "difference of up and down strokes at one speed; a difference of hysteresis between the lines looks the same and is in \
               the uncertainty";
    let budget = Budget::of(Source::Scatter, found.error / scale).with(Source::Play, confusion);
    Ok((-found.value / scale, budget, how))
}
