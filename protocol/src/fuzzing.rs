//! What a fuzzer does with arbitrary bytes, as a plain function: the fuzz target and the unit tests call the same one.
//! It is not part of the protocol, and nothing else may call it.

use crate::frame::{self, Deframer, Drops, Frame, MAX_ENCODED, MAX_PAYLOAD};
use crate::message::{Message, kind};

/// Reads `data` as a stream, and as one payload of the kind its first byte names, and checks the laws that must hold
/// whatever the bytes are. Returns how many frames and how many messages the stream held.
///
/// # Panics
/// When a law does not hold: chunking changes what is found, a frame is handed out that does not read back, or a
/// message's bytes are not the only ones that mean it.
pub fn deframe_and_decode(data: &[u8]) -> (u32, u32) {
    let whole = read_stream(core::iter::once(data));
    assert_eq!(whole, read_stream(data.chunks(1)), "single bytes give other frames than the whole");
    let cut = data.len() / 3;
    assert_eq!(whole, read_stream([&data[..cut], &data[cut..]].into_iter()), "two pieces give other frames");
    if let Some((&kind, payload)) = data.split_first() {
        read_as_payload(kind, &payload[..payload.len().min(MAX_PAYLOAD)]);
    }
    (whole.frames, whole.messages)
}

/// What a stream held.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
struct Found {
    frames: u32,
    messages: u32,
    /// CRC over the frames' CRCs, so that two readings can be compared without a heap.
    digest: u32,
    drops: Drops,
}

fn read_stream<'d>(chunks: impl Iterator<Item = &'d [u8]>) -> Found {
    let mut deframer = Deframer::new();
    let mut found = Found::default();
    for chunk in chunks {
        deframer.push(chunk, |frame| {
            found.frames += 1;
            found.digest =
                crate::crc::crc32(&(found.digest ^ crate::crc::crc32(frame.payload)).to_le_bytes());
            found.messages += u32::from(check_frame(&frame));
        });
    }
    found.drops = deframer.drops();
    found
}

/// Whether the frame holds a message; checks that either reads back as it was.
fn check_frame(frame: &Frame<'_>) -> bool {
    let Ok(message) = Message::decode(frame) else { return false };
    let mut out = [0; MAX_ENCODED];
    let len =
        message.encode(frame.kind & !kind::REPLY, frame.id, &mut out).expect("what was read can be written");
    let mut seen = 0;
    Deframer::new().push(&out[..len], |again| {
        assert_eq!(*frame, again, "a message has one encoding only");
        seen += 1;
    });
    assert_eq!(seen, 1, "a written message is one frame");
    true
}

/// Puts the bytes behind a fitting header and CRC, which a fuzzer would hardly ever find.
fn read_as_payload(kind: u8, payload: &[u8]) {
    let mut out = [0; MAX_ENCODED];
    let len = frame::encode(kind, 1, payload, &mut out).expect("payload is within its bound");
    let found = read_stream(core::iter::once(&out[..len]));
    assert_eq!((found.frames, found.drops), (1, Drops::default()), "a written frame is read");
}
