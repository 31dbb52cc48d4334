//! One drawn part: its own numbers, its static curves, its truth. It has no state: [`crate::plant`] moves it.

use std::f64::consts::TAU;

use serde::{Deserialize, Serialize};

use crate::curve::{self, Curve, CurveTruth};
use crate::fault::{Channel, Fault, Shape};
use crate::random::Random;
use crate::spec::{PartSpec, Sensor};

/// Nominal electrical travel, degrees.
pub const TRAVEL_DEG: f64 = 75.0;

/// Numbers of one grip, as drawn. Standard deviations are engineering assumptions, not measured on hardware.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Drawn {
    /// Gain of each channel about half supply, 1 sd 0.4 %.
    pub gain: [f64; 2],
    /// Offset of each channel, ratio of supply, 1 sd 0.3 %.
    pub offset: [f64; 2],
    /// Angle error common to both channels: amplitude (deg), period (deg), phase (rad). Hall: the magnet's eccentricity.
    pub angle_error: [(f64, f64, f64); 2],
    /// Each channel's own nonlinearity: amplitudes (ratio) of one and two waves over the travel, phase (rad) of the second.
    pub own_error: [(f64, f64, f64); 2],
    /// Hysteresis between grip and output, full width, degrees.
    pub hysteresis_deg: f64,
    /// White noise of an output, V rms at the sensor's pin per 100 µs at 5 V supply.
    pub noise_volts: f64,
    /// Output resistance (Hall) or wiper contact resistance (potentiometer), ohm.
    pub source_ohms: [f64; 2],
    /// Resistance of each track, ohm; none for Hall.
    pub track_ohms: Option<[f64; 2]>,
    /// Supply current of the sensor's own, A (Hall).
    pub supply_amps: f64,
    /// Open stop, degrees from the closed one.
    pub open_stop_deg: f64,
    /// Return spring's torque at the closed stop, N·m.
    pub spring_preload_nm: f64,
    /// Return spring's stiffness, N·m/rad.
    pub spring_nm_per_rad: f64,
    /// Coulomb friction, N·m.
    pub friction_nm: f64,
    /// Viscous friction, N·m·s/rad.
    pub viscous_nms: f64,
    /// Phase of uneven friction, rad.
    pub uneven_phase: f64,
}

/// Everything that is true of a part, and the figures of its error-free curve. Never goes through the protocol.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct PartTruth {
    /// Name.
    pub name: String,
    /// Seed.
    pub seed: u64,
    /// What it was meant to be, with its faults.
    pub spec: PartSpec,
    /// What was drawn.
    pub drawn: Drawn,
    /// Figures of each channel's static curve, faults included.
    pub curves: [CurveTruth; 2],
    /// Largest correlation residual of the static curves against the nominal relation, % of supply, stop to stop …
    pub correlation_worst_percent: f64,
    /// … and where, degrees of grip.
    pub correlation_worst_deg: f64,
    /// Hysteresis of each channel with play of its faults, degrees.
    pub hysteresis_deg: [f64; 2],
}

/// One part.
#[derive(Clone, Debug)]
pub struct Part {
    name: String,
    seed: u64,
    spec: PartSpec,
    drawn: Drawn,
    curves: [Curve; 2],
}

impl Part {
    /// Draws a part; the same name, specification and seed give the same part.
    pub fn draw(name: &str, spec: PartSpec, seed: u64) -> Self {
        let mut random = Random::new(name, seed);
        let drawn = draw_numbers(&spec, &mut random);
        let textures = [0, 1].map(|_| texture(&spec, &mut random));
        let curves =
            [0, 1].map(|ch| Curve::tabulate(|i| ratio(&spec, &drawn, ch, curve::angle(i)) + textures[ch][i]));
        Self { name: name.to_owned(), seed, spec, drawn, curves }
    }

    /// Its name.
    pub fn name(&self) -> &str {
        &self.name
    }

    /// What it was meant to be.
    pub fn spec(&self) -> &PartSpec {
        &self.spec
    }

    /// Its own numbers.
    pub fn drawn(&self) -> &Drawn {
        &self.drawn
    }

    /// Error-free static output of channel 0 or 1 at a grip angle in degrees from the closed stop, as ratio of the supply at the
    /// sensor's own pins: no noise, hysteresis, wires. Dead and swapped channels are not in it.
    #[inline]
    pub fn transfer(&self, grip_deg: f64, channel: usize) -> f64 {
        self.curves[channel & 1].at(grip_deg)
    }

    /// Hysteresis of a channel with the play of its faults, full width in degrees.
    pub fn hysteresis_deg(&self, channel: usize) -> f64 {
        let play = self.spec.faults.iter().map(|fault| match fault {
            Fault::Hysteresis { channel: c, play_deg } if c.holds(channel) => *play_deg,
            Fault::Sticky { play_deg, .. } => *play_deg,
            _ => 0.0,
        });
        self.drawn.hysteresis_deg + play.sum::<f64>()
    }

