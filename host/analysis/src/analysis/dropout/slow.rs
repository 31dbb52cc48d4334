//! Contact that is lost slowly and in part: for 2 ms to a second, by a few per cent of the supply, without a jump. Names no wire.
//!
//! A contact whose resistance rises and falls leaves what is usual at its place of the travel (`usual`) and comes back. Looked for in means
//! over 2, 4, 8 … 512 ms; each scale has its own noise, taken from this recording: what is left of texture, lag, play and drift there.
//! How sure a loss is follows from its depth against that noise; where no other pass over the place is known, a track that the grip moved
//! over meanwhile explains it as well, and where the recording begins or ends in it the cut may have made it.

use super::place::UNKNOWN;
use super::usual::Usual;
use crate::analysis::prepared::Prepared;
use crate::analysis::statistics;
use std::ops::Range;

/// Scans are averaged over this first, µs.
const BLOCK_US: f64 = 1000.0;
/// Longest mean, blocks.
const LONGEST: usize = 512;
/// Depth over the noise of its scale that is certain, and the share of it from which a loss is reported at all.
const CERTAIN: f64 = 7.0;
const TOLD: f64 = 0.8;
/// Depth over the noise of its own place that is certain: that is known from fewer scans and seldom normal.
const CERTAIN_IN_NOISE: f64 = 10.0;
/// Shorter means than this are the search's for jumps, scans.
const FEWEST: usize = 8;
/// Least depth where no other passes show what is usual, ratio.
const LEAST_UNKNOWN: f64 = 0.01;
/// Part of the means that is taken for noise when its size is estimated, and the standard normal's quantile of that magnitude.
const QUIET: (f64, f64) = (0.95, 1.959_964);
/// The noise of a mean is never taken for less than this, ratio: 0.1 mV at 5 V.
const LEAST_NOISE: f64 = 2e-5;
/// Less motion in it than this is none that a track's texture could show in, degrees.
const STILL_DEG: f32 = 0.3;
/// Share of the places whose usual spread is taken as that of all: between passes play may stand anywhere in it.
pub(super) const SPREAD: f64 = 0.8;
/// Most candidates that are looked at.
const MOST: usize = 20_000;

/// What is searched.
pub(super) struct Series<'a> {
    /// Near constant under motion.
    pub values: &'a [f32],
    /// Noise from scan to scan, one standard deviation.
    pub sigma: f64,
    /// Least depth, ratio.
    pub least: f64,
    /// What the grain of the angle may show, ratio.
    pub slack: f64,
    /// Time by which the angle may be early or late, µs.
    pub lag_us: f64,
}

/// A loss.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Loss {
    /// Scans beyond half of its depth.
    pub scans: Range<usize>,
    /// Largest deviation from what is usual there, signed.
    pub depth: f64,
    /// How sure, 0..1.
    pub confidence: f64,
}

/// A mean over a few scans.
#[derive(Clone, Copy)]
struct Block {
    scan: usize,
    value: f32,
    deg: (f32, f32),
    away: f64,
    own: bool,
}

/// All losses, in order of time.
pub(super) fn search(prepared: &Prepared<'_>, series: &Series<'_>, runs: &[Range<usize>]) -> Vec<Loss> {
    let usual = Usual::new(prepared, series.values, runs);
    let size = (BLOCK_US / prepared.period_us.max(1.0)).round().max(1.0) as usize;
    let slack = (series.slack + usual.spread(SPREAD)) as f32;
    let lag = (series.lag_us / (size as f64 * prepared.period_us.max(1.0))).ceil() as usize;
    let rows: Vec<Row> = runs
        .iter()
        .filter(|r| r.len() >= 8 * size)
        .map(|r| Row::new(blocks(prepared, series.values, r, size, &usual, slack, lag), size))
        .collect();
    let mut candidates = Vec::new();
    let mut width = 2;
    while width * size < FEWEST {
        width *= 2;
    }
    while width <= LONGEST {
        let floor = (series.sigma / ((width * size) as f64).sqrt()).max(LEAST_NOISE);
        let Some(noise) = noise(&rows, width, floor) else { break };
        for (row, r) in rows.iter().enumerate() {
            for (at, mean) in r.means(width) {
                let excess = mean.abs() / noise / CERTAIN;
                if excess >= TOLD && mean.abs() >= series.least {
                    candidates.push((excess, row, at, width));
                }
            }
        }
        width *= 2;
    }
    candidates.sort_by(|a, b| b.0.total_cmp(&a.0));
    candidates.truncate(MOST);
    let mut out: Vec<Loss> = Vec::new();
    let mut taken: Vec<Vec<bool>> = rows.iter().map(|r| vec![false; r.blocks.len()]).collect();
    for (excess, row, at, width) in candidates {
        if taken[row][at..at + width].iter().any(|t| *t) {
            continue;
        }
        let excess = excess.min(rows[row].excess_there(at, width, &usual));
        if excess < TOLD {
            continue;
        }
        let (of, loss) = rows[row].refine(at, width, excess);
        let Some(loss) = loss else { continue };
        // Its flanks belong to it: a mean over them is no other loss.
        let around = of.start.saturating_sub(width)..(of.end + width).min(taken[row].len());
        taken[row][around].fill(true);
        out.push(loss);
    }
    out.sort_by_key(|l| l.scans.start);
    out
}

