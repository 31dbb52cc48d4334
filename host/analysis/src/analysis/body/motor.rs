//! The motor through its terminals: EMF constant, resistance, brush drop, inductance, dead spots. It knows no limit.
//!
//! - K', volts per radian per second of plate (= newton metres at the plate per ampere, power in = power out): with the bridge
//!   open the terminals show the EMF, so K' = ∫(v − v₀)dt / Δθ between two places of a coast. The mesh stays on one flank above
//!   the rest position, so plate and motor turn together; pieces of a coast where they do not, as over a missing tooth, are left out.
//! - R and brush drop: v − K'ω = R·i + V_b·tanh(20 i) by least squares over slow ramps (Isermann, Combustion Engine Diagnosis,
//!   2017, 7.1.2: U = R·I + Ψ·ν·ω + c₀). The ramps turn the rotor through many commutations, whose ripple averages out.
//! - L: ∫(v − R·i − V_b)dt = L·Δi in the first millisecond after a step of volts.

use super::dead_spots::{self, DeadSpot};
use super::estimate::Estimate;
use super::rest::stands;
use super::stretches::{Recording, Stretch};
use crate::analysis::statistics::{self, mean};
use crate::sheet::MotorNominal;
use crate::trace::Stimulus;
use std::ops::Range;

/// Radians per degree.
pub const RAD: f64 = std::f64::consts::PI / 180.0;
/// After the bridge opens, the time until the winding's current is gone and the gears have relaxed, s.
const FLYBACK_S: f64 = 0.012;
/// How near to rest a coast is used, degrees.
const NEAR_REST_DEG: f64 = 3.0;
/// A coast shorter than this shows K' too coarsely, degrees.
const SHORTEST_COAST_DEG: f64 = 10.0;
/// Pieces of a coast in which rotor and plate are held against each other, degrees; a piece whose ratio lies further off the others than
/// this share did not turn together.
const PIECE_DEG: f64 = 4.0;
const APART: f64 = 0.12;
/// Copper's temperature coefficient at 20 °C, 1/K (IEC 60028: 0.00393).
const COPPER_PER_K: f64 = 0.00393;
/// How far the winding may differ from the rig's temperature, K, one standard deviation. Engineering assumption.
const WINDING_K: f64 = 4.0;
/// Brush drop rises over about this current: tanh(20 i). Engineering assumption.
pub const BRUSH_PER_A: f64 = 20.0;
/// Inductance where no step of volts was recorded, H. Engineering assumption.
const UNKNOWN_HENRY: Estimate = Estimate { value: 1.5e-3, uncertainty: 0.3e-3 };
/// Brush drop where it could not be measured, V. Engineering assumption.
const UNKNOWN_BRUSH: f64 = 0.15;
/// Length of a block of a slow ramp, s.
const BLOCK_S: f64 = 0.005;
/// Samples under this current show no resistance, A.
const LEAST_AMPS: f64 = 0.15;

/// What is not known of the rig and the plate's own sensor, standard uncertainties.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RigErrors {
    /// Relative, of terminal volts.
    pub volts_gain: f64,
    /// Relative, of motor amps.
    pub amps_gain: f64,
    /// Of the plate angle at one place, degrees: the sensor's nonlinearity.
    pub bend_deg: f64,
}

impl Default for RigErrors {
    /// The physics study's rig (part B, section 1); engineering assumptions.
    fn default() -> Self {
        Self { volts_gain: 0.002, amps_gain: 0.005, bend_deg: 0.17 }
    }
}

/// Readings at no volts and no amps.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Offsets {
    /// Terminal volts.
    pub volts: f64,
    /// Motor amps.
    pub amps: f64,
}

