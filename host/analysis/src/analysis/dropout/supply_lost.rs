//! A supply at the plug that is lost for a moment: found and timed on its own volts, since it leaves the ratio of a line alone.
//!
//! It counts where both its edges are seen: a supply that was not yet up, or went off with the recording, is none. It counts only where
//! a line goes along: a supply column that jumps by itself is a fault of the logger. What the lines do meanwhile belongs to it: they fall
//! and rise through other filters than the supply, and their ratio to it says nothing then.

use super::detect::{self, Series};
use super::length::{self, Length};
use super::{Event, Wire, edge_scans};
use crate::analysis::prepared::Prepared;
use crate::analysis::statistics;
use crate::quantity::Channel;
use std::ops::Range;

/// A supply that falls by less than this share sags or ripples.
const LEAST_SHARE: f64 = 0.03;
/// It must leave its usual spread by so many robust standard deviations: a rippling supply is not lost at every crest.
const SPREADS: f64 = 8.0;
/// Share of the supply's fall that a line must go along with.
const ALONG: f64 = 0.3;
/// Time after it in which lines still come back, µs: a sensor starts again.
const AFTER_US: f64 = 2000.0;
/// Lines and supply of somebody else's log are read within this of each other, µs. Engineering assumption.
const APART_US: f64 = 500.0;
/// Windows in which the supply's usual motion is looked for.
const WINDOWS: usize = 500;
/// Share of a line's dip that the supply must move by to claim it …
const ALONG_WITH: f64 = 0.5;
/// … and how much more than it usually does.
const UNUSUAL: f64 = 1.5;
/// How sure it is.
const CONFIDENCE: f64 = 0.99;

/// Adds the losses and takes out what the lines showed of them.
pub(super) fn add(prepared: &Prepared<'_>, found: &mut Vec<Event>) {
    let Some(volts) = prepared.trace.channel(Channel::Supply) else { return };
    let mean = prepared.supply_volts;
    let share: Vec<f32> = volts.iter().map(|v| v / mean as f32).collect();
    let runs = super::finite_runs(&[&share], &prepared.segments);
    let every = (share.len() / 40_000).max(1);
    let mut usual: Vec<f64> =
        share.iter().step_by(every).map(|v| f64::from(*v)).filter(|v| v.is_finite()).collect();
    let spread = statistics::robust_sd(&mut usual).unwrap_or(0.0);
    let series = Series {
        values: &share,
        moves: false,
        floor: LEAST_SHARE.max(SPREADS * spread),
        motion: &[],
        edges: &[],
        edge_scans: edge_scans(prepared),
        rails: &[&share],
    };
    let lost = detect::search(&series, &runs, detect::noise(&share, &runs));
    let after = (AFTER_US / prepared.period_us.max(1.0)).ceil() as usize + 1;
    for e in lost {
        let whole = |r: &&Range<usize>| e.samples.start > r.start + 1 && e.samples.end + 1 < r.end;
        let inside = runs.iter().filter(|r| r.contains(&e.samples.start)).any(|r| whole(&r));
        if e.peak > 0.0 || !inside || !goes_along(prepared, &e.samples, e.peak / e.level.max(1e-3)) {
            continue;
        }
        let near = e.samples.start.saturating_sub(after)..e.samples.end + after;
        let at_deg = found.iter().find(|f| touches(&f.scans, &near)).and_then(|f| f.at_deg);
        found.retain(|f| !touches(&f.scans, &near));
        let start = e.samples.start;
        let own_deg = prepared.deg.get(start).map(|d| f64::from(*d)).filter(|d| d.is_finite());
        let length = of_supply(prepared, &e);
        found.push(Event {
            wire: Wire::Supply,
            scans: e.samples.clone(),
            at_us: prepared.trace.time_us[start],
            length_us: length.us,
            length_u_us: length.u_us,
            depth: e.peak,
            at_deg: own_deg.or(at_deg),
            stroke: prepared.strokes.iter().position(|s| s.range.contains(&start)),
            confidence: CONFIDENCE,
        });
    }
}

/// A line that dips while somebody else's supply column moves by half as much or more, and by more than it usually does in so short a time: its fall
/// and the line's are not read at one time, and nothing distinguishes them. Such an event is the supply's.
pub(super) fn claim(prepared: &Prepared<'_>, found: &mut [Event]) {
    let Some(volts) = prepared.trace.channel(Channel::Supply) else { return };
    if prepared.trace.provenance.rig.is_some() {
        return;
    }
    let reach = (APART_US / prepared.period_us.max(1.0)).ceil() as usize + 2;
    let moves = |from: usize, to: usize| {
        let seen = volts[from..to.min(volts.len())].iter().filter(|v| v.is_finite());
        let (low, high) =
            seen.fold((f32::INFINITY, f32::NEG_INFINITY), |(low, high), v| (low.min(*v), high.max(*v)));
        f64::from(high - low) / prepared.supply_volts
    };
    for e in found.iter_mut().filter(|e| e.wire != Wire::Supply) {
        let (from, to) = (e.scans.start.saturating_sub(reach), (e.scans.end + reach).min(volts.len()));
        let width = to.saturating_sub(from).max(1);
        let every = (volts.len() / WINDOWS).max(width);
        let mut usual: Vec<f64> = (0..volts.len().saturating_sub(width))
            .step_by(every)
            .map(|k| moves(k, k + width))
            .filter(|v| v.is_finite())
            .collect();
        let usual = statistics::quantile(&mut usual, 0.9).unwrap_or(0.0);
        let moved = moves(from, to);
        if moved > ALONG_WITH * e.depth.abs() && moved > UNUSUAL * usual {
            e.wire = Wire::Supply;
        }
    }
}

fn touches(a: &Range<usize>, b: &Range<usize>) -> bool {
    a.start < b.end && b.start < a.end
}

/// Whether a line's volts fall with the supply's, by a good part of its share.
fn goes_along(prepared: &Prepared<'_>, scans: &Range<usize>, share: f64) -> bool {
    let lines = Channel::SENSORS.map(|c| prepared.trace.channel(c));
    let end = scans.end + 2;
    lines.into_iter().flatten().any(|line| {
        let mean = |r: Range<usize>| {
            let seen = line.get(r.start.min(line.len())..r.end.min(line.len())).unwrap_or_default();
            crate::analysis::supply::finite_mean(seen)
        };
        let before = mean(scans.start.saturating_sub(12)..scans.start.saturating_sub(2));
        let least = (scans.start..end.min(line.len()))
            .map(|i| f64::from(line[i]))
            .filter(|v| v.is_finite())
            .fold(f64::INFINITY, f64::min);
        before.is_some_and(|level| {
            level > 0.02 * prepared.supply_volts && least - level < ALONG * share * level
        })
    })
}

/// By its own area and depth: where it had no time to settle it may have been lost by as much as it shows, or wholly.
fn of_supply(prepared: &Prepared<'_>, e: &detect::Excursion) -> Length {
    let period = prepared.period_us;
    if e.samples.len() >= 16 {
        let us = e.wide as f64 * period;
        return Length { us, u_us: length::of_one_line(us, period) };
    }
    let us = |depth: f64| e.area / depth.max(1e-9) * period;
    if length::is_flat(e) {
        let us = us(e.plateau);
        return Length { us, u_us: length::of_one_line(us, period) };
    }
    let (longest, shortest) = (us(e.peak.abs()), us(e.level.max(e.peak.abs())));
    let middle = 0.5 * (longest + shortest);
    let half = 0.5 * (longest - shortest);
    Length { us: middle, u_us: length::of_one_line(middle, period).hypot(half / 3.0f64.sqrt()) }
}
