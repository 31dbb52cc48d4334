//! The rig core's `Board` over the plant: converters, encoder, meters, guard inputs, identity, channel table and calibration.

use std::collections::VecDeque;

use serde::{Deserialize, Serialize};
use trackpair_protocol::channel::{Calibration, ChannelInfo, MAX_CHANNELS};
use trackpair_protocol::message::{Identity, capability};
use trackpair_protocol::wire::Text;
use trackpair_rig_core::board::{Board, Drive, GuardLimits, Micros, Missed, MotorLimits, Vitals};

use crate::body::Bridge;
use crate::body::bridge::SUPPLY_VOLTS;
use crate::clamped::Clamped;
use crate::dropout::Outage;
use crate::grip::Command;
use crate::occasion::Occasion;
use crate::operator::Operator;
use crate::part::{Part, PartTruth};
use crate::plant::Plant;
use crate::random::Random;
use crate::rig_spec::{RigSpec, RigTruth};
use crate::sine::sine;
use crate::spec::Kind;
use crate::table::{self, Measure, Meter};

/// Frequency of the supply ripple, rad/µs.
const RIPPLE: f64 = std::f64::consts::TAU * 100.0 * 1e-6;

/// Columns of a grip rig's channel table.
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

/// Columns of a body rig's channel table that a grip rig has not, or elsewhere.
pub mod body_column {
    /// Voltage at the motor's terminals.
    pub const MOTOR_VOLTS: u8 = 3;
    /// Current through the motor.
    pub const MOTOR_AMPS: u8 = 4;
    /// Current into the sensor.
    pub const SUPPLY_AMPS: u8 = 5;
}

