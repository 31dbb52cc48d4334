//! Flat spots: stretches of travel where a line stops following the grip. Not: dead bands at the stops.
//!
//! A matched bank beside a 1° local slope, measured by the sweep's own spread (see `bank`), on the average of all strokes
//! and on each direction alone; what is found is described by least squares (see `refine`). Noise falls with more
//! cycles; a track's own texture repeats and does not: it is the floor for potentiometers. Grain is as often steep as flat: where the
//! steepest place of the recording lies beyond what is usual, the score is measured by that (see `search`).
//!
//! A bend without edges and a grain that raises the curve first make a stretch of less slope too: where one of these fits better, it is
//! none (see `rivals`). What was found in the averages is then asked of every stroke that passed the place (see `strokes`): a defect of the track shows in
//! nearly all strokes of a direction, a hesitation of a hand in one. What the strokes do not confirm is not reported, and the
//! confidence holds both.
//!
//! Without a reference the angle is the first line's own, so the first line is straight by definition and nothing that both lines
//! share can be seen: only where the second departs from the first is looked for, in both senses, and which of them is at fault
//! stays open.
//!
//! False alarms of the whole search, both lines (simulated): 5 of 24 000 sweeps over twelve rates, speeds, numbers of strokes and
//! lengths of travel, below 0.044 % (95 %): `cargo run --release -p trackpair-tests --example flat_spot_threshold -- 24000`.
//! Found of 100 (`cargo run --release -p trackpair-host --example defect_study -- flat-spots 100`; one cycle, 5 kHz, 60 deg/s):
//!
//! | | loss | 0.3° | 0.5° | 0.7° | 1.0° |
//! |---|---|---|---|---|---|
//! | Hall, snap | 100 / 60 / 30 / 15 % | 100 / 100 / 97 / 5 | 100 / 100 / 100 / 94 | 100 / 100 / 100 / 100 | 100 / 100 / 100 / 100 |
//! | Hall, permanent | 100 / 60 / 30 % | 100 / 100 / 66 | 100 / 100 / 100 | 100 / 100 / 100 | 100 / 100 / 100 |
//! | pot, snap | 100 / 60 / 30 / 15 % | 100 / 99 / 10 / 0 | 100 / 100 / 96 / 10 | 100 / 100 / 100 / 46 | 100 / 100 / 100 / 89 |
//!
//! Nine places of ten are within 0.15°, within 0.2° at the edge of what is seen, widths within 0.45° (`tests`, 40 parts a case).

mod bank;
mod clean;
mod limit;
mod refine;
mod rivals;
mod strokes;
mod summary;

use super::curve::{Curves, LineCurve, window_mean};
use super::prepared::{AngleSource, Direction, Prepared};
use super::{DetectionLimit, Finding, PlotCurve, dropout, statistics};
use crate::quantity::Channel;
use crate::sheet::PartSheet;
use bank::{Filter, Shape};
use refine::Spot;
use strokes::{Repeats, Strokes};

/// Score (normal equivalent) that a flat spot must exceed in the average of both directions. Of simulated healthy sweeps 99 %
/// stay below 4.6 in every condition tried; one in 5000 is above this.
pub const THRESHOLD: f64 = 5.2;
/// The same in one direction alone.
pub const THRESHOLD_ONE_WAY: f64 = 5.5;
/// The detail that holds a spot's depth, % of the line's span.
pub const DEPTH_PERCENT: &str = "depth_percent_span";
/// The detail that holds the standard uncertainty (k = 1) of its depth, % of the line's span.
pub const DEPTH_UNCERTAINTY: &str = "depth_uncertainty_percent_span";
/// The detail that holds how deep the line's own grain can reach anywhere, % of the line's span: a spot no deeper may be grain.
pub const GRAIN_PERCENT: &str = "grain_reach_percent_span";
/// Standard deviations of its grain that a sound track reaches anywhere: rare grains of up to four (the physics study), where the rest of the
/// grain departs by three more. Engineering assumption; of 300 sound tracks of the second world the deepest spot was 5.9.
const GRAIN_REACH: f64 = 7.0;
/// Grain is what departs from the mean over this far to either side, degrees: slower is a bend.
const GRAIN_BESIDE_DEG: f64 = 2.0;
/// Score that the steepest place of 99 % of simulated healthy sweeps stays below: one beyond it says that grain reaches further here.
const USUAL_STEEPEST: f64 = 4.6;
/// Slope loss below which it is no flat spot.
const LEAST_LOSS: f64 = 0.08;
/// The same where the line stays behind: less is a bend of the line, which its linearity judges.
const LEAST_LASTING_LOSS: f64 = 0.2;
/// Travel left out at each stop, degrees: acceleration, play, hinge of a dead band.
const EDGE_DEG: f64 = 1.5;
/// Most flat spots reported of one line.
const MOST: usize = 8;
/// Degree of the polynomial that the slow bend of the whole line is removed with.
const BEND_DEGREE: usize = 7;

