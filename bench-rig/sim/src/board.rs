//! The rig core's `Board` over the plant: converters, encoder, meters, guard inputs, identity, channel table and calibration.

use std::collections::VecDeque;

use serde::{Deserialize, Serialize};
use trackpair_protocol::channel::{Calibration, ChannelInfo, Encoding, MAX_CHANNELS, Unit};
use trackpair_protocol::message::{Identity, capability};
use trackpair_protocol::wire::Text;
use trackpair_rig_core::board::{Board, Drive, GuardLimits, Micros, Missed, Vitals};

use crate::dropout::Outage;
use crate::grip::Command;
use crate::operator::Operator;
use crate::part::{Part, PartTruth};
use crate::plant::Plant;
use crate::random::Random;
use crate::rig_spec::{DRIVE_METER_SD, GROUND_METER_SD, RigSpec, RigTruth, SUPPLY_METER_SD, THERMOMETER_SD};

/// One count of the voltage converter: 16 bits over 5.12 V.
pub const VOLT_COUNT: f64 = 5.12 / 65536.0;
const GROUND_COUNT: f64 = VOLT_COUNT / 8.0;
const SUPPLY_AMP_COUNT: f64 = 1e-6;
const DRIVE_AMP_COUNT: f64 = 1e-3;
const CELSIUS_COUNT: f64 = 0.01;
/// Frequency of the supply ripple, rad/µs.
const RIPPLE: f64 = std::f64::consts::TAU * 100.0 * 1e-6;

/// Columns of the channel table.
pub mod column {
    /// First channel.
    pub const RISING: u8 = 0;
    /// Second channel.
    pub const FALLING: u8 = 1;
    /// Supply at the rig's terminals.
    pub const SUPPLY: u8 = 2;
    /// The rig's own angle.
    pub const REFERENCE: u8 = 3;
    /// Current into the sensor.
    pub const SUPPLY_AMPS: u8 = 4;
    /// Current of the grip drive.
    pub const DRIVE_AMPS: u8 = 5;
    /// Rig temperature.
    pub const TEMPERATURE: u8 = 6;
    /// Supply return at the loom's end.
    pub const GROUND: u8 = 7;
    /// Columns in all.
    pub const COUNT: u8 = 8;
}

/// Everything that was drawn for a rig and the part on it. Written on request, never through the protocol.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Truth {
    /// The part.
    pub part: PartTruth,
    /// The rig.
    pub rig: RigTruth,
}

/// A simulated board.
#[derive(Clone, Debug)]
pub struct SimBoard {
    plant: Plant,
    spec: RigSpec,
    drawn: RigTruth,
    noise: Random,
    serial: Text<16>,
    boot: u32,
    drive: Drive,
    emergency_stop: bool,
    lid_open: bool,
    supply_noise: Noise,
}

/// First-order noise at irregular times, with the decay of the last interval kept.
#[derive(Clone, Copy, Debug)]
struct Noise {
    value: f64,
    at_us: f64,
    interval_us: f64,
    keep: f64,
    fresh: f64,
}

impl SimBoard {
    /// A board of a kind, drawn with `seed`, with `part` clamped in it. At rest and unpowered at time 0.
    pub fn new(part: Part, spec: RigSpec, seed: u64) -> Self {
        let mut random = Random::new("rig", seed);
        let drawn = spec.draw(&mut random);
        let serial = Text::new(&format!("SIM-{:06X}", (random.unit() * f64::from(1 << 24)) as u32));
        Self {
            plant: Plant::new(part, spec.clone(), drawn.clone(), seed),
            noise: Random::new("rig noise", seed),
            supply_noise: Noise { value: 0.0, at_us: 0.0, interval_us: -1.0, keep: 0.0, fresh: 0.0 },
            boot: 1,
            drive: Drive::Off,
            emergency_stop: false,
            lid_open: false,
            serial,
            spec,
            drawn,
        }
    }

    /// Everything that was drawn.
    pub fn truth(&self) -> Truth {
        Truth { part: self.plant.part().truth(), rig: self.drawn.clone() }
    }

    /// The part, loom and inputs.
    pub fn plant(&self) -> &Plant {
        &self.plant
    }

    /// Losses of contact so far, the newest last; bounded.
    pub fn outages(&self) -> &VecDeque<Outage> {
        self.plant.history()
    }

    /// Presses or releases the E-stop. Pressed, it also cuts the drive by itself.
    pub fn set_emergency_stop(&mut self, pressed: bool) {
        self.emergency_stop = pressed;
        self.apply_drive();
    }

    /// Opens or closes the lid. Open, it also cuts the drive by itself.
    pub fn set_lid_open(&mut self, open: bool) {
        self.lid_open = open;
        self.apply_drive();
    }

    /// Sets room and rig to a temperature, °C.
    pub fn set_temperature(&mut self, celsius: f64) {
        self.plant.set_temperature(celsius);
    }

