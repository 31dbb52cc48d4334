//! A trace as angle, ratios of supply, and strokes: what every figure starts from. It computes no figure.
//!
//! Strokes are found with a turning-point filter: a turn counts when the angle has gone back by more than a threshold that
//! lies above its noise, so pauses and small wiggles do not end a stroke. No stroke reaches over a gap.
//!
//! Ratios are those at the part's plug: where the rig senses the supply return there, what the loom's return wire drops is
//! taken off the lines, and the same again off the supply, because both wires are alike and carry the same current. Each also
//! passes a mated contact beyond the place where the return is sensed: its usual drop goes the same way.

use super::statistics;
use super::supply::Supply;
use crate::quantity::{Channel, ProcedureKind};
use crate::sheet::PartSheet;
use crate::trace::Trace;
use std::borrow::Cow;
use std::ops::Range;

/// A turn smaller than this many degrees never ends a stroke.
const SMALLEST_TURN_DEG: f64 = 1.0;
/// Rests are cut off a stroke's ends to within this many degrees.
const SMALLEST_REST_DEG: f64 = 0.03;

/// Which way a stroke goes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Direction {
    /// Towards wide open.
    Up,
    /// Towards closed.
    Down,
}

/// A stretch of samples that moves one way without a stop.
#[derive(Clone, Debug, PartialEq)]
pub struct Stroke {
    /// Sample indices.
    pub range: Range<usize>,
    /// Which way.
    pub direction: Direction,
    /// Angle at its start, degrees.
    pub from_deg: f64,
    /// Angle at its end, degrees.
    pub to_deg: f64,
}

/// Where the angle comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum AngleSource {
    /// The rig's reference, or an imported column.
    Reference,
    /// No reference: the angle that the first line's nominal curve gives; linearity can't be had, channel against channel can.
    FirstLine,
    /// Neither: no angle at all.
    None,
}

/// Where the supply that ratios are formed with comes from.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum SupplySource {
    /// Measured in the same scans.
    Measured,
    /// Not recorded; the user stated it, volts.
    Stated(f64),
    /// Not recorded and not stated; the sheet's nominal supply, volts.
    Nominal(f64),
}

/// A trace made ready. Ratios are line volts over the part's return, divided by the part's supply of the same scan (what of it is the
/// supply's own noise left out: `supply`; the return is smoothed over 5 ms).
#[derive(Clone, Debug)]
pub struct Prepared<'a> {
    /// The trace.
    pub trace: &'a Trace,
    /// Angle of travel in degrees, one per scan; empty when the source is none. NaN where the trace has none.
    pub deg: Cow<'a, [f32]>,
    /// Where it comes from.
    pub angle_source: AngleSource,
    /// First and second line as ratios of supply; none where the line was not recorded.
    pub ratio: [Option<Vec<f32>>; 2],
    /// Where the supply comes from.
    pub supply_source: SupplySource,
    /// Mean supply at the part's plug, volts, > 0.
    pub supply_volts: f64,
    /// Time by which the lines follow the supply later than its own column, µs; 0 where nothing shows it.
    pub supply_late_us: f64,
    /// Time from one fresh value of the supply to the next, µs; none where every scan has its own.
    pub supply_held_us: Option<f64>,
    /// What of the supply's own noise is in each line's ratio, one standard deviation.
    pub supply_noise: [f64; 2],
    /// Mean drop of the loom's return wire and contact, volts, taken off lines and supply; none where the return was not sensed.
    pub loom_volts: Option<f64>,
    /// Median time between scans, µs.
    pub period_us: f64,
    /// Strokes in order of time.
    pub strokes: Vec<Stroke>,
    /// Stretches of scans without a gap, in order of time.
    pub segments: Vec<Range<usize>>,
    /// Lowest and highest angle that the strokes reach, degrees; none without strokes.
    pub travel_deg: Option<(f64, f64)>,
    /// Whether an imported angle column was turned round, because the lines move against it.
    pub angle_turned: bool,
    /// Noise and resolution of the angle, degrees: within this it counts as at rest.
    pub angle_noise_deg: f64,
    /// Noise of the angle alone, one standard deviation, degrees.
    pub angle_scatter_deg: f64,
    /// Median speed of the strokes, degrees per second; 0 without strokes.
    pub speed_deg_s: f64,
    /// What the reader should know, as sentences.
    pub warnings: Vec<String>,
}