/// The motor as measured.
#[derive(Clone, Debug, PartialEq)]
pub struct Motor {
    /// EMF constant referred to the plate, V s/rad = N m/A.
    pub emf: Option<Estimate>,
    /// Winding, leads and brushes, Ω, as measured.
    pub ohm: Option<Estimate>,
    /// The same referred to 20 °C by the rig's temperature, Ω.
    pub ohm_at_20: Option<Estimate>,
    /// Brush drop, V.
    pub brush_volts: Option<Estimate>,
    /// Inductance, H.
    pub henry: Estimate,
    /// Readings at rest.
    pub offsets: Offsets,
    /// Places where the brushes lose contact, in order of travel.
    pub dead_spots: Vec<DeadSpot>,
    /// Places where the rotor ran free of the plate, in order of travel.
    pub ran_free: Vec<DeadSpot>,
    /// Coasts that gave K'.
    pub coasts: usize,
}

/// Measures the motor from every recording that can give it; `nominal` is the sheet's motor.
pub fn measure(
    recordings: &[&Recording],
    rest_deg: Option<f64>,
    rig: RigErrors,
    nominal: Option<MotorNominal>,
) -> Motor {
    let offsets = offsets(recordings);
    let coasts: Vec<Coast> = match rest_deg {
        Some(rest) => recordings.iter().flat_map(|r| coasts(r, rest)).collect(),
        None => Vec::new(),
    };
    let emf = emf_of(&coasts, rig);
    let known = emf.map(|k| k.value).or(nominal.map(|n| n.back_emf));
    let slow: Vec<Block> =
        known.map_or_else(Vec::new, |k| recordings.iter().flat_map(|r| slow_blocks(r, offsets, k)).collect());
    let fit = Winding::fit(&slow);
    let ohm = fit
        .as_ref()
        .and_then(|f| Estimate::new(f.ohm, f.ohm_error.hypot(f.ohm * rig.amps_gain.hypot(rig.volts_gain))));
    let brush_volts = fit.as_ref().and_then(|f| Estimate::new(f.brush, f.brush_error));
    let celsius = recordings.iter().map(|r| r.signals.celsius).find(|t| t.is_finite());
    let ohm_at_20 = ohm.zip(celsius).and_then(|(r, t)| {
        let factor = 1.0 + COPPER_PER_K * (t - 20.0);
        let value = r.value / factor;
        (factor > 0.5)
            .then(|| Estimate::new(value, (r.uncertainty / factor).hypot(value * COPPER_PER_K * WINDING_K)))?
    });
    let henry = fit.as_ref().and_then(|f| inductance(recordings, offsets, f)).unwrap_or(UNKNOWN_HENRY);
    // A drive that is stuck on a dead spot shows no resistance: the sheet's then serves to find it.
    let assumed = nominal.map(|n| Winding {
        ohm: n.winding_ohms,
        brush: UNKNOWN_BRUSH,
        ohm_error: 0.0,
        brush_error: 0.0,
    });
    let (dead_spots, ran_free) =
        fit.or(assumed).zip(known).map(|(f, k)| dead_spots::find(&slow, &f, k, BLOCK_S)).unwrap_or_default();
    Motor { emf, ohm, ohm_at_20, brush_volts, henry, offsets, dead_spots, ran_free, coasts: coasts.len() }
}

/// Readings where the bridge is open and the plate stands.
pub fn offsets(recordings: &[&Recording]) -> Offsets {
    let (mut volts, mut amps) = (Vec::new(), Vec::new());
    for r in recordings {
        for s in r.stretches.iter().filter(|s| matches!(s.stimulus, Stimulus::Release { .. })) {
            let tail = r.tail(&s.range, 0.05);
            if tail.len() < r.samples(0.02)
                || s.range.len() < 2 * tail.len()
                || stands(r, tail.clone()).is_none()
            {
                continue;
            }
            volts.extend(mean(r.volts(tail.clone())));
            amps.extend(mean(r.amps(tail)));
        }
    }
    Offsets {
        volts: statistics::median(&mut volts).unwrap_or(0.0),
        amps: statistics::median(&mut amps).unwrap_or(0.0),
    }
}

/// One coast: flux over angle.
struct Coast {
    emf: f64,
    span_deg: f64,
}