    /// Everything that is true of it.
    pub fn truth(&self) -> PartTruth {
        let open = self.drawn.open_stop_deg;
        let (k0, m0) = self.spec.topology.line(0);
        let (k1, m1) = self.spec.topology.line(1);
        let (slope, constant) = (m1 / m0, k1 - m1 / m0 * k0);
        let residual = |deg: f64| self.transfer(deg, 1) - slope * self.transfer(deg, 0) - constant;
        let worst = (0..=(open / 0.05) as usize)
            .map(|i| 0.05 * i as f64)
            .map(|deg| (deg, residual(deg)))
            .max_by(|a, b| a.1.abs().total_cmp(&b.1.abs()))
            .unwrap_or((0.0, 0.0));
        PartTruth {
            name: self.name.clone(),
            seed: self.seed,
            spec: self.spec.clone(),
            drawn: self.drawn.clone(),
            curves: [0, 1].map(|ch| curve::truth(&self.curves[ch], 0.0, open)),
            correlation_worst_percent: 100.0 * worst.1,
            correlation_worst_deg: worst.0,
            hysteresis_deg: [0, 1].map(|ch| self.hysteresis_deg(ch)),
        }
    }
}

fn draw_numbers(spec: &PartSpec, random: &mut Random) -> Drawn {
    let hall = spec.sensor == Sensor::Hall;
    let on = if spec.spread { 1.0 } else { 0.0 };
    let mut n = |sd: f64| on * random.spread(sd);
    let gain = [1.0 + n(0.004), 1.0 + n(0.004)];
    let offset = [n(0.003), n(0.003)];
    let (magnet, short) = if hall { (n(0.25), n(0.12)) } else { (0.0, 0.0) };
    let own = [0, 1].map(|_| if hall { (n(0.0010), 0.0) } else { (n(0.0020), n(0.0012)) });
    let hysteresis_deg = if hall { 0.03 + n(0.05).abs() } else { 0.08 + n(0.08).abs() };
    // Rms at the rig behind its 100 µs filter is 0.68 of it for a value held 100 µs: about 1.2 mV (Hall), 0.4 mV (potentiometer).
    let noise_volts = if hall { 1.76e-3 } else { 0.6e-3 } * (1.0 + n(0.08));
    let source_ohms = [0, 1].map(|_| if hall { 50.0 * (1.0 + n(0.1)) } else { 80.0 * (1.0 + n(0.3)) });
    let supply_amps = if hall { 0.010 * (1.0 + n(0.06)) } else { 0.0 };
    let mechanics = [n(0.4), n(0.06), n(0.08), n(0.20), n(0.20)];
    let mut phase = || if spec.spread { random.between(0.0, TAU) } else { 0.0 };
    let angle_error = [(magnet, 180.0, phase()), (short, 90.0, phase())];
    let own_error = own.map(|(one, two)| (one, two, phase()));
    let uneven_phase = phase();
    let track = |random: &mut Random| if spec.spread { random.between(1000.0, 2000.0) } else { 1500.0 };
    Drawn {
        gain,
        offset,
        angle_error,
        own_error,
        hysteresis_deg,
        noise_volts,
        source_ohms,
        track_ohms: (!hall).then(|| {
            // Two tracks of one print: close to each other.
            let first = track(random);
            [first, first * (1.0 + on * random.spread(0.02))]
        }),
        supply_amps,
        open_stop_deg: TRAVEL_DEG + mechanics[0],
        spring_preload_nm: 0.20 * (1.0 + mechanics[1]),
        spring_nm_per_rad: 0.15 * (1.0 + mechanics[2]),
        friction_nm: 0.03 * (1.0 + mechanics[3]),
        viscous_nms: 0.004 * (1.0 + mechanics[4]),
        uneven_phase,
    }
}

/// Fine structure of a channel along the travel, ratio of supply: small for Hall, the track's grain for a potentiometer.
fn texture(spec: &PartSpec, random: &mut Random) -> Vec<f64> {
    let mut sum = vec![0.0; curve::POINTS];
    if spec.spread {
        let layers: &[(f64, f64)] =
            if spec.sensor == Sensor::Hall { &[(0.0002, 0.5)] } else { &[(0.0006, 0.4), (0.0003, 0.12)] };
        for &(sd, length_deg) in layers {
            let layer = smooth_noise(random, length_deg / curve::PITCH_DEG);
            sum.iter_mut().zip(&layer).for_each(|(s, v)| *s += sd * v);
        }
    }
    sum
}

/// White noise under a Gaussian kernel of `length` grid points, scaled to rms 1.
fn smooth_noise(random: &mut Random, length: f64) -> Vec<f64> {
    let half = (3.0 * length) as usize;
    let kernel: Vec<f64> =
        (0..=2 * half).map(|i| (-0.5 * ((i as f64 - half as f64) / length).powi(2)).exp()).collect();
    let white: Vec<f64> = (0..curve::POINTS + 2 * half).map(|_| random.normal()).collect();
    let mut out: Vec<f64> =
        white.windows(kernel.len()).map(|w| w.iter().zip(&kernel).map(|(a, b)| a * b).sum()).collect();
    let rms = (out.iter().map(|v| v * v).sum::<f64>() / out.len() as f64).sqrt();
    out.iter_mut().for_each(|v| *v /= rms);
    out
}

