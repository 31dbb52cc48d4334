//! Laws of the wire: round trips, chunking, noise, recovery, and the errors a CRC must catch.

mod common;

use common::{deframe, encode, encoded_message, owned_message};
use proptest::collection::vec;
use proptest::prelude::*;
use trackpair_protocol::frame::{Deframer, Drops, MAX_ENCODED, MAX_PAYLOAD, MAX_RAW};
use trackpair_protocol::message::Message;
use trackpair_protocol::{VERSION, cobs, crc, frame, fuzzing};

/// `raw` as a frame on the line, whatever it holds.
fn stuff(raw: &[u8]) -> Vec<u8> {
    let mut out = vec![0; cobs::max_encoded(raw.len()) + 1];
    let len = cobs::encode(raw, &mut out).expect("bound holds");
    out.truncate(len + 1);
    out[len] = 0;
    out
}

/// A frame before stuffing, of which the CRC fits.
fn raw_frame() -> impl Strategy<Value = Vec<u8>> {
    (any::<[u8; 4]>(), vec(any::<u8>(), 0..=MAX_PAYLOAD)).prop_map(|(header, payload)| {
        let mut raw = [&header[..], &payload].concat();
        raw.extend(crc::crc32(&raw).to_le_bytes());
        raw
    })
}

proptest! {
    #[test]
    fn every_message_comes_back_as_it_was((request_kind, message) in owned_message(), id: u16) {
        let bytes = encode(&message, request_kind, id);
        let mut count = 0;
        Deframer::new().push(&bytes, |frame| {
            assert_eq!((frame.version, frame.id), (VERSION, id));
            assert_eq!(Message::decode(&frame), Ok(message));
            count += 1;
        });
        prop_assert_eq!(count, 1);
    }

    #[test]
    fn every_kind_of_frame_keeps_its_bytes_and_its_bound(bytes in encoded_message()) {
        prop_assert!(bytes.len() <= MAX_ENCODED);
        prop_assert_eq!(bytes.iter().filter(|b| **b == 0).count(), 1, "the delimiter is the one zero");
        let (seen, drops) = deframe([&bytes[..]]);
        prop_assert_eq!(drops, Drops::default());
        prop_assert_eq!(seen.len(), 1);
        prop_assert_eq!(fuzzing::deframe_and_decode(&bytes), (1, 1));
    }

    #[test]
    fn a_payload_of_any_other_size_is_malformed(bytes in encoded_message(), by in 1..4usize, longer: bool) {
        let (seen, _) = deframe([&bytes[..]]);
        let (version, kind, id, mut payload) = seen[0].clone();
        // A sample block's columns may be of any size; everything else has one size for its codes.
        prop_assume!(kind != trackpair_protocol::message::kind::SAMPLES);
        if longer {
            payload.resize(payload.len() + by, 0);
        } else {
            prop_assume!(payload.len() >= by);
            payload.truncate(payload.len() - by);
        }
        let outcome = Message::decode(&frame::Frame { version, kind, id, payload: &payload });
        prop_assert_eq!(outcome, Err(trackpair_protocol::message::DecodeError::Malformed(kind)));
    }

    #[test]
    fn any_chunking_finds_the_same_frames(
        messages in vec(encoded_message(), 1..6),
        noise in vec(any::<u8>(), 0..2500),
        cuts in vec(any::<prop::sample::Index>(), 0..12),
    ) {
        let stream = [&messages.concat()[..], &noise, &[0], &messages.concat()].concat();
        let mut cuts: Vec<usize> = cuts.iter().map(|c| c.index(stream.len())).collect();
        cuts.extend([0, stream.len()]);
        cuts.sort_unstable();
        let pieces = cuts.windows(2).map(|w| &stream[w[0]..w[1]]);
        let whole = deframe([&stream[..]]);
        prop_assert_eq!(&deframe(pieces), &whole);
        prop_assert_eq!(&deframe(stream.chunks(1)), &whole);
        prop_assert!(whole.0.len() >= 2 * messages.len());
    }

    #[test]
    fn noise_never_panics_and_never_makes_a_frame_whose_crc_does_not_fit(
        mut bytes in vec(prop_oneof![8 => any::<u8>(), 1 => Just(0u8), 1 => Just(1u8), 1 => Just(0xFF)], 0..4000),
        message in encoded_message(),
        flips in vec((any::<prop::sample::Index>(), 0..8u8), 0..4),
    ) {
        bytes.extend(message);
        for (at, bit) in flips {
            let at = at.index(bytes.len());
            bytes[at] ^= 1 << bit;
        }
        fuzzing::deframe_and_decode(&bytes);
        // The independent reading: split at zeros, unstuff with the peer, check the CRC here.
        let mut expected = Vec::new();
        let pieces: Vec<&[u8]> = bytes.split(|b| *b == 0).collect();
        for piece in &pieces[..pieces.len() - 1] {
            let mut raw = vec![0; piece.len() + 1];
            let Ok(report) = ::cobs::decode(piece, &mut raw) else { continue };
            let raw = &raw[..report.frame_size()];
            if (8..=MAX_RAW).contains(&raw.len()) && piece.len() < MAX_ENCODED {
                let (body, crc) = raw.split_at(raw.len() - 4);
                if crc::crc32(body).to_le_bytes() == crc {
                    expected.push((body[0], body[1], u16::from_le_bytes([body[2], body[3]]), body[4..].to_vec()));
                }
            }
        }
        prop_assert_eq!(deframe([&bytes[..]]).0, expected);
    }

    #[test]
    fn after_garbage_of_any_length_the_next_frame_is_found(garbage in vec(any::<u8>(), 0..5000), message in encoded_message()) {
        let (clean, _) = deframe([&message[..]]);
        let (seen, drops) = deframe([&garbage[..], &[0], &message]);
        prop_assert_eq!(seen.last(), clean.last());
        prop_assert!(drops.bytes <= garbage.len() as u64);
    }

    #[test]
    fn up_to_five_wrong_bits_in_a_frame_are_always_caught(
        raw in raw_frame(),
        flips in vec(any::<prop::sample::Index>(), 1..=5),
    ) {
        // Koopman, "Best CRC Polynomials" (users.ece.cmu.edu/~koopman/crc): 0xF4ACFB13 keeps a Hamming distance of 6
        // beyond a frame's 8,192 bits.
        let mut wrong = raw.clone();
        for flip in &flips {
            let bit = flip.index(raw.len() * 8);
            wrong[bit / 8] ^= 1 << (bit % 8);
        }
        // Two flips of one bit undo each other.
        prop_assume!(wrong != raw);
        let (seen, drops) = deframe([&stuff(&wrong)[..]]);
        prop_assert_eq!(seen, vec![]);
        prop_assert_eq!((drops.crc, drops.frames()), (1, 1));
        prop_assert_eq!(deframe([&stuff(&raw)[..]]).0.len(), 1);
    }
}