    /// Makes the sensor supply disobey, V; `None` heals it.
    pub fn set_supply_fault(&mut self, volts: Option<f64>) {
        self.plant.supply_fault = volts;
    }

    /// What the person beside the rig does while the drive is off.
    pub fn set_operator(&mut self, operator: Operator) {
        self.plant.operator = operator;
    }

    /// Whether the power stage drives the part.
    pub fn drive_is_on(&self) -> bool {
        self.drive != Drive::Off && !self.emergency_stop && !self.lid_open
    }

    /// Number of resets so far, as the rig reports it.
    pub fn set_boot(&mut self, boot: u32) {
        self.boot = boot;
    }

    fn apply_drive(&mut self) {
        let cut = self.emergency_stop || self.lid_open;
        self.plant.command(match self.drive {
            Drive::Position(mdeg) if !cut => Command::Position((f64::from(mdeg) * 1e-3).to_radians()),
            _ => Command::Off,
        });
    }

    /// Supply ripple and noise behind a 100 µs filter, V: the same for the supply and, by their ratio, for both channels.
    fn supply_wander(&mut self, at_us: f64) -> f64 {
        let state = &mut self.supply_noise;
        let interval = at_us - state.at_us;
        if interval != state.interval_us {
            state.keep = (-interval / self.spec.filter_us).exp();
            state.fresh = self.spec.supply_noise_volts * (1.0 - state.keep * state.keep).sqrt();
            state.interval_us = interval;
        }
        state.at_us = at_us;
        state.value = state.keep * state.value + state.fresh * self.noise.normal();
        let on = (self.plant.supply() * 0.2).clamp(0.0, 1.0);
        on * (state.value + self.spec.ripple_volts * (RIPPLE * at_us + self.drawn.ripple_phase).sin())
    }

    fn reference_deg(&self, at_us: f64) -> f64 {
        let shaft = self.plant.shaft_deg(at_us);
        shaft + self.drawn.eccentricity_deg * (shaft.to_radians() + self.drawn.eccentricity_phase).sin()
    }

    fn convert(&mut self, k: usize, volts: f64) -> i32 {
        let noise = self.spec.converter_noise_volts * self.noise.normal();
        let seen = self.drawn.converter_gain[k] * volts + self.drawn.converter_offset[k] + noise;
        count(seen, VOLT_COUNT, Encoding::U16)
    }

    fn meter(
        &mut self,
        (gain, offset): (f64, f64),
        value: f64,
        noise: f64,
        unit: f64,
        encoding: Encoding,
    ) -> i32 {
        count(gain * value + offset + noise * self.noise.normal(), unit, encoding)
    }

    fn convert_column(&mut self, index: u8, at_us: f64, wander: f64) -> i32 {
        let supply = self.plant.supply();
        match index {
            column::RISING | column::FALLING => {
                let k = usize::from(index);
                let volts = self.plant.volts(k, at_us + f64::from(index) * self.spec.falling_skew_us);
                self.convert(k, volts * (1.0 + wander / supply.max(0.5)))
            }
            column::SUPPLY => self.convert(2, supply + wander),
            column::REFERENCE => {
                let noise = self.spec.encoder_noise_deg * self.noise.normal();
                let deg = self.reference_deg(at_us + self.drawn.encoder_skew_us) + noise;
                count(deg, 360.0 / self.spec.encoder_counts, Encoding::I16)
            }
            column::SUPPLY_AMPS => {
                let amps = self.plant.supply_amps(at_us);
                self.meter(self.drawn.supply_meter, amps, 5e-6, SUPPLY_AMP_COUNT, Encoding::U16)
            }
            column::DRIVE_AMPS => {
                let amps = self.plant.drive_amps();
                self.meter(self.drawn.drive_meter, amps, 4e-3, DRIVE_AMP_COUNT, Encoding::I16)
            }
            column::TEMPERATURE => {
                let celsius = self.plant.temperature();
                self.meter((1.0, self.drawn.thermometer_celsius), celsius, 0.02, CELSIUS_COUNT, Encoding::I16)
            }
            column::GROUND => {
                let volts = self.plant.return_volts(at_us);
                self.meter(self.drawn.ground_meter, volts, 30e-6, GROUND_COUNT, Encoding::I16)
            }
            _ => 0,
        }
    }
}

fn count(value: f64, unit: f64, encoding: Encoding) -> i32 {
    let (min, max) = encoding.range();
    ((value / unit).round() as i32).clamp(min, max)
}

impl Board for SimBoard {
    fn identity(&self) -> Identity {
        use capability::{GRIP_DRIVE, LOADS, REFERENCE, SIMULATED, SUPPLY_ADJUSTABLE};
        Identity {
            session: 0,
            boot: self.boot,
            model: Text::new("simulated grip rig"),
            serial: self.serial,
            firmware: Text::new(env!("CARGO_PKG_VERSION")),
            capabilities: SIMULATED | GRIP_DRIVE | REFERENCE | SUPPLY_ADJUSTABLE | LOADS,
            channels: column::COUNT,
            min_period_us: 50,
            max_period_us: 100_000,
            supply_mv: (4000, 5000),
            travel_mdeg: (-3000, 82_000),
            max_speed_mdeg_s: 400_000,
            max_drive_mv: 0,
        }
    }

