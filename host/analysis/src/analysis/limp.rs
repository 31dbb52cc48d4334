//! Limp-home prediction: how often a plausibility monitor would have tripped on this recording. It judges nothing.
//!
//! The monitor samples every `period_ms` with a phase that nobody knows. Every stretch with bad samples is played to it at 64
//! phases; the mean over phases is the expected number of trips. For one stretch of length τ and N samples in a row that
//! is clip((τ − (N − 1)·T)/T, 0, 1). Two counters: one that a good sample clears, and one that it takes down by one.

use super::budget::{Budget, Source};
use super::prepared::Prepared;
use super::{Figure, NotTestable};
use crate::quantity::{Condition, FigureName};
use crate::sheet::{Monitor, PartSheet};

/// Phases of the monitor's sampling that are played.
const PHASES: usize = 64;

/// One stretch in which the monitor may see bad samples: bad scans closer together than its memory.
#[derive(Clone, Debug, PartialEq)]
pub struct Event {
    /// Its first bad scan, µs on the rig's clock.
    pub at_us: u64,
    /// From the first bad scan to the last, µs.
    pub length_us: f64,
    /// Angle at its start, degrees of travel, when there is one.
    pub at_deg: Option<f64>,
    /// Expected trips with a counter that a good sample clears.
    pub consecutive: f64,
    /// Expected trips with a counter that a good sample takes down by one.
    pub up_down: f64,
    /// Variance of the trips over phases, consecutive counter.
    variance: f64,
}

/// What the monitor would have done.
#[derive(Clone, Debug, PartialEq)]
pub struct Report {
    /// Expected trips over the recording, consecutive counter.
    pub figure: Option<Figure>,
    /// Expected trips with a counter that a good sample clears.
    pub by_consecutive: f64,
    /// Expected trips with a counter that a good sample takes down by one.
    pub by_up_down: f64,
    /// Stretches with bad samples, in order of time.
    pub events: Vec<Event>,
    /// What the monitor could not be played on.
    pub not_testable: Vec<NotTestable>,
}

/// A run of bad scans: from half a scan before its first to half a scan after its last, µs.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Bad {
    first: usize,
    from_us: f64,
    to_us: f64,
}

/// Plays the sheet's monitor on a trace.
pub fn predict(prepared: &Prepared<'_>, sheet: &PartSheet) -> Report {
    let monitor = &sheet.monitor;
    let lines = prepared.ratio.iter().flatten().count();
    let mut not_testable = Vec::new();
    if lines == 0
        || prepared.trace.is_empty()
        || !prepared.trace.provenance.time_known
        || monitor.period_ms.is_nan()
        || monitor.period_ms <= 0.0
    {
        not_testable.push(NotTestable {
            what: FigureName::LimpTrips.name().into(),
            why: "it needs times, at least one line, and a monitor with a sampling period in the sheet"
                .into(),
        });
        return Report {
            figure: None,
            by_consecutive: 0.0,
            by_up_down: 0.0,
            events: Vec::new(),
            not_testable,
        };
    }
    if lines == 1 {
        not_testable.push(NotTestable {
            what: "limp_trips from correlation".into(),
            why: "one line was recorded: only its rails were watched; record both lines".into(),
        });
    }
    let bad = bad_runs(prepared, sheet);
    let events: Vec<Event> =
        clusters(&bad, monitor).into_iter().map(|c| play(prepared, c, monitor)).collect();
    let by_consecutive = events.iter().map(|e| e.consecutive).sum();
    let by_up_down = events.iter().map(|e| e.up_down).sum();
    let variance: f64 = events.iter().map(|e| e.variance).sum();
    let worst = events.iter().max_by(|a, b| a.consecutive.total_cmp(&b.consecutive));
    let figure = Figure {
        name: FigureName::LimpTrips,
        channel: None,
        value: by_consecutive,
        budget: Budget::of(Source::Counts, variance.sqrt()),
        upper_bound: None,
        added: 0.0,
        at_deg: worst.and_then(|e| e.at_deg),
        condition: Condition::NONE,
        definition: format!(
            "expected trips of a monitor that samples every {} ms and trips after {} bad samples in a row (residual beyond {} % of \
             supply, or a line outside {} to {}), over an unknown phase; a counter that a good sample takes down by one \
             gives {by_up_down:.2}",
            monitor.period_ms, monitor.debounce, monitor.threshold_percent, monitor.rails.0, monitor.rails.1
        ),
    };
    Report { figure: Some(figure), by_consecutive, by_up_down, events, not_testable }
}

