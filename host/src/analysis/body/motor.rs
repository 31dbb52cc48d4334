//! The motor through its terminals: EMF constant, resistance, brush drop, inductance, dead spots. It knows no limit.
//!
//! - K', volts per radian per second of plate (= newton metres at the plate per ampere, power in = power out): with the bridge
//!   open the terminals show the EMF, so K' = ∫(v − v₀)dt / Δθ between two places of a coast. The mesh stays on one flank above
//!   the rest position, so plate and motor turn together.
//! - R and brush drop: v − K'ω = R·i + V_b·tanh(20 i) by least squares over slow ramps (Isermann, Combustion Engine Diagnosis,
//!   2017, 7.1.2: U = R·I + Ψ·ν·ω + c₀). The ramps turn the rotor through many commutations, whose ripple averages out.
//! - L: ∫(v − R·i − V_b)dt = L·Δi in the first millisecond after a step of volts.
//! - Dead spots: places where (v − K'ω − V_b)/i rises above R, seen in both directions.

use super::estimate::Estimate;
use super::rest::stands;
use super::stretches::{Recording, Stretch, mean};
use crate::analysis::statistics;
use crate::trace::Stimulus;
use std::ops::Range;

/// Radians per degree.
pub const RAD: f64 = std::f64::consts::PI / 180.0;
/// After the bridge opens, the time until the winding's current is gone and the gears have relaxed, s.
const FLYBACK_S: f64 = 0.012;
/// How near to rest a coast is used, degrees.
const NEAR_REST_DEG: f64 = 3.0;
/// A coast shorter than this tells K' too coarsely, degrees.
const SHORTEST_COAST_DEG: f64 = 10.0;
/// Copper's temperature coefficient at 20 °C, 1/K (IEC 60028: 0.00393).
const COPPER_PER_K: f64 = 0.00393;
/// How far the winding may differ from the rig's temperature, K, one standard deviation. Engineering assumption.
const WINDING_K: f64 = 4.0;
/// Brush drop rises over about this current: tanh(20 i). Engineering assumption.
pub const BRUSH_PER_A: f64 = 20.0;
/// Inductance where no step of volts was recorded, H. Engineering assumption.
const UNKNOWN_HENRY: Estimate = Estimate { value: 1.5e-3, uncertainty: 0.3e-3 };
/// Width of a bin of the map of apparent resistance, degrees.
const MAP_DEG: f64 = 0.25;
/// Samples under this current tell no resistance, A.
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
        Self { volts_gain: 0.002, amps_gain: 0.005, bend_deg: 0.12 }
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

/// A place where the brushes make no contact.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DeadSpot {
    /// Where in the travel, degrees: rotor angle turned into plate angle.
    pub at_deg: f64,
    /// Its width, degrees of plate.
    pub width_deg: f64,
    /// Apparent resistance above the winding's, Ω.
    pub ohm: f64,
    /// How many spreads of the rest of the map that is.
    pub z: f64,
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
    /// Apparent resistance along the travel: degrees, Ω above the winding's.
    pub map: Vec<(f64, f64)>,
    /// Largest apparent resistance over the winding's, with its z.
    pub worst: Option<DeadSpot>,
    /// Places of the map that stand out, in order of travel.
    pub dead_spots: Vec<DeadSpot>,
    /// Coasts that told K'.
    pub coasts: usize,
}

