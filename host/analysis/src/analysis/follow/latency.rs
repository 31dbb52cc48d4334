//! Grip to plate latency from steps of the grip: the time between what the grip asks for passing half of its change and the plate passing
//! half of its own. Half-way is where both are fastest, so noise matters least there. Quantiles with bounds from ranks of the ordered
//! sample (`order_statistics`).

use super::course::Course;
use super::figure;
use crate::analysis::body::order_statistics::ranks;
use crate::analysis::statistics::quantile;
use crate::analysis::{Histogram, NotTestable, PartAnalysis};
use crate::quantity::{Condition, FigureName, Unit};
use crate::trace::Stimulus;

/// A step that asks less than this of the plate shows no time, degrees.
const LEAST_DEG: f64 = 2.0;
/// Steps that last longer are snap openings, s.
const LONGEST_S: f64 = 0.4;
/// Over this time before a step and at its end places are averaged, µs.
const LEVEL_US: u64 = 40_000;
/// Width of the histogram's bins, ms.
const BIN_MS: f64 = 1.0;
/// Most bins; a longer one lies in the last.
const MOST_BINS: usize = 200;
/// Between the rig's ticks the setpoint stands: 1 ms, evenly distributed (JCGM 100, 4.3.7), ms.
const TICK_U_MS: f64 = 0.289;

/// One step of the grip.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Step {
    /// Scan at which it was commanded.
    pub scan: usize,
    /// What the plate was asked for before and behind it, degrees.
    pub asked_deg: (f64, f64),
    /// Half-way to half-way, ms.
    pub ms: f64,
}

/// Every step that shows a time, and how many did not: the plate never came to half of what was asked.
pub fn steps(course: &Course) -> (Vec<Step>, usize) {
    let (mut steps, mut without) = (Vec::new(), 0);
    for stretch in &course.stretches {
        let Stimulus::Step { seconds, .. } = stretch.stimulus else { continue };
        if seconds > LONGEST_S {
            continue;
        }
        let (start, end) = (stretch.range.start, stretch.range.end);
        let level = |column: &[f64], at| course.level_before(column, at, LEVEL_US);
        let (Some(from), Some(to)) = (level(&course.asked_deg, start), level(&course.asked_deg, end)) else {
            continue;
        };
        let Some(stood) = level(&course.plate_deg, start) else { continue };
        if (to - from).abs() < LEAST_DEG {
            continue;
        }
        let asked = crossing(course, &course.asked_deg, start..end, 0.5 * (from + to), to > from);
        let came = crossing(course, &course.plate_deg, start..end, stood + 0.5 * (to - from), to > from);
        match (asked, came) {
            (Some(asked), Some(came)) => {
                steps.push(Step { scan: start, asked_deg: (from, to), ms: (came - asked) * 1e-3 });
            }
            _ => without += 1,
        }
    }
    (steps, without)
}

/// When a course passes a level for good, µs from the first scan; between two scans by a straight line.
fn crossing(
    course: &Course,
    column: &[f64],
    range: std::ops::Range<usize>,
    level: f64,
    upward: bool,
) -> Option<f64> {
    let beyond = |v: f64| if upward { v >= level } else { v <= level };
    // From the end back to the last scan that is still short of it.
    let last_short = range.clone().rev().find(|k| !beyond(column[*k]))?;
    let first = (last_short + 1 < range.end).then_some(last_short + 1)?;
    let (a, b) = (column[last_short], column[first]);
    let (from, to) = (course.time_us[last_short] as f64, course.time_us[first] as f64);
    let share = if b == a { 0.5 } else { ((level - a) / (b - a)).clamp(0.0, 1.0) };
    let begun = course.time_us.first().copied()? as f64;
    Some(from + share * (to - from) - begun)
}

/// Figures and histogram.
pub fn tell(course: &Course, out: &mut PartAnalysis) {
    let (steps, without) = steps(course);
    if without > 0 {
        out.not_testable.push(NotTestable {
            what: "grip to plate latency".to_owned(),
            why: format!(
                "at {without} steps the plate never came half-way to what was asked: see friction and motor"
            ),
        });
    }
    let mut ms: Vec<f64> = steps.iter().map(|s| s.ms).collect();
    let quantiles = [
        (FigureName::FollowLatencyP50, 0.5, "median"),
        (FigureName::FollowLatencyP95, 0.95, "95th percentile"),
    ];
    for (name, p, word) in quantiles {
        let Some((value, u)) = bounded_quantile(&mut ms, p) else {
            let why = format!("{} steps tell a time; a 95 % bound on the {word} needs more", steps.len());
            out.not_testable.push(NotTestable { what: name.name().to_owned(), why });
            continue;
        };
        let definition = format!(
            "{word} of {} steps of the grip: from what it asks for passing half of its change to the plate passing half of its own; bounds from \
             ranks of the ordered sample",
            steps.len()
        );
        out.figures.push(figure(name, value, u, Condition::NONE, definition));
    }
    out.histograms.extend(histogram(&ms));
}

/// A quantile, and its standard uncertainty: half the width of its 95 % interval over 1.96, and the rig's tick. None where the sample is
/// too small for both bounds.
fn bounded_quantile(values: &mut [f64], p: f64) -> Option<(f64, f64)> {
    let value = quantile(values, p)?;
    values.sort_by(f64::total_cmp);
    let found = ranks(values.len() as u64, p, 0.95);
    let at = |rank: u64| values.get(rank as usize - 1).copied();
    let (low, high) = (found.low.and_then(at)?, found.high.and_then(at)?);
    Some((value, (0.5 * (high - low) / 1.96).hypot(TICK_U_MS)))
}

fn histogram(ms: &[f64]) -> Option<Histogram> {
    let low = ms.iter().copied().reduce(f64::min)?;
    let high = ms.iter().copied().reduce(f64::max)?;
    let first = (low / BIN_MS).floor();
    let bins = (((high / BIN_MS).floor() - first) as usize + 1).min(MOST_BINS);
    let mut counts = vec![0u64; bins];
    for value in ms {
        counts[(((value / BIN_MS).floor() - first) as usize).min(bins - 1)] += 1;
    }
    Some(Histogram {
        name: "follow_latency",
        condition: Condition::NONE,
        channel: None,
        unit: Unit::Millisecond,
        low: first * BIN_MS,
        width: BIN_MS,
        counts,
    })
}