/// Limits of the simulated bridge: a motor of 1.15 ohm stalls at 11 A on 13 V; its winding takes some 1500 A²s for 50 K.
const MOTOR: MotorLimits = MotorLimits {
    current_ma: 10_000,
    stall_ma: 6_000,
    stall_us: 500_000,
    stall_ppm: 5_000,
    heat_free_ma: 3_000,
    heat_budget_ma2_ms: 300_000_000_000,
    follow_mdeg: 15_000,
    follow_us: 500_000,
};

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
    kind: Kind,
    columns: [Measure; 8],
    meters: [Meter; 8],
    noise: Random,
    serial: Text<16>,
    drive: Drive,
    /// When the drive was set last, µs: what cuts it since then does so at the time that has been reached.
    driven_us: f64,
    emergency_stop: bool,
    lid_open: bool,
    supply_noise: Noise,
    /// On a pair's rig this board has the grip, and that one the body.
    body: Option<Box<SimBoard>>,
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
        Self::on(part, spec, seed, Occasion::default())
    }

    /// The same on an occasion: another rig, mounting or sweep than the part's own seed draws.
    pub fn on(part: Part, mut spec: RigSpec, seed: u64, occasion: Occasion) -> Self {
        let mut random = Random::new("rig", occasion.rig.unwrap_or(seed));
        let mut drawn = spec.draw(&mut random);
        occasion.apply(&mut spec, &mut drawn, seed);
        let fresh = occasion.fresh_seed(seed);
        let serial = Text::new(&format!("SIM-{:06X}", (random.unit() * f64::from(1 << 24)) as u32));
        let kind = part.spec().kind;
        let columns = if kind == Kind::Body { table::BODY } else { table::GRIP };
        Self {
            kind,
            columns,
            meters: columns.map(|measure| measure.meter(&spec, &drawn)),
            plant: Plant::new(part, spec.clone(), drawn.clone(), fresh),
            noise: Random::new("rig noise", fresh),
            supply_noise: Noise { value: 0.0, at_us: 0.0, interval_us: -1.0, keep: 0.0, fresh: 0.0 },
            drive: Drive::Off,
            driven_us: 0.0,
            emergency_stop: false,
            lid_open: false,
            serial,
            spec,
            drawn,
            body: None,
        }
    }

    /// A pair's board: a grip and a body side by side, drawn as one rig.
    pub fn pair(grip: Part, body: Part, spec: RigSpec, seed: u64) -> Self {
        Self::pair_on(grip, body, spec, seed, Occasion::default())
    }

    /// The same on an occasion.
    pub fn pair_on(grip: Part, body: Part, spec: RigSpec, seed: u64, occasion: Occasion) -> Self {
        let body = Self::on(body, spec.clone(), seed, occasion);
        Self { body: Some(Box::new(body)), ..Self::on(grip, spec, seed, occasion) }
    }

    /// The board that has the body of a pair.
    pub fn body(&self) -> Option<&Self> {
        self.body.as_deref()
    }

    /// The column of the body's board behind a column of a pair's table.
    fn plate_column(&self, index: u8) -> Option<u8> {
        let behind = usize::from(index).checked_sub(self.columns.len())?;
        self.body.as_ref().and(table::PLATE.get(behind)).map(|(column, _)| *column as u8)
    }

    /// Everything that was drawn.
    pub fn truth(&self) -> Truth {
        let mut part = self.plant.part().truth();
        if let (Some(truth), Clamped::Body(mount)) = (&mut part.body, self.plant.clamped()) {
            truth.set_winding(mount.body().winding());
        }
        Truth { part, rig: self.drawn.clone() }
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
        if let Some(body) = &mut self.body {
            body.set_emergency_stop(pressed);
        }
        self.emergency_stop = pressed;
        self.apply_drive();
    }

    /// Opens or closes the lid. Open, it also cuts the drive by itself.
    pub fn set_lid_open(&mut self, open: bool) {
        if let Some(body) = &mut self.body {
            body.set_lid_open(open);
        }
        self.lid_open = open;
        self.apply_drive();
    }

    /// Sets room and rig to a temperature, °C.
    pub fn set_temperature(&mut self, celsius: f64) {
        if let Some(body) = &mut self.body {
            body.set_temperature(celsius);
        }
        self.plant.set_temperature(celsius);
    }

    /// Has the room grow warmer from now on, °C per minute.
    pub fn set_warming(&mut self, celsius_per_min: f64) {
        if let Some(body) = &mut self.body {
            body.set_warming(celsius_per_min);
        }
        self.plant.set_warming(celsius_per_min);
    }

    /// Makes the sensor supply disobey, V; `None` heals it.
    pub fn set_supply_fault(&mut self, volts: Option<f64>) {
        if let Some(body) = &mut self.body {
            body.set_supply_fault(volts);
        }
        self.plant.supply_fault = volts;
    }

    /// What the person beside the rig does while the drive is off.
    pub fn set_operator(&mut self, operator: Operator) {
        self.plant.operator = operator;
    }

    /// Whether the power stage drives the part.
    pub fn drive_is_on(&self) -> bool {
        let own = self.drive != Drive::Off && !self.emergency_stop && !self.lid_open;
        own || self.body.as_ref().is_some_and(|body| body.drive_is_on())
    }

    fn apply_drive(&mut self) {
        let cut = self.emergency_stop || self.lid_open;
        let drive = if cut { Drive::Off } else { self.drive };
        let at_us = self.driven_us;
        match self.plant.clamped_mut() {
            Clamped::Grip(mount) => mount.command(match drive {
                Drive::Position(mdeg) => Command::Position((f64::from(mdeg) * 1e-3).to_radians()),
                _ => Command::Off,
            }),
            Clamped::Body(mount) => {
                let bridge = match drive {
                    Drive::Volts(mv) => Bridge::Drive { volts: f64::from(mv) * 1e-3 },
                    Drive::Brake => Bridge::Brake,
                    _ => Bridge::Open,
                };
                mount.set_bridge(bridge, at_us);
            }
        }
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
        on * (state.value + self.spec.ripple_volts * sine(RIPPLE * at_us + self.drawn.ripple_phase))
    }

    fn reference_deg(&self, at_us: f64) -> f64 {
        let shaft = self.plant.shaft_deg(at_us);
        shaft + self.drawn.eccentricity_deg * sine(shaft.to_radians() + self.drawn.eccentricity_phase)
    }

    /// A column's counts of what is at its input.
    #[inline]
    fn count(&mut self, column: usize, value: f64) -> i32 {
        self.meters[column].count(value, self.noise.normal())
    }

    /// Voltage and current of a body's motor behind their filters; none without one.
    fn motor(&mut self, at_us: f64) -> [f64; 2] {
        match self.plant.clamped_mut() {
            Clamped::Body(mount) => mount.meters(at_us),
            Clamped::Grip(_) => [0.0; 2],
        }
    }

    /// What a measure has at its input.
    #[inline]
    fn at_input(&mut self, measure: Measure, at_us: f64, wander: f64) -> f64 {
        let supply = self.plant.supply();
        match measure {
            Measure::Rising | Measure::Falling => {
                let k = usize::from(measure == Measure::Falling);
                let volts = self.plant.volts(k, at_us + k as f64 * self.spec.falling_skew_us);
                volts * (1.0 + wander / supply.max(0.5))
            }
            Measure::Supply => supply + wander,
            Measure::Reference => self.reference_deg(at_us + self.drawn.encoder_skew_us),
            Measure::SupplyAmps => self.plant.supply_amps(at_us),
            Measure::DriveAmps => self.plant.clamped().drive_amps(),
            Measure::Temperature => self.plant.temperature(),
            Measure::Ground => self.plant.return_volts(at_us),
            Measure::MotorVolts => self.motor(at_us)[0],
            Measure::MotorAmps => self.motor(at_us)[1],
        }
    }

    /// First feedback line over the supply, millionths, as the rig's own loop sees both; 0 without supply.
    fn feedback_ppm(&mut self, at_us: f64) -> i32 {
        let supply = self.plant.supply();
        if supply < 0.5 {
            return 0;
        }
        let line = self.plant.volts(0, at_us);
        let line = f64::from(self.count(0, line));
        (1e6 * line / f64::from(self.count(2, supply)).max(1.0)).round() as i32
    }
}

