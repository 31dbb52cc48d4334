//! Where a series leaves its level and comes back: the search itself, without names of wires.
//!
//! A cheap screen over every sample (second differences at lags 1 and 4) finds candidates; only these are looked at closely:
//! level before, way out, way back. A contact opens and closes within a few time constants of the input filter, so both
//! edges must be jumps: more, within so many scans, than the motion of these scans can make of play, grain or a flat
//! spot. What leaves and does not come back, or fades away, is a step, a flat spot or a motion. The threshold follows the
//! local noise; how sure an excursion is, `place` says.

use crate::analysis::statistics;
use std::ops::Range;

/// Standard deviations of noise that a dropout must exceed. The largest residual of a healthy sweep is typically 4.2 to
/// 4.7 of them (simulation of 8000 sweeps); 7 leaves room for outliers of heavier tail.
const SIGMAS: f64 = 7.0;
/// The same inside a stretch that is noisier than the rest: its noise is known from fewer samples and seldom normal.
const SIGMAS_IN_NOISE: f64 = 10.0;
/// A dropout is at least this deep: 10 mV at 5 V.
const LEAST_DEPTH: f64 = 0.002;
/// Samples on each side that show the local noise.
const NEAR: usize = 64;
/// Longest excursion that is followed to its end, samples; longer ones must stand at a rail.
const LONGEST_FOLLOW: usize = 4_000_000;
/// An excursion at least this long is held against what is usual around it, over so many samples on each side.
const LONG: (usize, usize) = (64, 1000);
/// An excursion up to this long comes back to the level that it left, scans.
const SHORT: usize = 8;
/// An excursion this deep is a lost contact also when the line still follows the grip, ratio.
const CERTAIN_DEPTH: f64 = 0.1;
/// A rail: within this of ground or supply, ratio.
const RAIL: f32 = 0.03;
/// What motion alone can make of a residual, in slopes of a line: 1 where one line stands in its play, up to 1.2 on a flat
/// spot that runs backwards, and a track's grain (0.4 rms) up to 1.8.
pub(super) const EDGE_SHARE: f32 = 2.0;
/// Share of the depth that an edge must make at once.
const EDGE_DEPTH: f64 = 0.4;

/// Something that follows the motion, and how much of it may show in a series.
#[derive(Clone, Copy)]
pub(super) struct Shown<'a> {
    /// Angle or line.
    pub by: &'a [f32],
    /// Series per unit of it.
    pub share: f32,
    /// The most that a motion can change it by from scan to scan, its unit.
    pub fastest: f64,
}

/// A series to search and what is known of it.
pub(super) struct Series<'a> {
    /// The values: near constant under motion, or (`moves`) following it.
    pub values: &'a [f32],
    /// Whether the values follow the motion themselves, so that a level must be carried on along its slope.
    pub moves: bool,
    /// Least depth on top of the noise, same unit: what a motion could imitate.
    pub floor: f64,
    /// How much of the motion across a few samples may show; the least of all counts.
    pub motion: &'a [Shown<'a>],
    /// The same for edges: what motion alone can make of them.
    pub edges: &'a [Shown<'a>],
    /// Scans within which an edge is over.
    pub edge_scans: usize,
    /// Lines whose rails end the search for a way back.
    pub rails: &'a [&'a [f32]],
}

/// One excursion.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Excursion {
    /// Samples beyond half the threshold.
    pub samples: Range<usize>,
    /// Level before.
    pub level: f64,
    /// Largest deviation from it, signed.
    pub peak: f64,
    /// Median of the deviation's magnitude over the middle half; equals the peak's below 4 samples.
    pub plateau: f64,
    /// Samples from the first to the last beyond half of the plateau: what lies outside is a filter's tail.
    pub wide: usize,
    /// Sum of the deviation's magnitude, one sample more on each side.
    pub area: f64,
    /// Whether the motion turned in it, so that both edges lie at one place of the travel.
    pub turned: bool,
    /// Whether some line stood at a rail in it, or it is as deep as no track's fault is.
    pub deep: bool,
}

/// Noise of a series, one standard deviation: from second differences of up to 40 000 places in the runs.
pub(super) fn noise(values: &[f32], runs: &[Range<usize>]) -> f64 {
    let total: usize = runs.iter().map(|r| r.len()).sum();
    let every = (total / 40_000).max(1);
    let mut seconds = Vec::with_capacity(total / every + runs.len());
    for run in runs {
        seconds.extend(
            values[run.clone()]
                .windows(3)
                .step_by(every)
                .map(|w| f64::from(w[0]) - 2.0 * f64::from(w[1]) + f64::from(w[2])),
        );
    }
    robust_or_zero(&mut seconds) / 6.0f64.sqrt()
}