impl<'a> Prepared<'a> {
    /// Makes a trace ready. Never fails: what is missing is none or empty.
    pub fn new(trace: &'a Trace, sheet: &PartSheet) -> Self {
        let mut warnings = Vec::new();
        let period_us = median_period(trace);
        let segments = segments(trace);
        let mut supply = Supply::of(trace, sheet, &segments, period_us, &mut warnings);
        let ratio = [0, 1]
            .map(|line| trace.channel(Channel::SENSORS[line]).map(|volts| supply.take_ratio_of(line, volts)));
        let mut angle_turned = false;
        let (deg, angle_source) = angle(trace, sheet, &ratio, &mut warnings, &mut angle_turned);
        let angle_scatter_deg = angle_scatter(&deg);
        let angle_noise_deg = angle_scatter_deg.max(statistics::quantum(&deg));
        let mut prepared = Self {
            trace,
            deg,
            angle_source,
            ratio,
            supply_source: supply.source,
            supply_volts: supply.mean,
            supply_late_us: supply.late_us,
            supply_held_us: supply.held_us,
            supply_noise: supply.cost.map(|volts| volts / supply.mean),
            loom_volts: supply.loom,
            period_us,
            strokes: Vec::new(),
            segments,
            travel_deg: None,
            angle_turned,
            angle_noise_deg,
            angle_scatter_deg,
            speed_deg_s: 0.0,
            warnings,
        };
        if angle_source != AngleSource::None {
            prepared.strokes = find_strokes(&prepared.deg, &prepared.segments, angle_noise_deg);
        }
        prepared.travel_deg = prepared.strokes.iter().fold(None, |seen: Option<(f64, f64)>, s| {
            let (low, high) = (s.from_deg.min(s.to_deg), s.from_deg.max(s.to_deg));
            Some(seen.map_or((low, high), |(a, b)| (a.min(low), b.max(high))))
        });
        let mut speeds: Vec<f64> = prepared.strokes.iter().filter_map(|s| prepared.stroke_speed(s)).collect();
        prepared.speed_deg_s = statistics::median(&mut speeds).unwrap_or(0.0);
        prepared
    }

    /// Mean speed of a stroke, degrees per second; none when it has one scan.
    pub fn stroke_speed(&self, stroke: &Stroke) -> Option<f64> {
        let last = stroke.range.end.checked_sub(1)?;
        let seconds = (self.trace.time_us[last] - self.trace.time_us[stroke.range.start]) as f64 * 1e-6;
        (seconds > 0.0).then(|| (stroke.to_deg - stroke.from_deg).abs() / seconds)
    }

    /// Full cycles: the lesser of upward and downward strokes over at least 90 % of the travel seen.
    pub fn cycles(&self) -> u32 {
        let Some((low, high)) = self.travel_deg else { return 0 };
        let full = |d: Direction| {
            self.strokes
                .iter()
                .filter(|s| s.direction == d && (s.to_deg - s.from_deg).abs() >= 0.9 * (high - low))
                .count()
        };
        full(Direction::Up).min(full(Direction::Down)) as u32
    }

    /// Time of observation without gaps, seconds.
    pub fn observed_seconds(&self) -> f64 {
        self.segments
            .iter()
            .map(|s| (self.trace.time_us[s.end - 1] - self.trace.time_us[s.start]) as f64 * 1e-6)
            .sum()
    }
}

/// Median time between scans of up to 20 000 places, µs; 0 for a trace of one scan.
fn median_period(trace: &Trace) -> f64 {
    let every = (trace.len() / 20_000).max(1);
    let mut steps: Vec<f64> =
        trace.time_us.windows(2).step_by(every).map(|w| w[1].saturating_sub(w[0]) as f64).collect();
    statistics::median(&mut steps).unwrap_or(0.0)
}

