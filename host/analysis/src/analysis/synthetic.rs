//! Seeded invented traces of a grip sensor, whose true curve is known: for the analysis' own tests only.
//!
//! A simplified bench: gain, offset, bend and texture of each line, hysteresis as play, noise, a sensor's own step, the
//! converter's step and calibration errors, an eccentric reference, holds at the ends. Every number here is an engineering
//! assumption, not a measurement.

use super::statistics::Resampler;
use crate::quantity::{Channel, PartKind, ProcedureKind, Unit};
use crate::sheet::{ConnectorRating, Monitor, NominalLine, PartSheet, SweepPlan, Topology};
use crate::trace::{
    ChannelProvenance, Column, Gap, GapCause, Provenance, RigProvenance, SweepConditions, Trace, TraceEnd,
};

/// A stretch of travel where one line stops following.
#[derive(Clone, Copy, Debug)]
pub(crate) struct FlatSpot {
    /// 0 or 1.
    pub line: usize,
    /// Where it begins, degrees.
    pub from_deg: f64,
    /// How wide, degrees.
    pub width_deg: f64,
    /// Slope lost, 0..1.
    pub loss: f64,
    /// True: the output jumps back at its end. False: the loss stays.
    pub snap: bool,
}

/// A moment in which lines read something else.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Dropout {
    /// Which lines.
    pub lines: [bool; 2],
    /// When, seconds from the start.
    pub at_s: f64,
    /// How long, seconds.
    pub length_s: f64,
    /// Ratio of supply that it reads meanwhile.
    pub level: f64,
}

/// One stretch of track with more noise.
#[derive(Clone, Copy, Debug)]
pub(crate) struct NoisyTrack {
    /// 0 or 1.
    pub line: usize,
    /// Centre, degrees.
    pub at_deg: f64,
    /// Width, degrees.
    pub width_deg: f64,
    /// Extra noise, volts.
    pub volts: f64,
}

/// A grain of a track: a bell over the travel.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Grain {
    /// 0 or 1.
    pub line: usize,
    /// Its middle, degrees.
    pub at_deg: f64,
    /// Standard deviation of the bell, degrees.
    pub sd_deg: f64,
    /// Ratio of supply; negative = a dip of a rising line.
    pub height: f64,
}

/// What to invent.
#[derive(Clone, Debug)]
pub(crate) struct Synthetic {
    /// Seed of everything random.
    pub seed: u64,
    /// How the lines belong together.
    pub topology: Topology,
    /// Degrees.
    pub travel_deg: f64,
    /// Full cycles.
    pub cycles: u32,
    /// Degrees per second; one per stroke in turn.
    pub speeds: Vec<f64>,
    /// Scans per second.
    pub rate_hz: f64,
    /// Rest at each end, seconds.
    pub hold_s: f64,
    /// Gain of each line about half supply.
    pub gain: [f64; 2],
    /// Offset of each line, ratio of supply.
    pub offset: [f64; 2],
    /// Bend of each line: sine over the travel, ratio of supply.
    pub bend: [f64; 2],
    /// Bend common to both: half a sine of angle error, degrees.
    pub common_bend_deg: f64,
    /// Random texture of each line, ratio of supply, rms; 0.5° long.
    pub texture: [f64; 2],
    /// Rare deeper grains.
    pub grains: Vec<Grain>,
    /// Total play, degrees; may differ between lines.
    pub hysteresis_deg: [f64; 2],
    /// White noise of the part, volts at 5 V.
    pub noise_v: [f64; 2],
    /// White noise of the rig's converter, volts.
    pub rig_noise_v: f64,
    /// The sensor's own output step, volts; 0 = none.
    pub sensor_step_v: f64,
    /// The converter's step, volts; 0 = none.
    pub converter_step_v: f64,
    /// Actual errors of the rig are drawn from its stated uncertainties when true.
    pub rig_errors: bool,
    /// Amplitude (k = 1) of the reference's eccentricity left after calibration, degrees.
    pub reference_ecc_deg: f64,
    /// Reference step, degrees.
    pub reference_step_deg: f64,
    /// How much the second line lags, µs.
    pub skew_us: f64,
    /// Dead travel at the closed and at the open stop, degrees.
    pub dead_deg: [f64; 2],
    /// Volts.
    pub supply_v: f64,
    /// 100 Hz ripple of the supply, volts.
    pub ripple_v: f64,
    /// Flat spots.
    pub flat: Vec<FlatSpot>,
    /// Dropouts.
    pub dropouts: Vec<Dropout>,
    /// Noisy stretches.
    pub noisy: Vec<NoisyTrack>,
    /// Channels to leave out.
    pub without: Vec<Channel>,
    /// Scans to lose: (first, count).
    pub lost: Vec<(usize, usize)>,
    /// Whether it looks like another logger's file: no rig, no calibration.
    pub foreign: bool,
}