fn robust_or_zero(values: &mut [f64]) -> f64 {
    statistics::robust_sd(values).unwrap_or(0.0)
}

/// Depth that an excursion must exceed with this noise.
pub(super) fn threshold(sigma: f64) -> f64 {
    (SIGMAS * sigma).max(LEAST_DEPTH)
}

/// All excursions of the runs, in order.
pub(super) fn search(series: &Series<'_>, runs: &[Range<usize>], sigma: f64) -> Vec<Excursion> {
    let least = threshold(sigma).max(series.floor);
    let mut out = Vec::new();
    let mut steps_left = 16 * series.values.len() + 10_000;
    let mut candidates = Vec::new();
    for run in runs {
        candidates.clear();
        screen(series.values, run, 0.5 * least as f32, &mut candidates);
        let mut done = run.start;
        for &candidate in &candidates {
            if candidate < done {
                continue;
            }
            if let Some(found) = confirm(series, run, candidate, done, sigma, least, &mut steps_left) {
                done = found.samples.end + 1;
                out.push(found);
            }
        }
    }
    out
}

/// Samples that differ from the mean of their neighbours at lag 1 or 4 by more than `least`; ends of a run at lag 1 alone.
fn screen(values: &[f32], run: &Range<usize>, least: f32, out: &mut Vec<usize>) {
    let v = &values[run.clone()];
    let n = v.len();
    if n < 3 {
        return;
    }
    let one = |i: usize| (v[i] - 0.5 * (v[i - 1] + v[i + 1])).abs();
    for i in 1..n - 1 {
        let far = if i >= 4 && i + 4 < n { (v[i] - 0.5 * (v[i - 4] + v[i + 4])).abs() } else { 0.0 };
        if one(i).max(far) > least {
            out.push(run.start + i);
        }
    }
}

/// Looks closely at a candidate.
fn confirm(
    series: &Series<'_>,
    run: &Range<usize>,
    at: usize,
    done: usize,
    sigma: f64,
    least: f64,
    steps_left: &mut usize,
) -> Option<Excursion> {
    let local = local_noise(series.values, run, at);
    let sigmas = if local > 2.0 * sigma { SIGMAS_IN_NOISE } else { SIGMAS };
    let window = |end: usize| at.saturating_sub(17).max(run.start)..(end.max(at) + 9).min(run.end);
    let shown = |end: usize| motion_share(series.motion, window(end));
    let needed = least.max(sigmas * local.max(sigma)).max(shown(at));
    let (level, slope) = level_before(series, run, at, done)?;
    let deviation = |j: usize| f64::from(series.values[j]) - level - slope * (j as f64 - at as f64);
    let half = 0.5 * needed;
    let start = (at.saturating_sub(4).max(done).max(run.start)..(at + 5).min(run.end))
        .find(|j| deviation(*j).abs() > half)?;
    let end = way_back(series, run, start, &deviation, half, steps_left)?;
    if end == run.end && !stands_at_rail(series, start, end) {
        return None;
    }
    if end - start >= LONG.0 && !series.moves && is_usual(series.values, run, start..end, level, half) {
        return None;
    }
    let peak = (start..end).map(deviation).fold(0.0f64, |a, d| if d.abs() > a.abs() { d } else { a });
    let peak = peak - level_shift(series, run, start..end, level, needed);
    if peak.abs() <= needed.max(shown(end)) {
        return None;
    }
    let n = end - start;
    let edges = Edges { series, run, side: peak.signum(), least: 0.75 * needed };
    if !edges.jumps_out(start, end, &deviation) || !edges.jumps_back(start, end, &deviation) {
        return None;
    }
    if n >= 8 && peak.abs() < CERTAIN_DEPTH && !stands(series, start, end) {
        return None;
    }
    let railed = |r: &&[f32]| r[start..end].iter().any(|v| *v < RAIL || *v > 1.0 - RAIL);
    let deep = peak.abs() > CERTAIN_DEPTH || series.rails.iter().any(railed);
    let turned = turned(series, start.saturating_sub(1).max(run.start)..end.min(run.end - 1) + 1);
    let mut middle: Vec<f64> = if n >= 4 {
        (start + n / 4..end - n / 4).map(|j| deviation(j).abs()).collect()
    } else {
        vec![peak.abs()]
    };
    let plateau = statistics::median(&mut middle)?;
    let high = |j: &usize| deviation(*j) * peak.signum() > 0.5 * plateau;
    let wide = match ((start..end).find(high), (start..end).rev().find(high)) {
        (Some(first), Some(last)) => last + 1 - first,
        _ => n,
    };
    let area = (start.saturating_sub(1).max(run.start)..(end + 1).min(run.end))
        .map(|j| (deviation(j) * peak.signum()).max(0.0))
        .sum();
    Some(Excursion { samples: start..end, level, peak, plateau, wide, area, turned, deep })
}