/// What the search found and what it would have missed.
#[derive(Clone, Debug, PartialEq)]
pub struct Report {
    /// One per flat spot, strongest first.
    pub findings: Vec<Finding>,
    /// The smallest flat spot that would have been seen.
    pub limit: DetectionLimit,
    /// Largest normal equivalent anywhere in the average: what the false-alarm study is made of.
    pub strongest: Option<f64>,
}

/// A spot with the evidence for it.
struct Hit {
    spot: Spot,
    z: f64,
    one_way: Option<&'static str>,
    repeats: Repeats,
    /// How deep the grain of the curve that it was found in can reach, degrees.
    grain_deg: f64,
}

/// Searches line `line` (0 = first, 1 = second) of a sweep. `noise` is the line's noise along the travel,
/// jumps included (see [`super::noise_map`]), so that a noisy stretch is not taken for a flat spot.
pub fn find(
    prepared: &Prepared<'_>,
    curves: &Curves,
    line: usize,
    noise: Option<&PlotCurve>,
    dropouts: &dropout::Report,
    sheet: &PartSheet,
) -> Report {
    let Some(curve) = curves.line[line].as_ref().filter(|c| moves(c, sheet, line)) else {
        return Report {
            findings: Vec::new(),
            limit: limit::untested(line, "the line does not move"),
            strongest: None,
        };
    };
    if line == 0 && prepared.angle_source == AngleSource::FirstLine {
        let why =
            "the angle was not recorded, and against itself a line is always straight; see the other line";
        return Report { findings: Vec::new(), limit: limit::untested(line, why), strongest: None };
    }
    let filters = bank::bank(curves.step_deg);
    let own = Channel::SENSORS[line];
    let events: Vec<&dropout::Event> = dropouts
        .events
        .iter()
        .filter(|e| e.wire.channel().is_none_or(|c| c == own) && e.leaves_the_curve())
        .collect();
    let averages = clean::averages(prepared, curves, curve, line, &events);
    let range = tested(curves, curve);
    let mut hits: Vec<Hit> = Vec::new();
    let own_angle = prepared.angle_source == AngleSource::FirstLine;
    let excess = |direction| excess_noise(curves, curve, noise, direction);
    let half = 0.5 * curve.hysteresis_deg.unwrap_or(0.0);
    let mut average = Searched::default();
    for sign in if own_angle { &[1.0, -1.0][..] } else { &[1.0] } {
        let mut signed = Vec::new();
        for (values, direction, name, shift) in [
            (&averages.mean, None, None, 0.0),
            (&averages.up, Some(Direction::Up), Some("up"), half),
            (&averages.down, Some(Direction::Down), Some("down"), -half),
        ] {
            // Sign −1: a gain of slope, which is looked for only where the angle is the other line's.
            let y: Vec<f64> =
                deviation(curves, values, curve.slope, range).iter().map(|v| sign * v).collect();
            let before = signed.len();
            let threshold = if direction.is_none() { THRESHOLD } else { THRESHOLD_ONE_WAY };
            let look =
                Look { curves, filters: &filters, excess: excess(direction), threshold, one_way: name };
            let searched = search(&look, y, &mut signed);
            if direction.is_none() && average.scale.is_empty() {
                average = searched;
            }
            // Places in one direction are shifted by half of the hysteresis against the average.
            signed[before..].iter_mut().for_each(|h: &mut Hit| h.spot.start_deg -= shift);
            drop_known(&mut signed, before);
        }
        let known: Vec<Spot> = signed.iter().map(|h| h.spot).collect();
        if !known.is_empty() {
            let strokes = Strokes::new(curves, line, curve, *sign);
            signed.iter_mut().for_each(|h| h.repeats = strokes.repeats(curves, &h.spot, &known, range));
            signed.retain(|h| h.repeats.likelier);
        }
        hits.extend(signed);
    }
    hits.sort_by(|a, b| b.z.total_cmp(&a.z));
    let other = curves.line[1 - line].as_ref().filter(|_| !own_angle);
    let on_rig = prepared.trace.provenance.rig.is_some();
    let findings = hits.iter().map(|h| summary::finding(line, curve, other, h, (curves, own_angle, on_rig)));
    let limit = limit::limit(line, (curves, curve), &filters, range, &average, own_angle);
    Report { findings: findings.collect(), limit, strongest: average.strongest }
}