/// Means over `size` scans of a run, held against what is usual.
fn blocks(
    prepared: &Prepared<'_>,
    values: &[f32],
    run: &Range<usize>,
    size: usize,
    usual: &Usual,
    slack: f32,
    lag: usize,
) -> Vec<Block> {
    let mut last = (0.0, 0.0);
    let mut out: Vec<Block> = run
        .clone()
        .step_by(size)
        .filter(|scan| scan + size <= run.end)
        .map(|scan| {
            let of = scan..scan + size;
            let sum: f64 = values[of.clone()].iter().map(|v| f64::from(*v)).sum();
            let seen = prepared.deg.get(of).unwrap_or_default().iter().filter(|d| d.is_finite());
            let (low, high) = seen.fold((f32::MAX, f32::MIN), |(a, b), d| (a.min(*d), b.max(*d)));
            if low <= high {
                last = (low, high);
            }
            Block { scan, value: (sum / size as f64) as f32, deg: last, away: 0.0, own: false }
        })
        .collect();
    for k in 0..out.len() {
        let near = &out[k.saturating_sub(lag)..(k + lag + 1).min(out.len())];
        let (low, high) =
            near.iter().fold((f32::MAX, f32::MIN), |(a, b), n| (a.min(n.deg.0), b.max(n.deg.1)));
        let Some((from, to, own)) = usual.between(low, high) else { continue };
        let value = out[k].value;
        out[k].away = f64::from(value - value.clamp(from - slack, to + slack));
        out[k].own = own;
    }
    out
}

/// The blocks of a run, with their running sum.
struct Row {
    blocks: Vec<Block>,
    sum: Vec<f64>,
    size: usize,
}

impl Row {
    fn new(blocks: Vec<Block>, size: usize) -> Self {
        let mut sum = vec![0.0];
        for b in &blocks {
            sum.push(sum[sum.len() - 1] + b.away);
        }
        Self { blocks, sum, size }
    }

    fn mean(&self, at: usize, width: usize) -> f64 {
        (self.sum[at + width] - self.sum[at]) / width as f64
    }

    /// Means over `width` blocks, a quarter of that apart, with their first block.
    fn means(&self, width: usize) -> impl Iterator<Item = (usize, f64)> + '_ {
        let last = (self.blocks.len() + 1).saturating_sub(width);
        (0..last).step_by((width / 4).max(1)).map(move |at| (at, self.mean(at, width)))
    }

    /// Depth of a window's mean over what the noise from scan to scan of its place makes certain: a noisy stretch of track makes larger means.
    fn excess_there(&self, at: usize, width: usize, usual: &Usual) -> f64 {
        let of = &self.blocks[at..at + width];
        let (low, high) = of.iter().fold((f32::MAX, f32::MIN), |(a, b), w| (a.min(w.deg.0), b.max(w.deg.1)));
        let of_mean = usual.noise(low, high) / ((width * self.size) as f64).sqrt();
        self.mean(at, width).abs() / of_mean.max(LEAST_NOISE) / CERTAIN_IN_NOISE
    }

    /// Whether nothing moved before, in and after a loss: it left and came back at one place. What was only there for its length, as at
    /// the end of an overshoot, may be what that place reads.
    fn stood(&self, start: usize, end: usize) -> bool {
        let flank = (end - start).div_ceil(2) + 1;
        let of = &self.blocks[start.saturating_sub(flank)..(end + flank).min(self.blocks.len())];
        let (low, high) = of.iter().fold((f32::MAX, f32::MIN), |(a, b), w| (a.min(w.deg.0), b.max(w.deg.1)));
        high - low <= STILL_DEG
    }

    /// Where the loss in a window begins and ends, and how deep it is.
    fn refine(&self, at: usize, width: usize, excess: f64) -> (Range<usize>, Option<Loss>) {
        let n = self.blocks.len();
        let side = self.mean(at, width).signum();
        let half = width / 8;
        let smooth = |k: usize| {
            let (from, to) = (k.saturating_sub(half), (k + half + 1).min(n));
            side * self.mean(from, to - from)
        };
        let top = (at..at + width).max_by(|a, b| smooth(*a).total_cmp(&smooth(*b))).unwrap_or(at);
        let depth = smooth(top);
        let (mut start, mut end) = (top, top + 1);
        while start > 0 && smooth(start - 1) > 0.5 * depth {
            start -= 1;
        }
        while end < n && smooth(end) > 0.5 * depth {
            end += 1;
        }
        let within = &self.blocks[start..end];
        let own = within.iter().all(|b| b.own);
        let at_end = start == 0 || end == n;
        let sure = excess >= 1.0 && !at_end && (own || self.stood(start, end));
        let confidence = if sure { (1.0 - 0.05 * (1.0 - excess).exp()).min(0.999) } else { UNKNOWN };
        let scans = self.blocks[start].scan..self.blocks[end - 1].scan + self.size;
        let deep = sure || depth >= LEAST_UNKNOWN;
        (start..end, deep.then_some(Loss { scans, depth: side * depth, confidence }))
    }
}

/// Noise of means over `width` blocks: the greater part of them, without what stands far out. None without means.
fn noise(rows: &[Row], width: usize, floor: f64) -> Option<f64> {
    let total: usize = rows.iter().map(|r| r.blocks.len() / (width / 4).max(1)).sum();
    let every = (total / 20_000).max(1);
    let mut sizes: Vec<f64> =
        rows.iter().flat_map(|r| r.means(width)).step_by(every).map(|m| m.1.abs()).collect();
    if sizes.is_empty() {
        return None;
    }
    let mut noise = (statistics::median(&mut sizes)? / 0.674_49).max(floor);
    for _ in 0..2 {
        let mut kept: Vec<f64> = sizes.iter().copied().filter(|s| *s <= CERTAIN * noise).collect();
        noise = statistics::quantile(&mut kept, QUIET.0).map_or(noise, |q| noise.max(q / QUIET.1));
    }
    Some(noise)
}