/// Stretches between gaps.
fn segments(trace: &Trace) -> Vec<Range<usize>> {
    let mut cuts: Vec<usize> = trace.gaps.iter().map(|g| g.index.min(trace.len())).collect();
    cuts.push(trace.len());
    let mut start = 0;
    let mut out = Vec::with_capacity(cuts.len());
    for cut in cuts {
        if cut > start {
            out.push(start..cut);
        }
        start = start.max(cut);
    }
    out
}

/// The angle column and where it comes from.
fn angle<'a>(
    trace: &'a Trace,
    sheet: &PartSheet,
    ratio: &[Option<Vec<f32>>; 2],
    warnings: &mut Vec<String>,
    turned: &mut bool,
) -> (Cow<'a, [f32]>, AngleSource) {
    let foreign = trace.provenance.procedure == ProcedureKind::Import || trace.provenance.rig.is_none();
    if let Some(reference) = trace.channel(Channel::Reference).filter(|r| r.iter().any(|v| v.is_finite())) {
        let zero = trace.provenance.reference_zero_deg as f32;
        if foreign && zero == 0.0 {
            return (foreign_angle(reference, sheet, ratio, warnings, turned), AngleSource::Reference);
        }
        let deg =
            if zero == 0.0 { Cow::Borrowed(reference) } else { reference.iter().map(|r| r - zero).collect() };
        return (deg, AngleSource::Reference);
    }
    match &ratio[0] {
        Some(first) if first.iter().any(|v| v.is_finite()) => {
            let scale = sheet.travel_deg / (sheet.rising.open - sheet.rising.closed);
            (first_line_angle(first, sheet, scale as f32), AngleSource::FirstLine)
        }
        _ => (Cow::Borrowed(&[]), AngleSource::None),
    }
}

/// Angle from the first line's nominal curve: median of 5 scans, nothing where the line is at a rail.
fn first_line_angle<'a>(first: &[f32], sheet: &PartSheet, scale: f32) -> Cow<'a, [f32]> {
    let closed = sheet.rising.closed as f32;
    let rails = (sheet.monitor.rails.0 as f32, sheet.monitor.rails.1 as f32);
    (0..first.len())
        .map(|i| {
            if !(first[i] > rails.0 && first[i] < rails.1) {
                return f32::NAN;
            }
            let mut near = [f32::NAN; 5];
            let window = &first[i.saturating_sub(2)..(i + 3).min(first.len())];
            near[..window.len()].copy_from_slice(window);
            near[..window.len()].sort_by(f32::total_cmp);
            (near[window.len() / 2] - closed) * scale
        })
        .collect()
}

/// An imported angle column as travel: counted from closed and rising towards open.
fn foreign_angle<'a>(
    reference: &'a [f32],
    sheet: &PartSheet,
    ratio: &[Option<Vec<f32>>; 2],
    warnings: &mut Vec<String>,
    turned: &mut bool,
) -> Cow<'a, [f32]> {
    let every = (reference.len() / 4000).max(1);
    let mut thinned: Vec<f64> =
        reference.iter().step_by(every).filter(|v| v.is_finite()).map(|v| f64::from(*v)).collect();
    let (Some(low), Some(high)) =
        (statistics::quantile(&mut thinned, 0.0), statistics::quantile(&mut thinned, 1.0))
    else {
        return Cow::Borrowed(reference);
    };
    let slopes = [&sheet.rising, &sheet.falling].map(|l| l.open - l.closed);
    let against = ratio.iter().zip(slopes).find_map(|(r, nominal)| {
        let r = r.as_ref()?;
        let pick = |v: &[f32]| v.iter().step_by(every).map(|v| f64::from(*v)).collect::<Vec<_>>();
        let fit = statistics::fit_line(&pick(reference), &pick(r))?;
        (fit.slope.abs() * (high - low) > 0.05).then_some(fit.slope * nominal < 0.0)
    });
    if against == Some(true) {
        *turned = true;
        warnings.push(format!(
            "the lines move against the angle column: it is read as counted from wide open ({high:.2} deg = closed); \
             exchanged lines would look the same"
        ));
        return reference.iter().map(|r| high as f32 - r).collect();
    }
    let slack = 0.1 * sheet.travel_deg;
    if low < -slack || high > sheet.travel_deg + slack {
        warnings.push(format!(
            "the angle column runs from {low:.2} to {high:.2} deg: travel is counted from {low:.2} deg"
        ));
        return reference.iter().map(|r| r - low as f32).collect();
    }
    Cow::Borrowed(reference)
}

