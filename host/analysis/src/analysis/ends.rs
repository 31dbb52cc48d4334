//! Output at both stops at rest, and the span between them, as volts at a supply of 5 V: ratio × 5.
//!
//! Every rest between strokes counts as one visit; closed is reached from open and open from closed, so the first rest of a
//! recording is left out when there are others. What turned round without a rest is read where it turned (`turns`). Uncertainty: scatter between visits; gains of line and supply; offset and
//! resolution of the line (both cancel in the span, but for resolution).

use super::budget::{Budget, Source};
use super::curve::Curves;
use super::prepared::{AngleSource, Direction, Prepared};
use super::statistics;
use super::uncertainty::Calibration;
use super::{Figure, NotTestable, turns};
use crate::quantity::{Channel, Condition, FigureName, ProcedureKind};
use std::ops::Range;

/// Volts of the supply that ratios are given at.
const SUPPLY_V: f64 = 5.0;
/// A rest lies within this of the end of travel, degrees.
const NEAR_DEG: f64 = 0.4;
/// A drive that runs a part onto its stop may press it this much further for a moment than it then holds it there, degrees: what is still counts.
/// Engineering assumption.
const BLOW_DEG: f64 = 1.0;
/// A stroke that stays within this of where it ends has arrived, degrees: a plate that is pressed onto its stop gives way a little longer.
const ARRIVED_DEG: f64 = 0.03;
/// Fewer visits can't separate drift from scatter.
const LEAST_VISITS: usize = 4;
/// A drift is reported when its slope is beyond so many of its standard errors. Engineering assumption.
const BEYOND_CHANCE: f64 = 4.0;
/// A part at rest may creep while its return spring unwinds, degrees per second: what turns is faster by far. Engineering assumption.
const CREEPS_DEG_S: f64 = 0.5;
/// A part whose angle changes by less than this from the first to the last third of a rest stands, degrees. Engineering assumption.
const STANDS_DEG: f64 = 0.003;
/// A recording that ends further from the nominal stop than this share of the travel did not reach it.
const CLOSED_SHARE: f64 = 0.06;
/// Same at wide open, where parts differ more.
const OPEN_SHARE: f64 = 0.10;
/// Both where no drive pressed on the stop: a hand may turn back before it, and what is read there is no voltage at a stop. A closed stop is the
/// angle's zero; wide open parts differ by 2 or 3 degrees in 75 (common practice, no source).
const BY_HAND: (f64, f64) = (0.02, 0.04);

/// One stop of one line.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stop {
    /// Ratio of supply.
    pub ratio: f64,
    /// Its standard uncertainty from scatter.
    pub scatter: f64,
    /// Its standard uncertainty from a slow drift over the visits.
    pub drift: f64,
    /// Angle at rest, degrees.
    pub deg: f64,
    /// Visits; 0 when taken from the end of the curve.
    pub visits: u32,
    /// Whether the part stood still there: where it turned round in one go, the value is that of the turn.
    pub stood: bool,
}

/// Which stop.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum End {
    /// Closed.
    Closed,
    /// Wide open.
    Open,
}

/// An angle that comes this near to zero has come to the closed stop, degrees.
const AT_ZERO_DEG: f64 = 0.1;
/// Parts of one kind differ by less than this share of the travel: where a hand ended further from the nominal stop, it may have turned before it.
const PARTS_ALIKE: f64 = 0.01;

/// Whether a drive pressed the part onto its stops.
fn pressed(prepared: &Prepared<'_>) -> bool {
    let by_hand = [ProcedureKind::HandSweep, ProcedureKind::Import, ProcedureKind::Flex];
    !by_hand.contains(&prepared.trace.provenance.procedure)
}

/// How far before the stop a hand may have turned, degrees: 0 where a drive pressed, or where it came as far as parts of this kind go.
fn perhaps_short_deg(prepared: &Prepared<'_>, travel_deg: f64, end: End) -> f64 {
    let short = match (end, prepared.travel_deg) {
        (End::Closed, Some((low, _))) => low,
        (End::Open, Some((_, high))) => travel_deg - high,
        (_, None) => 0.0,
    };
    if pressed(prepared) || short < PARTS_ALIKE * travel_deg { 0.0 } else { short }
}

