//! The motion program: what the rig's drive is to do, loaded whole before it may start.

use crate::wire::{Reader, Writer};

/// Most segments in one program.
pub const MAX_SEGMENTS: usize = 40;

/// One segment. Angles are thousandths of a degree on the rig's own reference, speeds and accelerations per second.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Segment {
    /// Move to `to_mdeg` with a trapezoidal speed profile, both limits > 0.
    Ramp {
        /// Where to, mdeg.
        to_mdeg: i32,
        /// Largest speed, mdeg/s.
        speed_mdeg_s: u32,
        /// Acceleration and deceleration, mdeg/s².
        accel_mdeg_s2: u32,
    },
    /// Keep the setpoint for a time.
    Hold {
        /// How long, µs.
        us: u32,
    },
    /// Put the setpoint at `to_mdeg` at once and wait.
    Step {
        /// Where to, mdeg.
        to_mdeg: i32,
        /// How long to stay in this segment, µs.
        us: u32,
    },
    /// Let go: drive off for a time, the part moves by itself. The next setpoint starts from where the part is then.
    Release {
        /// How long, µs.
        us: u32,
    },
    /// Body rigs: the motor's terminals at a voltage for a time, without position loop.
    Volts {
        /// Level, mV; positive opens.
        mv: i32,
        /// How long, µs.
        us: u32,
    },
    /// Body rigs: the motor's voltage moves evenly to a level: from 0, or from where a segment of volts before it ended.
    VoltsRamp {
        /// Level at its end, mV; positive opens.
        to_mv: i32,
        /// How long it takes, µs.
        us: u32,
    },
    /// Body rigs: the motor's terminals joined for a time.
    Brake {
        /// How long, µs.
        us: u32,
    },
    /// Go back to segment `from` (0-based, before this one) `times` times, then go on. No nesting: the segments
    /// from `from` to this one must not hold another repeat.
    Repeat {
        /// First segment of the loop.
        from: u8,
        /// How many more times, > 0.
        times: u16,
    },
}

impl Segment {
    /// Encoded size in bytes: kind, from, times, then three 32-bit fields.
    pub const SIZE: usize = 16;

    /// Writes the segment; `None` when `out` is too small.
    pub fn write(&self, out: &mut Writer<'_>) -> Option<()> {
        let (kind, from, times, a, b, c) = match *self {
            Self::Ramp { to_mdeg, speed_mdeg_s, accel_mdeg_s2 } => {
                (0, 0, 0, to_mdeg, speed_mdeg_s, accel_mdeg_s2)
            }
            Self::Hold { us } => (1, 0, 0, 0, us, 0),
            Self::Step { to_mdeg, us } => (2, 0, 0, to_mdeg, us, 0),
            Self::Release { us } => (3, 0, 0, 0, us, 0),
            Self::Repeat { from, times } => (4, from, times, 0, 0, 0),
            Self::Volts { mv, us } => (5, 0, 0, mv, us, 0),
            Self::VoltsRamp { to_mv, us } => (6, 0, 0, to_mv, us, 0),
            Self::Brake { us } => (7, 0, 0, 0, us, 0),
        };
        out.u8(kind)?;
        out.u8(from)?;
        out.u16(times)?;
        out.i32(a)?;
        out.u32(b)?;
        out.u32(c)
    }

    /// Reads a segment; `None` when it is short, of unknown kind, or has a field set that its kind does not use.
    pub fn read(r: &mut Reader<'_>) -> Option<Self> {
        let (kind, from, times) = (r.u8()?, r.u8()?, r.u16()?);
        let (a, b, c) = (r.i32()?, r.u32()?, r.u32()?);
        match (kind, from, times, a, b, c) {
            (0, 0, 0, to_mdeg, speed_mdeg_s, accel_mdeg_s2) => {
                Some(Self::Ramp { to_mdeg, speed_mdeg_s, accel_mdeg_s2 })
            }
            (1, 0, 0, 0, us, 0) => Some(Self::Hold { us }),
            (2, 0, 0, to_mdeg, us, 0) => Some(Self::Step { to_mdeg, us }),
            (3, 0, 0, 0, us, 0) => Some(Self::Release { us }),
            (4, from, times, 0, 0, 0) => Some(Self::Repeat { from, times }),
            (5, 0, 0, mv, us, 0) => Some(Self::Volts { mv, us }),
            (6, 0, 0, to_mv, us, 0) => Some(Self::VoltsRamp { to_mv, us }),
            (7, 0, 0, 0, us, 0) => Some(Self::Brake { us }),
            _ => None,
        }
    }
}

/// A whole program, at most [`MAX_SEGMENTS`] segments.
#[derive(Clone, Copy, Debug)]
pub struct Program {
    segments: [Segment; MAX_SEGMENTS],
    len: u8,
}

impl Program {
    /// A program with no segments.
    pub const EMPTY: Self = Self { segments: [Segment::Hold { us: 0 }; MAX_SEGMENTS], len: 0 };

    /// Copies `segments`; `None` when there are too many.
    pub fn from_slice(segments: &[Segment]) -> Option<Self> {
        let mut program = Self::EMPTY;
        program.segments.get_mut(..segments.len())?.copy_from_slice(segments);
        program.len = segments.len() as u8;
        Some(program)
    }

    /// The segments in order.
    pub fn segments(&self) -> &[Segment] {
        &self.segments[..usize::from(self.len)]
    }
}

impl PartialEq for Program {
    fn eq(&self, other: &Self) -> bool {
        self.segments() == other.segments()
    }
}
