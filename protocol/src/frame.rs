//! A frame: header, payload and CRC, byte-stuffed, ended by one zero byte; and the deframer that finds frames in a stream.

use crate::cobs;
use crate::wire::Writer;

/// Ends every frame and is found nowhere else.
pub const DELIMITER: u8 = 0;
/// Bytes before the payload: version, kind, request id.
pub const HEADER: usize = 4;
/// Bytes after the payload: CRC.
pub const TRAILER: usize = 4;
/// Largest frame before stuffing.
pub const MAX_RAW: usize = 1024;
/// Largest payload.
pub const MAX_PAYLOAD: usize = MAX_RAW - HEADER - TRAILER;
/// Largest frame on the line, delimiter included.
pub const MAX_ENCODED: usize = cobs::max_encoded(MAX_RAW) + 1;

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
    encode_with(kind, id, |w| w.bytes(payload), out)
}

/// Like [`encode`], with the payload written straight into the frame; `None` also when `payload` gives `None`.
pub(crate) fn encode_with(
    kind: u8,
    id: u16,
    payload: impl FnOnce(&mut Writer<'_>) -> Option<()>,
    out: &mut [u8],
) -> Option<usize> {
    let mut raw = [0; MAX_RAW];
    let mut w = Writer::new(&mut raw[..MAX_RAW - TRAILER]);
    w.u8(crate::VERSION)?;
    w.u8(kind)?;
    w.u16(id)?;
    payload(&mut w)?;
    let len = w.len();
    let crc = crate::crc::crc32(&raw[..len]);
    raw[len..len + TRAILER].copy_from_slice(&crc.to_le_bytes());
    let encoded = cobs::encode(&raw[..len + TRAILER], out)?;
    *out.get_mut(encoded)? = DELIMITER;
    Some(encoded + 1)
}

/// Why a frame was dropped.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Cause {
    TooLong,
    TooShort,
    Stuffing,
    Crc,
}

/// Frames that were dropped, by cause. They saturate.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Drops {
    /// Longer than [`MAX_ENCODED`], or than [`MAX_RAW`] after unstuffing.
    pub too_long: u32,
    /// Shorter than a header and a CRC.
    pub too_short: u32,
    /// Not a valid byte stuffing.
    pub stuffing: u32,
    /// CRC does not fit.
    pub crc: u32,
    /// Bytes in all of these, delimiters not counted.
    pub bytes: u64,
}

impl Drops {
    /// Dropped frames in all.
    pub fn frames(&self) -> u32 {
        self.too_long.saturating_add(self.too_short).saturating_add(self.stuffing).saturating_add(self.crc)
    }

    fn count(&mut self, cause: Cause, bytes: usize) {
        let counter = match cause {
            Cause::TooLong => &mut self.too_long,
            Cause::TooShort => &mut self.too_short,
            Cause::Stuffing => &mut self.stuffing,
            Cause::Crc => &mut self.crc,
        };
        *counter = counter.saturating_add(1);
        self.bytes = self.bytes.saturating_add(bytes as u64);
    }
}

/// What the deframer awaits.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum State {
    /// More of a frame, of which the first `len` encoded bytes are held.
    Collecting { len: usize },
    /// The delimiter after a frame that was too long.
    Skipping,
}

/// Longest encoding without its delimiter.
const MAX_HELD: usize = MAX_ENCODED - 1;

/// Finds frames in a byte stream, with a fixed bound.
#[derive(Clone, Debug)]
pub struct Deframer {
    state: State,
    drops: Drops,
    /// The encoded start of a frame whose end has not arrived.
    held: [u8; MAX_HELD],
    /// The frame being handed out, unstuffed.
    raw: [u8; MAX_HELD],
}

impl Deframer {
    /// Collecting, nothing held.
    pub const fn new() -> Self {
        Self {
            state: State::Collecting { len: 0 },
            drops: Drops { too_long: 0, too_short: 0, stuffing: 0, crc: 0, bytes: 0 },
            held: [0; MAX_HELD],
            raw: [0; MAX_HELD],
        }
    }

    /// Takes bytes and hands out each whole frame in order. Never panics, whatever the bytes.
    ///
    /// An empty frame, that is a delimiter after a delimiter, is passed over without a count: senders use it to
    /// resynchronise.
    pub fn push(&mut self, bytes: &[u8], mut on_frame: impl FnMut(Frame<'_>)) {
        let mut rest = bytes;
        while let Some(end) = memchr::memchr(DELIMITER, rest) {
            let (piece, tail) = (&rest[..end], &rest[end + 1..]);
            rest = tail;
            match self.state {
                // The whole frame lies in `bytes`: it need not be held.
                State::Collecting { len: 0 } => self.finish(piece, &mut on_frame),
                State::Collecting { .. } => {
                    self.hold(piece);
                    self.finish_held(&mut on_frame);
                }
                State::Skipping => self.skip(piece.len()),
            }
            self.state = State::Collecting { len: 0 };
        }
        match self.state {
            State::Collecting { .. } => self.hold(rest),
            State::Skipping => self.skip(rest.len()),
        }
    }

    /// Counters since [`Deframer::new`].
    pub fn drops(&self) -> Drops {
        self.drops
    }

    /// Adds `piece` to what is held; goes over to skipping when that becomes too long.
    fn hold(&mut self, piece: &[u8]) {
        let State::Collecting { len } = self.state else { return };
        match self.held.get_mut(len..len + piece.len()) {
            Some(space) => {
                space.copy_from_slice(piece);
                self.state = State::Collecting { len: len + piece.len() };
            }
            None => {
                self.drops.count(Cause::TooLong, len + piece.len());
                self.state = State::Skipping;
            }
        }
    }

    fn skip(&mut self, bytes: usize) {
        self.drops.bytes = self.drops.bytes.saturating_add(bytes as u64);
    }

    /// Hands out the whole frame `encoded`, or counts why not.
    fn finish(&mut self, encoded: &[u8], on_frame: &mut impl FnMut(Frame<'_>)) {
        if encoded.is_empty() {
            return;
        }
        match open(encoded, &mut self.raw) {
            Ok(frame) => on_frame(frame),
            Err(cause) => self.drops.count(cause, encoded.len()),
        }
    }

    /// Like [`Self::finish`], for the frame that is held.
    fn finish_held(&mut self, on_frame: &mut impl FnMut(Frame<'_>)) {
        let State::Collecting { len } = self.state else { return };
        match open(&self.held[..len], &mut self.raw) {
            Ok(frame) => on_frame(frame),
            Err(cause) => self.drops.count(cause, len),
        }
    }
}

impl Default for Deframer {
    fn default() -> Self {
        Self::new()
    }
}

/// Unstuffs `encoded` into `raw` and checks it.
fn open<'r>(encoded: &[u8], raw: &'r mut [u8; MAX_HELD]) -> Result<Frame<'r>, Cause> {
    if encoded.len() > MAX_HELD {
        return Err(Cause::TooLong);
    }
    let len = cobs::decode_without_zeros(encoded, raw).ok_or(Cause::Stuffing)?;
    if len > MAX_RAW {
        return Err(Cause::TooLong);
    }
    let (body, crc) = raw[..len].split_last_chunk::<TRAILER>().ok_or(Cause::TooShort)?;
    let (header, payload) = body.split_first_chunk::<HEADER>().ok_or(Cause::TooShort)?;
    if crate::crc::crc32(body) != u32::from_le_bytes(*crc) {
        return Err(Cause::Crc);
    }
    let [version, kind, id_low, id_high] = *header;
    Ok(Frame { version, kind, id: u16::from_le_bytes([id_low, id_high]), payload })
}
