//! A logger whose range ends before the line does.
//!
//! The part goes on, and the line reads one and the same code: it arrives there with its slope, stays while the angle or the other
//! line moves on, and does not even scatter. A dead band of the sensor scatters there as it does at the other stop; where the
//! line scatters nowhere, both lines must end at the same volts.

use super::{LimitKind, RecordingLimit};
use crate::analysis::prepared::{AngleSource, Prepared};
use crate::analysis::statistics;
use crate::quantity::{Channel, FigureName, FindingKind};
use std::ops::Range;

/// Fewest scans of a stretch at one code.
const FEWEST: usize = 10;
/// The part must move on by this much meanwhile, degrees …
const LEAST_DEG: f64 = 0.4;
/// … or the other line by this share of supply.
const LEAST_RATIO: f64 = 0.004;
/// The last reading before lies within this of the code, share of supply: else it jumped there.
const NEAR: f64 = 0.01;
/// Nowhere else may the line stand at one code for longer than this share of such a stretch …
const ELSEWHERE: f64 = 0.5;
/// … unless the part goes this far on, degrees, and nowhere else half of that at one code: a rest is long and no way at all.
const FAR_DEG: f64 = 3.0;
/// Longest stretches elsewhere whose way is looked at.
const WAYS: usize = 4096;

/// Clipping of a line, at its upper or its lower end; the upper first.
pub(super) fn find(prepared: &Prepared<'_>, line: usize) -> Vec<RecordingLimit> {
    [true, false].into_iter().filter_map(|upper| at_end(prepared, line, upper)).collect()
}

/// A stretch of scans at one code.
struct Run {
    start: usize,
    end: usize,
}

fn at_end(prepared: &Prepared<'_>, line: usize, upper: bool) -> Option<RecordingLimit> {
    let volts = prepared.trace.channel(Channel::SENSORS[line])?;
    let code = extreme(volts, upper)?;
    let runs = runs_at(volts, code);
    let clipped: Vec<&Run> = runs.iter().filter(|r| moves_on(prepared, volts, line, code, r)).collect();
    let longest = clipped.iter().map(|r| r.end - r.start).max()?;
    let other = prepared.trace.channel(Channel::SENSORS[1 - line]);
    let shared = other.and_then(|o| extreme(o, upper)).is_some_and(|o| (o - code).abs() <= 1e-4 * code.abs());
    let elsewhere = longest_run_elsewhere(volts, code);
    let far = || {
        let ways = |runs: &mut dyn Iterator<Item = &Run>| {
            runs.filter_map(|r| way(prepared, r.start..r.end)).fold(0.0, f64::max)
        };
        let here = ways(&mut clipped.iter().copied());
        here >= FAR_DEG && ways(&mut runs_elsewhere(volts, code).iter()) < ELSEWHERE * here
    };
    if elsewhere as f64 > ELSEWHERE * longest as f64 && !shared && !far() {
        return None;
    }
    let channel = Channel::SENSORS[line];
    let side = if upper { "above" } else { "below" };
    let text = format!(
        "the logger's range ends at {code:.3} V, and the {channel} line goes on {side} it: its voltage at that end, and all that rests \
         on it, was not recorded; log with a range that holds the whole supply, or through a divider"
    );
    let mut limit = RecordingLimit::new(LimitKind::Clipping, Some(channel), text);
    let of_line = [
        FigureName::Span,
        FigureName::LinearityIndependent,
        FigureName::LinearityTerminal,
        FigureName::LinearityZeroBased,
        FigureName::Hysteresis,
        FigureName::Repeatability,
    ];
    limit.spoils.extend(of_line.map(|f| (f, Some(channel))));
    let rises = rises(prepared, line);
    let ends = if rises == upper {
        [FigureName::OpenVolts, FigureName::DeadBandOpen]
    } else {
        [FigureName::ClosedVolts, FigureName::DeadBandClosed]
    };
    limit.spoils.extend(ends.map(|f| (f, Some(channel))));
    let of_pair = [
        FigureName::CorrelationWorst,
        FigureName::CorrelationOffset,
        FigureName::CorrelationSlope,
        FigureName::CorrelationMomentary,
        FigureName::LimpTrips,
        FigureName::Skew,
    ];
    limit.spoils.extend(of_pair.map(|f| (f, None)));
    limit.imitates = vec![
        FindingKind::FlatSpot,
        FindingKind::Dropout,
        FindingKind::SupplyLead,
        FindingKind::GroundLead,
        FindingKind::SignalLead,
        FindingKind::Leakage,
        FindingKind::GainOffset,
        FindingKind::CommonNonlinearity,
        FindingKind::NoisyTrack,
        FindingKind::SwappedChannels,
        FindingKind::DeadChannel,
    ];
    Some(limit)
}