/// Measures the motor from every recording that tells of it.
pub fn measure(recordings: &[&Recording], rest_deg: Option<f64>, rig: RigErrors) -> Motor {
    let offsets = offsets(recordings);
    let coasts: Vec<Coast> = match rest_deg {
        Some(rest) => recordings.iter().flat_map(|r| coasts(r, rest)).collect(),
        None => Vec::new(),
    };
    let emf = emf_of(&coasts, rig);
    let slow: Vec<Block> = emf.map_or_else(Vec::new, |k| {
        recordings.iter().flat_map(|r| slow_blocks(r, offsets, k.value)).collect()
    });
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
    let map = fit.as_ref().map_or_else(Map::default, |f| Map::of(&slow, f));
    let dead_spots = map.stand_out(fit.as_ref().map_or(1.0, |f| f.ohm));
    Motor {
        emf,
        ohm,
        ohm_at_20,
        brush_volts,
        henry,
        offsets,
        worst: dead_spots.0,
        dead_spots: dead_spots.1,
        map: map.bins,
        coasts: coasts.len(),
    }
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
    // A plate that hangs on its way tells K' up to where it stops.
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
    // Where the plate never stands, its coast tells nothing of the offset: the meter's own, about 2 mV, is then left in.
    let offset = stands(recording, tail.clone()).and_then(|_| mean(recording.volts(tail))).unwrap_or(0.0);
    let flux = integral(recording.volts(start..end + 1), offset, recording.period_s)?;
    let emf = flux / (-span_deg * RAD);
    (emf.is_finite() && emf > 0.0).then_some(Coast { emf, span_deg })
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
    // A coast that hung or bounced tells another number; half as much again is no part's spread.
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
struct Block {
    deg: f64,
    /// Volts less EMF.
    volts: f64,
    amps: f64,
    up: bool,
}

/// Blocks of 5 ms of ramps.
fn slow_blocks(recording: &Recording, offsets: Offsets, emf: f64) -> Vec<Block> {
    let n = recording.samples(0.005).max(2);
    let mut out = Vec::new();
    for s in &recording.stretches {
        let Stimulus::Ramp { speed_deg_s, .. } = s.stimulus else { continue };
        if !(1.0..60.0).contains(&speed_deg_s) {
            continue;
        }
        let from = s.range.start + recording.samples(0.05);
        let means: Vec<[f64; 3]> = (from..s.range.end.saturating_sub(n))
            .step_by(n)
            .filter_map(|k| {
                let block = k..k + n;
                Some([
                    mean(recording.deg(block.clone()))?,
                    mean(recording.volts(block.clone()))? - offsets.volts,
                    mean(recording.amps(block))? - offsets.amps,
                ])
            })
            .collect();
        let span_s = 2.0 * n as f64 * recording.period_s;
        out.extend(means.windows(3).map(|w| {
            let speed = (w[2][0] - w[0][0]) * RAD / span_s;
            Block { deg: w[1][0], volts: w[1][1] - emf * speed, amps: w[1][2], up: speed > 0.0 }
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
        let mut kept: Vec<Block> = blocks.iter().copied().filter(|b| b.amps.abs() > LEAST_AMPS).collect();
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
        for s in r.stretches.iter().filter(|s| matches!(s.stimulus, Stimulus::Volts { .. })) {
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
    if !(change.abs() > 1.0) {
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

/// Apparent resistance over the winding's along the travel.
#[derive(Default)]
struct Map {
    bins: Vec<(f64, f64)>,
}

impl Map {
    /// The lesser of both directions' medians per bin: a dead spot is there both ways; friction or noise of one way is not.
    fn of(blocks: &[Block], winding: &Winding) -> Self {
        let highest = blocks.iter().map(|b| b.deg).fold(0.0, f64::max).min(360.0);
        let n = (highest / MAP_DEG) as usize + 1;
        let mut sides: [Vec<Vec<f64>>; 2] = [vec![Vec::new(); n], vec![Vec::new(); n]];
        for b in blocks.iter().filter(|b| b.amps.abs() > 0.3 * LEAST_AMPS && b.deg >= 0.0) {
            let over = (b.volts - winding.brush * (BRUSH_PER_A * b.amps).tanh()) / b.amps - winding.ohm;
            if let Some(bin) = sides[usize::from(b.up)].get_mut((b.deg / MAP_DEG) as usize) {
                bin.push(over);
            }
        }
        let bins = (0..n).filter_map(|k| {
            let up = statistics::quantile(&mut sides[1][k], 0.5);
            let down = statistics::quantile(&mut sides[0][k], 0.5);
            let over = match (up, down) {
                (Some(u), Some(d)) => u.min(d),
                (one, other) => one.or(other)?,
            };
            over.is_finite().then_some(((k as f64 + 0.5) * MAP_DEG, over))
        });
        Self { bins: bins.collect() }
    }

    /// The highest place, and every group of bins that stands out.
    fn stand_out(&self, ohm: f64) -> (Option<DeadSpot>, Vec<DeadSpot>) {
        let mut over: Vec<f64> = self.bins.iter().map(|b| b.1).collect();
        let Some(sd) = statistics::robust_sd(&mut over) else { return (None, Vec::new()) };
        // Ripple of a good commutator is up to 4 % of R (engineering assumption); nothing below it is a spread.
        let sd = sd.max(0.04 * ohm);
        let spot = |group: &[(f64, f64)]| {
            let peak = group.iter().copied().max_by(|a, b| a.1.total_cmp(&b.1))?;
            let width_deg = group.len() as f64 * MAP_DEG;
            Some(DeadSpot { at_deg: peak.0, width_deg, ohm: peak.1, z: peak.1 / sd })
        };
        let worst = self.bins.iter().max_by(|a, b| a.1.total_cmp(&b.1)).and_then(|b| spot(&[*b]));
        let high: Vec<(f64, f64)> = self.bins.iter().copied().filter(|b| b.1 > (8.0 * sd).max(ohm)).collect();
        let groups = high.chunk_by(|a, b| b.0 - a.0 < 2.5 * MAP_DEG).filter_map(spot).collect();
        (worst, groups)
    }
}