/// Angle at a sample by a line through its neighbours.
fn deg_at(recording: &Recording, index: usize) -> Option<f64> {
    let near = index.saturating_sub(10)..index + 11;
    let deg = recording.deg(near);
    let x: Vec<f64> = (0..deg.len()).map(|k| k as f64 - 10.0).collect();
    statistics::fit_line(&x, deg).map(|f| f.at(0.0))
}

fn coasts(recording: &Recording, rest_deg: f64) -> Vec<Coast> {
    let mut out = Vec::new();
    for s in recording.stretches.iter().filter(|s| matches!(s.stimulus, Stimulus::Release { .. })) {
        out.extend(coast(recording, s, rest_deg));
    }
    out
}

fn coast(recording: &Recording, release: &Stretch, rest_deg: f64) -> Option<Coast> {
    let start = release.range.start + recording.samples(FLYBACK_S);
    let range = start..release.range.end;
    let deg = recording.deg(range.clone());
    let near = deg.windows(5).position(|w| w.iter().sum::<f64>() < 5.0 * (rest_deg + NEAR_REST_DEG));
    // A plate that hangs on its way shows K' up to where it stops.
    let end = match near {
        Some(k) => start + k + 2,
        None => start + stopped(deg, recording.samples(0.02))?,
    };
    let from = deg_at(recording, start)?;
    let to = deg_at(recording, end)?;
    let span_deg = from - to;
    if span_deg < SHORTEST_COAST_DEG {
        return None;
    }
    let tail = recording.tail(&release.range, 0.05);
    // Where the plate never stands, its coast shows nothing of the offset: the meter's own, about 2 mV, is then left in.
    let offset = stands(recording, tail.clone()).and_then(|_| mean(recording.volts(tail))).unwrap_or(0.0);
    let emf = emf_over(recording, start..end, offset)?;
    (emf.is_finite() && emf > 0.0).then_some(Coast { emf, span_deg })
}

/// Flux over angle of a coast, piece by piece; pieces whose rotor and plate did not turn together, as over a missing tooth, are left out.
fn emf_over(recording: &Recording, range: Range<usize>, offset: f64) -> Option<f64> {
    let mut cuts = vec![range.start];
    let mut next = deg_at(recording, range.start)? - PIECE_DEG;
    for k in range.clone() {
        let near = recording.deg(k.saturating_sub(2)..k + 3);
        if mean(near).is_some_and(|d| d < next) {
            cuts.push(k);
            next -= PIECE_DEG;
        }
    }
    // What is left at the end goes with the last whole piece.
    if cuts.len() > 1 {
        cuts.pop();
    }
    cuts.push(range.end);
    let piece = |w: &[usize]| {
        let flux = integral(recording.volts(w[0]..w[1] + 1), offset, recording.period_s)?;
        Some((flux, (deg_at(recording, w[1])? - deg_at(recording, w[0])?) * RAD))
    };
    let pieces: Vec<(f64, f64)> = cuts.windows(2).map(piece).collect::<Option<_>>()?;
    let mut ratios: Vec<f64> = pieces.iter().map(|p| p.0 / p.1).collect();
    let middle = statistics::median(&mut ratios)?;
    let together = |p: &&(f64, f64)| ((p.0 / p.1) / middle - 1.0).abs() < APART;
    let (flux, way) = pieces.iter().filter(together).fold((0.0, 0.0), |a, p| (a.0 + p.0, a.1 + p.1));
    (way != 0.0).then(|| flux / way)
}

/// First sample after which the angle changes by less than 0.1° over `span` samples.
fn stopped(deg: &[f64], span: usize) -> Option<usize> {
    let means: Vec<f64> = deg.windows(5).map(|w| w.iter().sum::<f64>() / 5.0).collect();
    means.windows(span + 1).position(|w| (w[span] - w[0]).abs() < 0.1).map(|k| k + span / 2)
}

/// Trapezoid of values less an offset; none where a value is missing.
pub fn integral(values: &[f64], offset: f64, period_s: f64) -> Option<f64> {
    let sum: f64 = values.windows(2).map(|w| 0.5 * (w[0] + w[1]) - offset).sum();
    (values.len() >= 2 && sum.is_finite()).then_some(sum * period_s)
}

