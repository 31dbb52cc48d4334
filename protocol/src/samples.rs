//! Numbered blocks of samples: packed little-endian columns under one time stamp.

use crate::channel::Encoding;
use crate::wire::{Reader, Writer};

/// Bytes of a block before its columns.
pub const BLOCK_HEADER: usize = 28;

/// One block, borrowed from a frame's payload. Scan `j` was taken at `first_us + j × period_us` on the rig's clock.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SampleBlock<'a> {
    /// Run number.
    pub run: u32,
    /// Block number within the run, from 0, without a hole unless one was lost on the line.
    pub number: u32,
    /// Time of the first scan, rig clock, µs.
    pub first_us: u64,
    /// Scan period, µs.
    pub period_us: u32,
    /// Scans in this block, > 0.
    pub scans: u16,
    /// Columns present, bit = channel number.
    pub channels: u16,
    /// Scans lost inside the rig between the block before and this one.
    pub overrun_before: u32,
    /// The columns' bytes: for each present channel in ascending order, `scans` counts in that channel's encoding.
    pub columns: &'a [u8],
}

impl<'a> SampleBlock<'a> {
    /// Writes header and columns as a payload; length or `None` when it does not fit.
    pub fn write(&self, out: &mut [u8]) -> Option<usize> {
        let mut w = Writer::new(out);
        self.write_to(&mut w)?;
        Some(w.len())
    }

    /// Reads a payload; `None` when short, with no scans or no channels. Column sizes are checked by [`Self::column`].
    pub fn read(payload: &'a [u8]) -> Option<Self> {
        let mut r = Reader::new(payload);
        let block = Self {
            run: r.u32()?,
            number: r.u32()?,
            first_us: r.u64()?,
            period_us: r.u32()?,
            scans: r.u16()?,
            channels: r.u16()?,
            overrun_before: r.u32()?,
            columns: r.rest(),
        };
        (block.scans > 0 && block.channels > 0).then_some(block)
    }

    /// The bytes of one channel's column, given every channel's encoding by number; `None` when it is absent or the
    /// columns' size does not fit the encodings.
    pub fn column(&self, channel: u8, encodings: &[Encoding]) -> Option<Column<'a>> {
        let (mut wanted, mut at) = (None, 0);
        for number in (0..16u8).filter(|n| self.channels >> n & 1 == 1) {
            let encoding = *encodings.get(usize::from(number))?;
            let end = at + encoding.width() * usize::from(self.scans);
            if number == channel {
                wanted = Some(Column { encoding, bytes: self.columns.get(at..end)? });
            }
            at = end;
        }
        wanted.filter(|_| at == self.columns.len())
    }

    pub(crate) fn write_to(&self, w: &mut Writer<'_>) -> Option<()> {
        w.u32(self.run)?;
        w.u32(self.number)?;
        w.u64(self.first_us)?;
        w.u32(self.period_us)?;
        w.u16(self.scans)?;
        w.u16(self.channels)?;
        w.u32(self.overrun_before)?;
        w.bytes(self.columns)
    }
}

/// One channel's counts in a block.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Column<'a> {
    /// How they are stored.
    pub encoding: Encoding,
    /// Their bytes, whole counts.
    pub bytes: &'a [u8],
}

impl<'a> Column<'a> {
    /// The counts in order.
    pub fn counts(self) -> impl Iterator<Item = i32> + 'a {
        let w = self.encoding.width();
        self.bytes.chunks_exact(w).map(move |b| match self.encoding {
            Encoding::I16 => i32::from(i16::from_le_bytes([b[0], b[1]])),
            Encoding::U16 => i32::from(u16::from_le_bytes([b[0], b[1]])),
            Encoding::I32 => i32::from_le_bytes([b[0], b[1], b[2], b[3]]),
        })
    }

    /// How many counts there are.
    pub fn len(self) -> usize {
        self.bytes.len() / self.encoding.width()
    }

    /// Whether there are none.
    pub fn is_empty(self) -> bool {
        self.len() == 0
    }

    /// Hands `offset + scale × count` to a sink for every count in order. Where the values go into memory,
    /// [`Self::scaled_into`] is several times as fast.
    pub fn scaled(self, scale: f64, offset: f64, mut sink: impl FnMut(f32)) {
        let value = |count: i32| (offset + scale * f64::from(count)) as f32;
        match self.encoding {
            Encoding::I16 => words(self.bytes).for_each(|b| sink(value(i16::from_le_bytes(b).into()))),
            Encoding::U16 => words(self.bytes).for_each(|b| sink(value(u16::from_le_bytes(b).into()))),
            Encoding::I32 => words(self.bytes).for_each(|b| sink(value(i32::from_le_bytes(b)))),
        }
    }

    /// Puts `offset + scale × count` for every count into the front of `out`; how many, or `None` (and `out` as it
    /// was) when `out` is too small. One loop per encoding, no branch in it, so that it vectorises.
    pub fn scaled_into(self, scale: f64, offset: f64, out: &mut [f32]) -> Option<usize> {
        let out = out.get_mut(..self.len())?;
        let value = |count: i32| (offset + scale * f64::from(count)) as f32;
        match self.encoding {
            Encoding::I16 => out
                .iter_mut()
                .zip(words(self.bytes))
                .for_each(|(v, b)| *v = value(i16::from_le_bytes(b).into())),
            Encoding::U16 => out
                .iter_mut()
                .zip(words(self.bytes))
                .for_each(|(v, b)| *v = value(u16::from_le_bytes(b).into())),
            Encoding::I32 => {
                out.iter_mut().zip(words(self.bytes)).for_each(|(v, b)| *v = value(i32::from_le_bytes(b)))
            }
        }
        Some(out.len())
    }
}

/// The whole `N`-byte words of a slice; a shorter rest is left out.
fn words<const N: usize>(bytes: &[u8]) -> impl Iterator<Item = [u8; N]> + '_ {
    bytes.as_chunks::<N>().0.iter().copied()
}