/// Static output of a channel without its texture, ratio of supply.
fn ratio(spec: &PartSpec, drawn: &Drawn, channel: usize, grip_deg: f64) -> f64 {
    let (start, rise) = spec.topology.line(channel);
    let magnet = sensed_angle(spec, drawn, grip_deg);
    let x = magnet / TRAVEL_DEG;
    let mut gain = drawn.gain[channel];
    let mut shift = drawn.offset[channel];
    for fault in &spec.faults {
        match *fault {
            Fault::GainError { channel: c, percent } if c.holds(channel) => gain *= 1.0 + percent / 100.0,
            Fault::OffsetError { channel: c, percent_of_supply } if c.holds(channel) => {
                shift += percent_of_supply / 100.0
            }
            Fault::CorrelationShift { channel: c, offset_percent, growth_percent, from_deg }
                if c.holds(channel) =>
            {
                shift +=
                    (offset_percent + growth_percent * ((grip_deg - from_deg) / TRAVEL_DEG).max(0.0)) / 100.0;
            }
            Fault::FlatSpot { channel: c, centre_deg, width_deg, slope_loss, shape } if c.holds(channel) => {
                let lost = lost_angle(grip_deg - (centre_deg - 0.5 * width_deg), width_deg, shape);
                shift -= slope_loss * rise / TRAVEL_DEG * lost;
            }
            _ => {}
        }
    }
    let (one, two, phase) = drawn.own_error[channel];
    let own =
        one * (TAU * grip_deg / TRAVEL_DEG).sin() + two * (2.0 * TAU * grip_deg / TRAVEL_DEG + phase).sin();
    0.5 + (start + rise * x - 0.5) * gain + shift + own
}

/// Angle the sensor sees: eccentricity, common errors, dead bands at the stops. Degrees.
fn sensed_angle(spec: &PartSpec, drawn: &Drawn, grip_deg: f64) -> f64 {
    let mut angle = grip_deg;
    for (amplitude, period, phase) in drawn.angle_error {
        angle += amplitude * (TAU * grip_deg / period + phase).sin();
    }
    for fault in &spec.faults {
        if let Fault::CommonNonlinearity { amplitude_deg, period_deg, phase_deg } = *fault {
            angle += amplitude_deg * (TAU * grip_deg / period_deg + phase_deg.to_radians()).sin();
        }
    }
    for fault in &spec.faults {
        if let Fault::DeadBand { closed_deg, open_deg } = *fault {
            if closed_deg > 0.0 {
                angle = (angle - closed_deg).max(0.0);
            }
            if open_deg > 0.0 {
                angle = angle.min(drawn.open_stop_deg - open_deg);
            }
        }
    }
    angle
}

/// Angle by which a flat spot of full slope loss lags, `x` degrees past its start.
fn lost_angle(x: f64, width: f64, shape: Shape) -> f64 {
    match shape {
        Shape::Snap if x > 0.0 && x < width => x,
        Shape::Snap => 0.0,
        Shape::CatchUp => x.min(2.0 * width - x).max(0.0),
        Shape::Permanent => x.clamp(0.0, width),
    }
}

impl Part {
    /// Where a channel is stuck, ratio of supply; `None` while it lives.
    pub fn dead_level(&self, channel: usize) -> Option<f64> {
        self.spec.faults.iter().find_map(|fault| match *fault {
            Fault::DeadChannel { channel: c, level_percent } if c.holds(channel) => {
                Some(level_percent / 100.0)
            }
            _ => None,
        })
    }

    /// Whether the signal leads are exchanged.
    pub fn swapped(&self) -> bool {
        self.spec.faults.iter().filter(|f| matches!(f, Fault::SwappedChannels {})).count() % 2 == 1
    }

    /// Sum of a resistance over the faults in which `pick` finds one, ohm.
    pub fn ohms(&self, pick: impl Fn(&Fault) -> Option<f64>) -> f64 {
        self.spec.faults.iter().filter_map(pick).sum()
    }

    /// Places of extra noise in a channel: first and last angle (deg), V rms at the sensor's pin per 100 µs.
    pub fn noisy_places(&self, channel: usize) -> Vec<(f64, f64, f64)> {
        let place = |fault: &Fault| match *fault {
            Fault::NoisyTrack { channel: c, centre_deg, width_deg, noise_volts }
                if Channel::holds(c, channel) =>
            {
                Some((centre_deg - 0.5 * width_deg, centre_deg + 0.5 * width_deg, noise_volts))
            }
            _ => None,
        };
        self.spec.faults.iter().filter_map(place).collect()
    }
}
