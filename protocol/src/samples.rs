//! Numbered blocks of samples: packed little-endian columns under one time stamp.

use crate::channel::Encoding;

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
        let _ = out;
        unimplemented!()
    }

    /// Reads a payload; `None` when short, with no scans or no channels. Column sizes are checked by [`Self::column`].
    pub fn read(payload: &'a [u8]) -> Option<Self> {
        let _ = payload;
        unimplemented!()
    }

    /// The bytes of one channel's column, given every channel's encoding by number; `None` when it is absent or the
    /// columns' size does not fit the encodings.
    pub fn column(&self, channel: u8, encodings: &[Encoding]) -> Option<Column<'a>> {
        let _ = (channel, encodings);
        unimplemented!()
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

    /// Appends `offset + scale × count` for every count to a sink, without bounds per element: the fast way in.
    pub fn scaled(self, scale: f64, offset: f64, mut sink: impl FnMut(f32)) {
        self.counts().for_each(|c| sink((offset + scale * f64::from(c)) as f32));
    }
}
