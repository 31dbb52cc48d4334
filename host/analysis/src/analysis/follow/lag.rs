//! How the plate follows a grip that turns at one speed: the time it lags (from the deviation against the speed of what is asked, over both
//! ways together: least squares, a constant taken out), and the largest deviation, lag and all. One value per speed, with the scatter over
//! repeated ramps as uncertainty.

use super::course::{Course, Stretch};
use super::figure;
use crate::analysis::statistics::{fit_line, mean, standard_deviation};
use crate::analysis::{NotTestable, PartAnalysis};
use crate::quantity::{Condition, FigureName};
use crate::trace::Stimulus;
use std::ops::Range;

/// A ramp over less than this share of the grip's travel is only on the way to somewhere.
const WHOLE_SHARE: f64 = 0.8;
/// The grip gathers speed, and the plate catches up, before a ramp counts, µs; as long before its end.
const ENDS_US: u64 = 150_000;
/// Values are averaged over this long, µs: the plate's noise is not its deviation.
const MEAN_US: f64 = 5_000.0;
/// The speed of what is asked is taken over this long, µs.
const SPEED_US: f64 = 20_000.0;
/// Scan to scan the setpoint stands for up to a tick: 0.5 ms of lag on average is the rig's; this much of it is not known, ms.
const TICK_U_MS: f64 = 0.289;
/// Noise of an averaged value, degrees: what a deviation without repetition is uncertain by. Engineering assumption.
const NOISE_DEG: f64 = 0.02;

/// Ramps to and fro at one speed.
#[derive(Clone, Debug, PartialEq)]
pub struct Speed {
    /// Of the grip, degrees per second.
    pub deg_s: f64,
    /// Lag of each pair of ramps, ms.
    pub lags_ms: Vec<f64>,
    /// Largest deviation of each ramp: size in degrees, and where the grip was.
    pub worst: Vec<(f64, f64)>,
}

/// By speed, slowest first.
pub fn speeds(course: &Course) -> Vec<Speed> {
    let whole = course.grip_travel().map_or(f64::INFINITY, |(low, high)| WHOLE_SHARE * (high - low));
    let mut ramps: Vec<(f64, &Stretch)> = course
        .stretches
        .iter()
        .filter_map(|s| match s.stimulus {
            Stimulus::Ramp { speed_deg_s, .. } => Some((speed_deg_s, s)),
            _ => None,
        })
        .filter(|(_, s)| way(course, s) >= whole)
        .collect();
    ramps.sort_by(|a, b| a.0.total_cmp(&b.0));
    ramps
        .chunk_by(|a, b| a.0 == b.0)
        .map(|group| {
            let inner: Vec<Range<usize>> = group.iter().map(|(_, s)| inner(course, s)).collect();
            let pairs = inner.chunks_exact(2).filter_map(|pair| lag_ms(course, pair));
            Speed {
                deg_s: group[0].0,
                lags_ms: pairs.collect(),
                worst: inner.iter().filter_map(|range| worst(course, range)).collect(),
            }
        })
        .collect()
}

/// How far the grip turned, degrees.
fn way(course: &Course, stretch: &Stretch) -> f64 {
    let at = |k: usize| course.grip_deg.get(k).copied().unwrap_or(f64::NAN);
    (at(stretch.range.end - 1) - at(stretch.range.start)).abs()
}

/// The part of a ramp at full speed.
fn inner(course: &Course, stretch: &Stretch) -> Range<usize> {
    let (first, last) = (course.time_us[stretch.range.start], course.time_us[stretch.range.end - 1]);
    let index = |us: u64| course.time_us.partition_point(|t| *t < us);
    index(first + ENDS_US)..index(last.saturating_sub(ENDS_US)).max(index(first + ENDS_US))
}