impl Synthetic {
    /// A healthy contactless part on a calibrated rig.
    pub fn hall(seed: u64) -> Self {
        let mut r = Resampler::new(seed ^ 0x5EED);
        let mut n = |sd: f64| sd * r.normal().clamp(-2.5, 2.5);
        Self {
            seed,
            topology: Topology::Complementary,
            travel_deg: 75.0,
            cycles: 3,
            speeds: vec![60.0],
            rate_hz: 5000.0,
            hold_s: 0.1,
            gain: [1.0 + n(0.004), 1.0 + n(0.004)],
            offset: [n(0.003), n(0.003)],
            bend: [n(0.0015), n(0.0015)],
            common_bend_deg: n(0.25),
            texture: [0.0002, 0.0002],
            grains: Vec::new(),
            hysteresis_deg: [0.08, 0.08],
            noise_v: [1.2e-3, 1.2e-3],
            rig_noise_v: 0.15e-3,
            sensor_step_v: 5.0 / 4096.0,
            converter_step_v: 5.12 / 65536.0,
            rig_errors: true,
            reference_ecc_deg: 0.012,
            reference_step_deg: 360.0 / 16384.0,
            skew_us: 0.0,
            dead_deg: [0.0, 0.0],
            supply_v: 5.0,
            ripple_v: 2e-3,
            flat: Vec::new(),
            dropouts: Vec::new(),
            noisy: Vec::new(),
            without: Vec::new(),
            lost: Vec::new(),
            foreign: false,
        }
    }

    /// A healthy potentiometer.
    pub fn pot(seed: u64) -> Self {
        Self {
            texture: [0.0006, 0.0006],
            hysteresis_deg: [0.12, 0.12],
            noise_v: [0.4e-3, 0.4e-3],
            sensor_step_v: 0.0,
            common_bend_deg: 0.0,
            bend: {
                let mut r = Resampler::new(seed ^ 0xB0B);
                [0.002 * r.normal().clamp(-2.5, 2.5), 0.002 * r.normal().clamp(-2.5, 2.5)]
            },
            ..Self::hall(seed)
        }
    }

    /// The sheet it is a part of.
    pub fn sheet(&self) -> PartSheet {
        sheet(self.topology, self.travel_deg)
    }

    /// The true curves.
    pub fn truth(&self) -> Truth {
        let mut r = Resampler::new(self.seed ^ 0x7E87);
        let texture = self.texture.map(|rms| texture(&mut r, rms, self.travel_deg));
        Truth { part: self.clone(), sheet: self.sheet(), texture }
    }

    /// Angle over time, degrees: holds at the ends, trapezoid strokes.
    fn motion(&self) -> Vec<f64> {
        let mut out = Vec::new();
        let hold = (self.hold_s * self.rate_hz) as usize;
        for stroke in 0..2 * self.cycles as usize {
            let (from, to) = if stroke % 2 == 0 { (0.0, self.travel_deg) } else { (self.travel_deg, 0.0) };
            out.extend(std::iter::repeat_n(from, hold));
            let speed = self.speeds[stroke % self.speeds.len()];
            let ramp = speed / 2000.0;
            let total = self.travel_deg / speed + ramp;
            let n = (total * self.rate_hz) as usize;
            for i in 0..n {
                let t = i as f64 / self.rate_hz;
                let s = if t < ramp {
                    1000.0 * t * t
                } else if t < total - ramp {
                    0.5 * speed * ramp + speed * (t - ramp)
                } else {
                    self.travel_deg - 1000.0 * (total - t).max(0.0).powi(2)
                };
                out.push(from + (to - from) * (s / self.travel_deg));
            }
        }
        out.extend(std::iter::repeat_n(0.0, hold));
        out
    }

    /// The trace.
    pub fn trace(&self) -> Trace {
        let motion = self.motion();
        self.trace_of(&motion)
    }