/// Runs of scans that the monitor would call bad; a gap ends a run.
fn bad_runs(prepared: &Prepared<'_>, sheet: &PartSheet) -> Vec<Bad> {
    let (m, k) = sheet.correlation_line();
    let (m, k) = (m as f32, k as f32);
    let threshold = (sheet.monitor.threshold_percent / 100.0) as f32;
    let rails = (sheet.monitor.rails.0 as f32, sheet.monitor.rails.1 as f32);
    let out_of_range = |r: f32| r < rails.0 || r > rails.1;
    let bad = |i: usize| match (&prepared.ratio[0], &prepared.ratio[1]) {
        (Some(a), Some(b)) => {
            (b[i] - m * a[i] - k).abs() > threshold || out_of_range(a[i]) || out_of_range(b[i])
        }
        (Some(a), None) | (None, Some(a)) => out_of_range(a[i]),
        (None, None) => false,
    };
    let half = 0.5 * prepared.period_us;
    let time = &prepared.trace.time_us;
    let mut out = Vec::new();
    for segment in &prepared.segments {
        let mut open: Option<usize> = None;
        for i in segment.start..=segment.end {
            let now = i < segment.end && bad(i);
            match (open, now) {
                (None, true) => open = Some(i),
                (Some(first), false) => {
                    out.push(Bad {
                        first,
                        from_us: time[first] as f64 - half,
                        to_us: time[i - 1] as f64 + half,
                    });
                    open = None;
                }
                _ => {}
            }
        }
    }
    out
}

/// Runs grouped so that the counters are back at zero between groups.
fn clusters<'b>(bad: &'b [Bad], monitor: &Monitor) -> Vec<&'b [Bad]> {
    let memory_us = (f64::from(monitor.debounce) + 1.0) * monitor.period_ms * 1e3;
    bad.chunk_by(|a, b| b.from_us - a.to_us <= memory_us).collect()
}

/// Plays one group at every phase.
fn play(prepared: &Prepared<'_>, group: &[Bad], monitor: &Monitor) -> Event {
    let period = monitor.period_ms * 1e3;
    let (mut consecutive, mut squares, mut up_down) = (0.0, 0.0, 0.0);
    for phase in 0..PHASES {
        let offset = (phase as f64 + 0.5) / PHASES as f64 * period;
        let (a, b) = trips(group, group[0].from_us + offset - period, period, monitor.debounce);
        consecutive += f64::from(a);
        squares += f64::from(a) * f64::from(a);
        up_down += f64::from(b);
    }
    let n = PHASES as f64;
    let mean = consecutive / n;
    let first = group[0].first;
    Event {
        at_us: prepared.trace.time_us[first],
        length_us: group[group.len() - 1].to_us - group[0].from_us,
        at_deg: at_deg(prepared, first),
        consecutive: mean,
        up_down: up_down / n,
        variance: (squares / n - mean * mean).max(0.0),
    }
}

/// Angle at a scan, or the last known before it: a line that is lost may take the angle with it.
fn at_deg(prepared: &Prepared<'_>, scan: usize) -> Option<f64> {
    let upto = prepared.deg.get(..=scan)?;
    upto.iter().rev().take(1000).map(|d| f64::from(*d)).find(|d| d.is_finite())
}

/// Trips of both counters for one phase: consecutive, up/down. Each trips once until it is back at zero.
fn trips(group: &[Bad], start_us: f64, period_us: f64, debounce: u32) -> (u32, u32) {
    let needed = debounce.max(1);
    let end = group[group.len() - 1].to_us + f64::from(needed + 1) * period_us;
    let (mut row, mut level) = (0u32, 0u32);
    let (mut row_tripped, mut level_tripped) = (false, false);
    let mut out = (0, 0);
    let mut next = 0;
    let mut k = 0u64;
    loop {
        let t = start_us + k as f64 * period_us;
        if t > end {
            return out;
        }
        while next < group.len() && group[next].to_us <= t {
            next += 1;
        }
        let bad = next < group.len() && t >= group[next].from_us;
        (row, level) = if bad { (row + 1, (level + 1).min(needed)) } else { (0, level.saturating_sub(1)) };
        row_tripped &= row > 0;
        level_tripped &= level > 0;
        if row >= needed && !row_tripped {
            row_tripped = true;
            out.0 += 1;
        }
        if level >= needed && !level_tripped {
            level_tripped = true;
            out.1 += 1;
        }
        k += 1;
    }
}

#[cfg(test)]
#[path = "limp_tests.rs"]
mod tests;