/// One standard deviation of the angle's noise from its second differences, degrees.
fn angle_scatter(deg: &[f32]) -> f64 {
    let every = (deg.len() / 20_000).max(1);
    let mut second: Vec<f64> = deg
        .windows(3)
        .step_by(every)
        .map(|w| f64::from(w[2]) - 2.0 * f64::from(w[1]) + f64::from(w[0]))
        .filter(|d| d.is_finite())
        .collect();
    statistics::robust_sd(&mut second).unwrap_or(0.0) / 6.0f64.sqrt()
}

/// Strokes of all segments.
fn find_strokes(deg: &[f32], segments: &[Range<usize>], noise_deg: f64) -> Vec<Stroke> {
    let turn = (SMALLEST_TURN_DEG).max(8.0 * noise_deg) as f32;
    let rest = (SMALLEST_REST_DEG).max(2.5 * noise_deg) as f32;
    let mut strokes = Vec::new();
    for segment in segments {
        let turns = turning_points(deg, segment.clone(), turn);
        for pair in turns.windows(2) {
            if let Some(stroke) = trimmed(deg, pair[0], pair[1], rest) {
                strokes.push(stroke);
            }
        }
    }
    strokes
}

/// Indices of the extremes between which the angle moves by at least `turn`, first and last included.
fn turning_points(deg: &[f32], segment: Range<usize>, turn: f32) -> Vec<usize> {
    let mut points = Vec::new();
    let Some(start) = segment.clone().find(|i| deg[*i].is_finite()) else { return points };
    // Before the first turn both extremes are kept; afterwards only the one ahead.
    let (mut low, mut high) = (start, start);
    let mut going: Option<Direction> = None;
    for i in start..segment.end {
        let d = deg[i];
        if d > deg[high] {
            high = i;
        }
        if d < deg[low] {
            low = i;
        }
        match going {
            None if deg[high] - deg[low] >= turn => {
                going = Some(if high > low { Direction::Up } else { Direction::Down });
                points.push(low.min(high));
            }
            Some(Direction::Up) if deg[high] - d >= turn => {
                points.push(high);
                (going, low) = (Some(Direction::Down), i);
            }
            Some(Direction::Down) if d - deg[low] >= turn => {
                points.push(low);
                (going, high) = (Some(Direction::Up), i);
            }
            _ => {}
        }
        // The extreme behind follows the one ahead, so that it never counts against a later turn.
        match going {
            Some(Direction::Up) => low = high,
            Some(Direction::Down) => high = low,
            None => {}
        }
    }
    match going {
        Some(Direction::Up) => points.push(high),
        Some(Direction::Down) => points.push(low),
        None => {}
    }
    points
}

/// The stretch between two turning points without the rests at its ends.
fn trimmed(deg: &[f32], from: usize, to: usize, rest: f32) -> Option<Stroke> {
    let up = deg[to] > deg[from];
    let sign = if up { 1.0 } else { -1.0 };
    let (first, last) = (deg[from], deg[to]);
    // Last sample still at the start, then first one at the end after it.
    let start = (from..to)
        .take_while(|i| deg[*i].is_nan() || sign * (last - deg[*i]) >= rest)
        .filter(|i| sign * (deg[*i] - first) <= rest)
        .last()?;
    let end = (start..=to).find(|i| sign * (last - deg[*i]) <= rest)?;
    (end > start).then(|| Stroke {
        range: start..end + 1,
        direction: if up { Direction::Up } else { Direction::Down },
        from_deg: f64::from(deg[start]),
        to_deg: f64::from(deg[end]),
    })
}

#[cfg(test)]
#[path = "prepared_tests.rs"]
mod tests;