/// How far before the stop a part may have turned of whose dead band more would then be seen, degrees: a closed stop is the angle's zero.
pub fn short_of_stop_deg(prepared: &Prepared<'_>, travel_deg: f64, end: End) -> f64 {
    let low = prepared.travel_deg.map_or(0.0, |(low, _)| low.max(0.0));
    let at_zero = if end == End::Closed && !pressed(prepared) && low > AT_ZERO_DEG { low } else { 0.0 };
    perhaps_short_deg(prepared, travel_deg, end).max(at_zero)
}

/// Whether the recording reached a stop: by the angle, and where it was interrupted only where the part turned round there.
pub fn reached(prepared: &Prepared<'_>, travel_deg: f64, end: End) -> bool {
    let shown = !prepared.trace.was_interrupted() || prepared.turned_at(end);
    let (closed_share, open_share) = if pressed(prepared) { (CLOSED_SHARE, OPEN_SHARE) } else { BY_HAND };
    shown
        && prepared.travel_deg.is_some_and(|(low, high)| match end {
            End::Closed => low <= closed_share * travel_deg,
            End::Open => high >= (1.0 - open_share) * travel_deg,
        })
}

/// From the rest at the closed stop to that at the open one, degrees; without rests, what the curves cover.
pub fn travel_deg(prepared: &Prepared<'_>, curves: &Curves) -> f64 {
    let line = usize::from(curves.line[0].is_none());
    let rest = |end| stop(prepared, curves, line, end).filter(|s| s.visits > 0).map(|s| s.deg);
    match (rest(End::Closed), rest(End::Open)) {
        (Some(closed), Some(open)) => open - closed,
        _ => curves.deg[curves.len() - 1] - curves.deg[0],
    }
}

