//! Slow and partial losses get their wires: the two lines together name the line, the reference shows what both lost.
//!
//! A loss that the lines share alike, as motion would make it, is distinguished from the reference alone. There it may also be the reference or its
//! coupling that stood still while the part moved, so it leaves doubt however deep it is.

use super::slow::{self, Loss};
use super::{Event, Pair, Wire, detect, finite_runs, length, watched};
use crate::analysis::prepared::{AngleSource, Prepared};
use crate::sheet::PartSheet;
use std::ops::Range;

/// Least depth of a loss that one line shows against the other, ratio: half of the hundredth of supply that must not be missed.
const LEAST: f64 = 0.005;
/// Least depth against the reference, whose grain, lag and coupling show in the line: 0.8 % of supply.
const LEAST_BY_REFERENCE: f64 = 0.008;
/// A rig's reference is read in the same scan, behind filters of this, µs; of another logger's nothing is known.
const LAG_US: (f64, f64) = (1000.0, 8000.0);
/// Both lines are lost where the lesser of them loses this share of what the other does.
const BOTH: f64 = 0.25;
/// Events of at least so many scans, and less deep than this, may have edges too slow to name their line.
const SLOW_EDGES: usize = 8;
const SHALLOW: f64 = 0.2;
/// What lies this near to a loss that is known already is not looked at, µs.
const AROUND_US: f64 = 2000.0;
/// Deviations whose ratio is that of the lines' slopes within this are what motion makes.
const LIKE_MOTION: f64 = 0.35;
/// How sure a loss is that motion past a reference that stood still would show as well.
const LIKE_MOTION_SURE: f64 = 0.9;

/// Adds slow losses that no jump has shown already; `lines` by index.
pub(super) fn add(
    prepared: &Prepared<'_>,
    sheet: &PartSheet,
    lines: &[(usize, &[f32])],
    pair: Option<&Pair<'_>>,
    runs: &[Range<usize>],
    found: &mut Vec<Event>,
) {
    let runs = &without(runs, found, prepared.period_us);
    let referenced = prepared.angle_source == AngleSource::Reference;
    let against: Vec<Option<Against>> = lines
        .iter()
        .map(|(index, line)| referenced.then(|| Against::new(prepared, sheet, *index, line, runs)))
        .collect();
    match (pair, lines, against.as_slice()) {
        (Some(pair), _, [a, b]) => {
            let series = slow::Series {
                values: &pair.residual,
                sigma: pair.sigma,
                least: LEAST,
                slack: pair.steps,
                lag_us: LAG_US.0,
            };
            let by = a.as_ref().zip(b.as_ref());
            found.iter_mut().for_each(|e| pair.rename(e, by));
            for loss in slow::search(prepared, &series, runs) {
                let wire = pair.wire_of(&loss.scans, by);
                let depth = if wire == Wire::First { -loss.depth / pair.slope } else { loss.depth };
                push(prepared, found, &loss, wire, depth);
            }
            let (Some(a), Some(b)) = (a, b) else { return };
            for of in [a, b] {
                for mut loss in of.losses(prepared) {
                    let (x, y) = (a.mean(&loss.scans), b.mean(&loss.scans));
                    if x.abs().min(y.abs()) < BOTH * x.abs().max(y.abs()) {
                        continue;
                    }
                    let as_motion = x * b.slope / a.slope;
                    if (y - as_motion).abs() < LIKE_MOTION * y.abs().max(as_motion.abs()) {
                        loss.confidence = loss.confidence.min(LIKE_MOTION_SURE);
                    }
                    push(prepared, found, &loss, Wire::Common, x);
                }
            }
        }
        (None, [(index, _)], [Some(a)]) => {
            let wire = if *index == 0 { Wire::First } else { Wire::Second };
            for mut loss in a.losses(prepared) {
                loss.confidence = loss.confidence.min(LIKE_MOTION_SURE);
                let depth = loss.depth;
                push(prepared, found, &loss, wire, depth);
            }
        }
        _ => {}
    }
}

/// A line less what the angle makes of it.
struct Against {
    values: Vec<f32>,
    runs: Vec<Range<usize>>,
    slope: f64,
    steps: f64,
    sigma: f64,
}

impl Against {
    fn new(
        prepared: &Prepared<'_>,
        sheet: &PartSheet,
        index: usize,
        line: &[f32],
        runs: &[Range<usize>],
    ) -> Self {
        let slope = sheet.slope(index);
        let values = watched::detrended(prepared, sheet, index, line, &prepared.deg).unwrap_or_default();
        let runs = finite_runs(&[&values], runs);
        let steps = super::steps(prepared, index);
        let sigma = detect::noise(&values, &runs).max(steps / super::STEPS_IN_NOISE);
        Self { values, runs, slope, steps, sigma }
    }