#[test]
fn each_cause_of_a_drop_is_counted_by_itself_and_empty_frames_are_not() {
    let mut deframer = Deframer::new();
    let mut push = |bytes: &[u8]| {
        deframer.push(bytes, |f| panic!("no frame was sent, yet {f:?}"));
        deframer.drops()
    };
    assert_eq!(push(&[0, 0, 0]), Drops::default());
    assert_eq!(push(&stuff(&[1, 2, 3])), Drops { too_short: 1, bytes: 4, ..Drops::default() });
    assert_eq!(push(&[9, 1, 0]), Drops { too_short: 1, stuffing: 1, bytes: 6, ..Drops::default() });
    assert_eq!(
        push(&stuff(&[7; 8])),
        Drops { too_short: 1, stuffing: 1, crc: 1, bytes: 15, ..Drops::default() }
    );
    let mut expected =
        Drops { too_short: 1, stuffing: 1, crc: 1, too_long: 1, bytes: 15 + MAX_ENCODED as u64 };
    assert_eq!(push(&vec![1; MAX_ENCODED]), expected, "one byte more than any frame, its end not yet seen");
    expected.bytes += 5000;
    assert_eq!(push(&vec![1; 5000]), expected, "still the same overlong frame");
    assert_eq!(push(&[0]), expected, "and now it has ended");
    expected.too_long += 1;
    expected.bytes += 6000;
    assert_eq!(push(&[&vec![1; 6000][..], &[0]].concat()), expected, "an overlong frame in one piece");
    assert_eq!(expected.frames(), 5);
}

#[test]
fn the_largest_frame_passes_and_one_byte_more_does_not() {
    let mut out = [0; MAX_ENCODED];
    let payload = [0x5A; MAX_PAYLOAD];
    let len = frame::encode(1, 2, &payload, &mut out).expect("the largest payload fits");
    assert!(len >= MAX_RAW);
    assert_eq!(deframe([&out[..len]]).0, vec![(VERSION, 1, 2, payload.to_vec())]);
    assert_eq!(frame::encode(1, 2, &[0x5A; MAX_PAYLOAD + 1], &mut out), None);
    assert_eq!(frame::encode(1, 2, &payload, &mut out[..len - 1]), None);

    // Short enough on the line, too long when unstuffed.
    let mut raw = vec![0x5A; MAX_RAW - 3];
    raw.extend(crc::crc32(&raw).to_le_bytes());
    let (seen, drops) = deframe([&stuff(&raw)[..]]);
    assert_eq!((seen.len(), drops.too_long), (0, 1));
}

#[test]
fn seeded_noise_goes_through_the_fuzz_body() {
    // Xorshift64 (Marsaglia 2003), so that this needs no generator and always sees the same bytes.
    let mut state = 0x9E37_79B9_7F4A_7C15_u64;
    let mut next = || {
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        state
    };
    for round in 0..400 {
        let len = (next() % 2500) as usize;
        let zeros = round % 7;
        let bytes: Vec<u8> =
            (0..len).map(|_| if next() % 16 < zeros { 0 } else { (next() >> 32) as u8 }).collect();
        fuzzing::deframe_and_decode(&bytes);
    }
}
