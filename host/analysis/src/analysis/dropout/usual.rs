//! What a series usually reads at a place of the travel: the null model of lost contact. It finds nothing by itself.
//!
//! A track's texture, a flat spot, play and an eccentric reference repeat at their place from pass to pass; a lost contact does not.
//! So every pass over half a degree gives one reading, and the usual ones are those between the quartiles of all passes, both directions
//! together: hysteresis lies between them, a loss in fewer than a quarter of the passes does not. A stay at one place counts as a pass
//! every quarter of a second. Where less than three passes are known, the neighbourhood's quartiles stand in for them, and the outcome says so.

use crate::analysis::prepared::Prepared;
use crate::analysis::statistics;
use std::ops::{Range, RangeInclusive};

/// Pitch of the places, degrees.
const PITCH_DEG: f64 = 0.5;
/// A stay counts as one pass for so long, µs.
const STAY_US: f64 = 250_000.0;
/// Passes that show what is usual at a place.
const ENOUGH: usize = 3;
/// Places on either side that stand in where too few passes are known: 4 degrees.
const NEIGHBOURS: usize = 8;
/// Standard deviation of normal noise over the mean magnitude of its second differences: √(π/2)/√6.
const MEAN_TO_SD: f64 = 0.511_663_354;
/// Most places.
const MOST: usize = 4096;

/// Usual readings along the travel.
pub(super) struct Usual {
    from_deg: f64,
    /// Lowest and highest usual reading; NaN where nothing is known.
    band: Vec<(f32, f32)>,
    /// Whether it is known from passes over the place itself.
    own: Vec<bool>,
    /// How far down and up a pass usually reaches; NaN where too few passes show it.
    reach: Vec<(f32, f32)>,
    /// Noise from scan to scan there, one standard deviation.
    noise: Vec<f64>,
}

impl Usual {
    /// Of a series, over runs of scans that all have a value.
    pub(super) fn new(prepared: &Prepared<'_>, values: &[f32], runs: &[Range<usize>]) -> Self {
        let seen = prepared.deg.iter().filter(|d| d.is_finite());
        let (low, high) = seen.fold((f32::MAX, f32::MIN), |(a, b), d| (a.min(*d), b.max(*d)));
        let (low, high) = if low <= high { (f64::from(low), f64::from(high)) } else { (0.0, 0.0) };
        let count = (((high - low) / PITCH_DEG) as usize + 1).min(MOST);
        let mut out =
            Self { from_deg: low, band: Vec::new(), own: Vec::new(), reach: Vec::new(), noise: Vec::new() };
        let longest = (STAY_US / prepared.period_us.max(1.0)).max(1.0) as usize;
        let mut passes: Vec<Vec<f32>> = vec![Vec::new(); count];
        let mut ends: Vec<(Vec<f32>, Vec<f32>)> = vec![(Vec::new(), Vec::new()); count];
        let mut second = vec![(0.0f64, 0u32); count];
        for run in runs {
            let mut start = run.start;
            let mut place = out.place(prepared.deg.get(start), count);
            for i in run.start..=run.end {
                let here = if i < run.end { out.place(prepared.deg.get(i), count) } else { usize::MAX };
                if i > run.start && i + 1 < run.end {
                    let (sum, n) = &mut second[here];
                    *sum += f64::from((values[i - 1] - values[i]) + (values[i + 1] - values[i])).abs();
                    *n += 1;
                }
                if here != place || i - start >= longest {
                    if i > start {
                        let sum: f64 = values[start..i].iter().map(|v| f64::from(*v)).sum();
                        passes[place].push((sum / (i - start) as f64) as f32);
                        let (low, high) = values[start..i]
                            .iter()
                            .fold((f32::MAX, f32::MIN), |(l, h), v| (l.min(*v), h.max(*v)));
                        ends[place].0.push(low);
                        ends[place].1.push(high);
                    }
                    (start, place) = (i, here);
                }
            }
        }
        out.noise = second.iter().map(|(sum, n)| sum / f64::from((*n).max(1)) * MEAN_TO_SD).collect();
        passes.iter_mut().for_each(|p| p.sort_by(f32::total_cmp));
        out.reach = ends.iter_mut().map(|(lows, highs)| (middle(lows), middle(highs))).collect();
        for k in 0..count {
            let own = passes[k].len() >= ENOUGH;
            let near = k.saturating_sub(NEIGHBOURS)..(k + NEIGHBOURS + 1).min(count);
            let mut around: Vec<f32>;
            let of = if own {
                &passes[k]
            } else {
                around = passes[near].iter().flatten().copied().collect();
                around.sort_by(f32::total_cmp);
                &around
            };
            out.own.push(own);
            out.band.push(quartiles(of));
        }
        out
    }

    fn place(&self, deg: Option<&f32>, count: usize) -> usize {
        let at = deg.map_or(0.0, |d| (f64::from(*d) - self.from_deg) / PITCH_DEG);
        if at > 0.0 { (at as usize).min(count - 1) } else { 0 }
    }