/// Output at a stop. None when there is neither a rest nor a curve.
pub fn stop(prepared: &Prepared<'_>, curves: &Curves, line: usize, end: End) -> Option<Stop> {
    let ratio = prepared.ratio[line].as_ref()?;
    let (low, high) = prepared.travel_deg?;
    let near = NEAR_DEG.max(4.0 * prepared.angle_noise_deg);
    let reach = if pressed(prepared) { near.max(BLOW_DEG) } else { near };
    let mut visits = Vec::new();
    let mut stood = 0;
    let mut inner = 0.0;
    let count = prepared.strokes.len();
    // Where the recording was interrupted, only rests count at which the part arrived and from which it left.
    let rests = if prepared.trace.was_interrupted() { 1..count } else { 0..count + 1 };
    for k in rests {
        let from = if k == 0 { 0 } else { arrival(prepared, &prepared.strokes[k - 1].range) };
        let to =
            if k == count { prepared.trace.len() } else { departure(prepared, &prepared.strokes[k].range) };
        // The stroke before shows which stop this is; the very first rest is known by the stroke after it.
        let arrived = match (k, prepared.strokes.get(k)) {
            (0, Some(next)) if next.direction == Direction::Up => End::Closed,
            (0, _) => End::Open,
            _ if prepared.strokes[k - 1].direction == Direction::Up => End::Open,
            _ => End::Closed,
        };
        if arrived != end || to <= from {
            continue;
        }
        let at_stop = |i: &usize| {
            let d = f64::from(prepared.deg[*i]);
            if end == End::Closed { d <= low + reach } else { d >= high - reach }
        };
        // A part creeps into its rest while the return spring unwinds what it has wound up: the first half is left to settle.
        let settled = from.midpoint(to);
        let (settled, to) = still(prepared, settled..to);
        let every = ((to - settled) / 2000).max(1);
        let mut values: Vec<f64> = (settled..to)
            .step_by(every)
            .filter(at_stop)
            .map(|i| f64::from(ratio[i]))
            .filter(|v| v.is_finite())
            .collect();
        if values.len() >= 5 {
            let n = values.len() as f64;
            if let Some((mean, sd)) = clipped_mean(&mut values) {
                let places: Vec<f64> =
                    (settled..to).step_by(every).map(|i| f64::from(prepared.deg[i])).collect();
                let seconds_between = every as f64 * prepared.period_us * 1e-6;
                stood += usize::from(stands(&places, prepared.angle_noise_deg, seconds_between));
                let seconds = prepared.trace.time_us[settled.midpoint(to)] as f64 * 1e-6;
                visits.push((k, mean, statistics::mean(&places).unwrap_or(0.0), seconds));
                inner = sd / n.sqrt();
            }
        }
    }
    // A part that rests short of where it rests elsewhere did not come to the stop.
    let places = visits.iter().map(|v| v.2);
    let furthest = match end {
        End::Closed => places.fold(f64::INFINITY, f64::min),
        End::Open => places.fold(f64::NEG_INFINITY, f64::max),
    };
    visits.retain(|v| (v.2 - furthest).abs() <= near);
    if visits.len() > 1 && visits[0].0 == 0 {
        visits.remove(0);
    }
    let values: Vec<f64> = visits.iter().map(|v| v.1).collect();
    match statistics::mean(&values) {
        Some(mean) => {
            let n = values.len() as f64;
            let times: Vec<f64> = visits.iter().map(|v| v.3).collect();
            let (left, drift) = drifted(&times, &values);
            let between = left.map_or(inner, |s| s.max(inner) / n.sqrt());
            let places: Vec<f64> = visits.iter().map(|v| v.2).collect();
            let deg = statistics::mean(&places).unwrap_or(0.0);
            let visits = values.len() as u32;
            // What turns without standing is read where it turned: a mean over the turn would lie inside of it.
            let turn =
                if 2 * stood >= values.len() { None } else { turns::turn(prepared, curves, line, end) };
            Some(match turn {
                Some(t) => Stop { ratio: t.ratio, scatter: t.error, drift, deg: t.deg, visits, stood: false },
                None => Stop { ratio: mean, scatter: between, drift, deg, visits, stood: true },
            })
        }
        None => turns::turn(prepared, curves, line, end).map(|t| Stop {
            ratio: t.ratio,
            scatter: t.error,
            drift: 0.0,
            deg: t.deg,
            visits: 0,
            stood: false,
        }),
    }
}

/// A rest without the scans at its ends that lie beyond the noise from its middle: the part had not come to it, or has left it.
fn still(prepared: &Prepared<'_>, rest: Range<usize>) -> (usize, usize) {
    let near = 4.0 * prepared.angle_scatter_deg + turns::LEAST_DEG;
    let every = (rest.len() / 2000).max(1);
    let mut places: Vec<f64> = rest.clone().step_by(every).map(|i| f64::from(prepared.deg[i])).collect();
    let Some(middle) = statistics::median(&mut places) else { return (rest.start, rest.end) };
    let moves = |i: &usize| (f64::from(prepared.deg[*i]) - middle).abs() > near;
    let start = rest.start + rest.clone().take_while(moves).count();
    (start.min(rest.end), rest.end - (start.min(rest.end)..rest.end).rev().take_while(moves).count())
}

/// What values that drift scatter by about their drift, and what the drift leaves open: the part is meant as it was at any time of the recording
/// (rectangular over what it drifted by). No drift is distinguished from fewer than four visits, or where it is not beyond chance.
fn drifted(times: &[f64], values: &[f64]) -> (Option<f64>, f64) {
    let plain = statistics::standard_deviation(values);
    let fit = (values.len() >= LEAST_VISITS).then(|| statistics::fit_line(times, values)).flatten();
    match fit {
        Some(fit) if fit.slope.abs() > BEYOND_CHANCE * fit.slope_error => {
            let over = times[times.len() - 1] - times[0];
            (Some(fit.residual_sd), fit.slope.abs() * over / 12.0f64.sqrt())
        }
        _ => (plain, 0.0),
    }
}

