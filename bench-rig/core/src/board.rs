//! What a board must do for the core. Implemented by the simulator and by firmware; both obey the same rig.

use trackpair_protocol::channel::{Calibration, ChannelInfo};
use trackpair_protocol::message::Identity;

/// Time on the rig's clock, microseconds since boot.
pub type Micros = u64;

/// What the drive is to do.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Drive {
    /// All switches open: the part moves by itself.
    Off,
    /// Turn the grip towards this angle, mdeg on the reference. A board with a motor bridge is never asked this: the core's
    /// position loop turns it into volts.
    Position(i32),
    /// The motor's terminals at this voltage, mV; positive opens the plate.
    Volts(i32),
    /// The motor's terminals joined.
    Brake,
}

/// What the guards look at, read in one go.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Vitals {
    /// E-stop pressed (also on a broken wire).
    pub emergency_stop: bool,
    /// Lid open.
    pub lid_open: bool,
    /// Reference angle, mdeg.
    pub reference_mdeg: i32,
    /// Drive current, mA, magnitude.
    pub drive_ma: u32,
    /// Sensor supply as measured, mV.
    pub supply_mv: u16,
    /// Rig temperature, hundredths of °C.
    pub temperature_cdeg: i32,
    /// Current through the motor, mA, signed as the voltage that drives it; 0 without a motor bridge.
    pub motor_ma: i32,
    /// First feedback line over the supply measured with it, millionths; 0 without a motor bridge or supply.
    pub feedback_ppm: i32,
    /// First line of the grip over the supply measured with it, millionths; 0 on a rig that has not both drives.
    pub grip_ppm: i32,
}

/// Limits of a motor bridge.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct MotorLimits {
    /// Largest current a position loop may be set to, mA.
    pub current_ma: u32,
    /// A motor stalls that draws more than this, mA …
    pub stall_ma: u32,
    /// … for this long, µs …
    pub stall_us: u64,
    /// … while the feedback line stays within this, millionths of the supply.
    pub stall_ppm: u32,
    /// Current that the motor bears for ever, mA.
    pub heat_free_ma: u32,
    /// Heat beyond that which trips, mA²·ms.
    pub heat_budget_ma2_ms: u64,
    /// A plate does not follow that is further than this from its setpoint, mdeg …
    pub follow_mdeg: u32,
    /// … for this long, µs.
    pub follow_us: u64,
}

/// Limits the board sets for its guards.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct GuardLimits {
    /// Trip above this drive current, mA …
    pub over_current_ma: u32,
    /// … held this long, µs.
    pub over_current_us: u64,
    /// Trip outside this reference window, mdeg.
    pub travel_mdeg: (i32, i32),
    /// Trip when the supply differs from what was set by more than this, mV …
    pub supply_tolerance_mv: u16,
    /// … this long after it was set, µs.
    pub supply_settle_us: u64,
    /// Trip above this temperature, hundredths of °C.
    pub temperature_cdeg: i32,
    /// Limits of the motor bridge; none without one.
    pub motor: Option<MotorLimits>,
}

/// A scan that the board could not take at its time.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Missed;

/// The board. Calls come with times that never go backwards.
pub trait Board {
    /// Who the rig is; `session` and `boot` are filled in by the board (boot) and by the core (session).
    fn identity(&self) -> Identity;
    /// One entry of the channel table.
    fn channel(&self, index: u8) -> Option<ChannelInfo>;
    /// Calibration of one channel.
    fn calibration(&self, index: u8) -> Option<Calibration>;
    /// The guards' limits.
    fn guard_limits(&self) -> GuardLimits;
    /// Sets the sensor supply, mV; 0 = off.
    fn set_supply(&mut self, millivolts: u16, at: Micros);
    /// Switches an input's load and pull-down.
    fn set_input(&mut self, channel: u8, load: bool, pull_down: bool, at: Micros);
    /// Sets the drive from now on. Called at every control tick (1 ms), where a segment of the program begins, at a start or
    /// stop, and at once when a guard trips.
    fn set_drive(&mut self, drive: Drive, at: Micros);
    /// Turns the grip towards this angle, mdeg on the reference, or lets it go. Only a board with both drives is asked: there
    /// [`Board::set_drive`] is for the motor alone. Called at every control tick while the grip is turned, and once to let it go.
    fn set_grip(&mut self, to_mdeg: Option<i32>, at: Micros) {
        let _ = (to_mdeg, at);
    }
    /// What the guards look at: read before every [`Board::set_drive`] that powers it, and for a status.
    fn vitals(&mut self, at: Micros) -> Vitals;
    /// Takes one scan of the channels in `mask` (bit = column) at `at`: counts by column number, in the table's encoding's range.
    /// A real board that is called too late answers [`Missed`].
    fn scan(
        &mut self,
        at: Micros,
        mask: u16,
        counts: &mut [i32; trackpair_protocol::channel::MAX_CHANNELS],
    ) -> Result<(), Missed>;
}