/// Whether it is the excursion that stands where the series usually is, and not the level before it: that was taken inside another one.
fn is_usual(values: &[f32], run: &Range<usize>, found: Range<usize>, level: f64, half: f64) -> bool {
    let median_of = |places: &mut dyn Iterator<Item = usize>| {
        let mut some: Vec<f64> = places.map(|j| f64::from(values[j])).collect();
        statistics::median(&mut some)
    };
    let around = LONG.1;
    let before = found.start.saturating_sub(around).max(run.start)..found.start;
    let after = found.end..(found.end + around).min(run.end);
    let every = (found.len() / around).max(1);
    let usual = median_of(&mut before.chain(after));
    usual.zip(median_of(&mut found.step_by(every))).is_some_and(|(usual, inside)| {
        (usual - level).abs() > half && (usual - inside).abs() < 0.5 * (usual - level).abs()
    })
}

/// Noise near a place: the larger of before and after, so that the edge of a noisy stretch belongs to it.
fn local_noise(values: &[f32], run: &Range<usize>, at: usize) -> f64 {
    let before = noise_of(&values[at.saturating_sub(NEAR).max(run.start)..(at + NEAR / 8).min(run.end)]);
    let after = noise_of(&values[at.saturating_sub(NEAR / 8).max(run.start)..(at + NEAR).min(run.end)]);
    before.max(after)
}

fn noise_of(near: &[f32]) -> f64 {
    let mut seconds = [0.0f64; 2 * NEAR];
    let mut n = 0;
    for w in near.windows(3) {
        seconds[n] = f64::from(w[0]) - 2.0 * f64::from(w[1]) + f64::from(w[2]);
        n += 1;
    }
    robust_or_zero(&mut seconds[..n]) / 6.0f64.sqrt()
}

