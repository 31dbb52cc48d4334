//! A frame: header, payload and CRC, byte-stuffed, ended by one zero byte; and the deframer that finds frames in a stream.

/// Bytes before the payload: version, kind, request id.
pub const HEADER: usize = 4;
/// Bytes after the payload: CRC.
pub const TRAILER: usize = 4;
/// Largest frame before stuffing.
pub const MAX_RAW: usize = 1024;
/// Largest payload.
pub const MAX_PAYLOAD: usize = MAX_RAW - HEADER - TRAILER;
/// Largest frame on the line, delimiter included.
pub const MAX_ENCODED: usize = crate::cobs::max_encoded(MAX_RAW) + 1;

/// A frame that arrived whole: its CRC fits.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Frame<'a> {
    /// Protocol version of the sender.
    pub version: u8,
    /// What the payload is, see [`crate::message::kind`].
    pub kind: u8,
    /// Request id; 0 in what a rig sends unasked.
    pub id: u16,
    /// The payload.
    pub payload: &'a [u8],
}

/// Encodes one frame with its delimiter into `out` (at least [`MAX_ENCODED`] is always enough); its length, or `None`
/// when the payload or the result is too large.
pub fn encode(kind: u8, id: u16, payload: &[u8], out: &mut [u8]) -> Option<usize> {
    let _ = (kind, id, payload, out);
    unimplemented!()
}

/// Frames that were dropped, by cause. They saturate.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Drops {
    /// Longer than [`MAX_ENCODED`].
    pub too_long: u32,
    /// Shorter than a header and a CRC.
    pub too_short: u32,
    /// Not a valid byte stuffing.
    pub stuffing: u32,
    /// CRC does not fit.
    pub crc: u32,
    /// Bytes in all of these.
    pub bytes: u64,
}

impl Drops {
    /// Dropped frames in all.
    pub fn frames(&self) -> u32 {
        self.too_long.saturating_add(self.too_short).saturating_add(self.stuffing).saturating_add(self.crc)
    }
}

/// Finds frames in a byte stream, with a fixed bound.
#[derive(Clone, Debug)]
pub struct Deframer {
    drops: Drops,
}

impl Deframer {
    /// Collecting, nothing held.
    pub const fn new() -> Self {
        Self { drops: Drops { too_long: 0, too_short: 0, stuffing: 0, crc: 0, bytes: 0 } }
    }

    /// Takes bytes and hands out each whole frame in order. Never panics, whatever the bytes.
    pub fn push(&mut self, bytes: &[u8], on_frame: impl FnMut(Frame<'_>)) {
        let _ = (bytes, on_frame);
        unimplemented!()
    }

    /// Counters since [`Deframer::new`].
    pub fn drops(&self) -> Drops {
        self.drops
    }
}

impl Default for Deframer {
    fn default() -> Self {
        Self::new()
    }
}
