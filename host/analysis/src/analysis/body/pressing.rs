//! Output at the stops of a plate that a drive presses on them, by what the program did. A stop gives way: while the voltage rises with the plate
//! on it, a line goes on with the current. Carried back to the current at which the plate came there, that is the output where the stop is just
//! touched. A stop is a spring (plastic or metal on metal) of some thousand N·m/rad: a fiftieth of a degree at the usual press.

use super::stretches::Recording;
use crate::analysis::ends::{End, Stop};
use crate::analysis::statistics::{self, mean};
use crate::trace::Stimulus;
use std::ops::Range;

/// A plate is on its stop while it stays this near to where it ends, degrees: more than any sound stop gives way.
const ON_STOP_DEG: f64 = 0.25;
/// Presses that end further than this from the furthest did not come to the stop, degrees.
const SHORT_DEG: f64 = 1.0;
/// It may rebound for so long after it came, s.
const REBOUND_S: f64 = 0.03;
/// What is looked at of a press, s.
const LOOK_S: f64 = 0.1;
/// Least rise of the current with the plate on its stop, A.
const LEAST_RISE_A: f64 = 0.5;
/// The current that just brings the plate to its stop is known within this, A (rectangular): friction, and how fast it came. Engineering
/// assumption.
const TOUCH_A: f64 = 0.5;
/// Where the current does not rise on the stop: it gives way by up to this, degrees (rectangular from 0). Engineering assumption.
const UNKNOWN_DEG: f64 = 0.05;

/// One press on a stop: where the plate stood, the line then, and by how much of it the stop gave way, with its standard uncertainty.
struct Press {
    deg: f64,
    ratio: f64,
    yielded: Option<(f64, f64)>,
}

/// A stop of a line of this slope (ratio of supply per degree), and the standard uncertainty from how far it gives way; none where no press came
/// there.
pub fn stop(recording: &Recording, ratio: &[f32], end: End, per_deg: f64) -> Option<(Stop, f64)> {
    let sign = if end == End::Open { 1.0 } else { -1.0 };
    let mut presses: Vec<Press> = recording
        .with_previous()
        .filter_map(|(before, press)| match (before.stimulus, press.stimulus) {
            (Stimulus::VoltsRamp { .. }, Stimulus::Volts { volts, .. }) if volts * sign > 0.0 => {
                let whole = before.whole && press.whole;
                once(recording, ratio, whole.then_some(&before.range), &press.range)
            }
            _ => None,
        })
        .collect();
    let furthest = presses.iter().map(|p| sign * p.deg).fold(f64::NEG_INFINITY, f64::max);
    presses.retain(|p| sign * p.deg > furthest - SHORT_DEG);
    let of = |f: fn(&Press) -> f64| presses.iter().map(f).collect::<Vec<f64>>();
    let (ratios, deg) = (of(|p| p.ratio), mean(&of(|p| p.deg))?);
    let yielded: Vec<(f64, f64)> = presses.iter().filter_map(|p| p.yielded).collect();
    let yields = |f: fn(&(f64, f64)) -> f64| mean(&yielded.iter().map(f).collect::<Vec<f64>>());
    let unknown = (0.5 * sign * per_deg * UNKNOWN_DEG, per_deg.abs() * UNKNOWN_DEG / 12.0f64.sqrt());
    let (by, error) = yields(|y| y.0).zip(yields(|y| y.1)).unwrap_or(unknown);
    let n = ratios.len() as f64;
    let scatter = statistics::standard_deviation(&ratios).unwrap_or(0.0) / n.sqrt();
    let stop = Stop {
        ratio: mean(&ratios)? - by,
        scatter,
        drift: 0.0,
        deg,
        visits: ratios.len() as u32,
        stood: true,
    };
    Some((stop, error))
}

/// Without a ramp of which every scan came, how far the stop gave way is not known.
fn once(
    recording: &Recording,
    ratio: &[f32],
    ramp: Option<&Range<usize>>,
    press: &Range<usize>,
) -> Option<Press> {
    let at_end = recording.tail(press, LOOK_S);
    let deg = mean(recording.deg(at_end.clone()))?;
    let pressed: Vec<f64> =
        ratio.get(at_end.clone())?.iter().map(|r| f64::from(*r)).filter(|r| r.is_finite()).collect();
    let yielded = ramp.and_then(|ramp| yielded(recording, ratio, ramp, &at_end, deg));
    Some(Press { deg, ratio: mean(&pressed)?, yielded })
}

/// By how much of the line a stop gave way between the touch and the end of the press.
fn yielded(
    recording: &Recording,
    ratio: &[f32],
    ramp: &Range<usize>,
    at_end: &Range<usize>,
    standing: f64,
) -> Option<(f64, f64)> {
    let deg = recording.deg(ramp.start..at_end.end);
    let came = ramp.start + deg.iter().rposition(|d| (d - standing).abs() > ON_STOP_DEG)?;
    let rising = came + recording.samples(REBOUND_S)..ramp.end;
    let amps = recording.amps(rising.clone());
    let (first, last) = (amps.first()?, amps.last()?);
    if (last - first).abs() < LEAST_RISE_A {
        return None;
    }
    let line: Vec<f64> = ratio.get(rising)?.iter().map(|r| f64::from(*r)).collect();
    let fit = statistics::fit_line(amps, &line)?;
    let beyond = mean(recording.amps(at_end.clone()))? - mean(recording.amps(came..came + 5))?;
    let error = (fit.slope_error * beyond).hypot(fit.slope * TOUCH_A / 3.0f64.sqrt());
    Some((fit.slope * beyond, error))
}