/// What the motion over a window of scans may show in the series; nothing when no motion is known.
fn motion_share(of: &[Shown<'_>], window: Range<usize>) -> f64 {
    of.iter()
        .map(|s| {
            f64::from(s.share) * f64::from(reach(&s.by[window.clone()])).min(s.fastest * window.len() as f64)
        })
        .filter(|v| v.is_finite())
        .reduce(f64::min)
        .unwrap_or(0.0)
}

/// Largest less smallest.
fn reach(values: &[f32]) -> f32 {
    let (low, high) = values.iter().fold((f32::MAX, f32::MIN), |(a, b), v| (a.min(*v), b.max(*v)));
    high - low
}

/// Level (at the candidate) and slope per sample from up to 15 samples before it; at the start of a run from those after it.
fn level_before(series: &Series<'_>, run: &Range<usize>, at: usize, done: usize) -> Option<(f64, f64)> {
    let end = at.saturating_sub(2);
    let start = end.saturating_sub(15).max(run.start).max(done);
    let (from, to) =
        if end >= start + 3 { (start, end) } else { ((at + 3).min(run.end), (at + 18).min(run.end)) };
    if to < from + 3 {
        return None;
    }
    let mut values: Vec<f64> = series.values[from..to].iter().map(|v| f64::from(*v)).collect();
    if !series.moves {
        return statistics::median(&mut values).map(|m| (m, 0.0));
    }
    let third = values.len() / 3;
    let tail = values.len() - third;
    let mut late: Vec<f64> = values[tail..].to_vec();
    let mut early: Vec<f64> = values[..third.max(1)].to_vec();
    let slope = (statistics::median(&mut late)? - statistics::median(&mut early)?) / tail as f64;
    let middle = 0.5 * (from + to - 1) as f64;
    let median = statistics::median(&mut values)?;
    Some((median + slope * (at as f64 - middle), slope))
}

/// How far the mean of the levels before and after a short excursion lies from the one before: half of what chance or a track's grain put
/// into the level before would otherwise count as depth. Nothing where what comes after is no level, but another excursion.
fn level_shift(series: &Series<'_>, run: &Range<usize>, found: Range<usize>, level: f64, needed: f64) -> f64 {
    let after = (found.end + 1).min(run.end)..(found.end + 16).min(run.end);
    if series.moves || found.len() > SHORT || after.len() < SHORT {
        return 0.0;
    }
    let mut values: Vec<f64> = series.values[after].iter().map(|v| f64::from(*v)).collect();
    let shift = statistics::median(&mut values).map_or(0.0, |after| after - level);
    if shift.abs() < 0.5 * needed { 0.5 * shift } else { 0.0 }
}

/// First sample after the excursion; the run's end when it never comes back.
fn way_back(
    series: &Series<'_>,
    run: &Range<usize>,
    start: usize,
    deviation: &impl Fn(usize) -> f64,
    half: f64,
    steps_left: &mut usize,
) -> Option<usize> {
    // A level carried on along a slope is good for a few samples only; at a rail the level does not matter.
    let longest = if series.moves { 15 } else { LONGEST_FOLLOW.min(*steps_left) };
    let mut last = start;
    let mut largest = 0.0f64;
    let mut j = start;
    while j < run.end {
        *steps_left = steps_left.saturating_sub(1);
        let railed = series.moves && series.rails.iter().any(|r| r[j] < RAIL || r[j] > 1.0 - RAIL);
        let away = deviation(j).abs();
        largest = largest.max(away);
        // After a long open the part may stand elsewhere, where texture and bend make the level a little different.
        if away > half.max(0.05 * largest) || railed {
            last = j;
        } else if j > last + 1 {
            return Some(last + 1);
        }
        if j - start > longest && !railed {
            return None;
        }
        j += 1;
    }
    Some(if last + 1 < run.end { last + 1 } else { run.end })
}

/// Whether a line stands at a rail for most of the excursion.
fn stands_at_rail(series: &Series<'_>, start: usize, end: usize) -> bool {
    series.rails.iter().any(|r| {
        let railed = r[start..end].iter().filter(|v| **v < RAIL || **v > 1.0 - RAIL).count();
        railed * 10 >= (end - start) * 8
    })
}

/// Whether some line stands still, or nothing moves: a lost line does not follow the grip. What comes and goes at two places
/// of the travel while both lines follow is a step of a curve, not a dropout.
fn stands(series: &Series<'_>, start: usize, end: usize) -> bool {
    let range = |line: &[f32]| {
        let every = ((end - start) / 256).max(1);
        let inside = line[(start + 1).min(end - 1)..end - 1].iter().step_by(every);
        let (low, high) = inside.fold((f32::MAX, f32::MIN), |(a, b), v| (a.min(*v), b.max(*v)));
        (high - low).max(0.0)
    };
    let moves = series.motion.iter().map(|s| range(s.by) * s.share).fold(0.0, f32::max);
    f64::from(moves) < 0.25 * LEAST_DEPTH
        || series.rails.iter().any(|line| f64::from(range(line)) < 2.0 * f64::from(moves))
}

/// Whether the motion over the scans went and came back: the edge of a flat spot that jumps is crossed twice then.
fn turned(series: &Series<'_>, scans: Range<usize>) -> bool {
    // A tenth of a degree at the usual 1.07 % per degree.
    const SOME: f32 = 0.001 * EDGE_SHARE;
    series.edges.iter().any(|s| {
        let (first, last) = (s.by[scans.start], s.by[scans.end - 1]);
        let reach = reach(&s.by[scans.clone()]);
        reach * s.share > SOME && (last - first).abs() < 0.5 * reach
    })
}

/// The two ends of an excursion.
struct Edges<'a> {
    series: &'a Series<'a>,
    run: &'a Range<usize>,
    /// 1 or −1.
    side: f64,
    /// The least that must be made at once.
    least: f64,
}

impl Edges<'_> {
    /// The way out; not seen when the run begins with it.
    fn jumps_out(&self, start: usize, end: usize, deviation: &impl Fn(usize) -> f64) -> bool {
        let before = start.saturating_sub(1).max(self.run.start);
        let last = (start + self.series.edge_scans).min(end);
        let near = start..(start + 2 * self.series.edge_scans).min(end);
        let rise = |j: usize| deviation(j) - deviation(before);
        before == start || self.jumps(start..last, near, rise, |j| before..j + 1)
    }

    /// The way back; not seen when the run ends before.
    fn jumps_back(&self, start: usize, end: usize, deviation: &impl Fn(usize) -> f64) -> bool {
        let first = end.saturating_sub(self.series.edge_scans).max(start);
        let near = end.saturating_sub(2 * self.series.edge_scans).max(start)..end;
        let fall = |j: usize| deviation(j) - deviation(end);
        end >= self.run.end || self.jumps(first..end, near, fall, |j| j..end + 1)
    }

    /// Whether an edge makes a good part of the depth near it at once: more than the motion of these scans can make.
    fn jumps(
        &self,
        edge: Range<usize>,
        near: Range<usize>,
        change: impl Fn(usize) -> f64,
        scans: impl Fn(usize) -> Range<usize>,
    ) -> bool {
        let side = |j: usize| self.side * change(j);
        let least = near.map(side).fold(0.0, f64::max) * EDGE_DEPTH;
        edge.into_iter()
            .any(|j| side(j) > self.least.max(least).max(motion_share(self.series.edges, scans(j))))
    }
}
