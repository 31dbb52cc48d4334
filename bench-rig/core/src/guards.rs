//! The rules that take the drive off: E-stop, lid, link silence, current, travel, supply, temperature, motor.
//!
//! It says which rule is broken; what is done about it is the machine's part.

use trackpair_protocol::LINK_SILENCE_US;
use trackpair_protocol::message::{Guard, RigState};

use crate::board::{GuardLimits, Micros, Vitals};
use crate::motor_guards::{Broken, MotorGuards};

/// Guards that are looked at in every state.
const ALWAYS: u16 = bit(Guard::EmergencyStop) | bit(Guard::LidOpen) | bit(Guard::Temperature);

/// Guards whose trip switches the sensor supply off too.
pub const TAKE_SUPPLY_OFF: u16 = bit(Guard::SupplyRange) | bit(Guard::Temperature);

/// A guard's bit in a status or a refusal.
pub const fn bit(guard: Guard) -> u16 {
    1 << guard as u16
}

/// The sensor supply as it was set.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Supply {
    /// Level, mV; 0 = off.
    pub millivolts: u16,
    /// When it was set.
    pub since: Micros,
}

/// What the rig itself knows beside the board's vitals.
#[derive(Clone, Copy, Debug)]
pub struct Situation {
    /// State.
    pub state: RigState,
    /// Time since the last accepted request, µs.
    pub silence_us: Micros,
    /// The supply as set.
    pub supply: Supply,
    /// Setpoint less plate angle, mdeg, while the position loop works.
    pub deviation_mdeg: Option<i32>,
}

/// Limits, what is tripped, and since when the current is too high.
#[derive(Clone, Debug)]
pub struct Guards {
    limits: GuardLimits,
    tripped: u16,
    over_current_since: Option<Micros>,
    motor: Option<MotorGuards>,
    motor_broken: Broken,
}

impl Guards {
    /// Nothing tripped.
    pub fn new(limits: GuardLimits) -> Self {
        Self {
            limits,
            tripped: 0,
            over_current_since: None,
            motor: limits.motor.map(MotorGuards::new),
            motor_broken: Broken::default(),
        }
    }

    /// Tripped guards, bit by [`bit`].
    pub fn tripped(&self) -> u16 {
        self.tripped
    }

    /// Heat in the motor, thousandths of the budget.
    pub fn heat_permille(&self) -> u16 {
        self.motor.as_ref().map_or(0, MotorGuards::heat_permille)
    }

    /// Forgets the trips.
    pub fn clear(&mut self) {
        self.tripped = 0;
    }

    /// Guards whose cause is there at `at`, whatever the state; the over-current without its hold time.
    pub fn present(&self, vitals: &Vitals, situation: &Situation, at: Micros) -> u16 {
        let limits = &self.limits;
        let supply = situation.supply;
        let settled = supply.millivolts > 0 && at.saturating_sub(supply.since) >= limits.supply_settle_us;
        let link_matters = matches!(situation.state, RigState::Armed | RigState::Driving);
        let causes = [
            (Guard::EmergencyStop, vitals.emergency_stop),
            (Guard::LidOpen, vitals.lid_open),
            (Guard::LinkSilence, link_matters && situation.silence_us >= LINK_SILENCE_US),
            (Guard::OverCurrent, vitals.drive_ma > limits.over_current_ma),
            (Guard::Travel, !(limits.travel_mdeg.0..=limits.travel_mdeg.1).contains(&vitals.reference_mdeg)),
            (
                Guard::SupplyRange,
                settled && vitals.supply_mv.abs_diff(supply.millivolts) > limits.supply_tolerance_mv,
            ),
            (Guard::Temperature, vitals.temperature_cdeg > limits.temperature_cdeg),
            (Guard::Stall, self.motor_broken.stall),
            (Guard::Heat, self.motor_broken.heat),
            (Guard::NotFollowing, self.motor_broken.not_following),
        ];
        causes.iter().filter(|(_, present)| *present).fold(0, |bits, (guard, _)| bits | bit(*guard))
    }

    /// Looks at everything and trips what is broken; the newly tripped guards. At rest only the E-stop, the lid and
    /// the temperature count.
    pub fn check(&mut self, vitals: &Vitals, situation: &Situation, at: Micros) -> u16 {
        if let Some(motor) = self.motor.as_mut() {
            self.motor_broken = motor.check(vitals, situation.deviation_mdeg, at);
        }
        let mut broken = self.present(vitals, situation, at);
        if broken & bit(Guard::OverCurrent) == 0 {
            self.over_current_since = None;
        } else if at.saturating_sub(*self.over_current_since.get_or_insert(at)) < self.limits.over_current_us
        {
            broken &= !bit(Guard::OverCurrent);
        }
        if situation.state == RigState::Resting {
            broken &= ALWAYS;
        }
        let new = broken & !self.tripped;
        self.tripped |= new;
        new
    }
}

/// The value that a trip of `guard` reports, in the guard's unit.
pub fn value(guard: Guard, vitals: &Vitals, situation: &Situation, heat_permille: u16) -> i32 {
    match guard {
        Guard::EmergencyStop | Guard::LidOpen => 0,
        Guard::LinkSilence => i32::try_from(situation.silence_us).unwrap_or(i32::MAX),
        Guard::OverCurrent => i32::try_from(vitals.drive_ma).unwrap_or(i32::MAX),
        Guard::Travel => vitals.reference_mdeg,
        Guard::SupplyRange => i32::from(vitals.supply_mv),
        Guard::Temperature => vitals.temperature_cdeg,
        Guard::Stall => vitals.motor_ma,
        Guard::Heat => i32::from(heat_permille),
        Guard::NotFollowing => situation.deviation_mdeg.unwrap_or(0),
    }
}
