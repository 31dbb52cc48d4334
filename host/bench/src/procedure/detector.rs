//! A cheap online detector of jumps in one line, against the line's own noise. Constant memory, constant work per sample.
//!
//! Two tests on a window of 15 samples. Pulse: the middle sample against the median of all; sees what is shorter than half
//! the window. Step: the medians of both halves against each other, less what the slope of the older half foretells; sees
//! the edges of what is longer. It finds that something jumped; what it was is for the analysis of the kept window.

use super::robust;
use crate::quantity::order;

/// Samples in the window.
const WINDOW: usize = 15;
/// The judged sample, counted from the oldest.
const MIDDLE: usize = WINDOW / 2;
/// Samples between two estimates of the noise.
const BATCH: usize = 1_024;
/// A pulse that counts, in standard deviations of the noise: one false alarm in 4e11 samples of Gaussian noise.
const PULSE_SIGMAS: f64 = 7.0;
/// A step that counts. Each median of 7 has 0.47 sigma; the slope over 4 samples between medians of 3 (0.67 sigma each),
/// times the 8 samples between the halves' middles, has 1.9 sigma: together 2.0 sigma, and 7 of these.
const STEP_SIGMAS: f64 = 14.0;
/// The smallest pulse that counts, V: no controller would take less for a fault.
const LEAST_PULSE: f64 = 0.010;
/// The smallest step that counts, V …
const LEAST_STEP: f64 = 0.020;
/// … and the quickest honest change of slope, V/s: a grip let go at 240 deg/s against its stop, 4 V over 75 deg. Over the
/// 8 samples between the halves it looks like a step.
const HONEST_SLOPE: f64 = 12.8;
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
    least_step: f64,
    /// Samples since the last pulse: its own traces in the window are no step.
    since_pulse: usize,
}

impl Detector {
    /// For scans `period_us` apart. Knows nothing of the line yet; silent until it has seen [`BATCH`] samples.
    pub(super) fn new(period_us: u32) -> Self {
        Self {
            ring: [0.0; WINDOW],
            filled: 0,
            at: 0,
            batch: Vec::with_capacity(BATCH),
            noise: None,
            least_step: LEAST_STEP.max(HONEST_SLOPE * 8.0 * f64::from(period_us) / 1e6),
            since_pulse: WINDOW,
        }
    }

    /// How many samples ago the sample was taken that [`Detector::push`] judges.
    pub(super) const DELAY: usize = MIDDLE;

    /// Takes a sample; how far the line jumped at the sample [`Self::DELAY`] before it, V, when it did. The edge of a step
    /// is found up to 5 samples early or late.
    pub(super) fn push(&mut self, value: f32) -> Option<f64> {
        self.ring[self.at] = value;
        self.at = (self.at + 1) % WINDOW;
        self.filled = (self.filled + 1).min(WINDOW);
        self.batch.push(value);
        if self.batch.len() == BATCH {
            self.estimate();
        }
        let noise = self.noise?;
        if self.filled < WINDOW {
            return None;
        }
        let mut window = self.ring;
        window.rotate_left(self.at);
        self.since_pulse = (self.since_pulse + 1).min(WINDOW);
        let pulse = f64::from(window[MIDDLE]) - middle::<WINDOW>(&window, 0);
        if pulse.abs() > (PULSE_SIGMAS * noise).max(LEAST_PULSE) {
            self.since_pulse = 0;
            return Some(pulse);
        }
        let step = step(&window);
        let counts = self.since_pulse == WINDOW && step.abs() > (STEP_SIGMAS * noise).max(self.least_step);
        counts.then_some(step)
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

/// The median of so many values from one on.
fn middle<const N: usize>(window: &[f32; WINDOW], from: usize) -> f64 {
    let mut values: [f64; N] = std::array::from_fn(|k| f64::from(window[from + k]));
    order::median(&mut values).unwrap_or(f64::NAN)
}

/// By how much the newer half lies above what the older half foretells.
fn step(window: &[f32; WINDOW]) -> f64 {
    let half = |from: usize| middle::<MIDDLE>(window, from);
    let three = |from: usize| middle::<3>(window, from);
    let slope = (three(MIDDLE - 3) - three(0)) / (MIDDLE - 3) as f64;
    half(MIDDLE + 1) - half(0) - slope * (MIDDLE + 1) as f64
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
        let mut detector = Detector::new(200);
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
        let near = |edge: u32| found.iter().filter(|k| k.abs_diff(edge) <= 5).count();
        assert!(near(5_000) > 0 && near(5_200) > 0, "{found:?}");
        assert_eq!(near(5_000) + near(5_200), found.len(), "{found:?}");
    }

    #[test]
    fn a_stop_that_is_run_against_is_no_jump() {
        // 200 deg/s at 4 V over 75 deg, then stillness: what a hand does.
        let stopped = |k: u32| noisy(k) + 0.002_13 * k.clamp(5_000, 5_400) as f32;
        assert_eq!(jumps(8_000, stopped), [0u32; 0]);
    }

    #[test]
    fn slow_motion_is_no_jump() {
        // 3 V/s at 5 kHz: a grip turned quickly by hand.
        assert_eq!(jumps(8_000, |k| noisy(k) + 0.0006 * k as f32), [0u32; 0]);
    }
}
