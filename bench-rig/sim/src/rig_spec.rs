//! What the simulated rig's electronics are meant to be, and what was drawn for one rig. Assumed values of a rig that could be built.

use serde::{Deserialize, Serialize};

use crate::random::Random;

/// A kind of rig. Standard deviations are 1-sigma of what calibration has left; a rig declares them truthfully.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct RigSpec {
    /// Amplitude of the supply's 100 Hz ripple, V.
    pub ripple_volts: f64,
    /// Supply noise behind a 100 µs filter, V rms.
    pub supply_noise_volts: f64,
    /// Error of the supply's level, relative, 1 sd.
    pub supply_level_sd: f64,
    /// Supply wire and return wire of the loom, each, ohm: 2 m of 0.34 mm² at 53 mΩ/m (VDE 0295).
    pub loom_ohms: f64,
    /// One mated contact, ohm.
    pub contact_ohms: f64,
    /// Input resistance of a channel, always there, ohm.
    pub input_ohms: f64,
    /// Capacitance of a signal's cable and input, F.
    pub cable_farads: f64,
    /// Switchable pull-down, ohm.
    pub pull_down_ohms: f64,
    /// Switchable load, ohm.
    pub load_ohms: f64,
    /// Input filter, µs; parts of 1 %.
    pub filter_us: f64,
    /// Converter gain error, relative, 1 sd.
    pub converter_gain_sd: f64,
    /// Converter offset, V, 1 sd.
    pub converter_offset_sd: f64,
    /// Converter noise, V rms.
    pub converter_noise_volts: f64,
    /// The second channel is converted this much after the first, µs.
    pub falling_skew_us: f64,
    /// Encoder counts per turn.
    pub encoder_counts: f64,
    /// Encoder noise, degrees rms.
    pub encoder_noise_deg: f64,
    /// Amplitude of the encoder's once-per-turn error after calibration, degrees, 1 sd.
    pub encoder_eccentricity_sd: f64,
    /// Encoder time skew, µs, 1 sd.
    pub encoder_skew_sd_us: f64,
    /// Reference at the closed stop is within ± this, degrees: how the part was clamped.
    pub mounting_deg: f64,
    /// Temperature of the room, °C.
    pub ambient_celsius: f64,
}

impl Default for RigSpec {
    fn default() -> Self {
        Self {
            ripple_volts: 2e-3,
            supply_noise_volts: 0.3e-3,
            supply_level_sd: 5e-4,
            // IEC 60228 / VDE 0295: 0.34 mm² fine strand, at most 53 mΩ/m.
            loom_ohms: 2.0 * 0.053,
            contact_ohms: 0.01,
            input_ohms: 1e6,
            cable_farads: 150e-12,
            pull_down_ohms: 100e3,
            load_ohms: 10e3,
            filter_us: 100.0,
            converter_gain_sd: 2e-5,
            converter_offset_sd: 60e-6,
            converter_noise_volts: 0.15e-3,
            falling_skew_us: 2.0,
            encoder_counts: 16384.0,
            encoder_noise_deg: 0.004,
            encoder_eccentricity_sd: 0.012,
            encoder_skew_sd_us: 15.0,
            mounting_deg: 0.5,
            ambient_celsius: 23.0,
        }
    }
}

/// What was drawn for one rig.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct RigTruth {
    /// Converter gain of rising, falling, supply, 1 = exact.
    pub converter_gain: [f64; 3],
    /// Converter offset of rising, falling, supply, V.
    pub converter_offset: [f64; 3],
    /// Filter of rising, falling, µs.
    pub filter_us: [f64; 2],
    /// Supply level over what was set.
    pub supply_level: f64,
    /// Phase of the ripple, rad.
    pub ripple_phase: f64,
    /// Load of each channel, ohm.
    pub load_ohms: [f64; 2],
    /// Pull-down of each channel, ohm.
    pub pull_down_ohms: [f64; 2],
    /// Encoder's once-per-turn error: amplitude, degrees.
    pub eccentricity_deg: f64,
    /// Its phase, rad.
    pub eccentricity_phase: f64,
    /// The encoder is latched this much after the first channel, µs.
    pub encoder_skew_us: f64,
    /// Reference at the closed stop, degrees.
    pub mounting_deg: f64,
    /// Supply current meter: gain, offset in A.
    pub supply_meter: (f64, f64),
    /// Drive current meter: gain, offset in A.
    pub drive_meter: (f64, f64),
    /// Thermometer's offset, °C.
    pub thermometer_celsius: f64,
    /// Return meter: gain, offset in V.
    pub ground_meter: (f64, f64),
    /// Motor voltmeter: gain, offset in V.
    pub motor_voltmeter: (f64, f64),
    /// Motor ammeter: gain, offset in A.
    pub motor_ammeter: (f64, f64),
    /// Filter of both motor meters, µs: one converter, one kind of parts.
    pub motor_filter_us: f64,
}

