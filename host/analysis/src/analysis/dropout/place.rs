//! How sure an excursion is: against the noise of its place on the track, over all strokes that pass it.
//!
//! A wire breaks in time, a track is noisy at a place. Noise is taken from second differences, far enough apart that the input
//! filter does not make them alike, in 0.25° of travel; its scale is their 85 % quantile, so that a noisy stretch
//! of 0.15° already shows. Contacts that bounce always jump to the same side, noise jumps to both: only where both
//! are seen do the excursions themselves count as noise.

use super::detect::Excursion;
use crate::analysis::prepared::Prepared;

/// Pitch of the places, degrees.
const PITCH_DEG: f64 = 0.25;
/// Places on either side that count too.
const REACH: usize = 2;
/// Quantile of the magnitudes, and its value for a standard normal.
const QUANTILE: (f64, f64) = (0.85, 1.439_531);
/// Second differences that show a place's noise.
const ENOUGH: u32 = 24;
/// Excess over the noise that a certain excursion has; where the place is noisier than the rest its noise is less well known
/// and seldom normal.
const CERTAIN: (f64, f64) = (7.0, 10.0);
/// Share of it from which an excursion is reported at all.
const TOLD: f64 = 0.6;
/// Confidence where too few scans passed the place for its noise to be known, and of what a turn at a flat spot's edge imitates.
pub(super) const UNKNOWN: f64 = 0.8;
/// Levels of a histogram, half an octave each.
const LEVELS: usize = 128;

/// Magnitudes of second differences.
#[derive(Clone)]
struct Histogram([u32; LEVELS]);

impl Histogram {
    fn add(&mut self, magnitude: f32) {
        // Exponent and first bit of the fraction: half octaves from 2^-40 on.
        let level = (magnitude.to_bits() >> 22).saturating_sub((127 - 40) << 1) as usize;
        self.0[level.min(LEVELS - 1)] += 1;
    }

    /// Upper edge of the level that holds the quantile, taken in proportion; none with too few.
    fn quantile(&self, p: f64) -> Option<f64> {
        let total: u32 = self.0.iter().sum();
        if total < ENOUGH {
            return None;
        }
        let wanted = p * f64::from(total);
        let mut below = 0.0;
        for (k, n) in self.0.iter().enumerate() {
            let n = f64::from(*n);
            if below + n >= wanted {
                let edge = |k: usize| (1.0 + 0.5 * (k % 2) as f64) * 2f64.powi((k / 2) as i32 - 40);
                return Some(edge(k) + (edge(k + 1) - edge(k)) * (wanted - below) / n);
            }
            below += n;
        }
        None
    }
}

/// Noise along the travel, and the excursions in it.
pub(super) struct Places {
    low: f64,
    outside: Vec<Histogram>,
    inside: Vec<Histogram>,
    /// Excursions towards ground and towards supply.
    sides: Vec<[u32; 2]>,
    all: f64,
}

impl Places {
    /// Of a series; `lag` scans make the filter forget.
    pub(super) fn new(
        prepared: &Prepared<'_>,
        values: &[f32],
        lag: usize,
        excursions: &[Excursion],
        sigma: f64,
    ) -> Self {
        let (low, high) = prepared.travel_deg.unwrap_or((0.0, 0.0));
        let n = ((high - low) / PITCH_DEG) as usize + 1;
        let empty = Histogram([0; LEVELS]);
        let mut out = Self {
            low,
            outside: vec![empty.clone(); n],
            inside: vec![empty; n],
            sides: vec![[0; 2]; n],
            all: sigma,
        };
        for e in excursions {
            let at = out.index(prepared, e);
            out.sides[at][usize::from(e.peak > 0.0)] += 1;
        }
        let mut next = excursions.iter().peekable();
        for segment in &prepared.segments {
            for i in segment.start + lag..segment.end.saturating_sub(lag) {
                while next.peek().is_some_and(|e| e.samples.end + 2 + lag <= i) {
                    next.next();
                }
                let second = (values[i - lag] - values[i]) + (values[i + lag] - values[i]);
                if !second.is_finite() {
                    continue;
                }
                let within = next.peek().is_some_and(|e| e.samples.start <= i + 2 + lag);
                let at = out.place(prepared.deg.get(i).copied());
                let of = if within { &mut out.inside[at] } else { &mut out.outside[at] };
                of.add(second.abs());
            }
        }
        out
    }

