//! Moving means of a column within its segments, from running sums; of a long column only every few are kept. It knows nothing of what the
//! column is.

use super::side_by_side::{self, PIECE};
use std::ops::Range;

/// Of a column longer than [`LONG`], every so many running sums one is kept; those between are added up again, to the same bit.
const KEPT_EVERY: usize = 16;
/// Scans of a column whose running sums are not all kept: 8 MB.
const LONG: usize = 1 << 20;
/// Scans whose running sums are worked out at once, in the processor's cache.
const WINDOW: usize = 4096;

/// A column, or one to which a share of another is added.
#[derive(Clone, Copy)]
pub(super) struct Mixed<'a> {
    values: &'a [f32],
    added: Option<(f32, &'a [f32])>,
}

impl<'a> Mixed<'a> {
    /// A column as it is.
    pub fn only(values: &'a [f32]) -> Self {
        Self { values, added: None }
    }

    /// With `by` times another column of the same length.
    pub fn with(self, by: f32, other: &'a [f32]) -> Self {
        Self { added: Some((by, other)), ..self }
    }

    /// Its value at a scan.
    #[inline]
    pub fn at(self, i: usize) -> f32 {
        match self.added {
            Some((by, other)) => self.values[i] + by * other[i],
            None => self.values[i],
        }
    }
}

/// Running sums, for moving means within segments; what is not finite does not count.
pub(super) struct Sums<'a> {
    of: Mixed<'a>,
    every: usize,
    /// Sum of the values before every so manyth scan.
    kept: Vec<f64>,
    /// The same of how many are finite; none where all are.
    counted: Option<Vec<u32>>,
    /// Stretches without a gap.
    pub segments: &'a [Range<usize>],
}

impl<'a> Sums<'a> {
    /// Of a column whose segments are these.
    pub fn new(of: Mixed<'a>, segments: &'a [Range<usize>]) -> Self {
        let every = if of.values.len() > LONG { KEPT_EVERY } else { 1 };
        Self::keeping(every, of, segments)
    }

    fn keeping(every: usize, of: Mixed<'a>, segments: &'a [Range<usize>]) -> Self {
        let n = of.values.len();
        let (mut kept, mut counted) = (Vec::with_capacity(n / every + 1), Vec::new());
        let (mut total, mut count) = (0.0f64, 0u32);
        for i in 0..n {
            if i % every == 0 {
                kept.push(total);
                counted.push(count);
            }
            let v = of.at(i);
            if v.is_finite() {
                total += f64::from(v);
                count += 1;
            }
        }
        if n.is_multiple_of(every) {
            kept.push(total);
            counted.push(count);
        }
        Self { of, every, kept, counted: (count as usize != n).then_some(counted), segments }
    }

    /// Sum and count of the values before a scan.
    #[inline]
    fn before(&self, i: usize) -> (f64, u32) {
        if self.every == 1 {
            return (self.kept[i], self.counted.as_ref().map_or(i as u32, |c| c[i]));
        }
        let from = i / self.every;
        let mut total = self.kept[from];
        let mut count = self.counted.as_ref().map_or((from * self.every) as u32, |c| c[from]);
        for v in (from * self.every..i).map(|k| self.of.at(k)).filter(|v| v.is_finite()) {
            total += f64::from(v);
            count += 1;
        }
        (total, count)
    }

    /// Centred mean at `i` of a segment over up to `half` scans on each side, as many on both; NaN without a value.
    #[inline]
    pub fn at(&self, segment: &Range<usize>, i: usize, half: usize) -> f32 {
        let (from, to) = around(segment, i, half);
        let ((a, m), (b, n)) = (self.before(from), self.before(to));
        mean(b - a, n - m)
    }

    /// Pieces of all segments that can be worked on side by side, each with its segment.
    pub fn pieces(&self) -> Vec<(Range<usize>, Range<usize>)> {
        let pieces = |s: &Range<usize>| {
            let s = s.clone();
            s.clone().step_by(PIECE).map(move |from| (s.clone(), from..s.end.min(from + PIECE)))
        };
        self.segments.iter().flat_map(pieces).collect()
    }

    /// Calls `take` with the running sums for each few scans of a piece in turn, reaching `reach` scans further where the segment does.
    pub fn windows(
        &self,
        segment: &Range<usize>,
        piece: Range<usize>,
        reach: usize,
        mut take: impl FnMut(Range<usize>, &Window),
    ) {
        let mut window = Window { segment: segment.clone(), from: 0, sums: Vec::new(), counts: Vec::new() };
        for from in piece.clone().step_by(WINDOW) {
            let to = piece.end.min(from + WINDOW);
            let first = from.saturating_sub(reach).max(segment.start);
            window.fill(self, first..segment.end.min(to + reach));
            take(from..to, &window);
        }
    }