/// Whether the angles of a rest are those of one place: its first third lies where its last does, or creeps there.
fn stands(places: &[f64], noise_deg: f64, seconds_between: f64) -> bool {
    let third = places.len() / 3;
    let mean = |p: &[f64]| statistics::mean(p).unwrap_or(f64::NAN);
    let moved = mean(&places[places.len() - third..]) - mean(&places[..third]);
    let seconds = seconds_between * (places.len() - third) as f64;
    third > 0 && moved.abs() <= CREEPS_DEG_S * seconds + STANDS_DEG + 3.0 * noise_deg / (third as f64).sqrt()
}

/// How far a part that rests may be from where its stroke ends or begins, degrees.
fn resting(prepared: &Prepared<'_>) -> f64 {
    ARRIVED_DEG.max(4.0 * prepared.angle_noise_deg)
}

/// Where a stroke leaves the place that it begins at for good: noise, or a rebound from the stop, begins it earlier.
fn departure(prepared: &Prepared<'_>, stroke: &Range<usize>) -> usize {
    let near = resting(prepared);
    let begin = f64::from(prepared.deg[stroke.start]);
    let last = stroke.clone().rev().find(|i| (f64::from(prepared.deg[*i]) - begin).abs() <= near);
    last.map_or(stroke.start, |i| i + 1)
}

/// Where a stroke has come to where it ends: its rest begins there, not where noise took it furthest.
fn arrival(prepared: &Prepared<'_>, stroke: &Range<usize>) -> usize {
    let near = resting(prepared);
    let Some(end) = stroke.end.checked_sub(1).map(|i| f64::from(prepared.deg[i])) else { return stroke.end };
    let stays = stroke.clone().rev().take_while(|i| (f64::from(prepared.deg[*i]) - end).abs() <= near);
    stroke.end - stays.count()
}

/// Mean and sd without values beyond 6 robust sd, at least 0.2 % of supply.
fn clipped_mean(values: &mut [f64]) -> Option<(f64, f64)> {
    let median = statistics::median(values)?;
    let mut spread = values.to_vec();
    let cut = (6.0 * statistics::robust_sd(&mut spread)?).max(0.002);
    let kept: Vec<f64> = values.iter().copied().filter(|v| (v - median).abs() <= cut).collect();
    Some((statistics::mean(&kept)?, statistics::standard_deviation(&kept).unwrap_or(0.0)))
}

/// Closed and open volts and span of one line; what a recording that stops short can't give is named.
pub fn analyse(
    prepared: &Prepared<'_>,
    curves: &Curves,
    line: usize,
    travel_deg: f64,
    calibration: &Calibration,
) -> (Vec<Figure>, Vec<NotTestable>) {
    let mut missing = Vec::new();
    let mut stops = [None; 2];
    let (low, high) = prepared.travel_deg.unwrap_or_default();
    let ends = [(End::Closed, FigureName::ClosedVolts, low), (End::Open, FigureName::OpenVolts, high)];
    for (slot, (end, name, at)) in stops.iter_mut().zip(ends) {
        if !reached(prepared, travel_deg, end) {
            missing.push(NotTestable {
                what: format!("{} {}", name.name(), Channel::SENSORS[line]),
                why: format!(
                    "the recording ends at {at:.1} deg of {travel_deg:.0} deg: turn the grip to the stop and rest there"
                ),
            });
            continue;
        }
        // Rectangular: anywhere between there and the nominal stop.
        let slope = curves.line[line].as_ref().map_or(0.0, |c| c.slope.abs());
        let short = slope * perhaps_short_deg(prepared, travel_deg, end) / 3.0f64.sqrt();
        *slot = stop(prepared, curves, line, end).map(|s| (s, short));
    }
    if stops.iter().any(Option::is_none) {
        missing.push(NotTestable {
            what: format!("span {}", Channel::SENSORS[line]),
            why: "it needs both stops: sweep the whole travel".into(),
        });
    }
    (figures(line, stops, calibration, |s| definition(prepared, s)), missing)
}