/// Supply current meter: 1-sigma of gain and offset (A).
pub const SUPPLY_METER_SD: (f64, f64) = (1e-3, 10e-6);
/// Drive current meter: 1-sigma of gain and offset (A).
pub const DRIVE_METER_SD: (f64, f64) = (5e-3, 2e-3);
/// Thermometer: 1-sigma of its offset, °C.
pub const THERMOMETER_SD: f64 = 0.3;
/// Return meter: 1-sigma of gain and offset (V).
pub const GROUND_METER_SD: (f64, f64) = (1e-4, 20e-6);

/// Motor voltmeter: 1-sigma of gain and offset (V).
pub const MOTOR_VOLTMETER_SD: (f64, f64) = (2e-3, 2e-3);
/// Motor ammeter: 1-sigma of gain and offset (A).
pub const MOTOR_AMMETER_SD: (f64, f64) = (5e-3, 2e-3);
/// Noise of the motor meters, V rms and A rms.
pub const MOTOR_NOISE: (f64, f64) = (5e-3, 4e-3);

impl RigSpec {
    /// Draws one rig.
    pub fn draw(&self, random: &mut Random) -> RigTruth {
        let mut truth = self.draw_common(random);
        let mut meter = |sd: (f64, f64)| (1.0 + sd.0 * random.normal(), sd.1 * random.normal());
        (truth.motor_voltmeter, truth.motor_ammeter) = (meter(MOTOR_VOLTMETER_SD), meter(MOTOR_AMMETER_SD));
        truth.motor_filter_us *= 1.0 + 0.01 * random.normal();
        truth
    }

    fn draw_common(&self, random: &mut Random) -> RigTruth {
        let mut n = |sd: f64| sd * random.normal();
        let mut meter = |sd: (f64, f64)| (1.0 + n(sd.0), n(sd.1));
        let (supply_meter, drive_meter, ground_meter) =
            (meter(SUPPLY_METER_SD), meter(DRIVE_METER_SD), meter(GROUND_METER_SD));
        RigTruth {
            converter_gain: [0, 1, 2].map(|_| 1.0 + n(self.converter_gain_sd)),
            converter_offset: [0, 1, 2].map(|_| n(self.converter_offset_sd)),
            filter_us: [0, 1].map(|_| self.filter_us * (1.0 + n(0.01))),
            supply_level: 1.0 + n(self.supply_level_sd),
            load_ohms: [0, 1].map(|_| self.load_ohms * (1.0 + n(0.001))),
            pull_down_ohms: [0, 1].map(|_| self.pull_down_ohms * (1.0 + n(0.01))),
            eccentricity_deg: n(self.encoder_eccentricity_sd),
            encoder_skew_us: n(self.encoder_skew_sd_us).clamp(-45.0, 45.0),
            supply_meter,
            drive_meter,
            thermometer_celsius: n(THERMOMETER_SD),
            ground_meter,
            ripple_phase: random.between(0.0, std::f64::consts::TAU),
            eccentricity_phase: random.between(0.0, std::f64::consts::TAU),
            mounting_deg: random.between(-self.mounting_deg, self.mounting_deg),
            motor_voltmeter: (1.0, 0.0),
            motor_ammeter: (1.0, 0.0),
            motor_filter_us: self.filter_us,
        }
    }
}