/// Whether the line follows the grip at all.
fn moves(curve: &LineCurve, sheet: &PartSheet, line: usize) -> bool {
    let nominal = sheet.line(line);
    curve.slope != 0.0 && curve.span > 0.1 * (nominal.open - nominal.closed).abs()
}

/// Bins between the stops, without dead bands and edges: (first, one past the last).
fn tested(curves: &Curves, curve: &LineCurve) -> (usize, usize) {
    let n = curves.len();
    let (one, edge) = (curves.bins_in(1.0), curves.bins_in(EDGE_DEG));
    let stands = |k: usize| {
        let rise = (curve.mean[k + one] - curve.mean[k]) / (one as f64 * curves.step_deg);
        !rise.is_finite() || rise / curve.slope < 0.4
    };
    // From each stop inwards as long as the line stands still, a third of the travel at most.
    let last = n.saturating_sub(one + 1);
    let low = (0..last.min(n / 3)).take_while(|k| stands(*k)).count();
    let high = (0..last.min(n / 3)).take_while(|k| stands(last - k)).count();
    let low = low + if low > 0 { one + edge } else { edge };
    let high = high + if high > 0 { one + edge } else { edge };
    (low.min(n), n.saturating_sub(high))
}

/// Deviation from a smooth line in degrees of travel, lost travel negative; NaN outside the range.
fn deviation(curves: &Curves, values: &[f64], slope: f64, range: (usize, usize)) -> Vec<f64> {
    let mut out = vec![f64::NAN; values.len()];
    let kept: Vec<usize> = (range.0..range.1).filter(|k| values[*k].is_finite()).collect();
    if kept.len() < 30 {
        return out;
    }
    let middle = curves.deg[kept[kept.len() / 2]];
    let x: Vec<f64> = kept.iter().map(|k| curves.deg[*k] - middle).collect();
    let mut y: Vec<f64> = kept.iter().map(|k| values[*k] / slope).collect();
    bank::Nuisance::new(&x, BEND_DEGREE).remove(&mut y);
    for (k, v) in kept.into_iter().zip(y) {
        out[k] = v;
    }
    out
}

/// The spread of every filter, for the limit.
type Scale = Vec<(f64, Option<Shape>, f64, f64)>;

/// What a search saw beside its hits.
#[derive(Default)]
struct Searched {
    /// Largest normal equivalent.
    strongest: Option<f64>,
    scale: Scale,
    /// How deep the grain can reach, degrees.
    grain_deg: f64,
}

/// How a curve is looked at.
struct Look<'a> {
    curves: &'a Curves,
    filters: &'a [Filter],
    /// Variance of white noise per bin above the usual, degrees².
    excess: Option<Vec<f64>>,
    threshold: f64,
    one_way: Option<&'static str>,
}