impl Board for SimBoard {
    fn identity(&self) -> Identity {
        if let Some(body) = &self.body {
            let grip = Self { body: None, ..self.clone() }.identity();
            let body = body.identity();
            return Identity {
                model: Text::new("simulated pair rig"),
                capabilities: grip.capabilities | body.capabilities,
                channels: column::COUNT + table::PLATE.len() as u8,
                max_drive_mv: body.max_drive_mv,
                ..grip
            };
        }
        use capability::{
            BODY_DRIVE, GRIP_DRIVE, GRIP_LETS_GO, LOADS, REFERENCE, SIMULATED, SUPPLY_ADJUSTABLE,
        };
        let common = SIMULATED | SUPPLY_ADJUSTABLE | LOADS;
        let (model, drive, travel_mdeg, max_speed_mdeg_s, max_drive_mv) = match self.kind {
            Kind::Grip => {
                let can = GRIP_DRIVE | REFERENCE | GRIP_LETS_GO;
                ("simulated grip rig", can, (-3000, 82_000), 400_000, 0)
            }
            Kind::Body => {
                let volts_mv = (SUPPLY_VOLTS * 1e3) as u16;
                ("simulated body rig", BODY_DRIVE, (-1000, 86_000), 400_000, volts_mv)
            }
        };
        Identity {
            session: 0,
            boot: 1,
            model: Text::new(model),
            serial: self.serial,
            firmware: Text::new(env!("CARGO_PKG_VERSION")),
            capabilities: common | drive,
            channels: column::COUNT,
            min_period_us: 50,
            max_period_us: 100_000,
            supply_mv: (4000, 5000),
            travel_mdeg,
            max_speed_mdeg_s,
            max_drive_mv,
        }
    }

    fn channel(&self, index: u8) -> Option<ChannelInfo> {
        if let (Some(body), Some(column)) = (&self.body, self.plate_column(index)) {
            let name = table::PLATE[usize::from(index) - self.columns.len()].1;
            return body.channel(column).map(|info| ChannelInfo { index, name: Text::new(name), ..info });
        }
        self.columns.get(usize::from(index)).map(|measure| measure.info(index, &self.spec))
    }

    fn calibration(&self, index: u8) -> Option<Calibration> {
        if let (Some(body), Some(column)) = (&self.body, self.plate_column(index)) {
            return body.calibration(column).map(|known| Calibration { channel: index, ..known });
        }
        self.columns.get(usize::from(index)).map(|measure| measure.calibration(index, &self.spec))
    }

