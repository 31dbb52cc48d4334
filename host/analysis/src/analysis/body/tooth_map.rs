//! Lost motion of the gears along the travel: where the motor turns and the plate does not follow. It finds no defect.
//!
//! Strokes from rest at constant volts: the rotor's angle at the plate is θ_m = (∫(v − R·i − V_b)dt − L·(i − i₀))/K'; lost motion is
//! θ_m − θ. Over a whole stroke rotor and plate turn by the same angle: K' is taken so for each stroke, robustly, because an error of R or K'
//! by one part in a hundred would shift the end of the map by 0.8°. Lost motion is averaged over strokes in bins of θ_m above the rest
//! position, less its mean over a middle part of the travel. The mesh stays on its opening flank all the way, so only that flank is seen; the
//! tooth in mesh at rest is not. The map ends where the strokes of this recording ended, or short of the open stop, where the blow winds the
//! gears up.

use super::estimate::Estimate;
use super::motor::{BRUSH_PER_A, Motor, RAD};
use super::stretches::{Recording, Stretch};
use crate::analysis::statistics::{self, mean};
use crate::trace::Stimulus;

/// Bins of a map: places above the rest position.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct Layout {
    /// Middle of the first bin, degrees above rest.
    pub first_deg: f64,
    /// Bin width, degrees, > 0.
    pub bin_deg: f64,
    /// Most bins: a map has as many as its strokes reached.
    pub bins: usize,
    /// The map's mean over [`Layout::REFERENCE_DEG`] from here up is taken off, degrees above rest.
    pub reference_deg: f64,
}

impl Layout {
    /// The layout of this version.
    pub const STANDARD: Self = Self { first_deg: 1.1, bin_deg: 0.2, bins: 385, reference_deg: 24.0 };
    /// Length of the part whose mean is taken off, degrees.
    pub const REFERENCE_DEG: f64 = 14.0;

    /// Whether a bin is of the part whose mean is taken off.
    pub fn is_reference(&self, bin: usize) -> bool {
        let deg = self.deg(bin) + 1e-9;
        (self.reference_deg..self.reference_deg + Self::REFERENCE_DEG).contains(&deg)
    }

    /// Fewest bins of a map: to the end of that part.
    pub fn least_bins(&self) -> usize {
        ((self.reference_deg + Self::REFERENCE_DEG - self.first_deg) / self.bin_deg).ceil() as usize
    }

    /// Whether the bins of `other` begin at the same places as these, as far as both go.
    pub fn agrees_with(&self, other: &Self) -> bool {
        self.first_deg == other.first_deg
            && self.bin_deg == other.bin_deg
            && self.reference_deg == other.reference_deg
    }

    /// Middle of a bin, degrees above rest.
    pub fn deg(&self, bin: usize) -> f64 {
        self.first_deg + self.bin_deg * bin as f64
    }

    /// Where a map of so many bins ends, degrees above rest.
    pub fn end_deg(&self, bins: usize) -> f64 {
        self.first_deg + self.bin_deg * (bins as f64 - 0.5)
    }
}

/// Lost motion along the travel.
#[derive(Clone, Debug, PartialEq)]
pub struct ToothMap {
    /// Where its bins lie.
    pub layout: Layout,
    /// Rest position, degrees of travel.
    pub rest_deg: f64,
    /// Lost motion, degrees, of every bin from the first to where the strokes end; at most as many as the layout has.
    pub lost_deg: Vec<f64>,
    /// Scatter of one stroke at a place, degrees.
    pub repeat_deg: f64,
    /// Strokes.
    pub strokes: usize,
    /// How far the plate fell back during a stroke: median over strokes of the largest fall, degrees.
    pub snap_back: Option<Estimate>,
    /// Where, degrees of travel.
    pub snap_back_deg: Option<f64>,
}

impl ToothMap {
    /// From where to where it looked, degrees of travel.
    pub fn covered_deg(&self) -> (f64, f64) {
        let first = self.layout.first_deg - 0.5 * self.layout.bin_deg;
        (self.rest_deg + first, self.rest_deg + self.layout.end_deg(self.lost_deg.len()))
    }
}

/// Why there is no map.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NoMap {
    /// The rest position, K' or R are not known.
    NoMotor,
    /// No stroke from rest in the recording went far enough.
    NoStroke,
    /// The strokes leave bins empty.
    Holes,
}

/// Plate above rest at which a stroke's integral begins, degrees.
const BEGIN_DEG: f64 = 0.6;
/// A stroke begins within this of rest, degrees.
const FROM_REST_DEG: f64 = 1.5;
/// A stroke is cut this far before the highest place that it reached: what it does against the open stop is no lost motion, degrees.
const SHORT_OF_STOP_DEG: f64 = 0.7;
/// Least volts of a stroke.
const LEAST_VOLTS: f64 = 1.0;