/// All coasts together: each weighs with the square of its span, because what errs is its ends.
fn emf_of(coasts: &[Coast], rig: RigErrors) -> Option<Estimate> {
    let mut all: Vec<f64> = coasts.iter().map(|c| c.emf).collect();
    let middle = statistics::median(&mut all)?;
    // A coast that hung or bounced shows another number; half as much again is not a part's spread.
    let good: Vec<&Coast> = coasts.iter().filter(|c| (c.emf / middle - 1.0).abs() < 0.2).collect();
    let weight: f64 = good.iter().map(|c| c.span_deg.powi(2)).sum();
    let value = good.iter().map(|c| c.span_deg.powi(2) * c.emf).sum::<f64>() / weight;
    let span = (good.iter().map(|c| c.span_deg.powi(4)).sum::<f64>() / weight).sqrt();
    let values: Vec<f64> = good.iter().map(|c| c.emf).collect();
    let scatter =
        statistics::standard_deviation(&values).unwrap_or(0.005 * value) / (good.len() as f64).sqrt();
    let bend = value * rig.bend_deg * 2.0f64.sqrt() / span;
    Estimate::new(value, scatter.hypot(bend).hypot(value * rig.volts_gain))
}

/// Means over a few milliseconds of a slow drive.
#[derive(Clone, Copy, Debug)]
pub(super) struct Block {
    /// Plate, degrees.
    pub deg: f64,
    /// Volts less EMF.
    pub volts: f64,
    /// Motor amps.
    pub amps: f64,
    /// Whether the plate went with the ramp; a drive that is stuck shows no resistance.
    pub moving: bool,
}

/// Blocks of slow ramps.
fn slow_blocks(recording: &Recording, offsets: Offsets, emf: f64) -> Vec<Block> {
    let n = recording.samples(BLOCK_S).max(2);
    let mut out = Vec::new();
    for s in &recording.stretches {
        let Stimulus::Ramp { speed_deg_s, .. } = s.stimulus else { continue };
        if !(1.0..60.0).contains(&speed_deg_s) {
            continue;
        }
        let from = s.range.start + recording.samples(0.05);
        let means: Vec<Option<[f64; 3]>> = (from..s.range.end.saturating_sub(n))
            .step_by(n)
            .map(|k| {
                let block = k..k + n;
                Some([
                    mean(recording.deg(block.clone()))?,
                    mean(recording.volts(block.clone()))? - offsets.volts,
                    mean(recording.amps(block))? - offsets.amps,
                ])
            })
            .collect();
        let span_s = 2.0 * n as f64 * recording.period_s;
        out.extend(means.windows(3).filter_map(|w| {
            let (before, at, after) = (w[0]?, w[1]?, w[2]?);
            let speed = (after[0] - before[0]) * RAD / span_s;
            Some(Block {
                deg: at[0],
                volts: at[1] - emf * speed,
                amps: at[2],
                moving: speed.abs() > 0.4 * speed_deg_s * RAD,
            })
        }));
    }
    out
}

/// v = R·i + V_b·tanh(20 i).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Winding {
    /// R, Ω.
    pub ohm: f64,
    /// V_b, V.
    pub brush: f64,
    ohm_error: f64,
    brush_error: f64,
}

impl Winding {
    fn fit(blocks: &[Block]) -> Option<Self> {
        let mut kept: Vec<Block> =
            blocks.iter().copied().filter(|b| b.moving && b.amps.abs() > LEAST_AMPS).collect();
        // A dead spot's blocks lie volts off: the median of all first says which.
        let mut ratios: Vec<f64> = kept.iter().map(|b| b.volts / b.amps).filter(|r| r.is_finite()).collect();
        let rough = statistics::median(&mut ratios)?;
        kept.retain(|b| (b.volts - rough * b.amps).abs() < 0.3 + 0.3 * (rough * b.amps).abs());
        let mut fit = None;
        for _ in 0..4 {
            let now = Self::least_squares(&kept)?;
            let mut residual: Vec<f64> = kept.iter().map(|b| now.residual(b)).collect();
            let sd = statistics::robust_sd(&mut residual)?.max(1e-3);
            kept.retain(|b| now.residual(b).abs() < 3.5 * sd);
            fit = Some(now);
        }
        fit.filter(|f| f.ohm > 0.0)
    }

