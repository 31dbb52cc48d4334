//! Requests, replies, refusals and events: what a frame's payload means. How each lies in bytes is `payload.rs`;
//! `WIRE.md` gives every offset.

use crate::channel::{Calibration, ChannelInfo};
use crate::mapping::Mapping;
use crate::position_loop::LoopSettings;
use crate::program::Program;
use crate::wire::Text;

/// What a host may ask. Every request is answered with a [`Reply`] of the same request id, or a [`Refusal`].
#[derive(Clone, Copy, Debug, PartialEq)]
#[expect(
    clippy::large_enum_variant,
    reason = "no heap on a rig: a program is held in place, and only one at a time"
)]
pub enum Request {
    /// Opens a session: the request-id window starts at this frame's id. `session` is a number of the host's choosing.
    Identify {
        /// Session number, echoed.
        session: u32,
    },
    /// One entry of the channel table.
    DescribeChannel {
        /// Column number.
        channel: u8,
    },
    /// Calibration of one channel.
    ReadCalibration {
        /// Column number.
        channel: u8,
    },
    /// State, guards, counters.
    ReadStatus,
    /// Sensor supply: 0 switches it off, otherwise a level within the rig's capabilities.
    SetSupply {
        /// Level in millivolts, 0 = off.
        millivolts: u16,
    },
    /// Load (10 kΩ) and pull-down of one input.
    SetInput {
        /// Column number.
        channel: u8,
        /// 10 kΩ load to ground on.
        load: bool,
        /// Pull-down on.
        pull_down: bool,
    },
    /// Replaces the motion program. Refused while running.
    LoadProgram(Program),
    /// Allows the drive to be powered by a later start. Refused while a guard is tripped.
    Arm,
    /// Starts sampling, and with `drive` the program.
    Start(Start),
    /// Ends the run: drive off, disarmed, sampling ends with a last block. Also fine when nothing runs.
    Stop,
    /// Clears tripped guards whose cause is gone.
    ClearTrip,
    /// Keeps the link alive.
    Heartbeat,
    /// For clock comparison and round-trip times.
    ClockPing {
        /// Any number, echoed.
        host_stamp: u64,
    },
    /// Sets the position loop of a body rig. Refused while running.
    SetLoop(LoopSettings),
    /// Sets what a pair's rig asks of the plate at each output of the grip. Refused while running.
    SetMapping(Mapping),
}

/// How a run is to be.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Start {
    /// Run number of the host's choosing; echoed in every block and event of the run.
    pub run: u32,
    /// Sampling period, µs, within the rig's capabilities.
    pub period_us: u32,
    /// Bit k = column k is sampled. At least one.
    pub channels: u16,
    /// Whether the program is driven. Without it the rig only watches, until stopped or `max_us`.
    pub drive: bool,
    /// Longest run, µs; 0 = no bound of its own (watching) or the program's end (driving).
    pub max_us: u64,
}

/// An accepted request's answer.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Reply {
    /// To `Identify`.
    Identity(Identity),
    /// To `DescribeChannel`.
    Channel(ChannelInfo),
    /// To `ReadCalibration`.
    Calibration(Calibration),
    /// To `ReadStatus`.
    Status(Status),
    /// To `ClockPing`.
    Clock {
        /// The host's number.
        host_stamp: u64,
        /// Rig clock when the request was handled, µs.
        rig_us: u64,
    },
    /// To every other request: done.
    Done {
        /// Rig clock when it took effect, µs.
        rig_us: u64,
    },
}

/// Who the rig is and what it can do.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Identity {
    /// Session number of the request.
    pub session: u32,
    /// Counts resets: a new value means the rig has lost its settings.
    pub boot: u32,
    /// Name of the kind of rig.
    pub model: Text<24>,
    /// Serial number.
    pub serial: Text<16>,
    /// Version of its program.
    pub firmware: Text<16>,
    /// What it can do: [`capability`] bits.
    pub capabilities: u32,
    /// Number of channels.
    pub channels: u8,
    /// Shortest sampling period, µs.
    pub min_period_us: u32,
    /// Longest sampling period, µs.
    pub max_period_us: u32,
    /// Lowest and highest supply level, millivolts.
    pub supply_mv: (u16, u16),
    /// Lowest and highest angle the drive may be sent to, mdeg.
    pub travel_mdeg: (i32, i32),
    /// Largest drive speed, mdeg/s.
    pub max_speed_mdeg_s: u32,
    /// Largest voltage of the motor bridge either way, mV; 0 without one.
    pub max_drive_mv: u16,
}