    fn place(&self, deg: Option<f32>) -> usize {
        let at = deg.map_or(0.0, |d| (f64::from(d) - self.low) / PITCH_DEG);
        if at > 0.0 { (at as usize).min(self.outside.len() - 1) } else { 0 }
    }

    fn index(&self, prepared: &Prepared<'_>, e: &Excursion) -> usize {
        let start = e.samples.start;
        let near = [start.saturating_sub(1), start, e.samples.end];
        self.place(near.iter().filter_map(|i| prepared.deg.get(*i)).find(|d| d.is_finite()).copied())
    }

    /// Noise near a place, one standard deviation; none where too little was seen.
    fn noise(&self, at: usize) -> Option<f64> {
        let near = at.saturating_sub(REACH)..(at + REACH + 1).min(self.outside.len());
        let sides = self.sides[near.clone()].iter().fold([0, 0], |s, n| [s[0] + n[0], s[1] + n[1]]);
        let both = 10 * sides[0].min(sides[1]) >= sides[0] + sides[1];
        let scale = 1.0 / (QUANTILE.1 * 6f64.sqrt());
        // The noisiest of the window and the place itself: a narrow noisy stretch is thinned out in the window.
        let of = |places: std::ops::Range<usize>| {
            let mut sum = Histogram([0; LEVELS]);
            let mut add = |h: &Histogram| sum.0.iter_mut().zip(h.0).for_each(|(s, n)| *s += n);
            for k in places {
                add(&self.outside[k]);
                if both {
                    add(&self.inside[k]);
                }
            }
            sum.quantile(QUANTILE.0).map(|q| q * scale)
        };
        let wide = of(near.clone())?;
        Some(near.map(|k| of(k..k + 1).unwrap_or(0.0)).fold(wide, f64::max))
    }

    /// How sure that contact was lost, 0..1; none for what the noise of the place explains.
    pub(super) fn confidence(&self, prepared: &Prepared<'_>, e: &Excursion) -> Option<f64> {
        if e.deep {
            return Some(0.99);
        }
        let Some(noise) = self.noise(self.index(prepared, e)) else { return Some(UNKNOWN) };
        let certain = if noise > 2.0 * self.all { CERTAIN.1 } else { CERTAIN.0 };
        let excess = e.peak.abs() / noise.max(self.all) / certain;
        let sure = excess >= 1.0 && !e.turned;
        let confidence = if sure { (1.0 - 0.05 * (1.0 - excess).exp()).min(0.999) } else { UNKNOWN };
        (excess > TOLD).then_some(confidence)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::synthetic::{NoisyTrack, Synthetic};

    #[test]
    fn the_quantile_of_normal_magnitudes_is_that_of_the_normal() {
        let mut random = crate::analysis::statistics::Resampler::new(4);
        let mut all = Histogram([0; LEVELS]);
        assert_eq!(all.quantile(QUANTILE.0), None);
        (0..50_000).for_each(|_| all.add((0.002 * random.normal().abs()) as f32));
        let got = all.quantile(QUANTILE.0).unwrap();
        // Half octaves are 41 % wide; within one the proportion is taken as even.
        assert!((got / (0.002 * QUANTILE.1) - 1.0).abs() < 0.06, "{got}");
        all.add(0.0);
        all.add(f32::MAX);
    }

    #[test]
    fn a_narrow_noisy_place_is_noisy_and_the_rest_is_not() {
        let mut part = Synthetic::hall(2);
        part.noisy = vec![NoisyTrack { line: 0, at_deg: 40.0, width_deg: 0.3, volts: 0.03 }];
        let (trace, sheet) = (part.trace(), part.sheet());
        let prepared = Prepared::new(&trace, &sheet);
        let line = prepared.ratio[0].as_deref().unwrap();
        let places = Places::new(&prepared, line, 1, &[], 0.00025);
        let at = |deg: f32| places.noise(places.place(Some(deg))).unwrap();
        // 30 mV of 5 V, the part of it in 0.25 deg and in no more.
        assert!(at(40.0) > 0.003 && at(20.0) < 0.0005, "{} {}", at(40.0), at(20.0));
        assert_eq!(places.place(Some(f32::NAN)), 0);
        assert_eq!(places.place(Some(1e6)), places.outside.len() - 1);
    }
}