    fn losses(&self, prepared: &Prepared<'_>) -> Vec<Loss> {
        let series = slow::Series {
            values: &self.values,
            sigma: self.sigma,
            least: LEAST_BY_REFERENCE,
            slack: 2.0 * self.slope.abs() * prepared.angle_noise_deg + self.steps,
            lag_us: if prepared.trace.provenance.rig.is_some() { LAG_US.0 } else { LAG_US.1 },
        };
        slow::search(prepared, &series, &self.runs)
    }

    /// Mean over scans less that over as many before and after them.
    fn mean(&self, scans: &Range<usize>) -> f64 {
        bump(&self.values, scans)
    }
}

/// Mean over scans less that of their surroundings on both sides, half as long each; what is not finite does not count.
fn bump(values: &[f32], scans: &Range<usize>) -> f64 {
    let beside = (scans.len() / 2).max(4);
    let mean = |r: Range<usize>| {
        let seen = values.get(r.start.min(values.len())..r.end.min(values.len())).unwrap_or_default();
        crate::analysis::supply::finite_mean(seen)
    };
    let lead = scans.len() / 2;
    let before = mean(scans.start.saturating_sub(beside + lead)..scans.start.saturating_sub(lead));
    let after = mean(scans.end + lead..scans.end + lead + beside);
    let around = match (before, after) {
        (Some(a), Some(b)) => 0.5 * (a + b),
        (a, b) => a.or(b).unwrap_or(f64::NAN),
    };
    mean(scans.clone()).map_or(0.0, |inside| inside - around)
}

impl Pair<'_> {
    /// The line that left its way: against the reference where there is one, else against a straight line across the loss.
    fn wire_of(&self, scans: &Range<usize>, by: Option<(&Against, &Against)>) -> Wire {
        let (a, b) = match by {
            Some((a, b)) => (a.mean(scans), b.mean(scans)),
            None => (bump(self.first, scans), bump(self.second, scans)),
        };
        let (a, b) = (self.slope * a, b);
        match a.abs().min(b.abs()) >= BOTH * a.abs().max(b.abs()) && by.is_some() {
            true => Wire::Common,
            false if a.abs() > b.abs() => Wire::First,
            false => Wire::Second,
        }
    }
}

impl Pair<'_> {
    /// Names the line of a shallow event that no jump has named: its edges are slow.
    fn rename(&self, e: &mut Event, by: Option<(&Against, &Against)>) {
        let of_one = matches!(e.wire, Wire::First | Wire::Second);
        if e.scans.len() < SLOW_EDGES || e.depth.abs() > SHALLOW || !of_one {
            return;
        }
        let wire = self.wire_of(&e.scans, by);
        let in_residual = if e.wire == Wire::First { -e.depth * self.slope } else { e.depth };
        match wire {
            Wire::First => e.depth = -in_residual / self.slope,
            Wire::Second => e.depth = in_residual,
            _ => return,
        }
        e.wire = wire;
    }
}

/// Runs without what is known to be lost already, and what its filter makes of it.
fn without(runs: &[Range<usize>], found: &[Event], period_us: f64) -> Vec<Range<usize>> {
    let around = (AROUND_US / period_us.max(1.0)).ceil() as usize;
    let mut sure: Vec<Range<usize>> = found
        .iter()
        .filter(|e| e.is_sure())
        .map(|e| e.scans.start.saturating_sub(around)..e.scans.end + around)
        .collect();
    sure.sort_by_key(|r| r.start);
    let mut out = Vec::new();
    for run in runs {
        let mut start = run.start;
        for s in sure.iter().filter(|s| s.start < run.end && s.end > run.start) {
            if s.start > start {
                out.push(start..s.start);
            }
            start = start.max(s.end);
        }
        if start < run.end {
            out.push(start..run.end);
        }
    }
    out
}

/// Adds a loss, unless a jump in it has been found already; what was not sure of jumps gives way to a surer loss.
fn push(prepared: &Prepared<'_>, found: &mut Vec<Event>, loss: &Loss, wire: Wire, depth: f64) {
    let touches = |e: &Event| e.scans.start < loss.scans.end && loss.scans.start < e.scans.end;
    if found.iter().any(|e| touches(e) && (e.is_sure() || e.confidence >= loss.confidence)) {
        return;
    }
    found.retain(|e| !touches(e));
    let start = loss.scans.start;
    let length_us = loss.scans.len() as f64 * prepared.period_us;
    let deg = |i: usize| prepared.deg.get(i).map(|d| f64::from(*d)).filter(|d| d.is_finite());
    found.push(Event {
        wire,
        scans: loss.scans.clone(),
        at_us: prepared.trace.time_us[start],
        length_us,
        // Beyond half of its depth: how long it is depends on its shape. A fifth of it and a block on each side.
        length_u_us: (0.2 * length_us).hypot(length::of_one_line(length_us, prepared.period_us).max(1000.0)),
        depth,
        at_deg: deg(start).or_else(|| loss.scans.clone().find_map(deg)),
        stroke: prepared.strokes.iter().position(|s| s.range.contains(&start)),
        confidence: loss.confidence,
    });
}
