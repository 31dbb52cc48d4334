//! The course of the watched lines over hours in bounded memory: the longer it takes, the coarser.

use super::BaselinePoint;
use crate::quantity::Channel;

/// Most points; when there are more, two become one.
const POINTS: usize = 2_048;
/// First width of a point, µs.
const FIRST_US: u64 = 100_000;

/// A coarse course of the lines in bounded memory.
#[derive(Debug)]
pub(super) struct Baseline {
    width_us: u64,
    points: Vec<BaselinePoint>,
}

impl Default for Baseline {
    fn default() -> Self {
        Self { width_us: FIRST_US, points: Vec::new() }
    }
}

impl Baseline {
    /// Adds the values of one scan.
    pub(super) fn add(&mut self, at_us: u64, values: &[(Channel, f32)]) {
        let fresh = match self.points.last() {
            Some(last) => at_us >= last.at_us + self.width_us,
            None => true,
        };
        if fresh {
            if self.points.len() == POINTS {
                self.coarsen();
            }
            let line = |(channel, value): &(Channel, f32)| {
                let value = f64::from(*value);
                (*channel, value, value, value)
            };
            self.points.push(BaselinePoint { at_us, scans: 1, lines: values.iter().map(line).collect() });
            return;
        }
        let Some(point) = self.points.last_mut() else { return };
        point.scans += 1;
        for ((_, mean, low, high), (_, value)) in point.lines.iter_mut().zip(values) {
            let value = f64::from(*value);
            *mean += (value - *mean) / point.scans as f64;
            *low = low.min(value);
            *high = high.max(value);
        }
    }

    /// The points so far.
    pub(super) fn into_points(self) -> Vec<BaselinePoint> {
        self.points
    }

    /// Two neighbours become one.
    fn coarsen(&mut self) {
        self.width_us *= 2;
        self.points = self.points.chunks(2).map(merge).collect();
    }
}

fn merge(pair: &[BaselinePoint]) -> BaselinePoint {
    let mut point = pair[0].clone();
    if let [_, second] = pair {
        let scans = point.scans + second.scans;
        for (a, b) in point.lines.iter_mut().zip(&second.lines) {
            a.1 += (b.1 - a.1) * second.scans as f64 / scans as f64;
            a.2 = a.2.min(b.2);
            a.3 = a.3.max(b.3);
        }
        point.scans = scans;
    }
    point
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_baseline_stays_bounded_and_keeps_means_and_extremes() {
        let mut baseline = Baseline::default();
        let scans = 10 * POINTS as u64;
        for k in 0..scans {
            let value = if k == 777 { 0.0 } else { 2.0 };
            baseline.add(k * FIRST_US, &[(Channel::Rising, value)]);
        }
        assert!(baseline.points.len() <= POINTS);
        assert_eq!(baseline.points.iter().map(|p| p.scans).sum::<u64>(), scans);
        let lowest = baseline.points.iter().map(|p| p.lines[0].2).fold(9.0, f64::min);
        assert_eq!(lowest, 0.0);
        let mean: f64 =
            baseline.points.iter().map(|p| p.lines[0].1 * p.scans as f64).sum::<f64>() / scans as f64;
        assert!((mean - (2.0 - 2.0 / scans as f64)).abs() < 1e-9, "{mean}");
    }
}