/// Closed and open volts of a line, and the span where there are both. Each stop with the standard uncertainty of where it lies, ratio of supply;
/// `told` says how a stop was read.
pub fn figures(
    line: usize,
    stops: [Option<(Stop, f64)>; 2],
    calibration: &Calibration,
    told: impl Fn(&Stop) -> String,
) -> Vec<Figure> {
    let names = [FigureName::ClosedVolts, FigureName::OpenVolts];
    let one = |(name, stop): (FigureName, Option<(Stop, f64)>)| {
        let (s, place) = stop?;
        let budget = Budget::of(Source::Scatter, s.scatter)
            .with(Source::Drift, s.drift)
            .with(Source::Stop, place)
            .and(&calibration.ratio(line, s.ratio));
        Some(Figure { at_deg: Some(s.deg), ..volts(name, line, s.ratio, budget, told(&s)) })
    };
    let mut out: Vec<Figure> = names.into_iter().zip(stops).filter_map(one).collect();
    if let [Some((closed, closed_place)), Some((open, open_place))] = stops {
        let budget = Budget::of(Source::Scatter, closed.scatter.hypot(open.scatter))
            .with(Source::Drift, closed.drift.hypot(open.drift))
            .with(Source::Stop, closed_place.hypot(open_place))
            .and(&calibration.difference(line, (closed.ratio, open.ratio)));
        let text = "open minus closed at rest, magnitude".to_owned();
        out.push(volts(FigureName::Span, line, (open.ratio - closed.ratio).abs(), budget, text));
    }
    out
}

fn definition(prepared: &Prepared<'_>, stop: &Stop) -> String {
    let how = match stop.visits {
        0 => "end of the arriving stroke, no rest recorded,".to_owned(),
        n if !stop.stood => format!("where it turned round in {n} visits, no rest recorded,"),
        n => format!("mean at rest over {n} visits"),
    };
    let first_line = prepared.angle_source == AngleSource::FirstLine;
    let source = if first_line { ", stop taken from the first line" } else { "" };
    format!("{how} at the stop, ratio of supply x {SUPPLY_V} V{source}")
}

fn volts(name: FigureName, line: usize, ratio: f64, budget: Budget, definition: String) -> Figure {
    Figure {
        name,
        channel: Some(Channel::SENSORS[line]),
        value: SUPPLY_V * ratio,
        budget: budget.scaled(SUPPLY_V),
        upper_bound: None,
        added: 0.0,
        at_deg: None,
        condition: Condition::NONE,
        definition,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::synthetic::Synthetic;

    #[test]
    fn a_rebound_from_the_stop_takes_nothing_from_the_rest_after_it() {
        for seed in 1..=10 {
            let part = Synthetic { hold_s: 0.3, ..Synthetic::hall(seed) };
            let mut trace = part.trace();
            // Every arrival wide open springs back by 0.3 degrees for 10 ms, and comes to rest a little further on than it first came.
            let column = trace.columns.iter_mut().find(|c| c.channel == Channel::Reference).expect("logged");
            let deg = column.values.clone();
            let top = deg.iter().copied().fold(f32::NEG_INFINITY, f32::max) - 0.05;
            let mut since = usize::MAX;
            for (k, v) in column.values.iter_mut().enumerate() {
                since = if deg[k] < top - 1.0 {
                    usize::MAX
                } else if deg[k] >= top && since == usize::MAX {
                    k
                } else {
                    since
                };
                if since != usize::MAX && deg[k] >= top {
                    let after = (k - since) as f32 / 5.0;
                    *v +=
                        if after < 10.0 { -0.3 * (after / 10.0 * std::f32::consts::PI).sin() } else { 0.02 };
                }
            }
            let sheet = part.sheet();
            let prepared = Prepared::new(&trace, &sheet);
            let curves = Curves::new(&prepared, &sheet).expect("strokes");
            let stop = stop(&prepared, &curves, 0, End::Open).expect("recorded");
            assert_eq!(stop.visits, 3, "{seed}: {stop:?}");
        }
    }
}
