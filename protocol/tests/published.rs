//! The CRC and the byte stuffing against published values and an independent implementation.

use proptest::prelude::*;
use trackpair_protocol::frame::MAX_RAW;
use trackpair_protocol::{cobs, crc};

#[track_caller]
fn check(raw: &[u8], expected: &[u8]) {
    let mut out = [0xAA; 600];
    let len = cobs::encode(raw, &mut out).expect("fits");
    assert_eq!(&out[..len], expected);
    let back = cobs::decode_in_place(&mut out[..len]).expect("valid");
    assert_eq!(&out[..back], raw);
}

fn run(from: u8, to: u8) -> Vec<u8> {
    (from..=to).collect()
}

#[test]
fn crc_gives_the_catalogue_check_value() {
    // Catalogue of parametrised CRC algorithms (reveng), entry CRC-32/AUTOSAR: check 0x1697d06a.
    assert_eq!(crc::crc32(b"123456789"), 0x1697_D06A);
    // Same entry: initial and final value 0xffffffff, so nothing at all gives 0.
    assert_eq!(crc::crc32(b""), 0);
}

#[test]
fn the_crc_of_every_length_of_frame_agrees_with_an_independent_implementation() {
    // Every way in which rounds, words and single bytes can make up a frame.
    let peer = ::crc::Crc::<u32>::new(&::crc::CRC_32_AUTOSAR);
    let bytes: Vec<u8> = (0..MAX_RAW as u32).map(|i| (i.wrapping_mul(0x9E37_79B9) >> 24) as u8).collect();
    for n in 0..=bytes.len() {
        assert_eq!(crc::crc32(&bytes[..n]), peer.checksum(&bytes[..n]), "{n} bytes");
    }
}

#[test]
fn stuffing_gives_the_published_encodings() {
    // Cheshire & Baker, Consistent Overhead Byte Stuffing, IEEE/ACM Transactions on Networking 7(2), 1999: the rule;
    // the byte strings are the customary worked ones, delimiter left out.
    check(&[], &[0x01]);
    check(&[0x00], &[0x01, 0x01]);
    check(&[0x00, 0x11, 0x00], &[0x01, 0x02, 0x11, 0x01]);
    check(&[0x11, 0x22, 0x00, 0x33], &[0x03, 0x11, 0x22, 0x02, 0x33]);
    check(&[0x11, 0x00, 0x00, 0x00], &[0x02, 0x11, 0x01, 0x01, 0x01]);
    check(&run(0x01, 0xFE), &[&[0xFF][..], &run(0x01, 0xFE)].concat());
    check(&run(0x00, 0xFE), &[&[0x01, 0xFF][..], &run(0x01, 0xFE)].concat());
    check(&run(0x01, 0xFF), &[&[0xFF][..], &run(0x01, 0xFE), &[0x02, 0xFF]].concat());
}

#[test]
fn unstuffing_refuses_what_is_no_encoding() {
    assert_eq!(cobs::decode_in_place(&mut []), None);
    assert_eq!(cobs::decode_in_place(&mut [0x00]), None);
    assert_eq!(cobs::decode_in_place(&mut [0x03, 0x11]), None);
    assert_eq!(cobs::decode_in_place(&mut [0x03, 0x00, 0x11]), None);
}

#[test]
fn stuffing_never_exceeds_its_stated_bound() {
    for n in 0..1100 {
        let raw = vec![1; n];
        let mut out = vec![0; cobs::max_encoded(n)];
        assert_eq!(cobs::encode(&raw, &mut out), Some(out.len()), "worst case of {n} bytes is met exactly");
        assert_eq!(cobs::encode(&raw, &mut out[1..]), None, "one byte less than {n} bytes need is refused");
    }
}

/// Bytes among which zeros are as frequent as in counts, or absent, or all.
fn bytes_with_zeros() -> impl Strategy<Value = Vec<u8>> {
    prop_oneof![
        proptest::collection::vec(any::<u8>(), 0..1100),
        proptest::collection::vec(1..=255u8, 0..1100),
        proptest::collection::vec(prop_oneof![4 => Just(0u8), 1 => any::<u8>()], 0..600),
        proptest::collection::vec(prop_oneof![1 => Just(0u8), 60 => any::<u8>()], 0..1100),
    ]
}

proptest! {
    #[test]
    fn the_crc_agrees_with_an_independent_implementation(bytes in proptest::collection::vec(any::<u8>(), 0..1100)) {
        prop_assert_eq!(crc::crc32(&bytes), ::crc::Crc::<u32>::new(&::crc::CRC_32_AUTOSAR).checksum(&bytes));
    }

    #[test]
    fn stuffing_agrees_with_an_independent_implementation(raw in bytes_with_zeros()) {
        let mut ours = vec![0; cobs::max_encoded(raw.len())];
        let len = cobs::encode(&raw, &mut ours).expect("bound holds");
        let mut peer = vec![0; ::cobs::max_encoding_length(raw.len()) + 1];
        let peer_len = ::cobs::encode(&raw, &mut peer);
        prop_assert_eq!(&ours[..len], &peer[..peer_len]);

        let mut peer_back = vec![0; raw.len() + 8];
        let report = ::cobs::decode(&ours[..len], &mut peer_back).expect("peer reads ours");
        prop_assert_eq!(&peer_back[..report.frame_size()], &raw[..]);

        let back = cobs::decode_in_place(&mut ours[..len]).expect("valid");
        prop_assert_eq!(&ours[..back], &raw[..]);
    }
}