    /// Places between two angles and half a place beyond.
    fn around(&self, from_deg: f32, to_deg: f32) -> RangeInclusive<usize> {
        let beyond = 0.5 * PITCH_DEG as f32;
        let place = |deg: f32| self.place(Some(&deg), self.band.len());
        place(from_deg - beyond)..=place(to_deg + beyond)
    }

    /// Largest noise from scan to scan between two angles and half a place beyond, one standard deviation.
    pub(super) fn noise(&self, from_deg: f32, to_deg: f32) -> f64 {
        self.noise[self.around(from_deg, to_deg)].iter().copied().fold(0.0, f64::max)
    }

    /// Distance between the quartiles that `share` of the places keep to.
    pub(super) fn spread(&self, share: f64) -> f64 {
        let mut widths: Vec<f64> = self
            .band
            .iter()
            .zip(&self.own)
            .filter(|(b, own)| **own && b.0.is_finite())
            .map(|(b, _)| f64::from(b.1 - b.0))
            .collect();
        statistics::quantile(&mut widths, share).unwrap_or(0.0)
    }

    /// How far down and up a pass between two angles and half a place beyond usually reaches; none where too few passes show it.
    pub(super) fn reach(&self, from_deg: f32, to_deg: f32) -> Option<(f32, f32)> {
        let known = self.reach[self.around(from_deg, to_deg)].iter().filter(|r| r.0.is_finite());
        let (low, high) = known.fold((f32::MAX, f32::MIN), |(l, h), r| (l.min(r.0), h.max(r.1)));
        (low <= high).then_some((low, high))
    }

    /// Lowest and highest usual reading between two angles and half a place beyond; whether passes over them show it. None where nothing does.
    pub(super) fn between(&self, from_deg: f32, to_deg: f32) -> Option<(f32, f32, bool)> {
        let known = || self.around(from_deg, to_deg).filter(|k| self.band[*k].0.is_finite());
        let (low, high) =
            known().map(|k| self.band[k]).fold((f32::MAX, f32::MIN), |(l, h), (a, b)| (l.min(a), h.max(b)));
        (low <= high).then(|| (low, high, known().all(|k| self.own[k])))
    }
}

/// Median by rank of enough passes; NaN of fewer.
fn middle(values: &mut [f32]) -> f32 {
    values.sort_by(f32::total_cmp);
    if values.len() >= ENOUGH { values[values.len() / 2] } else { f32::NAN }
}

/// Quartiles of sorted values, by rank; the middle of three; NaN of none.
fn quartiles(sorted: &[f32]) -> (f32, f32) {
    let n = sorted.len();
    if n == 0 {
        return (f32::NAN, f32::NAN);
    }
    let beyond = if n >= ENOUGH { (n / 4).max(1) } else { 0 };
    (sorted[beyond], sorted[n - 1 - beyond])
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::synthetic::{Dropout, FlatSpot, Synthetic};

    #[test]
    fn a_flat_spot_is_usual_and_a_loss_in_one_stroke_is_not() {
        let mut part = Synthetic { cycles: 3, ..Synthetic::pot(3) };
        part.flat = vec![FlatSpot { line: 0, from_deg: 30.0, width_deg: 2.0, loss: 1.0, snap: true }];
        part.dropouts = vec![Dropout { lines: [true, false], at_s: 0.9, length_s: 0.05, level: 0.4 }];
        let (trace, sheet) = (part.trace(), part.sheet());
        let prepared = Prepared::new(&trace, &sheet);
        let line = prepared.ratio[0].as_deref().unwrap();
        let slope = (0.8 / 75.0) as f32;
        let flat: Vec<f32> = line.iter().zip(prepared.deg.iter()).map(|(r, d)| r - slope * d).collect();
        let usual = Usual::new(&prepared, &flat, &prepared.segments);
        let (low, _, own) = usual.between(31.5, 31.6).unwrap();
        assert!(own && low < 0.085, "{low}");
        // 0.9 s: 46.5 deg; the level 0.4 there is a fifth of the supply lower than usual.
        let (low, high, own) = usual.between(46.5, 46.6).unwrap();
        assert!(own && low > 0.08 && high < 0.12, "{low} {high}");
    }

    #[test]
    fn quartiles_of_few_values_are_what_counting_gives() {
        assert!(quartiles(&[]).0.is_nan());
        assert_eq!(quartiles(&[1.0, 2.0]), (1.0, 2.0));
        assert_eq!(quartiles(&[1.0, 2.0, 9.0]), (2.0, 2.0));
        assert_eq!(quartiles(&[0.0, 1.0, 2.0, 3.0, 4.0, 9.0]), (1.0, 4.0));
        assert_eq!(quartiles(&[0.0, 0.0, 1.0, 1.0, 2.0, 2.0, 9.0, 9.0]), (1.0, 2.0));
    }
}
