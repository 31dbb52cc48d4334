//! Strokes on a grid of angles, one at a time: which scans belong to which bin, and the mean of each. It compares no strokes.

use super::prepared::{Direction, Prepared, Stroke};
use super::statistics;
use std::ops::Range;

/// Finest grid, degrees.
pub const GRID_DEG: f64 = 0.1;
/// A bin that jumps by more than this ratio of supply and comes back is a dropout, not a curve.
const JUMP_RATIO: f64 = 0.01;
/// Longest run of bins that a dropout can take out, degrees.
const LONGEST_JUMP_DEG: f64 = 40.0;
/// An angle whose noise is less than this share of a bin puts every scan into its bin by itself. Engineering assumption.
const QUIET_ANGLE: f64 = 0.02;
/// Most scans whose mean angle decides to which bin one belongs. Engineering assumption.
const MOST_THAT_DECIDE: usize = 201;

/// Where the samples of a bin lie about its centre.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Place {
    /// Mean distance from the centre, degrees; NaN without samples.
    pub(super) from_centre: f64,
    /// Mean square of that distance, square degrees.
    pub(super) square: f64,
}

/// One stroke on the grid.
#[derive(Clone, Debug)]
pub struct StrokeCurve {
    /// Index into [`Prepared::strokes`].
    pub stroke: usize,
    /// Which way.
    pub direction: Direction,
    /// Samples per bin.
    pub counts: Vec<u32>,
    /// Mean time per bin from the start of the trace, seconds; NaN without samples.
    pub seconds: Vec<f64>,
    /// Ratios of supply per bin for both lines; NaN where nothing was measured. Empty for a line that was not recorded.
    pub ratio: [Vec<f64>; 2],
    /// Slope along which samples were moved to their bin's centre, per line, ratio per degree.
    pub(super) slope: [f64; 2],
    /// Where the samples lie that are left in each bin, per line.
    pub(super) place: [Vec<Place>; 2],
}

/// Grid step: 0.1° or, when the samples lie further apart, the next multiple that holds one in most bins.
pub(super) fn grid_step(prepared: &Prepared<'_>) -> f64 {
    let between = prepared.speed_deg_s * prepared.period_us * 1e-6;
    let apart = (1.5 * between).max(1.5 * statistics::quantum(&prepared.deg));
    GRID_DEG * (apart / GRID_DEG).ceil().max(1.0)
}

/// Where the bins lie.
pub(super) struct Grid {
    /// The first bin's number; its centre lies at that many steps.
    pub first: i64,
    /// Degrees.
    pub step: f64,
    /// Bins.
    pub len: usize,
}

/// One sample of a bin.
#[derive(Clone, Copy)]
struct Sample {
    deg: f64,
    seconds: f64,
    ratio: [f64; 2],
}

impl Grid {
    /// A stroke as recorded.
    pub fn bin(&self, prepared: &Prepared<'_>, index: usize) -> StrokeCurve {
        self.bin_by(prepared, index, |i| f64::from(prepared.deg[i]))
    }

    /// One line of a stroke against the angle that was `lag` seconds before each scan.
    pub fn bin_lagging(
        &self,
        prepared: &Prepared<'_>,
        index: usize,
        line: usize,
        lag: f64,
    ) -> (Vec<f64>, Vec<Place>) {
        let (time, deg) = (&prepared.trace.time_us, &prepared.deg);
        let earlier = |i: usize| {
            let at = time[i] as f64 - 1e6 * lag;
            let after = time.partition_point(|t| (*t as f64) < at).clamp(1, time.len() - 1);
            let (a, b) = (time[after - 1] as f64, time[after] as f64);
            let part = if b > a { ((at - a) / (b - a)).clamp(0.0, 1.0) } else { 0.0 };
            f64::from(deg[after - 1]) * (1.0 - part) + f64::from(deg[after]) * part
        };
        let mut stroke = self.bin_by(prepared, index, earlier);
        (std::mem::take(&mut stroke.ratio[line]), std::mem::take(&mut stroke.place[line]))
    }