    fn channel(&self, index: u8) -> Option<ChannelInfo> {
        let filter_us = self.spec.filter_us as u32;
        let degree = 360.0 / self.spec.encoder_counts;
        let (name, unit, encoding, scale, filter_us) = match index {
            column::RISING => ("rising", Unit::Volt, Encoding::U16, VOLT_COUNT, filter_us),
            column::FALLING => ("falling", Unit::Volt, Encoding::U16, VOLT_COUNT, filter_us),
            column::SUPPLY => ("supply", Unit::Volt, Encoding::U16, VOLT_COUNT, filter_us),
            column::REFERENCE => ("reference", Unit::Degree, Encoding::I16, degree, 0),
            column::SUPPLY_AMPS => ("supply_amps", Unit::Ampere, Encoding::U16, SUPPLY_AMP_COUNT, 0),
            column::DRIVE_AMPS => ("drive_amps", Unit::Ampere, Encoding::I16, DRIVE_AMP_COUNT, 0),
            column::TEMPERATURE => ("temperature", Unit::Celsius, Encoding::I16, CELSIUS_COUNT, 0),
            column::GROUND => ("ground", Unit::Volt, Encoding::I16, GROUND_COUNT, 0),
            _ => return None,
        };
        let signal = index <= column::FALLING;
        let (has_load, has_pull_down) = (signal, signal);
        let name = Text::new(name);
        Some(ChannelInfo {
            index,
            encoding,
            unit,
            has_load,
            has_pull_down,
            name,
            scale,
            offset: 0.0,
            resolution: scale,
            filter_us,
        })
    }

    fn calibration(&self, index: u8) -> Option<Calibration> {
        let (gain_uncertainty, offset_uncertainty) = match index {
            column::RISING | column::FALLING | column::SUPPLY => {
                (self.spec.converter_gain_sd, self.spec.converter_offset_sd)
            }
            column::REFERENCE => (0.0, self.spec.encoder_eccentricity_sd),
            column::SUPPLY_AMPS => SUPPLY_METER_SD,
            column::DRIVE_AMPS => DRIVE_METER_SD,
            column::TEMPERATURE => (0.0, THERMOMETER_SD),
            column::GROUND => GROUND_METER_SD,
            _ => return None,
        };
        // Day 20454: 2026-01-01.
        let certificate = Text::new("simulated, as drawn");
        Some(Calibration { channel: index, gain_uncertainty, offset_uncertainty, day: 20_454, certificate })
    }

    fn guard_limits(&self) -> GuardLimits {
        GuardLimits {
            // The servo limits itself to 6 A.
            over_current_ma: 8000,
            over_current_us: 50_000,
            travel_mdeg: (-8000, 90_000),
            supply_tolerance_mv: 250,
            supply_settle_us: 20_000,
            temperature_cdeg: 7000,
            motor: None,
        }
    }

    fn set_supply(&mut self, millivolts: u16, at: Micros) {
        self.plant.advance(at as f64);
        self.plant.supply_set = f64::from(millivolts) * 1e-3;
    }

    fn set_input(&mut self, channel: u8, load: bool, pull_down: bool, at: Micros) {
        self.plant.advance(at as f64);
        if channel <= column::FALLING {
            self.plant.set_input(usize::from(channel), load, pull_down);
        }
    }

    fn set_drive(&mut self, drive: Drive, at: Micros) {
        self.plant.advance(at as f64);
        self.drive = drive;
        self.apply_drive();
    }

    fn vitals(&mut self, at: Micros) -> Vitals {
        let at_us = at as f64;
        self.plant.advance(at_us);
        Vitals {
            emergency_stop: self.emergency_stop,
            lid_open: self.lid_open,
            reference_mdeg: (self.reference_deg(at_us) * 1e3).round() as i32,
            drive_ma: (self.plant.drive_amps().abs() * 1e3).round() as u32,
            supply_mv: (self.plant.supply() * 1e3).round() as u16,
            temperature_cdeg: ((self.plant.temperature() + self.drawn.thermometer_celsius) * 100.0).round()
                as i32,
            motor_ma: 0,
            feedback_ppm: 0,
        }
    }

    fn scan(&mut self, at: Micros, mask: u16, counts: &mut [i32; MAX_CHANNELS]) -> Result<(), Missed> {
        let at_us = at as f64;
        self.plant.advance(at_us);
        let wander = self.supply_wander(at_us);
        for index in 0..column::COUNT {
            if mask & (1 << index) != 0 {
                counts[usize::from(index)] = self.convert_column(index, at_us, wander);
            }
        }
        Ok(())
    }
}
