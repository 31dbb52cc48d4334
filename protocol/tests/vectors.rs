//! The test vectors in `vectors.json`: current, complete, and read back to the fields they state.

#[path = "../examples/wire-vectors/vectors.rs"]
mod vectors;

use std::collections::BTreeSet;

use serde_json::Value;
use trackpair_protocol::frame::{Deframer, Frame};
use trackpair_protocol::message::{DecodeError, Message, kind};
use trackpair_protocol::{cobs, crc, fuzzing};

const FILE: &str = include_str!("../vectors.json");

fn section(name: &str) -> Vec<Value> {
    let file: Value = serde_json::from_str(FILE).expect("vectors.json is JSON");
    file[name].as_array().expect("a section is a list").clone()
}

fn bytes(vector: &Value, field: &str) -> Vec<u8> {
    let hex = vector[field].as_str().unwrap_or_else(|| panic!("{vector} has no {field}"));
    (0..hex.len() / 2).map(|i| u8::from_str_radix(&hex[2 * i..2 * i + 2], 16).expect("hex")).collect()
}

/// Hands `check` the one frame that `line` holds.
#[track_caller]
fn with_frame(line: &[u8], mut check: impl FnMut(&Frame<'_>)) {
    let mut count = 0;
    Deframer::new().push(line, |frame| {
        check(&frame);
        count += 1;
    });
    assert_eq!(count, 1, "one vector is one frame");
}

#[test]
fn the_file_is_current() {
    assert!(FILE == vectors::render(), "vectors.json is out of date: run scripts/wire-vectors");
}

#[test]
fn crc_vectors_hold() {
    for vector in section("crc") {
        let expected = u32::from_str_radix(vector["crc"].as_str().expect("text"), 16).expect("hex");
        assert_eq!(crc::crc32(&bytes(&vector, "bytes")), expected, "{vector}");
    }
    // AUTOSAR, Specification of CRC Routines, CRC32P4 examples. Values from memory; agreement by chance is ruled out.
    let published =
        ["1697d06a", "6fb32240", "4f721a25", "20662df8", "9bd7996e", "a65a343d", "ee688a78", "ffffffff"];
    let stated: Vec<Value> = section("crc").iter().map(|v| v["crc"].clone()).collect();
    assert_eq!(stated, published);
}

#[test]
fn stuffing_vectors_hold_both_ways() {
    for vector in section("cobs") {
        let (raw, stuffed) = (bytes(&vector, "raw"), bytes(&vector, "stuffed"));
        let mut out = [0; 300];
        let len = cobs::encode(&raw, &mut out).expect("fits");
        assert_eq!([&out[..len], &[0]].concat(), stuffed);
        let back = cobs::decode_in_place(&mut out[..len]).expect("valid");
        assert_eq!(&out[..back], raw);
    }
}

#[test]
fn message_vectors_read_back_to_their_fields() {
    for vector in section("messages") {
        let (raw, line) = (bytes(&vector, "raw"), bytes(&vector, "line"));
        with_frame(&line, |frame| {
            assert_eq!(Value::from(frame.kind), vector["kind"]);
            assert_eq!(Value::from(frame.id), vector["id"]);
            assert_eq!(frame.payload, &raw[4..raw.len() - 4]);
            let message = Message::decode(frame).expect("a vector can be read");
            assert_eq!(vectors::fields(&message), vector["fields"], "{}", vector["name"]);
        });
        assert_eq!(fuzzing::deframe_and_decode(&line), (1, 1));
    }
}

#[test]
fn every_kind_and_every_event_has_a_vector() {
    let messages = section("messages");
    let kinds: BTreeSet<u64> = messages.iter().filter_map(|v| v["kind"].as_u64()).collect();
    let expected: BTreeSet<u64> = (kind::IDENTIFY..=kind::SET_MAPPING)
        .flat_map(|k| [k, k | kind::REPLY])
        .chain([kind::REFUSAL, kind::EVENT, kind::SAMPLES])
        .map(u64::from)
        .collect();
    assert_eq!(kinds, expected);
    let codes = |kind: u8, field: &str| -> BTreeSet<u64> {
        let of_kind = messages.iter().filter(|v| v["kind"] == kind);
        of_kind.filter_map(|v| v["fields"][field].as_u64()).collect()
    };
    assert_eq!(codes(kind::EVENT, "code"), (0..=7).collect());
    assert_eq!(codes(kind::EVENT, "cause"), (0..=3).collect());
    assert_eq!(codes(kind::EVENT, "guard"), (0..=9).collect());
    assert_eq!(codes(kind::REFUSAL, "reason"), (1..=9).collect());
}

#[test]
fn undecodable_vectors_are_whole_frames_with_the_stated_fault() {
    for vector in section("undecodable") {
        with_frame(&bytes(&vector, "line"), |frame| {
            let fault = match Message::decode(frame).expect_err("this is not a message") {
                DecodeError::Version(_) => "version",
                DecodeError::Unknown(_) => "unknown",
                DecodeError::Malformed(_) => "malformed",
            };
            assert_eq!(fault, vector["fault"], "{}", vector["name"]);
        });
    }
}

#[test]
fn stream_vectors_drop_and_find_what_they_state() {
    let mut causes = BTreeSet::new();
    for vector in section("streams") {
        let stream = bytes(&vector, "stream");
        let (drops, frames) = vectors::read(&stream);
        assert_eq!(
            (&drops, &Value::from(frames.clone())),
            (&vector["drops"], &vector["frames"]),
            "{}",
            vector["name"]
        );
        assert_eq!(
            frames.last(),
            Some(&serde_json::json!([8, 10, ""])),
            "the frame after the fault is found"
        );
        causes.extend(["too_long", "too_short", "stuffing", "crc"].into_iter().filter(|c| drops[c] != 0));
        fuzzing::deframe_and_decode(&stream);
    }
    assert_eq!(causes.len(), 4, "every cause of a drop has a vector: {causes:?}");
}

#[test]
fn the_specification_quotes_the_vectors_and_the_sizes() {
    let text = include_str!("../WIRE.md");
    let lines: BTreeSet<String> =
        section("messages").iter().map(|v| v["line"].as_str().expect("text").to_owned()).collect();
    let quoted: Vec<&str> = text
        .lines()
        .filter_map(|line| line.strip_prefix("> ").or(line.strip_prefix("< ")))
        .map(|line| line.split(' ').next().unwrap_or(line))
        .filter(|hex| *hex != "00")
        .collect();
    assert!(quoted.len() > 15, "the example session is there");
    for hex in quoted {
        assert!(lines.contains(hex), "WIRE.md quotes a frame that is not a vector: {hex}");
    }
    // Rows of the table of kinds: | request kind | name | size | reply kind | name | size |.
    for vector in section("messages") {
        let size = bytes(&vector, "raw").len() - 8;
        let kind = vector["kind"].as_u64().expect("a number");
        let Some(cells) =
            text.lines().find(|l| l.contains(&format!("| 0x{kind:02X} |")) && l.starts_with("| 0x"))
        else {
            panic!("WIRE.md has no kind {kind:#x}");
        };
        let cells: Vec<&str> = cells.split('|').map(str::trim).collect();
        let column = if kind & 0x80 == 0 { 3 } else { 6 };
        if let Ok(stated) = cells[column].parse::<usize>() {
            assert_eq!(stated, size, "{}", vector["name"]);
        }
    }
}