    /// A stroke with the angle that `deg_of` gives each scan.
    fn bin_by(&self, prepared: &Prepared<'_>, index: usize, deg_of: impl Fn(usize) -> f64) -> StrokeCurve {
        let stroke = &prepared.strokes[index];
        let slopes =
            [0, 1].map(|l| prepared.ratio[l].as_ref().map_or(0.0, |r| mean_slope(prepared, r, stroke)));
        let empty =
            |l: usize| if prepared.ratio[l].is_some() { vec![f64::NAN; self.len] } else { Vec::new() };
        let mut out = StrokeCurve {
            stroke: index,
            direction: stroke.direction,
            counts: vec![0; self.len],
            seconds: vec![f64::NAN; self.len],
            ratio: [empty(0), empty(1)],
            slope: slopes,
            place: [0, 1].map(|l| vec![Place::default(); empty(l).len()]),
        };
        let sign = if stroke.direction == Direction::Up { 1.0 } else { -1.0 };
        let deg: Vec<f64> = stroke.range.clone().map(deg_of).collect();
        // By its own noise a scan would be chosen where it reads too far along: neighbours decide, and where it lies is its own.
        let half = self.scans_that_decide(prepared) / 2;
        let along = if half == 0 { deg.clone() } else { near_mean(&deg, half) };
        let slack = (prepared.angle_noise_deg / (2.0 * half as f64 + 1.0).sqrt()).max(1e-4);
        let mut furthest = f64::NEG_INFINITY;
        let mut bin: Option<i64> = None;
        let mut samples: Vec<Sample> = Vec::with_capacity(64);
        let mut scratch = Vec::with_capacity(64);
        for (i, (deg, along)) in stroke.range.clone().zip(deg.into_iter().zip(along)) {
            if deg.is_nan() || sign * along < furthest - slack {
                continue;
            }
            furthest = furthest.max(sign * along);
            let k = (along / self.step).round() as i64 - self.first;
            if bin != Some(k) {
                // Noise may lead back into the bin before: what comes late is left out rather than kept twice.
                if bin.is_none_or(|b| sign * (k - b) as f64 > 0.0) {
                    self.close(bin, &samples, slopes, &mut scratch, &mut out);
                    samples.clear();
                    bin = Some(k);
                } else {
                    continue;
                }
            }
            let ratio = [0, 1].map(|l| prepared.ratio[l].as_ref().map_or(f64::NAN, |r| f64::from(r[i])));
            let seconds = (prepared.trace.time_us[i] - prepared.trace.time_us[0]) as f64 * 1e-6;
            samples.push(Sample { deg, seconds, ratio });
        }
        self.close(bin, &samples, slopes, &mut scratch, &mut out);
        for l in 0..2 {
            drop_jumps(&mut out.ratio[l], slopes[l], self.step, sign);
        }
        out
    }

    /// Scans whose mean angle decides to which bin a scan belongs: as many as pass in one bin, or 1 where the angle has no noise.
    fn scans_that_decide(&self, prepared: &Prepared<'_>) -> usize {
        let between = prepared.speed_deg_s * prepared.period_us * 1e-6;
        if prepared.angle_noise_deg < QUIET_ANGLE * self.step || between <= 0.0 {
            return 1;
        }
        ((self.step / between) as usize).clamp(1, MOST_THAT_DECIDE)
    }

    /// Writes one bin.
    fn close(
        &self,
        bin: Option<i64>,
        samples: &[Sample],
        slopes: [f64; 2],
        scratch: &mut Vec<f64>,
        out: &mut StrokeCurve,
    ) {
        let Some(k) = bin.and_then(|k| usize::try_from(k).ok()).filter(|k| *k < self.len) else { return };
        if samples.is_empty() {
            return;
        }
        let centre = (self.first + k as i64) as f64 * self.step;
        out.counts[k] = samples.len() as u32;
        out.seconds[k] = samples.iter().map(|s| s.seconds).sum::<f64>() / samples.len() as f64;
        for l in 0..2 {
            if !out.ratio[l].is_empty() {
                (out.ratio[l][k], out.place[l][k]) = trimmed_mean(samples, l, slopes[l], centre, scratch);
            }
        }
    }
}

/// Mean at the centre of the bin without samples further than 6 robust sd from the median, and where those that are left lie.
fn trimmed_mean(
    samples: &[Sample],
    line: usize,
    slope: f64,
    centre: f64,
    scratch: &mut Vec<f64>,
) -> (f64, Place) {
    let at_centre = |s: &Sample| s.ratio[line] - slope * (s.deg - centre);
    let every = samples.len().div_ceil(31);
    scratch.clear();
    scratch.extend(samples.iter().step_by(every).map(at_centre).filter(|v| v.is_finite()));
    let Some(median) = statistics::median(scratch) else { return (f64::NAN, Place::default()) };
    for v in scratch.iter_mut() {
        *v = (*v - median).abs();
    }
    let spread = statistics::MAD_TO_SD * statistics::median(scratch).unwrap_or(0.0);
    // Few samples may agree by chance, or sit on one code: never cut tighter than 0.2 % of supply.
    let cut = (6.0 * spread).max(0.002);
    let (mut sum, mut n, mut place) = (0.0, 0u32, Place::default());
    for s in samples {
        let v = at_centre(s);
        if (v - median).abs() <= cut {
            let from_centre = s.deg - centre;
            sum += v - median;
            n += 1;
            place.from_centre += from_centre;
            place.square += from_centre * from_centre;
        }
    }
    let n = f64::from(n.max(1));
    (median + sum / n, Place { from_centre: place.from_centre / n, square: place.square / n })
}

