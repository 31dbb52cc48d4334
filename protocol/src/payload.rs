//! How every message lies in the bytes of a payload: one writer and one reader per message, side by side in the order
//! of `WIRE.md`. It decides nothing but whether the bytes fit the message.

use crate::channel::{Calibration, ChannelInfo};
use crate::frame::{self, Frame};
use crate::mapping::Mapping;
use crate::message::{
    DecodeError, EndCause, Event, EventKind, Guard, Identity, Message, Reason, Refusal, Reply, Request,
    RigState, Start, Status, kind,
};
use crate::position_loop::LoopSettings;
use crate::program::{MAX_SEGMENTS, Program, Segment};
use crate::samples::SampleBlock;
use crate::wire::{Reader, Writer};

impl Request {
    /// The request's kind byte.
    pub fn kind(&self) -> u8 {
        match self {
            Self::Identify { .. } => kind::IDENTIFY,
            Self::DescribeChannel { .. } => kind::DESCRIBE_CHANNEL,
            Self::ReadCalibration { .. } => kind::READ_CALIBRATION,
            Self::ReadStatus => kind::READ_STATUS,
            Self::SetSupply { .. } => kind::SET_SUPPLY,
            Self::SetInput { .. } => kind::SET_INPUT,
            Self::LoadProgram(_) => kind::LOAD_PROGRAM,
            Self::Arm => kind::ARM,
            Self::Start(_) => kind::START,
            Self::Stop => kind::STOP,
            Self::ClearTrip => kind::CLEAR_TRIP,
            Self::Heartbeat => kind::HEARTBEAT,
            Self::ClockPing { .. } => kind::CLOCK_PING,
            Self::SetLoop(_) => kind::SET_LOOP,
            Self::SetMapping(_) => kind::SET_MAPPING,
        }
    }

    /// Encodes the request as a frame with delimiter; `None` when `out` is too small.
    pub fn encode(&self, id: u16, out: &mut [u8]) -> Option<usize> {
        frame::encode_with(self.kind(), id, |w| self.write(w), out)
    }

    fn write(&self, w: &mut Writer<'_>) -> Option<()> {
        match self {
            Self::Identify { session } => w.u32(*session),
            Self::DescribeChannel { channel } | Self::ReadCalibration { channel } => w.u8(*channel),
            Self::SetSupply { millivolts } => w.u16(*millivolts),
            Self::SetInput { channel, load, pull_down } => {
                w.u8(*channel)?;
                w.u8(input_flags(*load, *pull_down))
            }
            Self::LoadProgram(program) => {
                w.u8(program.segments().len() as u8)?;
                program.segments().iter().try_for_each(|segment| segment.write(w))
            }
            Self::Start(start) => start.write(w),
            Self::ClockPing { host_stamp } => w.u64(*host_stamp),
            Self::SetLoop(settings) => settings.write(w),
            Self::SetMapping(mapping) => mapping.write(w),
            Self::ReadStatus | Self::Arm | Self::Stop | Self::ClearTrip | Self::Heartbeat => Some(()),
        }
    }

    /// `None` when the payload does not fit the kind.
    fn read(kind: u8, r: &mut Reader<'_>) -> Option<Self> {
        Some(match kind {
            kind::IDENTIFY => Self::Identify { session: r.u32()? },
            kind::DESCRIBE_CHANNEL => Self::DescribeChannel { channel: r.u8()? },
            kind::READ_CALIBRATION => Self::ReadCalibration { channel: r.u8()? },
            kind::READ_STATUS => Self::ReadStatus,
            kind::SET_SUPPLY => Self::SetSupply { millivolts: r.u16()? },
            kind::SET_INPUT => {
                let channel = r.u8()?;
                let (load, pull_down) = read_input_flags(r)?;
                Self::SetInput { channel, load, pull_down }
            }
            kind::LOAD_PROGRAM => Self::LoadProgram(read_program(r)?),
            kind::ARM => Self::Arm,
            kind::START => Self::Start(Start::read(r)?),
            kind::STOP => Self::Stop,
            kind::CLEAR_TRIP => Self::ClearTrip,
            kind::HEARTBEAT => Self::Heartbeat,
            kind::CLOCK_PING => Self::ClockPing { host_stamp: r.u64()? },
            kind::SET_LOOP => Self::SetLoop(LoopSettings::read(r)?),
            kind::SET_MAPPING => Self::SetMapping(Mapping::read(r)?),
            _ => return None,
        })
    }
}

