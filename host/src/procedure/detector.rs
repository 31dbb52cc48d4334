//! A cheap online detector of jumps in one line: the deviation of a sample from the median of its neighbours, against the
//! line's own noise. Constant memory, constant work per sample.
//!
//! It finds that something jumped. What it was is for the analysis of the kept window.

use super::robust;

/// Samples in the median; the judged one is the middle. A jump that lasts longer shows at both its edges.
const WINDOW: usize = 15;
const MIDDLE: usize = WINDOW / 2;
/// Samples between two estimates of the noise.
const BATCH: usize = 1_024;
/// Deviation that counts, in standard deviations of the noise: one false alarm in 4e11 samples of Gaussian noise.
const SIGMAS: f64 = 7.0;
/// … and at least this, V: a step that no controller would take for a fault.
const LEAST_VOLTS: f64 = 0.010;
/// The noise may grow by this factor from one batch to the next, so that a burst does not blind the detector.
const GROWTH: f64 = 1.5;

/// Watches one line.
#[derive(Clone, Debug)]
pub(super) struct Detector {
    ring: [f32; WINDOW],
    filled: usize,
    at: usize,
    batch: Vec<f32>,
    noise: Option<f64>,
}

impl Detector {
    /// Knows nothing of the line yet; silent until it has seen [`BATCH`] samples.
    pub(super) fn new() -> Self {
        Self { ring: [0.0; WINDOW], filled: 0, at: 0, batch: Vec::with_capacity(BATCH), noise: None }
    }

    /// How many samples ago the sample was taken that [`Detector::push`] judges.
    pub(super) const DELAY: usize = MIDDLE;

    /// Takes a sample; the deviation of the sample [`Self::DELAY`] before it, V, when it is a jump.
    pub(super) fn push(&mut self, value: f32) -> Option<f64> {
        self.ring[self.at] = value;
        self.at = (self.at + 1) % WINDOW;
        self.filled = (self.filled + 1).min(WINDOW);
        self.batch.push(value);
        if self.batch.len() == BATCH {
            self.estimate();
        }
        let threshold = (SIGMAS * self.noise?).max(LEAST_VOLTS);
        if self.filled < WINDOW {
            return None;
        }
        let mut sorted = self.ring;
        let (_, median, _) = sorted.select_nth_unstable_by(MIDDLE, f32::total_cmp);
        let judged = self.ring[(self.at + MIDDLE) % WINDOW];
        let deviation = f64::from(judged) - f64::from(*median);
        (deviation.abs() > threshold).then_some(deviation)
    }

    /// Samples are missing: what comes next is no neighbour of what was. The noise stays known.
    pub(super) fn interrupt(&mut self) {
        self.filled = 0;
        self.batch.clear();
    }

    /// Standard deviation of the line's noise, V.
    pub(super) fn noise(&self) -> Option<f64> {
        self.noise
    }

    fn estimate(&mut self) {
        if let Some(fresh) = robust::noise(&self.batch) {
            self.noise = Some(self.noise.map_or(fresh, |old| fresh.min(old.max(1e-5) * GROWTH)));
        }
        self.batch.clear();
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Noise of about 1 mV that repeats, from a fixed recurrence.
    fn noisy(k: u32) -> f32 {
        let mixed = k.wrapping_mul(2_654_435_761).rotate_left(13).wrapping_mul(2_246_822_519);
        2.5 + 0.001 * (f32::from((mixed >> 16) as u16) / 18_918.0 - 1.732)
    }

    fn jumps(count: u32, value: impl Fn(u32) -> f32) -> Vec<u32> {
        let mut detector = Detector::new();
        let judged = |k: u32| k - Detector::DELAY as u32;
        (0..count).filter(|k| detector.push(value(*k)).is_some()).map(judged).collect()
    }

    #[test]
    fn noise_alone_is_no_jump() {
        assert_eq!(jumps(50_000, noisy), [0u32; 0]);
    }

    #[test]
    fn a_single_sample_that_drops_is_found_at_its_place() {
        assert_eq!(jumps(8_000, |k| if k == 5_000 { noisy(k) - 0.05 } else { noisy(k) }), [5_000]);
    }

    #[test]
    fn a_long_drop_is_found_at_both_edges() {
        let found = jumps(8_000, |k| if (5_000..5_200).contains(&k) { noisy(k) - 1.0 } else { noisy(k) });
        assert!(found.contains(&5_000) && found.contains(&5_199), "{found:?}");
        assert!(found.iter().all(|k| *k < 5_010 || *k > 5_190), "{found:?}");
    }

    #[test]
    fn slow_motion_is_no_jump() {
        // 3 V/s at 5 kHz: a grip turned quickly by hand.
        assert_eq!(jumps(8_000, |k| noisy(k) + 0.0006 * k as f32), [0u32; 0]);
    }
}