/// Mean of the finite values of up to `half` neighbours on either side, as many on the one as on the other.
fn near_mean(deg: &[f64], half: usize) -> Vec<f64> {
    let pivot = deg.iter().copied().find(|d| d.is_finite()).unwrap_or(0.0);
    let mut sums = Vec::with_capacity(deg.len() + 1);
    sums.push((0.0, 0u32));
    for d in deg {
        let (sum, n) = sums[sums.len() - 1];
        sums.push(if d.is_finite() { (sum + d - pivot, n + 1) } else { (sum, n) });
    }
    (0..deg.len())
        .map(|k| {
            let reach = half.min(k).min(deg.len() - 1 - k);
            let (a, b) = (sums[k - reach], sums[k + reach + 1]);
            if b.1 > a.1 { pivot + (b.0 - a.0) / f64::from(b.1 - a.1) } else { f64::NAN }
        })
        .collect()
}

/// Slope of a line over a stroke from the means of its first and last tenth, ratio per degree; 0 when it can't be had.
fn mean_slope(prepared: &Prepared<'_>, ratio: &[f32], stroke: &Stroke) -> f64 {
    let tenth = (stroke.range.len() / 10).max(1);
    let middle = |r: Range<usize>| {
        let every = (r.len() / 200).max(1);
        let mut deg: Vec<f64> = Vec::with_capacity(256);
        let mut y: Vec<f64> = Vec::with_capacity(256);
        for i in r.step_by(every) {
            let (d, v) = (f64::from(prepared.deg[i]), f64::from(ratio[i]));
            if d.is_finite() && v.is_finite() {
                deg.push(d);
                y.push(v);
            }
        }
        Some((statistics::median(&mut deg)?, statistics::median(&mut y)?))
    };
    let range = &stroke.range;
    match (middle(range.start..range.start + tenth), middle(range.end - tenth..range.end)) {
        (Some(a), Some(b)) if (b.0 - a.0).abs() > 0.5 => (b.1 - a.1) / (b.0 - a.0),
        _ => 0.0,
    }
}

/// Leaves out runs of bins that jump away from the curve and jump back.
fn drop_jumps(y: &mut [f64], slope: f64, step: f64, sign: f64) {
    let known: Vec<usize> = if sign > 0.0 {
        (0..y.len()).filter(|k| y[*k].is_finite()).collect()
    } else {
        (0..y.len()).rev().filter(|k| y[*k].is_finite()).collect()
    };
    let level = |k: usize| y[k] - slope * k as f64 * step;
    let jump = |a: usize, b: usize| level(known[b]) - level(known[a]);
    let longest = (LONGEST_JUMP_DEG / step) as usize;
    let mut drop = Vec::new();
    let mut i = 1;
    while i < known.len() {
        // A bin may hold the edge itself: look two bins ahead.
        let two = if i + 1 < known.len() { jump(i - 1, i + 1) } else { 0.0 };
        let one = jump(i - 1, i);
        let away = if one.abs() > two.abs() { one } else { two };
        if away.abs() > JUMP_RATIO {
            let base = level(known[i - 1]);
            let back = (i + 1..known.len().min(i + longest)).find(|j| {
                let rest = level(known[*j]) - base;
                rest.abs() < 0.25 * away.abs() && (level(known[*j]) - level(known[j - 1])).abs() < JUMP_RATIO
            });
            let jumped_back = back.is_some_and(|j| {
                let edge = (i.max(j.saturating_sub(3))..j).map(|m| jump(m, m + 1).abs()).fold(0.0, f64::max);
                let edge2 = jump(i.max(j.saturating_sub(3)), j).abs();
                edge.max(edge2) > 0.5 * away.abs()
            });
            if let (Some(j), true) = (back, jumped_back) {
                drop.extend(known[i..j].iter().copied());
                i = j + 1;
                continue;
            }
        }
        i += 1;
    }
    for k in drop {
        y[k] = f64::NAN;
    }
}