impl<'a> Message<'a> {
    /// Encodes any message as a frame with delimiter (`id` 0 for events and samples). `request_kind` is needed for
    /// [`Reply::Done`] alone: the kind that is answered; every other message implies its kind.
    ///
    /// `None` when `out` or a frame is too small for it, or when `Done` does not answer `request_kind`.
    pub fn encode(&self, request_kind: u8, id: u16, out: &mut [u8]) -> Option<usize> {
        match self {
            Self::Request(request) => request.encode(id, out),
            Self::Reply(reply) => frame::encode_with(reply.kind(request_kind)?, id, |w| reply.write(w), out),
            Self::Refusal(refusal) => frame::encode_with(kind::REFUSAL, id, |w| refusal.write(w), out),
            Self::Event(event) => frame::encode_with(kind::EVENT, id, |w| event.write(w), out),
            Self::Samples(block) => frame::encode_with(kind::SAMPLES, id, |w| block.write_to(w), out),
        }
    }

    /// Reads a frame.
    ///
    /// # Errors
    /// Says whether the version, the kind or the payload is at fault.
    pub fn decode(frame: &Frame<'a>) -> Result<Self, DecodeError> {
        if frame.version != crate::VERSION {
            return Err(DecodeError::Version(frame.version));
        }
        if !is_known(frame.kind) {
            return Err(DecodeError::Unknown(frame.kind));
        }
        Self::read(frame.kind, frame.payload).ok_or(DecodeError::Malformed(frame.kind))
    }

    fn read(kind: u8, payload: &'a [u8]) -> Option<Self> {
        let mut r = Reader::new(payload);
        let message = match kind {
            // Its columns are the rest of the payload, so nothing can be left over.
            kind::SAMPLES => return SampleBlock::read(payload).map(Self::Samples),
            kind::REFUSAL => Self::Refusal(Refusal::read(&mut r)?),
            kind::EVENT => Self::Event(Event::read(&mut r)?),
            _ if kind & kind::REPLY != 0 => Self::Reply(Reply::read(kind & !kind::REPLY, &mut r)?),
            _ => Self::Request(Request::read(kind, &mut r)?),
        };
        r.finish().map(|()| message)
    }
}

/// Whether `kind` is one of a request, a reply, a refusal, an event or a sample block.
fn is_known(kind: u8) -> bool {
    matches!(kind & !kind::REPLY, kind::IDENTIFY..=kind::SET_MAPPING)
        || matches!(kind, kind::REFUSAL | kind::EVENT | kind::SAMPLES)
}

impl Start {
    fn write(&self, w: &mut Writer<'_>) -> Option<()> {
        w.u32(self.run)?;
        w.u32(self.period_us)?;
        w.u16(self.channels)?;
        w.u8(u8::from(self.drive))?;
        w.u64(self.max_us)
    }

    fn read(r: &mut Reader<'_>) -> Option<Self> {
        Some(Self {
            run: r.u32()?,
            period_us: r.u32()?,
            channels: r.u16()?,
            drive: read_bool(r)?,
            max_us: r.u64()?,
        })
    }
}

impl Reply {
    /// The kind byte of the reply; `None` for a `Done` to a request that is answered otherwise.
    fn kind(&self, request_kind: u8) -> Option<u8> {
        let answered = match self {
            Self::Identity(_) => kind::IDENTIFY,
            Self::Channel(_) => kind::DESCRIBE_CHANNEL,
            Self::Calibration(_) => kind::READ_CALIBRATION,
            Self::Status(_) => kind::READ_STATUS,
            Self::Clock { .. } => kind::CLOCK_PING,
            Self::Done { .. } if is_answered_by_done(request_kind) => request_kind,
            Self::Done { .. } => return None,
        };
        Some(answered | kind::REPLY)
    }

    fn write(&self, w: &mut Writer<'_>) -> Option<()> {
        match self {
            Self::Identity(identity) => identity.write(w),
            Self::Channel(entry) => entry.write(w),
            Self::Calibration(entry) => entry.write(w),
            Self::Status(status) => status.write(w),
            Self::Clock { host_stamp, rig_us } => {
                w.u64(*host_stamp)?;
                w.u64(*rig_us)
            }
            Self::Done { rig_us } => w.u64(*rig_us),
        }
    }

