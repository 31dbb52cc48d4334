//! A logger whose range ends before the line does.
//!
//! The part goes on, and the line reads one and the same code: it arrives there with its slope, stays while the angle or the other
//! line moves on, and does not even scatter. A dead band of the sensor scatters there as it does at the other stop; where the
//! line scatters nowhere, both lines must end at the same volts, or the code be the last of its converter.

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
/// Codes of converters that are recognised by their last one: 8 to 14 bits; of finer ones a column of f32 does not count the steps.
const LEAST_CODES: f64 = 256.0;
const MOST_CODES: f64 = 16_384.0;
/// Scans of which a median is taken.
const FEW: usize = 5;
/// Longest stretches elsewhere whose way is looked at.
const WAYS: usize = 4096;

/// Clipping of a line, at its upper or its lower end; the upper first.
pub(super) fn find(prepared: &Prepared<'_>, line: usize) -> Vec<RecordingLimit> {
    [true, false].into_iter().filter_map(|upper| at_end(prepared, line, upper)).collect()
}

fn at_end(prepared: &Prepared<'_>, line: usize, upper: bool) -> Option<RecordingLimit> {
    let volts = prepared.trace.channel(Channel::SENSORS[line])?;
    let code = extreme(volts, upper)?;
    let at_code = |r: &Range<usize>| volts[r.start] == code;
    let clipped: Vec<Range<usize>> = runs(volts)
        .filter(|r| at_code(r) && r.len() >= FEWEST && moves_on(prepared, volts, line, code, r))
        .collect();
    let longest = clipped.iter().map(ExactSizeIterator::len).max()?;
    // Every other run may be a single scan: they are not kept.
    let elsewhere = || runs(volts).filter(|r| !at_code(r));
    let other = prepared.trace.channel(Channel::SENSORS[1 - line]);
    let shared = other.and_then(|o| extreme(o, upper)).is_some_and(|o| (o - code).abs() <= 1e-4 * code.abs());
    let longest_elsewhere = elsewhere().map(|r| r.len()).max().unwrap_or(0);
    let far = || {
        let furthest =
            |runs: &[Range<usize>]| runs.iter().filter_map(|r| way(prepared, r.clone())).fold(0.0, f64::max);
        let mut others: Vec<Range<usize>> = elsewhere().filter(|r| r.len() >= FEWEST).collect();
        others.sort_by_key(|r| std::cmp::Reverse(r.len()));
        others.truncate(WAYS);
        let here = furthest(&clipped);
        here >= FAR_DEG && furthest(&others) < ELSEWHERE * here
    };
    let still_elsewhere = longest_elsewhere as f64 > ELSEWHERE * longest as f64;
    if still_elsewhere && !shared && !is_converters_last(volts, code) && !far() {
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

/// Whether a code is the last of a binary converter: 0, or one step short of a power of two of steps.
pub(super) fn is_converters_last(volts: &[f32], code: f32) -> bool {
    if code == 0.0 {
        return true;
    }
    let steps = f64::from(code) / step_over(volts);
    let range = (steps + 1.0).log2().round().exp2();
    (LEAST_CODES..=MOST_CODES).contains(&range) && (steps + 1.0 - range).abs() < 0.5
}

/// The step of a column, from further and further apart values: each shows it more exactly than the one before, which shows how many steps lie
/// between. Written with few digits, one step alone would show it badly. NaN without steps.
fn step_over(volts: &[f32]) -> f64 {
    let mut values: Vec<f32> = volts.iter().copied().filter(|v| v.is_finite()).collect();
    values.sort_unstable_by(f32::total_cmp);
    values.dedup();
    let mut step = statistics::quantum(volts);
    for v in &values {
        let apart = f64::from(*v) - f64::from(values[0]);
        let steps = (apart / step).round();
        if steps >= 1.0 {
            step = apart / steps;
        }
    }
    if step > 0.0 { step } else { f64::NAN }
}

fn extreme(volts: &[f32], upper: bool) -> Option<f32> {
    let finite = volts.iter().copied().filter(|v| v.is_finite());
    if upper { finite.reduce(f32::max) } else { finite.reduce(f32::min) }
}

/// Stretches of scans at exactly one code.
fn runs(volts: &[f32]) -> impl Iterator<Item = Range<usize>> {
    let mut end = 0;
    volts.chunk_by(|a, b| a == b).map(move |run| {
        end += run.len();
        end - run.len()..end
    })
}

/// How far the part goes over a stretch by its own angle, degrees.
fn way(prepared: &Prepared<'_>, range: Range<usize>) -> Option<f64> {
    (prepared.angle_source == AngleSource::Reference).then(|| spread(&prepared.deg[range]))
}

/// From the least to the largest that is read, by medians of a few scans: an arrival is a small part of a long rest, and one wild scan no way.
fn spread(values: &[f32]) -> f64 {
    let medians = values.chunks(FEW).filter_map(|few| {
        let mut few: Vec<f64> = few.iter().map(|v| f64::from(*v)).filter(|v| v.is_finite()).collect();
        (few.len() > FEW / 2).then(|| statistics::median(&mut few)).flatten()
    });
    let (low, high) = medians.fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), v| (a.min(v), b.max(v)));
    (high - low).max(0.0)
}

/// Whether the part goes on while the line stands at the code, having come there without a jump.
fn moves_on(prepared: &Prepared<'_>, volts: &[f32], line: usize, code: f32, run: &Range<usize>) -> bool {
    let near = NEAR * prepared.supply_volts;
    let arrived =
        |i: Option<usize>| i.and_then(|i| volts.get(i)).is_some_and(|v| f64::from((v - code).abs()) < near);
    if !arrived(run.start.checked_sub(1)) && !arrived(Some(run.end)) {
        return false;
    }
    let range = run.start..run.end;
    let by_angle =
        way(prepared, range.clone()).is_some_and(|way| way >= LEAST_DEG.max(3.0 * prepared.angle_noise_deg));
    let by_line = prepared.ratio[1 - line].as_ref().is_some_and(|r| spread(&r[run.clone()]) >= LEAST_RATIO);
    by_angle || by_line
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
