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

    /// Every column in order with its channel's number, given every channel's encoding by number; `None` when a sampled
    /// channel has no encoding or the columns' size does not fit the encodings.
    pub fn columns<'e>(
        &self,
        encodings: &'e [Encoding],
    ) -> Option<impl Iterator<Item = (u8, Column<'a>)> + use<'a, 'e>> {
        let scans = usize::from(self.scans);
        let mut size = 0;
        for number in numbers(self.channels) {
            size += encodings.get(usize::from(number))?.width() * scans;
        }
        let mut rest = Some(self.columns).filter(|columns| columns.len() == size)?;
        Some(numbers(self.channels).map_while(move |number| {
            let encoding = *encodings.get(usize::from(number))?;
            let (bytes, behind) = rest.split_at_checked(encoding.width() * scans)?;
            rest = behind;
            Some((number, Column { encoding, bytes }))
        }))
    }

    /// The bytes of one channel's column, given every channel's encoding by number; `None` when it is absent or the
    /// columns' size does not fit the encodings. Who wants them all asks [`Self::columns`] once.
    pub fn column(&self, channel: u8, encodings: &[Encoding]) -> Option<Column<'a>> {
        self.columns(encodings)?.find_map(|(number, column)| (number == channel).then_some(column))
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

    /// Hands the values that [`Self::scaled_into`] gives to a sink, in order. Where they go into memory anyway, that is
    /// several times as fast.
    pub fn scaled(self, scale: f64, offset: f64, mut sink: impl FnMut(f32)) {
        match self.scaling(scale, offset) {
            Scaling::I16(words, s) => {
                words.iter().for_each(|&b| sink(proportional(i16::from_le_bytes(b), s)))
            }
            Scaling::U16(words, s) => {
                words.iter().for_each(|&b| sink(proportional(u16::from_le_bytes(b), s)))
            }
            Scaling::WideI16(words) => {
                words.iter().for_each(|&b| sink(linear(i16::from_le_bytes(b), scale, offset)))
            }
            Scaling::WideU16(words) => {
                words.iter().for_each(|&b| sink(linear(u16::from_le_bytes(b), scale, offset)))
            }
            Scaling::WideI32(words) => {
                words.iter().for_each(|&b| sink(linear(i32::from_le_bytes(b), scale, offset)))
            }
        }
    }

    /// Puts `offset + scale × count` for every count into the front of `out`; how many, or `None` (and `out` as it
    /// was) when `out` is too small. Within one unit in the last place of the value computed in `f64`.
    pub fn scaled_into(self, scale: f64, offset: f64, out: &mut [f32]) -> Option<usize> {
        let out = out.get_mut(..self.len())?;
        // One loop per case, no branch in it, so that it vectorises.
        match self.scaling(scale, offset) {
            Scaling::I16(words, s) => fill(out, words, |b| proportional(i16::from_le_bytes(b), s)),
            Scaling::U16(words, s) => fill(out, words, |b| proportional(u16::from_le_bytes(b), s)),
            Scaling::WideI16(words) => fill(out, words, |b| linear(i16::from_le_bytes(b), scale, offset)),
            Scaling::WideU16(words) => fill(out, words, |b| linear(u16::from_le_bytes(b), scale, offset)),
            Scaling::WideI32(words) => fill(out, words, |b| linear(i32::from_le_bytes(b), scale, offset)),
        }
        Some(out.len())
    }

    /// How to scale so that the error stays within one unit in the last place.
    ///
    /// 16-bit counts are exact in `f32`. Without an offset, rounding the scale and rounding the product are the only
    /// errors: together less than one unit in the last place, as long as no result is subnormal. An offset can cancel
    /// the product and leave its error; 32-bit counts need not be exact. Both are computed in `f64`.
    fn scaling(self, scale: f64, offset: f64) -> Scaling<'a> {
        let plain = offset == 0.0 && PLAIN_SCALES.contains(&scale.abs());
        match (self.encoding, plain) {
            (Encoding::I16, true) => Scaling::I16(words(self.bytes), scale as f32),
            (Encoding::U16, true) => Scaling::U16(words(self.bytes), scale as f32),
            (Encoding::I16, false) => Scaling::WideI16(words(self.bytes)),
            (Encoding::U16, false) => Scaling::WideU16(words(self.bytes)),
            (Encoding::I32, _) => Scaling::WideI32(words(self.bytes)),
        }
    }
}

/// Magnitudes of a scale by which every 16-bit count but 0 gives a normal, finite `f32`.
const PLAIN_SCALES: core::ops::RangeInclusive<f64> = 1e-30..=1e30;

/// A column's words, and in which numbers to scale them.
enum Scaling<'a> {
    /// In `f32`, by this scale.
    I16(&'a [[u8; 2]], f32),
    /// In `f32`, by this scale.
    U16(&'a [[u8; 2]], f32),
    /// In `f64`.
    WideI16(&'a [[u8; 2]]),
    /// In `f64`.
    WideU16(&'a [[u8; 2]]),
    /// In `f64`.
    WideI32(&'a [[u8; 4]]),
}

/// The numbers of the channels in a mask, ascending.
fn numbers(mut mask: u16) -> impl Iterator<Item = u8> {
    core::iter::from_fn(move || {
        let number = mask.trailing_zeros() as u8;
        (mask != 0).then(|| {
            mask &= mask - 1;
            number
        })
    })
}

/// The whole `N`-byte words of a slice; a shorter rest is left out.
fn words<const N: usize>(bytes: &[u8]) -> &[[u8; N]] {
    bytes.as_chunks().0
}

fn fill<const N: usize>(out: &mut [f32], words: &[[u8; N]], value: impl Fn([u8; N]) -> f32) {
    out.iter_mut().zip(words).for_each(|(v, &b)| *v = value(b));
}

fn proportional(count: impl Into<f32>, scale: f32) -> f32 {
    scale * count.into()
}

fn linear(count: impl Into<f64>, scale: f64, offset: f64) -> f32 {
    (offset + scale * count.into()) as f32
}
