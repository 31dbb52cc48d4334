//! The channel table: what each sample column means, from counts to engineering units, and how well that is known.
//!
//! `value = offset + scale × counts`, in the channel's unit.

use crate::wire::{Reader, Text, Writer};

/// Most channels a rig may declare.
pub const MAX_CHANNELS: usize = 16;

/// How one count is stored in a sample block.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[repr(u8)]
pub enum Encoding {
    /// Signed, 2 bytes.
    I16 = 0,
    /// Unsigned, 2 bytes.
    U16 = 1,
    /// Signed, 4 bytes.
    I32 = 2,
}

impl Encoding {
    /// From its code on the wire.
    pub fn from_code(code: u8) -> Option<Self> {
        Some(match code {
            0 => Self::I16,
            1 => Self::U16,
            2 => Self::I32,
            _ => return None,
        })
    }

    /// Bytes per count.
    pub const fn width(self) -> usize {
        match self {
            Self::I16 | Self::U16 => 2,
            Self::I32 => 4,
        }
    }

    /// Smallest and largest count that fits.
    pub const fn range(self) -> (i32, i32) {
        match self {
            Self::I16 => (i16::MIN as i32, i16::MAX as i32),
            Self::U16 => (0, u16::MAX as i32),
            Self::I32 => (i32::MIN, i32::MAX),
        }
    }
}

/// Engineering unit of a channel.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[repr(u8)]
pub enum Unit {
    /// Volts.
    Volt = 0,
    /// Amperes.
    Ampere = 1,
    /// Degrees of plane angle.
    Degree = 2,
    /// Degrees Celsius.
    Celsius = 3,
}

impl Unit {
    /// From its code on the wire.
    pub fn from_code(code: u8) -> Option<Self> {
        Some(match code {
            0 => Self::Volt,
            1 => Self::Ampere,
            2 => Self::Degree,
            3 => Self::Celsius,
            _ => return None,
        })
    }

    /// The unit's symbol.
    pub const fn symbol(self) -> &'static str {
        match self {
            Self::Volt => "V",
            Self::Ampere => "A",
            Self::Degree => "deg",
            Self::Celsius => "degC",
        }
    }
}

/// One entry of the channel table.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ChannelInfo {
    /// Column number, 0-based; bit number in a channel mask.
    pub index: u8,
    /// Storage of one count.
    pub encoding: Encoding,
    /// Engineering unit of the scaled value.
    pub unit: Unit,
    /// Whether a 10 kΩ load can be switched onto it.
    pub has_load: bool,
    /// Whether a pull-down can be switched onto it.
    pub has_pull_down: bool,
    /// Name: `rising`, `falling`, `supply`, `reference`, `supply_amps`, `drive_amps`, `temperature`, `ground` …
    pub name: Text<16>,
    /// Engineering units per count. Finite, above 0.
    pub scale: f64,
    /// Engineering value at 0 counts. Finite.
    pub offset: f64,
    /// Smallest difference the channel can resolve, in its unit. Finite, ≥ 0.
    pub resolution: f64,
    /// Time constant of the input filter, microseconds; 0 for none.
    pub filter_us: u32,
}

impl ChannelInfo {
    /// Encoded size in bytes.
    pub const SIZE: usize = 4 + 16 + 24 + 4;
}

/// Calibration of one channel: how well its scale and offset are known.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Calibration {
    /// Column number.
    pub channel: u8,
    /// Standard uncertainty of the scale, relative. Finite, ≥ 0.
    pub gain_uncertainty: f64,
    /// Standard uncertainty of the offset, in the channel's unit. Finite, ≥ 0. For the reference: of the slowly
    /// varying angle error (eccentricity) that calibration has left.
    pub offset_uncertainty: f64,
    /// Day of calibration, days since 1970-01-01; 0 for never.
    pub day: u32,
    /// Certificate or note.
    pub certificate: Text<24>,
}

impl Calibration {
    /// Encoded size in bytes.
    pub const SIZE: usize = 1 + 16 + 4 + 24;
}

impl ChannelInfo {
    /// Writes the entry; `None` when `out` is too small.
    pub fn write(&self, out: &mut Writer<'_>) -> Option<()> {
        out.u8(self.index)?;
        out.u8(self.encoding as u8)?;
        out.u8(self.unit as u8)?;
        out.u8(u8::from(self.has_load) | u8::from(self.has_pull_down) << 1)?;
        out.text(&self.name)?;
        out.f64(self.scale)?;
        out.f64(self.offset)?;
        out.f64(self.resolution)?;
        out.u32(self.filter_us)
    }

    /// Reads an entry; `None` when it is short, has an unknown code, or a number out of range.
    pub fn read(r: &mut Reader<'_>) -> Option<Self> {
        let index = r.u8()?;
        let encoding = Encoding::from_code(r.u8()?)?;
        let unit = Unit::from_code(r.u8()?)?;
        let flags = r.u8()?;
        let name = r.text()?;
        let (scale, offset, resolution) = (r.f64()?, r.f64()?, r.f64()?);
        let filter_us = r.u32()?;
        if usize::from(index) >= MAX_CHANNELS || flags > 3 || scale == 0.0 || resolution < 0.0 {
            return None;
        }
        Some(Self {
            index,
            encoding,
            unit,
            has_load: flags & 1 != 0,
            has_pull_down: flags & 2 != 0,
            name,
            scale,
            offset,
            resolution,
            filter_us,
        })
    }
}

impl Calibration {
    /// Writes the entry; `None` when `out` is too small.
    pub fn write(&self, out: &mut Writer<'_>) -> Option<()> {
        out.u8(self.channel)?;
        out.f64(self.gain_uncertainty)?;
        out.f64(self.offset_uncertainty)?;
        out.u32(self.day)?;
        out.text(&self.certificate)
    }

    /// Reads an entry; `None` when it is short or has a number out of range.
    pub fn read(r: &mut Reader<'_>) -> Option<Self> {
        let entry = Self {
            channel: r.u8()?,
            gain_uncertainty: r.f64()?,
            offset_uncertainty: r.f64()?,
            day: r.u32()?,
            certificate: r.text()?,
        };
        (entry.gain_uncertainty >= 0.0 && entry.offset_uncertainty >= 0.0).then_some(entry)
    }
}