    /// The trace of a given motion, degrees per scan.
    pub fn trace_of(&self, motion: &[f64]) -> Trace {
        let truth = self.truth();
        let mut r = Resampler::new(self.seed ^ 0xACC);
        let provenance = self.provenance();
        let mut error = |scale: f64| if self.rig_errors { scale * r.normal() } else { 0.0 };
        let gain: Vec<f64> = provenance.channels.iter().map(|c| 1.0 + error(c.gain_uncertainty)).collect();
        let offset: Vec<f64> = provenance
            .channels
            .iter()
            .map(|c| if c.channel == Channel::Reference { 0.0 } else { error(c.offset_uncertainty) })
            .collect();
        let (ecc, phase) = (error(1.0) * self.reference_ecc_deg, std::f64::consts::TAU * r.uniform());
        let n = motion.len();
        let mut columns: Vec<Vec<f32>> = vec![Vec::new(); 4];
        let mut play = [motion[0]; 2];
        for i in 0..n {
            let t = i as f64 / self.rate_hz;
            let supply = self.supply_v + self.ripple_v * (std::f64::consts::TAU * 100.0 * t).sin();
            for line in 0..2 {
                let half = 0.5 * self.hysteresis_deg[line];
                let velocity =
                    (motion[(i + 1).min(n - 1)] - motion[i.saturating_sub(1)]) * 0.5 * self.rate_hz;
                let at = motion[i] - if line == 1 { velocity * self.skew_us * 1e-6 } else { 0.0 };
                play[line] = play[line].clamp(at - half, at + half);
                let mut v = truth.ratio(line, play[line]) * supply + self.noise_v[line] * r.normal();
                for noisy in self.noisy.iter().filter(|n| n.line == line) {
                    if (play[line] - noisy.at_deg).abs() < 0.5 * noisy.width_deg {
                        v += noisy.volts * r.normal();
                    }
                }
                v = stepped(v, self.sensor_step_v);
                for d in
                    self.dropouts.iter().filter(|d| d.lines[line] && t >= d.at_s && t < d.at_s + d.length_s)
                {
                    v = d.level * supply;
                }
                v = gain[line] * v + offset[line] + self.rig_noise_v * r.normal();
                columns[line].push(stepped(v, self.converter_step_v) as f32);
            }
            columns[2].push((gain[2] * supply + offset[2] + self.rig_noise_v * r.normal()) as f32);
            let reference = motion[i] + ecc * (motion[i].to_radians() + phase).sin() - ecc * phase.sin();
            columns[3].push(stepped(reference, self.reference_step_deg) as f32);
        }
        self.assemble(columns, provenance)
    }

    fn assemble(&self, columns: Vec<Vec<f32>>, provenance: Provenance) -> Trace {
        let n = columns[0].len();
        let keep: Vec<bool> = (0..n).map(|i| !self.lost.iter().any(|(a, c)| i >= *a && i < a + c)).collect();
        let time_of = |i: usize| 1_000_000 + (i as f64 * 1e6 / self.rate_hz).round() as u64;
        let mut gaps = Vec::new();
        for (first, count) in &self.lost {
            gaps.push(Gap {
                index: keep[..*first].iter().filter(|k| **k).count(),
                from_us: time_of(first.saturating_sub(1)),
                to_us: time_of(first + count),
                scans: *count as u64,
                cause: GapCause::Line,
            });
        }
        let names = [Channel::Rising, Channel::Falling, Channel::Supply, Channel::Reference];
        let columns = names
            .into_iter()
            .zip(columns)
            .filter(|(c, _)| !self.without.contains(c))
            .map(|(channel, values)| Column {
                channel,
                unit: if channel == Channel::Reference { Unit::Degree } else { Unit::Volt },
                values: values.into_iter().zip(&keep).filter(|(_, k)| **k).map(|(v, _)| v).collect(),
            })
            .collect();
        let time_us = (0..n).filter(|i| keep[*i]).map(time_of).collect();
        Trace { provenance, time_us, columns, gaps, marks: Vec::new(), end: TraceEnd::Complete }
    }

    fn provenance(&self) -> Provenance {
        let known = |channel, gain, offset, resolution| ChannelProvenance {
            channel,
            scale: 1.0,
            offset: 0.0,
            resolution: if self.foreign { 0.0 } else { resolution },
            filter_us: 0,
            gain_uncertainty: if self.foreign { 0.0 } else { gain },
            offset_uncertainty: if self.foreign { 0.0 } else { offset },
            calibrated_day: if self.foreign { 0 } else { 20_000 },
            certificate: String::new(),
        };
        Provenance {
            simulated: true,
            rig: (!self.foreign).then(|| RigProvenance {
                address: "test".into(),
                model: "synthetic".into(),
                serial: "0".into(),
                firmware: "0".into(),
                protocol: 1,
                boot: 1,
                lets_go: false,
            }),
            channels: vec![
                known(Channel::Rising, 2e-5, 60e-6, self.converter_step_v),
                known(Channel::Falling, 2e-5, 60e-6, self.converter_step_v),
                known(Channel::Supply, 2e-5, 60e-6, self.converter_step_v),
                known(Channel::Reference, 0.0, self.reference_ecc_deg, self.reference_step_deg),
            ],
            part: "invented".into(),
            started: "2026-01-01T00:00:00Z".into(),
            sweep: Some(SweepConditions { cycles: self.cycles, speed_deg_s: self.speeds[0] }),
            recorded_by: "test".into(),
            ..Provenance::bare(
                if self.foreign { ProcedureKind::Import } else { ProcedureKind::Sweep },
                (1e6 / self.rate_hz).round() as u32,
            )
        }
    }
}

