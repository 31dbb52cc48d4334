//! A part's own numbers, drawn from its name and seed: the sensor's, a grip's mechanics, and the fine structure of both channels.
//! A body's motor, gears and springs are drawn in [`crate::body`]. Standard deviations are engineering assumptions.

use std::f64::consts::TAU;

use serde::{Deserialize, Serialize};

use crate::curve;
use crate::random::Random;
use crate::spec::{Kind, PartSpec, Sensor};

/// Numbers of one sensor and where its travel ends, as drawn.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Drawn {
    /// Gain of each channel about half supply, 1 sd 0.4 %.
    pub gain: [f64; 2],
    /// Offset of each channel, ratio of supply, 1 sd 0.3 %.
    pub offset: [f64; 2],
    /// Angle errors common to both channels: amplitude (deg), period (deg), phase (rad). Hall: the magnet's eccentricity.
    pub angle_error: Vec<(f64, f64, f64)>,
    /// Each channel's own nonlinearity: amplitudes (ratio) of one and two waves over the travel, phase (rad) of the second.
    pub own_error: [(f64, f64, f64); 2],
    /// Hysteresis between grip or plate and output, full width, degrees.
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
}

/// Mechanics of one grip.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct GripNumbers {
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

/// What the two kinds of part and of sensor differ in: 1 sd unless stated otherwise.
struct Spreads {
    /// Common angle errors: amplitude (deg) and period (deg).
    angle: &'static [(f64, f64)],
    /// Own nonlinearity, one and two waves over the travel, ratio.
    own: (f64, f64),
    /// Hysteresis: least, and what is added half-normally, degrees.
    hysteresis: (f64, f64),
    /// Noise at the pin, V rms per 100 µs at 5 V. Rms at the rig behind its 100 µs filter is 0.68 of it.
    noise: f64,
    /// Fine structure: rms (ratio) and length (deg).
    texture: &'static [(f64, f64)],
}

const HALL_GRIP: Spreads = Spreads {
    angle: &[(0.25, 180.0), (0.12, 90.0)],
    own: (0.0010, 0.0),
    hysteresis: (0.03, 0.05),
    // 1.2 mV at the rig.
    noise: 1.76e-3,
    texture: &[(0.0002, 0.5)],
};
const POT_GRIP: Spreads = Spreads {
    angle: &[(0.0, 180.0), (0.0, 90.0)],
    own: (0.0020, 0.0012),
    hysteresis: (0.08, 0.08),
    noise: 0.6e-3,
    texture: &[(0.0006, 0.4), (0.0003, 0.12)],
};
// On the plate: 0.02° rms at the rig are 0.95 mV; its short waves 0.008° rms; two bearings instead of a rubber grip.
const HALL_PLATE: Spreads = Spreads {
    angle: &[(0.15, 84.0), (0.08, 42.0), (0.03, 22.5)],
    own: (0.0005, 0.0),
    hysteresis: (0.01, 0.01),
    noise: 1.4e-3,
    texture: &[(7.6e-5, 0.5)],
};
const POT_PLATE: Spreads = Spreads { hysteresis: (0.04, 0.04), ..POT_GRIP };

fn spreads(spec: &PartSpec) -> &'static Spreads {
    match (spec.kind, spec.sensor) {
        (Kind::Grip, Sensor::Hall) => &HALL_GRIP,
        (Kind::Grip, Sensor::Potentiometer) => &POT_GRIP,
        (Kind::Body, Sensor::Hall) => &HALL_PLATE,
        (Kind::Body, Sensor::Potentiometer) => &POT_PLATE,
    }
}

impl Drawn {
    /// Draws a part's numbers and, of the same stream, the mechanics that it has if it is a grip; `open_stop_deg` is a body's, a
    /// grip draws its own.
    pub fn draw(spec: &PartSpec, random: &mut Random, open_stop_deg: Option<f64>) -> (Self, GripNumbers) {
        let spreads = spreads(spec);
        let hall = spec.sensor == Sensor::Hall;
        let on = if spec.spread { 1.0 } else { 0.0 };
        let mut n = |sd: f64| on * random.spread(sd);
        let gain = [1.0 + n(0.004), 1.0 + n(0.004)];
        let offset = [n(0.003), n(0.003)];
        let angles: Vec<(f64, f64)> =
            spreads.angle.iter().map(|&(sd, period)| (if sd > 0.0 { n(sd) } else { 0.0 }, period)).collect();
        let own = [0, 1].map(|_| {
            let one = n(spreads.own.0);
            (one, if spreads.own.1 > 0.0 { n(spreads.own.1) } else { 0.0 })
        });
        let hysteresis_deg = spreads.hysteresis.0 + n(spreads.hysteresis.1).abs();
        let noise_volts = spreads.noise * (1.0 + n(0.08));
        let source_ohms = [0, 1].map(|_| if hall { 50.0 * (1.0 + n(0.1)) } else { 80.0 * (1.0 + n(0.3)) });
        let supply_amps = if hall { 0.010 * (1.0 + n(0.06)) } else { 0.0 };
        let mechanics = [n(0.4), n(0.06), n(0.08), n(0.20), n(0.20)];
        let mut phase = || if spec.spread { random.between(0.0, TAU) } else { 0.0 };
        let angle_error =
            angles.into_iter().map(|(amplitude, period)| (amplitude, period, phase())).collect();
        let own_error = own.map(|(one, two)| (one, two, phase()));
        let uneven_phase = phase();
        let track_ohms = (!hall).then(|| {
            // Two tracks of one print: close to each other.
            let first = if spec.spread { random.between(1000.0, 2000.0) } else { 1500.0 };
            [first, first * (1.0 + on * random.spread(0.02))]
        });
        let open_stop_deg = open_stop_deg.unwrap_or(spec.kind.travel_deg() + mechanics[0]);
        let sensor = Self {
            gain,
            offset,
            angle_error,
            own_error,
            hysteresis_deg,
            noise_volts,
            source_ohms,
            track_ohms,
            supply_amps,
            open_stop_deg,
        };
        let grip = GripNumbers {
            spring_preload_nm: 0.20 * (1.0 + mechanics[1]),
            spring_nm_per_rad: 0.15 * (1.0 + mechanics[2]),
            friction_nm: 0.03 * (1.0 + mechanics[3]),
            viscous_nms: 0.004 * (1.0 + mechanics[4]),
            uneven_phase,
        };
        (sensor, grip)
    }
}

/// Fine structure of a channel along the travel, ratio of supply: small for Hall, the track's grain for a potentiometer.
pub fn texture(spec: &PartSpec, random: &mut Random) -> Vec<f64> {
    let mut sum = vec![0.0; curve::POINTS];
    if spec.spread {
        for &(sd, length_deg) in spreads(spec).texture {
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