/// Bits of [`Identity::capabilities`].
pub mod capability {
    /// The rig and the part on it are simulated.
    pub const SIMULATED: u32 = 1 << 0;
    /// It can turn a twist grip.
    pub const GRIP_DRIVE: u32 = 1 << 1;
    /// It has a reference angle of its own.
    pub const REFERENCE: u32 = 1 << 2;
    /// Its sensor supply is adjustable.
    pub const SUPPLY_ADJUSTABLE: u32 = 1 << 3;
    /// It has switchable loads.
    pub const LOADS: u32 = 1 << 4;
    /// It can drive a throttle body's motor.
    pub const BODY_DRIVE: u32 = 1 << 5;
    /// Released, its grip drive holds less than 0.02 N·m against the grip, so a grip that stays open then does so by itself.
    pub const GRIP_LETS_GO: u32 = 1 << 6;
}

/// What the rig is doing, named after what it awaits.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[repr(u8)]
pub enum RigState {
    /// Drive off; awaits an arm, or a start that only watches.
    Resting = 0,
    /// Armed, drive off; awaits a start.
    Armed = 1,
    /// Sampling with the drive off.
    Watching = 2,
    /// Sampling and driving the program.
    Driving = 3,
    /// A guard took the drive off; awaits a clear.
    Tripped = 4,
}

/// A rule inside the rig that takes the drive off.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[repr(u8)]
pub enum Guard {
    /// The E-stop is pressed. Value: 0.
    EmergencyStop = 0,
    /// The lid is open. Value: 0.
    LidOpen = 1,
    /// No valid request for 300 ms while armed or driving. Value: silence, µs.
    LinkSilence = 2,
    /// Drive current beyond its limit. Value: mA.
    OverCurrent = 3,
    /// Reference beyond the travel window. Value: mdeg.
    Travel = 4,
    /// Sensor supply not what was set. Value: mV.
    SupplyRange = 5,
    /// Too hot. Value: hundredths of °C.
    Temperature = 6,
    /// Motor current held although the plate does not move. Value: mA.
    Stall = 7,
    /// The motor has had more heat than the rig allows. Value: thousandths of the budget.
    Heat = 8,
    /// The plate does not follow the position loop's setpoint. Value: deviation, mdeg.
    NotFollowing = 9,
}

/// Status reply.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Status {
    /// Rig clock, µs.
    pub rig_us: u64,
    /// State.
    pub state: RigState,
    /// Tripped guards, bit = [`Guard`] code.
    pub tripped: u16,
    /// Guards whose cause is present now.
    pub present: u16,
    /// Run number of the current or last run; 0 before the first.
    pub run: u32,
    /// Sensor supply as set, mV; 0 = off.
    pub supply_mv: u16,
    /// Sample scans the rig could not take or send, since boot.
    pub overruns: u32,
    /// Frames dropped by the rig's deframer, since boot.
    pub frames_dropped: u32,
    /// Blocks sent in the current or last run.
    pub blocks: u32,
    /// Inputs with the load on, bit = column.
    pub loads: u16,
    /// Inputs with the pull-down on, bit = column.
    pub pull_downs: u16,
    /// Whether the drive is powered at this moment.
    pub drive_on: bool,
    /// Heat in the motor, thousandths of the budget that trips [`Guard::Heat`]; 0 on a rig without a motor bridge.
    pub heat_permille: u16,
}

/// Why a request was refused.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[repr(u8)]
pub enum Reason {
    /// No such request kind. Detail: the kind.
    Unknown = 1,
    /// The payload's size or a code in it is wrong. Detail: payload length.
    Malformed = 2,
    /// The frame's protocol version is not this rig's. Detail: the rig's version.
    Version = 3,
    /// A value is outside what the rig allows. Detail: number of the offending field, 0-based (for programs: segment).
    OutOfRange = 4,
    /// Not now: wrong state. Detail: [`RigState`] code.
    Untimely = 5,
    /// A guard is tripped or its cause present. Detail: guard bits.
    Guarded = 6,
    /// Older than the newest request handled. Detail: the newest id.
    Stale = 7,
    /// The rig cannot do that at all. Detail: the [`capability`] bits that it takes.
    NotCapable = 8,
    /// No session: ask `Identify` first. Detail: 0.
    NoSession = 9,
}