fn stepped(v: f64, step: f64) -> f64 {
    if step > 0.0 { (v / step).round() * step } else { v }
}

/// The true static curves of a synthetic part.
#[derive(Clone, Debug)]
pub(crate) struct Truth {
    part: Synthetic,
    sheet: PartSheet,
    texture: [Vec<f64>; 2],
}

/// Pitch of the texture table, degrees.
const TEXTURE_PITCH: f64 = 0.02;

impl Truth {
    /// Ratio of supply of a line at an angle of the part, degrees.
    pub fn ratio(&self, line: usize, deg: f64) -> f64 {
        let p = &self.part;
        let nominal = self.sheet.line(line);
        let slope = (nominal.open - nominal.closed) / p.travel_deg;
        let deg = deg.clamp(p.dead_deg[0], p.travel_deg - p.dead_deg[1]);
        let x = deg / p.travel_deg;
        let bent = deg + p.common_bend_deg * (std::f64::consts::PI * x).sin();
        let mut y = nominal.closed + slope * bent;
        y = 0.5
            + (y - 0.5) * p.gain[line]
            + p.offset[line]
            + p.bend[line] * (std::f64::consts::TAU * x).sin();
        if !self.texture[line].is_empty() {
            let at = ((deg + 2.0) / TEXTURE_PITCH).clamp(0.0, (self.texture[line].len() - 2) as f64);
            let (k, f) = (at as usize, at.fract());
            y += self.texture[line][k] * (1.0 - f) + self.texture[line][k + 1] * f;
        }
        for grain in p.grains.iter().filter(|g| g.line == line) {
            y += grain.height * (-0.5 * ((deg - grain.at_deg) / grain.sd_deg).powi(2)).exp();
        }
        for flat in p.flat.iter().filter(|f| f.line == line) {
            let into = deg - flat.from_deg;
            let lost = if flat.snap {
                if into > 0.0 && into < flat.width_deg { into } else { 0.0 }
            } else {
                into.clamp(0.0, flat.width_deg)
            };
            y -= flat.loss * slope * lost;
        }
        y
    }
}

/// Gaussian-smoothed noise of the given rms, 0.5° correlation length, from −2° to 2° beyond the travel.
fn texture(r: &mut Resampler, rms: f64, travel: f64) -> Vec<f64> {
    if rms == 0.0 {
        return Vec::new();
    }
    let n = ((travel + 4.0) / TEXTURE_PITCH) as usize + 2;
    let half = (1.5 / TEXTURE_PITCH) as usize;
    let white: Vec<f64> = (0..n + 2 * half).map(|_| r.normal()).collect();
    let kernel: Vec<f64> = (0..=2 * half)
        .map(|k| (-0.5 * ((k as f64 - half as f64) * TEXTURE_PITCH / 0.5).powi(2)).exp())
        .collect();
    let norm = kernel.iter().map(|k| k * k).sum::<f64>().sqrt();
    (0..n).map(|i| rms / norm * kernel.iter().zip(&white[i..]).map(|(k, w)| k * w).sum::<f64>()).collect()
}

/// A grip's sheet for tests; invented limits are left out.
pub(crate) fn sheet(topology: Topology, travel_deg: f64) -> PartSheet {
    let rising = NominalLine { closed: 0.10, open: 0.90 };
    let falling = match topology {
        Topology::Complementary => NominalLine { closed: 0.90, open: 0.10 },
        Topology::HalfSlope => NominalLine { closed: 0.05, open: 0.45 },
        Topology::ParallelOffset => NominalLine { closed: 0.05, open: 0.85 },
    };
    PartSheet {
        name: "test".into(),
        title: "invented".into(),
        kind: PartKind::Grip,
        topology,
        supply_volts: 5.0,
        travel_deg,
        rising,
        falling,
        monitor: Monitor { threshold_percent: 5.0, rails: (0.03, 0.97), period_ms: 5.0, debounce: 3 },
        sweep: SweepPlan { cycles: 3, speed_deg_s: 60.0, rate_hz: 5000 },
        body: None,
        limits: Vec::new(),
        findings: Vec::new(),
        grades: Vec::new(),
        connector: ConnectorRating::default(),
        self_closing_required: false,
        follow: None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_synthetic_trace_is_the_same_for_the_same_seed() {
        assert_eq!(Synthetic::hall(3).trace(), Synthetic::hall(3).trace());
        assert_ne!(Synthetic::hall(3).trace(), Synthetic::hall(4).trace());
    }
}