    fn read(request_kind: u8, r: &mut Reader<'_>) -> Option<Self> {
        Some(match request_kind {
            kind::IDENTIFY => Self::Identity(Identity::read(r)?),
            kind::DESCRIBE_CHANNEL => Self::Channel(ChannelInfo::read(r)?),
            kind::READ_CALIBRATION => Self::Calibration(Calibration::read(r)?),
            kind::READ_STATUS => Self::Status(Status::read(r)?),
            kind::CLOCK_PING => Self::Clock { host_stamp: r.u64()?, rig_us: r.u64()? },
            done if is_answered_by_done(done) => Self::Done { rig_us: r.u64()? },
            _ => return None,
        })
    }
}

/// Whether an accepted request of this kind is answered with [`Reply::Done`].
fn is_answered_by_done(request_kind: u8) -> bool {
    matches!(
        request_kind,
        kind::SET_SUPPLY
            | kind::SET_INPUT
            | kind::LOAD_PROGRAM
            | kind::ARM
            | kind::START
            | kind::STOP
            | kind::CLEAR_TRIP
            | kind::HEARTBEAT
            | kind::SET_LOOP
            | kind::SET_MAPPING
    )
}

impl Identity {
    fn write(&self, w: &mut Writer<'_>) -> Option<()> {
        w.u32(self.session)?;
        w.u32(self.boot)?;
        w.text(&self.model)?;
        w.text(&self.serial)?;
        w.text(&self.firmware)?;
        w.u32(self.capabilities)?;
        w.u8(self.channels)?;
        w.u32(self.min_period_us)?;
        w.u32(self.max_period_us)?;
        w.u16(self.supply_mv.0)?;
        w.u16(self.supply_mv.1)?;
        w.i32(self.travel_mdeg.0)?;
        w.i32(self.travel_mdeg.1)?;
        w.u32(self.max_speed_mdeg_s)?;
        w.u16(self.max_drive_mv)
    }

    fn read(r: &mut Reader<'_>) -> Option<Self> {
        Some(Self {
            session: r.u32()?,
            boot: r.u32()?,
            model: r.text()?,
            serial: r.text()?,
            firmware: r.text()?,
            capabilities: r.u32()?,
            channels: r.u8()?,
            min_period_us: r.u32()?,
            max_period_us: r.u32()?,
            supply_mv: (r.u16()?, r.u16()?),
            travel_mdeg: (r.i32()?, r.i32()?),
            max_speed_mdeg_s: r.u32()?,
            max_drive_mv: r.u16()?,
        })
    }
}

impl Status {
    fn write(&self, w: &mut Writer<'_>) -> Option<()> {
        w.u64(self.rig_us)?;
        w.u8(self.state as u8)?;
        w.u16(self.tripped)?;
        w.u16(self.present)?;
        w.u32(self.run)?;
        w.u16(self.supply_mv)?;
        w.u32(self.overruns)?;
        w.u32(self.frames_dropped)?;
        w.u32(self.blocks)?;
        w.u16(self.loads)?;
        w.u16(self.pull_downs)?;
        w.u8(u8::from(self.drive_on))?;
        w.u16(self.heat_permille)
    }

    fn read(r: &mut Reader<'_>) -> Option<Self> {
        Some(Self {
            rig_us: r.u64()?,
            state: RigState::from_code(r.u8()?)?,
            tripped: r.u16()?,
            present: r.u16()?,
            run: r.u32()?,
            supply_mv: r.u16()?,
            overruns: r.u32()?,
            frames_dropped: r.u32()?,
            blocks: r.u32()?,
            loads: r.u16()?,
            pull_downs: r.u16()?,
            drive_on: read_bool(r)?,
            heat_permille: r.u16()?,
        })
    }
}

impl Refusal {
    fn write(&self, w: &mut Writer<'_>) -> Option<()> {
        w.u8(self.request)?;
        w.u8(self.reason as u8)?;
        w.u32(self.detail)
    }

    fn read(r: &mut Reader<'_>) -> Option<Self> {
        Some(Self { request: r.u8()?, reason: Reason::from_code(r.u8()?)?, detail: r.u32()? })
    }
}