/// Rounds of the fit of a stroke's scale.
const ROUNDS: usize = 4;
/// Robust standard deviations beyond which a scan has no say in a stroke's scale.
const STANDS_OUT: f64 = 2.5;
/// Scales that errors of R and K' can make: beyond them rotor and plate did not turn together.
const LIKELY_SCALE: std::ops::RangeInclusive<f64> = 0.5..=1.5;

/// One stroke: bin sums are taken over all of them.
struct Stroke {
    /// Degrees above rest of the rotor, and lost motion, per sample.
    points: Vec<(f64, f64)>,
    fall: (f64, f64),
}

/// The map of all strokes.
///
/// # Errors
/// Says what was missing.
pub fn measure(recordings: &[&Recording], motor: &Motor, rest_deg: Option<f64>) -> Result<ToothMap, NoMap> {
    let layout = Layout::STANDARD;
    let rest_deg = rest_deg.ok_or(NoMap::NoMotor)?;
    if motor.emf.is_none() || motor.winding().is_none() {
        return Err(NoMap::NoMotor);
    }
    let mut strokes = Vec::new();
    for r in recordings {
        for (before, s) in r.with_previous().filter(|(_, s)| s.whole) {
            if matches!(before.stimulus, Stimulus::Release { .. }) {
                strokes.extend(stroke(r, s, motor, rest_deg));
            }
        }
    }
    if strokes.is_empty() {
        return Err(NoMap::NoStroke);
    }
    let maps: Vec<Vec<Option<f64>>> = strokes.iter().map(|s| binned(&s.points, layout)).collect();
    let lost_deg = averaged(&maps, layout).ok_or(NoMap::Holes)?;
    let mut falls: Vec<f64> = strokes.iter().map(|s| s.fall.0).collect();
    let snap_back = Estimate::median_of(&falls, 0.02);
    let middle = statistics::median(&mut falls).unwrap_or(0.0);
    let mut places: Vec<f64> = strokes.iter().filter(|s| s.fall.0 >= middle).map(|s| s.fall.1).collect();
    Ok(ToothMap {
        layout,
        rest_deg,
        repeat_deg: repeat(&maps, &lost_deg),
        lost_deg,
        strokes: strokes.len(),
        snap_back,
        snap_back_deg: statistics::median(&mut places),
    })
}

fn stroke(r: &Recording, s: &Stretch, motor: &Motor, rest_deg: f64) -> Option<Stroke> {
    let Stimulus::Volts { volts, .. } = s.stimulus else { return None };
    let (emf, winding) = (motor.emf?.value, motor.winding()?);
    let from = mean(r.deg(s.range.start..s.range.start + 5))?;
    if volts < LEAST_VOLTS || (from - rest_deg).abs() > FROM_REST_DEG {
        return None;
    }
    let deg = r.deg(s.range.clone());
    let begin = s.range.start + deg.iter().position(|d| *d > rest_deg + BEGIN_DEG)?;
    let highest = deg.windows(5).map(|w| w.iter().sum::<f64>() / 5.0).fold(f64::NEG_INFINITY, f64::max);
    let top = highest - SHORT_OF_STOP_DEG;
    let end = deg.iter().position(|d| *d > top).map_or(s.range.end, |k| s.range.start + k);
    if end <= begin {
        return None;
    }
    let (deg, volts, amps) = (r.deg(begin..end), r.volts(begin..end), r.amps(begin..end));
    if deg.len() < 40 || !deg.iter().chain(volts).chain(amps).all(|v| v.is_finite()) {
        return None;
    }
    let first_amps = amps[0];
    let start = mean(&deg[..5])?;
    let left = |k: usize| {
        let i = amps[k] - motor.offsets.amps;
        volts[k] - motor.offsets.volts - winding.ohm * i - winding.brush * (BRUSH_PER_A * i).tanh()
    };
    let mut flux = 0.0;
    let mut turned = Vec::with_capacity(deg.len());
    for k in 0..deg.len() {
        if k > 0 {
            flux += 0.5 * (left(k - 1) + left(k)) * r.period_s;
        }
        turned.push((flux - motor.henry.value * (amps[k] - first_amps)) / emf / RAD);
    }
    let scale = plate_over_rotor(&turned, deg)?;
    let points = turned.iter().zip(deg).map(|(t, d)| (scale * t + start - rest_deg, scale * t + start - d));
    Some(Stroke { points: points.collect(), fall: largest_fall(deg) })
}