/// The answer to a request that was not carried out.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Refusal {
    /// Kind byte of the refused request.
    pub request: u8,
    /// Why.
    pub reason: Reason,
    /// More, see [`Reason`].
    pub detail: u32,
}

/// What happened in the rig by itself.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Event {
    /// Counts events since boot, so that a lost one shows.
    pub number: u32,
    /// When, rig clock, µs.
    pub rig_us: u64,
    /// Run it belongs to; 0 for none.
    pub run: u32,
    /// What.
    pub kind: EventKind,
}

/// Kinds of event.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum EventKind {
    /// The rig has started; unpowered.
    Booted,
    /// The run has started.
    RunStarted,
    /// The program has reached a segment.
    SegmentReached {
        /// Segment number.
        segment: u8,
        /// How many times the enclosing repeat has gone back so far.
        pass: u16,
    },
    /// The run has ended; blocks sent in all.
    RunEnded {
        /// Why.
        cause: EndCause,
        /// Blocks of this run.
        blocks: u32,
    },
    /// A guard has taken the drive off.
    GuardTripped {
        /// Which.
        guard: Guard,
        /// The offending value, see [`Guard`].
        value: i32,
    },
    /// Sample scans were lost inside the rig.
    Overrun {
        /// How many.
        scans: u32,
    },
    /// The sensor supply was set.
    SupplySet {
        /// mV, 0 = off.
        millivolts: u16,
    },
    /// An input's load or pull-down was set.
    InputSet {
        /// Column.
        channel: u8,
        /// Load on.
        load: bool,
        /// Pull-down on.
        pull_down: bool,
    },
}

/// Why a run ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[repr(u8)]
pub enum EndCause {
    /// The program is done, or `max_us` is over.
    Complete = 0,
    /// The host asked to stop.
    Stopped = 1,
    /// A guard.
    Guard = 2,
    /// The host opened a new session.
    NewSession = 3,
}

/// Any frame's payload, decoded.
#[derive(Clone, Copy, Debug, PartialEq)]
#[expect(
    clippy::large_enum_variant,
    reason = "no heap on a rig: a program is held in place, and only one at a time"
)]
pub enum Message<'a> {
    /// Host to rig.
    Request(Request),
    /// Rig to host.
    Reply(Reply),
    /// Rig to host.
    Refusal(Refusal),
    /// Rig to host.
    Event(Event),
    /// Rig to host, borrowed.
    Samples(crate::samples::SampleBlock<'a>),
}

/// Kind bytes of frames.
pub mod kind {
    /// `Identify`.
    pub const IDENTIFY: u8 = 0x01;
    /// `DescribeChannel`.
    pub const DESCRIBE_CHANNEL: u8 = 0x02;
    /// `ReadCalibration`.
    pub const READ_CALIBRATION: u8 = 0x03;
    /// `ReadStatus`.
    pub const READ_STATUS: u8 = 0x04;
    /// `SetSupply`.
    pub const SET_SUPPLY: u8 = 0x05;
    /// `SetInput`.
    pub const SET_INPUT: u8 = 0x06;
    /// `LoadProgram`.
    pub const LOAD_PROGRAM: u8 = 0x07;
    /// `Arm`.
    pub const ARM: u8 = 0x08;
    /// `Start`.
    pub const START: u8 = 0x09;
    /// `Stop`.
    pub const STOP: u8 = 0x0A;
    /// `ClearTrip`.
    pub const CLEAR_TRIP: u8 = 0x0B;
    /// `Heartbeat`.
    pub const HEARTBEAT: u8 = 0x0C;
    /// `ClockPing`.
    pub const CLOCK_PING: u8 = 0x0D;
    /// `SetLoop`.
    pub const SET_LOOP: u8 = 0x0E;
    /// `SetMapping`.
    pub const SET_MAPPING: u8 = 0x0F;
    /// Set in the kind of a reply: request kind | this.
    pub const REPLY: u8 = 0x80;
    /// A refusal.
    pub const REFUSAL: u8 = 0x7F;
    /// An event.
    pub const EVENT: u8 = 0x7E;
    /// A sample block.
    pub const SAMPLES: u8 = 0x7D;
}

/// Why a whole frame could not be read as a message.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum DecodeError {
    /// Another protocol version.
    Version(u8),
    /// No such kind.
    Unknown(u8),
    /// Known kind, but the payload does not fit it.
    Malformed(u8),
}