/// Means of a column over [`MEAN_US`], with the scan in their middle.
fn means(course: &Course, column: &[f64], range: &Range<usize>) -> Vec<(usize, f64)> {
    let width = ((MEAN_US / course.period_us) as usize).max(1);
    let chunks = column[range.clone()].chunks_exact(width).enumerate();
    chunks
        .map(|(k, values)| (range.start + k * width + width / 2, values.iter().sum::<f64>() / width as f64))
        .filter(|(_, m)| m.is_finite())
        .collect()
}

/// Lag of a ramp up and a ramp down: slope of the deviation over the speed that is asked for.
fn lag_ms(course: &Course, ramps: &[Range<usize>]) -> Option<f64> {
    let half = ((0.5 * SPEED_US / course.period_us) as usize).max(1);
    let (mut speeds, mut deviations) = (Vec::new(), Vec::new());
    for range in ramps {
        let asked = means(course, &course.asked_deg, range);
        let plate = means(course, &course.plate_deg, range);
        for ((scan, asked_deg), (_, plate_deg)) in asked.iter().zip(&plate) {
            let (Some(before), Some(after)) = (scan.checked_sub(half), course.asked_deg.get(scan + half))
            else {
                continue;
            };
            let seconds = (course.time_us[scan + half] - course.time_us[before]) as f64 * 1e-6;
            speeds.push((after - course.asked_deg[before]) / seconds);
            deviations.push(plate_deg - asked_deg);
        }
    }
    fit_line(&speeds, &deviations).map(|fit| -1e3 * fit.slope)
}

fn worst(course: &Course, range: &Range<usize>) -> Option<(f64, f64)> {
    let asked = means(course, &course.asked_deg, range);
    let plate = means(course, &course.plate_deg, range);
    let deviation = asked.iter().zip(&plate).map(|((scan, a), (_, p))| (*scan, (p - a).abs()));
    let (scan, size) = deviation.max_by(|a, b| a.1.total_cmp(&b.1))?;
    Some((size, course.grip_deg[scan]))
}

/// Figures, one of each per speed.
pub fn tell(course: &Course, out: &mut PartAnalysis) {
    let speeds = speeds(course);
    if speeds.is_empty() {
        let why = "no ramp of the grip over most of its travel was recorded: run follow";
        for name in [FigureName::FollowLag, FigureName::FollowDeviation] {
            out.not_testable.push(NotTestable { what: name.name().to_owned(), why: why.to_owned() });
        }
    }
    for speed in speeds {
        let condition = Condition { speed_deg_s: Some(speed.deg_s), ..Condition::NONE };
        if let Some((lag, u)) = mean_with(&speed.lags_ms, TICK_U_MS) {
            let definition = format!(
                "slope of the plate's deviation over the speed that is asked of it, {} ramps to and fro at {:.0} deg/s of the grip",
                speed.lags_ms.len(),
                speed.deg_s
            );
            out.figures.push(figure(FigureName::FollowLag, lag, u, condition, definition));
        }
        let sizes: Vec<f64> = speed.worst.iter().map(|w| w.0).collect();
        let largest = speed.worst.iter().copied().max_by(|a, b| a.0.total_cmp(&b.0));
        if let (Some((size, at_deg)), Some((_, u))) = (largest, mean_with(&sizes, NOISE_DEG)) {
            let definition = format!(
                "largest deviation of the plate, averaged over 5 ms, from what the grip asks for by the mapping; {} ramps at {:.0} deg/s, lag \
                 and all",
                sizes.len(),
                speed.deg_s
            );
            let made = figure(FigureName::FollowDeviation, size, u, condition, definition);
            out.figures.push(crate::analysis::Figure { at_deg: Some(at_deg), ..made });
        }
    }
}

/// Mean of repeated values, and its standard uncertainty: their scatter, and what does not scatter.
fn mean_with(values: &[f64], floor: f64) -> Option<(f64, f64)> {
    let scatter = standard_deviation(values).unwrap_or(0.0) / (values.len() as f64).sqrt();
    Some((mean(values)?, scatter.hypot(floor)))
}