/// Finds spots one after the other, each taken out before the next is looked for. What is left then shows how far the grain of this
/// line reaches in the other sense: where that is further than usual, scores are brought down by as much.
fn search(look: &Look<'_>, mut y: Vec<f64>, hits: &mut Vec<Hit>) -> Searched {
    let curves = look.curves;
    let mut strongest = None;
    let mut scale = Vec::new();
    let mut masked: Vec<(f64, f64)> = Vec::new();
    let before = hits.len();
    let mut steepest = 0.0;
    for round in 0..MOST {
        let looked = Looked::new(look, &y, &masked);
        if round == 0 {
            scale.clone_from(&looked.scale);
            strongest = looked.best.map(|b| b.0);
        }
        steepest = looked.steepest;
        let Some((z, at, width)) = looked.best.filter(|b| b.0 > look.threshold) else { break };
        let centre = curves.deg[at];
        let (deg, step) = (&curves.deg, curves.step_deg);
        let Some(mut spot) = refine::refine(deg, &y, step, centre, width, round > 0) else { break };
        if spot.loss < LEAST_LOSS {
            spot = refine::refine_near(deg, &y, step, centre, width).unwrap_or(spot);
        }
        let spot = widened(curves, &y, spot);
        let least = if spot.shape == Shape::Permanent { LEAST_LASTING_LOSS } else { LEAST_LOSS };
        let is_spot = spot.loss >= least && !rivals::explain(deg, &y, &spot);
        masked.push((spot.start_deg - 0.5, spot.end_deg().max(centre) + 0.5));
        for (v, d) in y.iter_mut().zip(&curves.deg) {
            *v += spot.lost_at(*d);
        }
        if is_spot {
            hits.push(Hit { spot, z, one_way: look.one_way, repeats: Repeats::default(), grain_deg: 0.0 });
        }
    }
    let grain_deg = GRAIN_REACH * grain(&y, curves.bins_in(GRAIN_BESIDE_DEG));
    hits[before..].iter_mut().for_each(|h| h.grain_deg = grain_deg);
    let factor = (USUAL_STEEPEST / f64::max(steepest, USUAL_STEEPEST)).min(1.0);
    hits[before..].iter_mut().for_each(|h| h.z *= factor);
    let found = hits.split_off(before);
    hits.extend(found.into_iter().filter(|h| h.z > look.threshold));
    Searched { strongest, scale, grain_deg }
}

/// How far a curve departs from its own mean over `beside` bins to either side, one standard deviation.
fn grain(y: &[f64], beside: usize) -> f64 {
    let smooth = window_mean(y, beside);
    let (n, sum) = y
        .iter()
        .zip(&smooth)
        .map(|(v, mean)| (v - mean).powi(2))
        .filter(|v| v.is_finite())
        .fold((0u32, 0.0), |(n, sum), v| (n + 1, sum + v));
    (sum / f64::from(n.max(1))).sqrt()
}

/// A permanent loss wider than the bank: its ends are where the local slope is half lost.
fn widened(curves: &Curves, y: &[f64], spot: Spot) -> Spot {
    if spot.shape != Shape::Permanent || spot.width_deg < 2.6 {
        return spot;
    }
    let half = curves.bins_in(0.5);
    let lost = |k: usize| {
        k >= half
            && k + half < y.len()
            && -(y[k + half] - y[k - half]) / (2.0 * half as f64 * curves.step_deg) > 0.5 * spot.loss
    };
    let Some(middle) = curves.deg.iter().position(|d| *d >= spot.start_deg + 0.5 * spot.width_deg) else {
        return spot;
    };
    let mut low = middle;
    while low > 0 && lost(low - 1) {
        low -= 1;
    }
    let mut high = middle;
    while high + 1 < y.len() && lost(high + 1) {
        high += 1;
    }
    let width_deg = (curves.deg[high] - curves.deg[low]).max(spot.width_deg);
    if width_deg > spot.width_deg { Spot { start_deg: curves.deg[low], width_deg, ..spot } } else { spot }
}