fn extreme(volts: &[f32], upper: bool) -> Option<f32> {
    let finite = volts.iter().copied().filter(|v| v.is_finite());
    if upper { finite.reduce(f32::max) } else { finite.reduce(f32::min) }
}

/// Stretches at exactly one code, of at least the fewest scans.
fn runs_at(volts: &[f32], code: f32) -> Vec<Run> {
    let mut out = Vec::new();
    let mut start = None;
    for i in 0..=volts.len() {
        let same = volts.get(i).is_some_and(|v| *v == code);
        match (same, start) {
            (true, None) => start = Some(i),
            (false, Some(s)) => {
                if i - s >= FEWEST {
                    out.push(Run { start: s, end: i });
                }
                start = None;
            }
            _ => {}
        }
    }
    out
}

/// How far the part goes over a stretch by its own angle, degrees.
fn way(prepared: &Prepared<'_>, range: Range<usize>) -> Option<f64> {
    (prepared.angle_source == AngleSource::Reference).then(|| spread(&prepared.deg[range]))
}

/// Middle 96 % of what is read.
fn spread(values: &[f32]) -> f64 {
    let mut all: Vec<f64> = values.iter().map(|v| f64::from(*v)).filter(|v| v.is_finite()).collect();
    let (low, high) = (statistics::quantile(&mut all, 0.02), statistics::quantile(&mut all, 0.98));
    high.zip(low).map_or(0.0, |(h, l)| h - l)
}

/// The longest stretches at one code other than the extreme, of at least the fewest scans.
fn runs_elsewhere(volts: &[f32], code: f32) -> Vec<Run> {
    let mut out = Vec::new();
    let mut start = 0;
    for i in 1..=volts.len() {
        if i == volts.len() || volts[i] != volts[start] {
            if i - start >= FEWEST && volts[start] != code {
                out.push(Run { start, end: i });
            }
            start = i;
        }
    }
    out.sort_by_key(|r| std::cmp::Reverse(r.end - r.start));
    out.truncate(WAYS);
    out
}

/// Whether the part goes on while the line stands at the code, having come there without a jump.
fn moves_on(prepared: &Prepared<'_>, volts: &[f32], line: usize, code: f32, run: &Run) -> bool {
    let near = NEAR * prepared.supply_volts;
    let arrived =
        |i: Option<usize>| i.and_then(|i| volts.get(i)).is_some_and(|v| f64::from((v - code).abs()) < near);
    if !arrived(run.start.checked_sub(1)) && !arrived(Some(run.end)) {
        return false;
    }
    let range = run.start..run.end;
    let by_angle =
        way(prepared, range.clone()).is_some_and(|way| way >= LEAST_DEG.max(3.0 * prepared.angle_noise_deg));
    let by_line = prepared.ratio[1 - line].as_ref().is_some_and(|r| spread(&r[range]) >= LEAST_RATIO);
    by_angle || by_line
}

/// Longest stretch at one code other than the extreme.
fn longest_run_elsewhere(volts: &[f32], code: f32) -> usize {
    let (mut longest, mut length) = (0, 1);
    for pair in volts.windows(2) {
        length = if pair[0] == pair[1] && pair[0] != code { length + 1 } else { 1 };
        longest = longest.max(length);
    }
    longest
}

/// Whether a line rises towards open, as far as its strokes show.
fn rises(prepared: &Prepared<'_>, line: usize) -> bool {
    let Some(ratio) = prepared.ratio[line].as_ref() else { return true };
    let sum: f64 = prepared
        .strokes
        .iter()
        .map(|s| f64::from(ratio[s.range.end - 1] - ratio[s.range.start]) * (s.to_deg - s.from_deg).signum())
        .filter(|v| v.is_finite())
        .sum();
    sum >= 0.0
}