    /// Of known values, without errors.
    #[cfg(test)]
    pub(super) fn known(ohm: f64, brush: f64) -> Self {
        Self { ohm, brush, ohm_error: 0.0, brush_error: 0.0 }
    }

    fn residual(&self, b: &Block) -> f64 {
        b.volts - self.ohm * b.amps - self.brush * (BRUSH_PER_A * b.amps).tanh()
    }

    /// Two unknowns by their normal equations; the errors count one independent point in ten, since ripple is no noise.
    fn least_squares(blocks: &[Block]) -> Option<Self> {
        if blocks.len() < 50 {
            return None;
        }
        let (mut aa, mut ab, mut bb, mut ay, mut by) = (0.0, 0.0, 0.0, 0.0, 0.0);
        for b in blocks {
            let brush = (BRUSH_PER_A * b.amps).tanh();
            aa += b.amps * b.amps;
            ab += b.amps * brush;
            bb += brush * brush;
            ay += b.amps * b.volts;
            by += brush * b.volts;
        }
        let det = aa * bb - ab * ab;
        if det <= 1e-6 * aa * bb {
            return None;
        }
        let (ohm, brush) = ((bb * ay - ab * by) / det, (aa * by - ab * ay) / det);
        let plain = Self { ohm, brush, ohm_error: 0.0, brush_error: 0.0 };
        let n = blocks.len() as f64;
        let variance = blocks.iter().map(|b| plain.residual(b).powi(2)).sum::<f64>() / (n - 2.0) * 10.0;
        Some(Self {
            ohm_error: (variance * bb / det).sqrt(),
            brush_error: (variance * aa / det).sqrt(),
            ..plain
        })
    }

    /// Volts that resistance and brushes take at a current.
    pub fn drop_at(&self, amps: f64) -> f64 {
        self.ohm * amps + self.brush * (BRUSH_PER_A * amps).tanh()
    }
}

impl Motor {
    /// Resistance and brush drop for integrals of other procedures; none where they could not be had.
    pub fn winding(&self) -> Option<Winding> {
        let (ohm, brush) = (self.ohm?, self.brush_volts?);
        Some(Winding {
            ohm: ohm.value,
            brush: brush.value,
            ohm_error: ohm.uncertainty,
            brush_error: brush.uncertainty,
        })
    }
}

/// L from every step of volts by at least 3 V.
fn inductance(recordings: &[&Recording], offsets: Offsets, winding: &Winding) -> Option<Estimate> {
    let mut all = Vec::new();
    for r in recordings {
        for s in r.whole().filter(|s| matches!(s.stimulus, Stimulus::Volts { .. })) {
            // The step lies between two samples: begin one later, when volts are constant.
            let first = s.range.start + 1;
            let last = (first + r.samples(0.001)).min(s.range.end.saturating_sub(1));
            all.extend(henry_over(r, first..last + 1, offsets, winding));
        }
    }
    let least = 0.1 * statistics::median(&mut all.clone())?;
    Estimate::median_of(&all, least).filter(|e| e.value > 0.0)
}

fn henry_over(r: &Recording, range: Range<usize>, offsets: Offsets, winding: &Winding) -> Option<f64> {
    let amps = r.amps(range.clone());
    let change = amps.last()? - amps.first()?;
    if change.is_nan() || change.abs() <= 1.0 {
        return None;
    }
    let left: Vec<f64> = r
        .volts(range)
        .iter()
        .zip(amps)
        .map(|(v, i)| v - offsets.volts - winding.drop_at(i - offsets.amps))
        .collect();
    integral(&left, 0.0, r.period_s).map(|flux| flux / change)
}
