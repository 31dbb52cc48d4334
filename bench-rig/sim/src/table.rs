//! The channel tables of both kinds of rig: what each column measures, its name, unit, counts and declared uncertainty.

use trackpair_protocol::channel::{Calibration, ChannelInfo, Encoding, Unit};
use trackpair_protocol::wire::Text;

use crate::rig_spec::{
    DRIVE_METER_SD, GROUND_METER_SD, MOTOR_AMMETER_SD, MOTOR_NOISE, MOTOR_VOLTMETER_SD, RigSpec, RigTruth,
    SUPPLY_METER_SD, THERMOMETER_SD,
};

/// One count of the voltage converter: 16 bits over 5.12 V.
const VOLT_COUNT: f64 = 5.12 / 65536.0;

/// What a column measures.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Measure {
    /// First channel.
    Rising,
    /// Second channel.
    Falling,
    /// Supply at the rig's terminals.
    Supply,
    /// The rig's own angle.
    Reference,
    /// Current into the sensor.
    SupplyAmps,
    /// Current of the grip drive.
    DriveAmps,
    /// Rig temperature.
    Temperature,
    /// Supply return at the loom's end.
    Ground,
    /// Voltage at the motor's terminals.
    MotorVolts,
    /// Current through the motor.
    MotorAmps,
}

/// Columns of a grip rig.
pub const GRIP: [Measure; 8] = [
    Measure::Rising,
    Measure::Falling,
    Measure::Supply,
    Measure::Reference,
    Measure::SupplyAmps,
    Measure::DriveAmps,
    Measure::Temperature,
    Measure::Ground,
];

/// Columns of a pair's rig behind those of the grip: numbers of the body rig's columns, and their names on the wire.
pub const PLATE: [(usize, &str); 4] =
    [(0, "plate_rising"), (1, "plate_falling"), (3, "motor_volts"), (4, "motor_amps")];

/// Columns of a body rig.
pub const BODY: [Measure; 8] = [
    Measure::Rising,
    Measure::Falling,
    Measure::Supply,
    Measure::MotorVolts,
    Measure::MotorAmps,
    Measure::SupplyAmps,
    Measure::Temperature,
    Measure::Ground,
];

impl Measure {
    /// Whether it is one of the part's two signals.
    pub fn is_signal(self) -> bool {
        matches!(self, Self::Rising | Self::Falling)
    }

    /// Name on the wire.
    pub fn name(self) -> &'static str {
        match self {
            Self::Rising => "rising",
            Self::Falling => "falling",
            Self::Supply => "supply",
            Self::Reference => "reference",
            Self::SupplyAmps => "supply_amps",
            Self::DriveAmps => "drive_amps",
            Self::Temperature => "temperature",
            Self::Ground => "ground",
            Self::MotorVolts => "motor_volts",
            Self::MotorAmps => "motor_amps",
        }
    }

    /// Unit, form of the counts, and one count in that unit.
    pub fn scale(self, spec: &RigSpec) -> (Unit, Encoding, f64) {
        match self {
            Self::Rising | Self::Falling | Self::Supply => (Unit::Volt, Encoding::U16, VOLT_COUNT),
            Self::Reference => (Unit::Degree, Encoding::I16, 360.0 / spec.encoder_counts),
            Self::SupplyAmps => (Unit::Ampere, Encoding::U16, 1e-6),
            Self::DriveAmps | Self::MotorAmps => (Unit::Ampere, Encoding::I16, 1e-3),
            Self::Temperature => (Unit::Celsius, Encoding::I16, 0.01),
            Self::Ground => (Unit::Volt, Encoding::I16, VOLT_COUNT / 8.0),
            // 16 bits over ± 20 V.
            Self::MotorVolts => (Unit::Volt, Encoding::I16, 40.0 / 65536.0),
        }
    }

    /// The rig's meter of it: gain and offset as drawn, noise, one count.
    pub fn meter(self, spec: &RigSpec, drawn: &RigTruth) -> Meter {
        let converter =
            |k: usize| ((drawn.converter_gain[k], drawn.converter_offset[k]), spec.converter_noise_volts);
        let ((gain, offset), noise) = match self {
            Self::Rising => converter(0),
            Self::Falling => converter(1),
            Self::Supply => converter(2),
            Self::Reference => ((1.0, 0.0), spec.encoder_noise_deg),
            Self::SupplyAmps => (drawn.supply_meter, 5e-6),
            Self::DriveAmps => (drawn.drive_meter, 4e-3),
            Self::Temperature => ((1.0, drawn.thermometer_celsius), 0.02),
            Self::Ground => (drawn.ground_meter, 30e-6),
            Self::MotorVolts => (drawn.motor_voltmeter, MOTOR_NOISE.0),
            Self::MotorAmps => (drawn.motor_ammeter, MOTOR_NOISE.1),
        };
        let (_, encoding, count) = self.scale(spec);
        Meter { gain: gain / count, offset: offset / count, noise: noise / count, range: encoding.range() }
    }

    /// Uncertainty of gain and offset, 1-sigma.
    fn uncertainty(self, spec: &RigSpec) -> (f64, f64) {
        match self {
            Self::Rising | Self::Falling | Self::Supply => (spec.converter_gain_sd, spec.converter_offset_sd),
            Self::Reference => (0.0, spec.encoder_eccentricity_sd),
            Self::SupplyAmps => SUPPLY_METER_SD,
            Self::DriveAmps => DRIVE_METER_SD,
            Self::Temperature => (0.0, THERMOMETER_SD),
            Self::Ground => GROUND_METER_SD,
            Self::MotorVolts => MOTOR_VOLTMETER_SD,
            Self::MotorAmps => MOTOR_AMMETER_SD,
        }
    }

    /// Its entry of the channel table.
    pub fn info(self, index: u8, spec: &RigSpec) -> ChannelInfo {
        let (unit, encoding, scale) = self.scale(spec);
        let filtered = self.is_signal() || matches!(self, Self::Supply | Self::MotorVolts | Self::MotorAmps);
        ChannelInfo {
            index,
            encoding,
            unit,
            has_load: self.is_signal(),
            has_pull_down: self.is_signal(),
            name: Text::new(self.name()),
            scale,
            offset: 0.0,
            resolution: scale,
            filter_us: if filtered { spec.filter_us as u32 } else { 0 },
        }
    }

    /// Its calibration.
    pub fn calibration(self, channel: u8, spec: &RigSpec) -> Calibration {
        let (gain_uncertainty, offset_uncertainty) = self.uncertainty(spec);
        // Day 20454: 2026-01-01.
        let certificate = Text::new("simulated, as drawn");
        Calibration { channel, gain_uncertainty, offset_uncertainty, day: 20_454, certificate }
    }
}

/// How one rig turns what is at a column's input into counts.
#[derive(Clone, Copy, Debug)]
pub struct Meter {
    gain: f64,
    offset: f64,
    noise: f64,
    range: (i32, i32),
}

impl Meter {
    /// Counts of a value, with a standard normal draw for the noise, within what the column's form can hold.
    #[inline]
    pub fn count(&self, value: f64, draw: f64) -> i32 {
        let counts = self.gain * value + self.offset + self.noise * draw;
        // Half away from zero, as `round`, which is a call into a library on most machines.
        ((counts + 0.5_f64.copysign(counts)) as i32).clamp(self.range.0, self.range.1)
    }
}