/// One look with every filter.
struct Looked {
    /// Normal equivalent, bin, width of the filter.
    best: Option<(f64, usize, f64)>,
    /// Largest normal equivalent of a gain of slope, away from the spots found.
    steepest: f64,
    scale: Scale,
}

impl Looked {
    fn new(look: &Look<'_>, y: &[f64], masked: &[(f64, f64)]) -> Self {
        let deg = &look.curves.deg;
        let mut best: Option<(f64, usize, f64)> = None;
        let mut steepest = 0.0f64;
        let mut scale = Vec::with_capacity(look.filters.len());
        let travel = y.iter().filter(|v| v.is_finite()).count() as f64 * look.curves.step_deg;
        for filter in look.filters {
            let outputs = filter.run(y);
            let Some((centre, sd)) = bank::spread(&outputs) else { continue };
            let freedom = filter.freedom(travel);
            scale.push((filter.width_deg, filter.shape, sd, freedom));
            for (k, output) in outputs.iter().enumerate().filter(|(_, o)| o.is_finite()) {
                let excess = look.excess.as_ref().map_or(0.0, |e| filter.variance(e, k));
                let own_sd = (sd * sd + excess).sqrt();
                if own_sd <= 0.0 || masked.iter().any(|(a, b)| (*a..=*b).contains(&deg[k])) {
                    continue;
                }
                let z = bank::normal_equivalent((output - centre) / own_sd, freedom);
                if best.is_none_or(|b| z > b.0) {
                    best = Some((z, k, filter.width_deg));
                }
                let reach = 0.5 * filter.taps.len() as f64 * look.curves.step_deg;
                if !masked.iter().any(|(a, b)| (a - reach..=b + reach).contains(&deg[k])) {
                    steepest = steepest.max(-z);
                }
            }
        }
        Self { best, steepest, scale }
    }
}

/// Variance of white noise of each bin above that of the sweep, degrees²; none where no stretch is noisier than the rest.
fn excess_noise(
    curves: &Curves,
    curve: &LineCurve,
    noise: Option<&PlotCurve>,
    direction: Option<Direction>,
) -> Option<Vec<f64>> {
    let noise = noise?;
    let mut all: Vec<f64> = noise.y.iter().copied().filter(|v| v.is_finite()).collect();
    let usual = statistics::median(&mut all)?;
    // Windows of a healthy sweep scatter by a tenth or two: only what lies well above counts.
    if !noise.y.iter().any(|v| *v > 1.3 * usual) {
        return None;
    }
    let width = noise.deg.get(1)? - noise.deg[0];
    // The noise of a stretch belongs to a bin on either side too: its edges are known to a window only.
    let at = |deg: f64| {
        let k = ((deg - noise.deg[0]) / width).round() as i64;
        (k - 1..=k + 1)
            .filter_map(|k| usize::try_from(k).ok().and_then(|k| noise.y.get(k)))
            .copied()
            .filter(|v| v.is_finite())
            .fold(usual, f64::max)
    };
    let out = (0..curves.len()).map(|k| {
        let samples: u32 = curves
            .strokes
            .iter()
            .filter(|s| direction.is_none_or(|d| d == s.direction))
            .map(|s| s.counts[k])
            .sum();
        let local = at(curves.deg[k]);
        let volts2 = if local > 1.3 * usual { local * local - usual * usual } else { 0.0 };
        volts2 / (5000.0 * curve.slope).powi(2) / f64::from(samples.max(1))
    });
    Some(out.collect())
}

/// Drops hits from `from` on that lie where an earlier one lies.
fn drop_known(hits: &mut Vec<Hit>, from: usize) {
    let mut k = from;
    while k < hits.len() {
        let (start, end) = (hits[k].spot.start_deg - 0.6, hits[k].spot.end_deg() + 0.6);
        if hits[..k].iter().any(|h| h.spot.start_deg < end && h.spot.end_deg() > start) {
            hits.remove(k);
        } else {
            k += 1;
        }
    }
}

#[cfg(test)]
mod tests;