/// Degrees that the plate turns for one of the rotor over a whole stroke, by least squares without what stands out: a worn tooth is no scale.
/// None where both do not turn together.
fn plate_over_rotor(rotor: &[f64], plate: &[f64]) -> Option<f64> {
    let mut kept: Vec<usize> = (0..rotor.len()).collect();
    let mut scale = None;
    for _ in 0..ROUNDS {
        let (x, y): (Vec<f64>, Vec<f64>) = kept.iter().map(|k| (rotor[*k], plate[*k])).unzip();
        let (about, level) = (mean(&x)?, mean(&y)?);
        let square: f64 = x.iter().map(|x| (x - about).powi(2)).sum();
        let slope = x.iter().zip(&y).map(|(x, y)| (x - about) * (y - level)).sum::<f64>() / square;
        if !LIKELY_SCALE.contains(&slope) {
            return None;
        }
        scale = Some(slope);
        let off = |k: usize| plate[k] - level - slope * (rotor[k] - about);
        let usual = statistics::robust_sd(&mut kept.iter().map(|k| off(*k)).collect::<Vec<f64>>())?;
        kept = (0..rotor.len()).filter(|k| off(*k).abs() <= STANDS_OUT * usual).collect();
    }
    scale
}

/// Largest fall of the angle below what it had reached, smoothed over five samples, and where it had been.
fn largest_fall(deg: &[f64]) -> (f64, f64) {
    let (mut highest, mut worst) = (f64::NEG_INFINITY, (0.0, f64::NAN));
    for w in deg.windows(5) {
        let d = w.iter().sum::<f64>() / 5.0;
        highest = highest.max(d);
        if highest - d > worst.0 {
            worst = (highest - d, highest);
        }
    }
    (worst.0, if worst.1.is_finite() { worst.1 } else { deg[0] })
}

/// Mean lost motion per bin of one stroke, less its mean over the reference part.
fn binned(points: &[(f64, f64)], layout: Layout) -> Vec<Option<f64>> {
    let mut sums = vec![(0.0, 0u32); layout.bins];
    for (x, lost) in points {
        let bin = ((x - layout.first_deg) / layout.bin_deg + 0.5).floor();
        if bin >= 0.0 && bin < layout.bins as f64 {
            let b = &mut sums[bin as usize];
            *b = (b.0 + lost, b.1 + 1);
        }
    }
    let mut map: Vec<Option<f64>> = sums.iter().map(|(s, n)| (*n > 0).then(|| s / f64::from(*n))).collect();
    let upper: Vec<f64> =
        (0..layout.bins).filter(|k| layout.is_reference(*k)).filter_map(|k| map[k]).collect();
    let level = mean(&upper).unwrap_or(0.0);
    map.iter_mut().flatten().for_each(|v| *v -= level);
    map
}

/// Mean over strokes, up to where at least half of them came; holes of up to five bins are bridged evenly. None with larger ones, or
/// where it ends within the part whose mean is taken off.
fn averaged(maps: &[Vec<Option<f64>>], layout: Layout) -> Option<Vec<f64>> {
    let means: Vec<Option<f64>> = (0..layout.bins)
        .map(|k| {
            let values: Vec<f64> = maps.iter().filter_map(|m| m[k]).collect();
            mean(&values).filter(|_| 2 * values.len() >= maps.len())
        })
        .collect();
    let known: Vec<usize> = (0..layout.bins).filter(|k| means[*k].is_some()).collect();
    let first = *known.first()?;
    let holes = known.windows(2).position(|w| w[1] - w[0] > 6);
    let known = &known[..holes.map_or(known.len(), |k| k + 1)];
    let last = *known.last()?;
    if first > 3 || last + 4 < layout.least_bins() {
        return None;
    }
    let at = |k: usize| means[k].unwrap_or(0.0);
    (0..=last)
        .map(|k| {
            let after = known.partition_point(|i| *i < k);
            let (a, b) = (known[after.saturating_sub(1)], known[after.min(known.len() - 1)]);
            let share = if b > a { ((k as f64 - a as f64) / (b - a) as f64).clamp(0.0, 1.0) } else { 0.0 };
            Some(at(a) + share * (at(b) - at(a)))
        })
        .collect()
}

/// Scatter of one stroke about the mean map, robust, degrees.
fn repeat(maps: &[Vec<Option<f64>>], mean: &[f64]) -> f64 {
    let mut off: Vec<f64> =
        maps.iter().flat_map(|m| m.iter().zip(mean).filter_map(|(v, m)| v.map(|v| v - m))).collect();
    statistics::robust_sd(&mut off).unwrap_or(0.0)
}