impl Event {
    fn write(&self, w: &mut Writer<'_>) -> Option<()> {
        w.u32(self.number)?;
        w.u64(self.rig_us)?;
        w.u32(self.run)?;
        self.kind.write(w)
    }

    fn read(r: &mut Reader<'_>) -> Option<Self> {
        Some(Self { number: r.u32()?, rig_us: r.u64()?, run: r.u32()?, kind: EventKind::read(r)? })
    }
}

impl EventKind {
    fn write(&self, w: &mut Writer<'_>) -> Option<()> {
        match *self {
            Self::Booted => w.u8(0),
            Self::RunStarted => w.u8(1),
            Self::SegmentReached { segment, pass } => {
                w.u8(2)?;
                w.u8(segment)?;
                w.u16(pass)
            }
            Self::RunEnded { cause, blocks } => {
                w.u8(3)?;
                w.u8(cause as u8)?;
                w.u32(blocks)
            }
            Self::GuardTripped { guard, value } => {
                w.u8(4)?;
                w.u8(guard as u8)?;
                w.i32(value)
            }
            Self::Overrun { scans } => {
                w.u8(5)?;
                w.u32(scans)
            }
            Self::SupplySet { millivolts } => {
                w.u8(6)?;
                w.u16(millivolts)
            }
            Self::InputSet { channel, load, pull_down } => {
                w.u8(7)?;
                w.u8(channel)?;
                w.u8(input_flags(load, pull_down))
            }
        }
    }

    fn read(r: &mut Reader<'_>) -> Option<Self> {
        Some(match r.u8()? {
            0 => Self::Booted,
            1 => Self::RunStarted,
            2 => Self::SegmentReached { segment: r.u8()?, pass: r.u16()? },
            3 => Self::RunEnded { cause: EndCause::from_code(r.u8()?)?, blocks: r.u32()? },
            4 => Self::GuardTripped { guard: Guard::from_code(r.u8()?)?, value: r.i32()? },
            5 => Self::Overrun { scans: r.u32()? },
            6 => Self::SupplySet { millivolts: r.u16()? },
            7 => {
                let channel = r.u8()?;
                let (load, pull_down) = read_input_flags(r)?;
                Self::InputSet { channel, load, pull_down }
            }
            _ => return None,
        })
    }
}

fn read_program(r: &mut Reader<'_>) -> Option<Program> {
    let count = usize::from(r.u8()?);
    let mut segments = [Segment::Hold { us: 0 }; MAX_SEGMENTS];
    let used = segments.get_mut(..count)?;
    for segment in used.iter_mut() {
        *segment = Segment::read(r)?;
    }
    Program::from_slice(used)
}

fn read_bool(r: &mut Reader<'_>) -> Option<bool> {
    match r.u8()? {
        0 => Some(false),
        1 => Some(true),
        _ => None,
    }
}

fn input_flags(load: bool, pull_down: bool) -> u8 {
    u8::from(load) | u8::from(pull_down) << 1
}

/// Load, then pull-down.
fn read_input_flags(r: &mut Reader<'_>) -> Option<(bool, bool)> {
    let flags = r.u8()?;
    (flags <= 3).then_some((flags & 1 != 0, flags & 2 != 0))
}

macro_rules! from_code {
    ($type:ident: $($variant:ident),+) => {
        impl $type {
            /// Every one, in the order of the codes.
            pub const ALL: &'static [Self] = &[$(Self::$variant),+];

            /// From its code on the wire; `None` for a code that is not assigned.
            pub fn from_code(code: u8) -> Option<Self> {
                Self::ALL.iter().copied().find(|&v| v as u8 == code)
            }
        }
    };
}

from_code!(RigState: Resting, Armed, Watching, Driving, Tripped);
from_code!(
    Guard: EmergencyStop,
    LidOpen,
    LinkSilence,
    OverCurrent,
    Travel,
    SupplyRange,
    Temperature,
    Stall,
    Heat,
    NotFollowing
);
from_code!(Reason: Unknown, Malformed, Version, OutOfRange, Untimely, Guarded, Stale, NotCapable, NoSession);
from_code!(EndCause: Complete, Stopped, Guard, NewSession);
