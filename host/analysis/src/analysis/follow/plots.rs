//! What is drawn of a pair: one ramp to and fro, one step, and the deviation over the grip's travel by speed.

use super::course::Course;
use super::{lag, latency};
use crate::analysis::{Axis, Plot, PlotSeries};
use crate::trace::Stimulus;
use std::ops::Range;

/// At most so many points per line.
const POINTS: usize = 600;
/// A step is drawn this long before and behind its command, ms.
const STEP_MS: (f64, f64) = (20.0, 180.0);
/// Width of a place along the travel, degrees.
const PLACE_DEG: f64 = 1.0;

/// Every plot that there is something to draw of.
pub fn of(course: &Course) -> Vec<Plot> {
    [ramps(course), steps(course), deviation(course)].into_iter().flatten().collect()
}

fn axis(label: &str, unit: &'static str) -> Axis {
    Axis { label: label.to_owned(), unit }
}

/// Time in ms from a scan, and a column, thinned.
fn line(course: &Course, column: &[f64], range: Range<usize>, zero: usize, label: &str) -> PlotSeries {
    let every = range.len().div_ceil(POINTS).max(1);
    let start = course.time_us[zero] as f64;
    let scans = range.step_by(every);
    let x = scans.clone().map(|k| (course.time_us[k] as f64 - start) * 1e-3).collect();
    PlotSeries { label: label.to_owned(), x, y: scans.map(|k| column[k]).collect() }
}

/// The fastest ramps: there the plate has most to do.
fn ramps(course: &Course) -> Option<Plot> {
    let fastest = lag::speeds(course).last()?.deg_s;
    let is_fast = |s: &Stimulus| matches!(s, Stimulus::Ramp { speed_deg_s, .. } if *speed_deg_s == fastest);
    let first = course.stretches.iter().position(|s| is_fast(&s.stimulus))?;
    let last = (first + 3).min(course.stretches.len() - 1);
    let range = course.stretches[first].range.start..course.stretches[last].range.end;
    let zero = range.start;
    let series =
        [("grip", &course.grip_deg), ("asked of the plate", &course.asked_deg), ("plate", &course.plate_deg)];
    Some(Plot {
        name: "follow_ramp",
        title: format!("Grip and plate at {fastest:.0} deg/s"),
        reading: "What the grip asks for by the mapping, and where the plate was: the plate's line lies behind by the lag.".to_owned(),
        x: axis("time", "ms"),
        y: axis("angle", "deg"),
        series: series.map(|(label, column)| line(course, column, range.clone(), zero, label)).to_vec(),
        marks: Vec::new(),
        bands: Vec::new(),
    })
}

/// The step with the median latency.
fn steps(course: &Course) -> Option<Plot> {
    let (mut all, _) = latency::steps(course);
    all.retain(|s| s.asked_deg.1 > s.asked_deg.0);
    all.sort_by(|a, b| a.ms.total_cmp(&b.ms));
    let step = all.get(all.len() / 2)?;
    let scans = |ms: f64| (ms * 1e3 / course.period_us) as usize;
    let end = (step.scan + scans(STEP_MS.1)).min(course.time_us.len());
    let range = step.scan.saturating_sub(scans(STEP_MS.0))..end;
    let series = [("asked of the plate", &course.asked_deg), ("plate", &course.plate_deg)];
    Some(Plot {
        name: "follow_step",
        title: "A step of the grip".to_owned(),
        reading: format!(
            "The step whose latency is the median: {:.1} ms from half-way to half-way.",
            step.ms
        ),
        x: axis("time after the step", "ms"),
        y: axis("plate", "deg"),
        series: series.map(|(label, column)| line(course, column, range.clone(), step.scan, label)).to_vec(),
        marks: Vec::new(),
        bands: Vec::new(),
    })
}

/// Mean deviation over the grip's travel, by speed and way.
fn deviation(course: &Course) -> Option<Plot> {
    let mut series = Vec::new();
    for speed in lag::speeds(course) {
        for (up, word) in [(true, "opening"), (false, "closing")] {
            let places = along(course, speed.deg_s, up);
            let label = format!("{:.0} deg/s, {word}", speed.deg_s);
            series.push(PlotSeries {
                label,
                x: places.iter().map(|p| p.0).collect(),
                y: places.iter().map(|p| p.1).collect(),
            });
        }
    }
    series.retain(|s| !s.x.is_empty());
    (!series.is_empty()).then(|| Plot {
        name: "follow_deviation",
        title: "Deviation of the plate along the grip's travel".to_owned(),
        reading: "Plate less what the grip asks for: it lags more the faster it must go; a place that stands out in every speed is a place to look at."
            .to_owned(),
        x: axis("grip", "deg"),
        y: axis("deviation of the plate", "deg"),
        series,
        marks: Vec::new(),
        bands: Vec::new(),
    })
}

/// Mean deviation at each place that a speed's ramps of one way passed.
fn along(course: &Course, speed: f64, up: bool) -> Vec<(f64, f64)> {
    let mut sums: std::collections::BTreeMap<i64, (f64, f64)> = std::collections::BTreeMap::new();
    for stretch in &course.stretches {
        let of_the_speed =
            matches!(stretch.stimulus, Stimulus::Ramp { speed_deg_s, .. } if speed_deg_s == speed);
        let (from, to) = (stretch.range.start, stretch.range.end - 1);
        if !of_the_speed || (course.grip_deg[to] > course.grip_deg[from]) != up {
            continue;
        }
        for k in stretch.range.clone() {
            let off = course.plate_deg[k] - course.asked_deg[k];
            if off.is_finite() && course.grip_deg[k].is_finite() {
                let place = sums.entry((course.grip_deg[k] / PLACE_DEG).floor() as i64).or_default();
                (place.0, place.1) = (place.0 + off, place.1 + 1.0);
            }
        }
    }
    sums.into_iter().map(|(k, (sum, n))| ((k as f64 + 0.5) * PLACE_DEG, sum / n)).collect()
}