    fn guard_limits(&self) -> GuardLimits {
        let drives_motor = self.kind == Kind::Body || self.body.is_some();
        GuardLimits {
            // A grip's servo limits itself to 6 A; a reversed motor may draw 22 A for a moment.
            over_current_ma: if drives_motor { 15_000 } else { 8000 },
            over_current_us: 50_000,
            travel_mdeg: (-8000, 90_000),
            supply_tolerance_mv: 250,
            supply_settle_us: 20_000,
            temperature_cdeg: 7000,
            motor: drives_motor.then_some(MOTOR),
        }
    }

    fn set_supply(&mut self, millivolts: u16, at: Micros) {
        self.plant.advance(at as f64);
        self.plant.supply_set = f64::from(millivolts) * 1e-3;
        if let Some(body) = &mut self.body {
            body.set_supply(millivolts, at);
        }
    }

    fn set_input(&mut self, channel: u8, load: bool, pull_down: bool, at: Micros) {
        let plate = self.plate_column(channel);
        if let (Some(body), Some(column)) = (&mut self.body, plate) {
            return body.set_input(column, load, pull_down, at);
        }
        self.plant.advance(at as f64);
        if channel <= column::FALLING {
            self.plant.set_input(usize::from(channel), load, pull_down);
        }
    }

    fn set_grip(&mut self, to_mdeg: Option<i32>, at: Micros) {
        self.plant.advance(at as f64);
        self.drive = to_mdeg.map_or(Drive::Off, Drive::Position);
        self.driven_us = at as f64;
        self.apply_drive();
    }

    fn set_drive(&mut self, drive: Drive, at: Micros) {
        if let Some(body) = &mut self.body {
            return body.set_drive(drive, at);
        }
        self.plant.advance(at as f64);
        self.drive = drive;
        self.driven_us = at as f64;
        self.apply_drive();
    }

    fn vitals(&mut self, at: Micros) -> Vitals {
        let at_us = at as f64;
        if let Some(mut body) = self.body.take() {
            let (grip, plate) = (self.vitals(at), body.vitals(at));
            self.body = Some(body);
            return Vitals {
                drive_ma: grip.drive_ma.max(plate.drive_ma),
                motor_ma: plate.motor_ma,
                feedback_ppm: plate.feedback_ppm,
                grip_ppm: self.feedback_ppm(at_us),
                ..grip
            };
        }
        self.plant.advance(at_us);
        let body = self.kind == Kind::Body;
        let (gain, offset) = self.drawn.motor_ammeter;
        let amps =
            if body { gain * self.motor(at_us)[1] + offset } else { self.plant.clamped().drive_amps() };
        Vitals {
            emergency_stop: self.emergency_stop,
            lid_open: self.lid_open,
            reference_mdeg: if body { 0 } else { (self.reference_deg(at_us) * 1e3).round() as i32 },
            drive_ma: (amps.abs() * 1e3).round() as u32,
            supply_mv: (self.plant.supply() * 1e3).round() as u16,
            temperature_cdeg: ((self.plant.temperature() + self.drawn.thermometer_celsius) * 100.0).round()
                as i32,
            motor_ma: if body { (amps * 1e3).round() as i32 } else { 0 },
            feedback_ppm: if body { self.feedback_ppm(at_us) } else { 0 },
            grip_ppm: 0,
        }
    }

    fn scan(&mut self, at: Micros, mask: u16, counts: &mut [i32; MAX_CHANNELS]) -> Result<(), Missed> {
        if let Some(body) = &mut self.body {
            let behind = |k: usize| mask & (1 << (self.columns.len() + k)) != 0;
            let wanted = table::PLATE.iter().enumerate().filter(|(k, _)| behind(*k));
            let bits = wanted.fold(0, |bits, (_, (column, _))| bits | 1 << column);
            let mut plate = [0; MAX_CHANNELS];
            body.scan(at, bits, &mut plate)?;
            for (k, (column, _)) in table::PLATE.iter().enumerate() {
                counts[self.columns.len() + k] = plate[*column];
            }
        }
        let at_us = at as f64;
        self.plant.advance(at_us);
        let wander = self.supply_wander(at_us);
        for (index, measure) in self.columns.into_iter().enumerate() {
            if mask & (1 << index) != 0 {
                let value = self.at_input(measure, at_us, wander);
                counts[index] = self.count(index, value);
            }
        }
        Ok(())
    }
}