    /// Centred moving mean over `half` scans on each side, fewer on both at the ends of a segment: a slope shows nothing in it.
    pub fn means(&self, half: usize) -> Vec<f32> {
        let mut out = vec![f32::NAN; self.of.values.len()];
        for (segment, piece) in self.pieces() {
            self.windows(&segment, piece, half + 1, |range, sums| {
                range.for_each(|i| out[i] = sums.at(i, half));
            });
        }
        out
    }

    /// Mean of these means; none without any.
    pub fn mean_of_means(&self, half: usize) -> Option<f64> {
        let parts = side_by_side::each(self.pieces(), |(segment, piece)| {
            let (mut n, mut sum) = (0u64, 0.0);
            self.windows(&segment, piece, half + 1, |range, sums| {
                for mean in range.map(|i| sums.at(i, half)).filter(|m| m.is_finite()) {
                    n += 1;
                    sum += f64::from(mean);
                }
            });
            (n, sum)
        });
        let (n, sum) = parts.into_iter().fold((0, 0.0), |(n, sum), part| (n + part.0, sum + part.1));
        (n > 0).then(|| sum / n as f64)
    }
}

/// The running sums of a few scans.
pub(super) struct Window {
    segment: Range<usize>,
    from: usize,
    sums: Vec<f64>,
    /// Empty where every value is finite.
    counts: Vec<u32>,
}

impl Window {
    fn fill(&mut self, all: &Sums<'_>, range: Range<usize>) {
        let (mut total, mut count) = all.before(range.start);
        self.from = range.start;
        self.sums.clear();
        self.counts.clear();
        self.sums.push(total);
        if all.counted.is_none() {
            self.sums.extend(range.map(|i| {
                total += f64::from(all.of.at(i));
                total
            }));
            return;
        }
        self.counts.push(count);
        for v in range.map(|i| all.of.at(i)) {
            if v.is_finite() {
                total += f64::from(v);
                count += 1;
            }
            self.sums.push(total);
            self.counts.push(count);
        }
    }

    /// As [`Sums::at`], within the window.
    #[inline]
    pub fn at(&self, i: usize, half: usize) -> f32 {
        let (from, to) = around(&self.segment, i, half);
        let (a, b) = (from - self.from, to - self.from);
        let n = if self.counts.is_empty() { (to - from) as u32 } else { self.counts[b] - self.counts[a] };
        mean(self.sums[b] - self.sums[a], n)
    }
}

/// The scans of a centred mean.
#[inline]
fn around(segment: &Range<usize>, i: usize, half: usize) -> (usize, usize) {
    let half = half.min(i - segment.start).min(segment.end - 1 - i);
    (i - half, i + half + 1)
}

#[inline]
fn mean(sum: f64, n: u32) -> f32 {
    if n == 0 { f32::NAN } else { (sum / f64::from(n)) as f32 }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        /// Against the mean added up anew, which rounds differently by a part in 10^6 of the largest value at most.
        #[test]
        fn means_are_those_of_the_values_around(
            values in proptest::collection::vec(prop_oneof![9 => -5.0f32..5.0, 1 => Just(f32::NAN)], 1..300),
            cut in 0usize..300,
            half in 0usize..40,
        ) {
            let (n, cut) = (values.len(), cut.min(values.len()));
            let segments: Vec<_> = [0..cut, cut..n].into_iter().filter(|s| !s.is_empty()).collect();
            let sums = Sums::keeping(KEPT_EVERY, Mixed::only(&values), &segments);
            let (means, all) = (sums.means(half), Sums::new(Mixed::only(&values), &segments));
            for segment in &segments {
                for i in segment.clone() {
                    let (from, to) = around(segment, i, half);
                    let near: Vec<f64> = values[from..to].iter().filter(|v| v.is_finite()).map(|v| f64::from(*v)).collect();
                    let expected = near.iter().sum::<f64>() / near.len() as f64;
                    prop_assert_eq!(means[i].to_bits(), sums.at(segment, i, half).to_bits());
                    prop_assert_eq!(means[i].to_bits(), all.at(segment, i, half).to_bits());
                    prop_assert!((f64::from(means[i]) - expected).abs() < 5e-6 || (expected.is_nan() && means[i].is_nan()));
                }
            }
        }
    }
}
