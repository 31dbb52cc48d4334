//! Frames, answers and the id window: sections 1 and 2.

use super::probe::{Broken, Probe, QUIET, encoded, otherwise, refuses};
use super::runs::SOON;
use trackpair_protocol::cobs;
use trackpair_protocol::crc::crc32;
use trackpair_protocol::frame::{self, DELIMITER, MAX_ENCODED};
use trackpair_protocol::message::{EventKind, Reason, Request, kind};

fn quiet(probe: &mut Probe, id: u16, what: &str) -> Result<(), Broken> {
    probe.hear(QUIET)?;
    if probe.answers_of(id) == 0 { Ok(()) } else { otherwise(format!("{what} is answered")) }
}

fn dropped(probe: &mut Probe) -> Result<u32, Broken> {
    Ok(probe.status()?.frames_dropped)
}

/// Sends bytes that a rig must drop, and looks whether it counts them.
fn drops(probe: &mut Probe, bytes: &[u8], id: u16, what: &str) -> Result<(), Broken> {
    let before = dropped(probe)?;
    probe.send(bytes)?;
    quiet(probe, id, what)?;
    let counted = dropped(probe)?.wrapping_sub(before);
    if counted == 0 { otherwise(format!("{what} is not counted in frames_dropped")) } else { Ok(()) }
}

fn frame_of(request: &Request, id: u16) -> Result<Vec<u8>, Broken> {
    let (kind, payload) = encoded(request)?;
    let mut bytes = [0; MAX_ENCODED];
    let len = frame::encode(kind, id, &payload, &mut bytes).unwrap_or_default();
    Ok(bytes[..len].to_vec())
}

pub(super) fn empty_frames(probe: &mut Probe) -> Result<(), Broken> {
    let before = dropped(probe)?;
    probe.send(&[0; 64])?;
    let counted = dropped(probe)?.wrapping_sub(before);
    if counted == 0 { Ok(()) } else { otherwise(format!("64 delimiters count as {counted} dropped frames")) }
}

pub(super) fn damaged_frame(probe: &mut Probe) -> Result<(), Broken> {
    let id = probe.new_id();
    let mut bytes = frame_of(&Request::ClockPing { host_stamp: 0x0102_0304_0506_0708 }, id)?;
    // A payload byte that stuffing leaves alone.
    if let Some(byte) = bytes.iter_mut().rev().nth(8) {
        *byte ^= if *byte == 0x10 { 0x20 } else { 0x10 };
    }
    drops(probe, &bytes, id, "a frame with a wrong byte")
}

pub(super) fn too_long(probe: &mut Probe) -> Result<(), Broken> {
    let mut bytes = vec![0x11; 1_500];
    bytes.push(0);
    drops(probe, &bytes, 0x1111, "a frame of 1500 bytes")?;
    probe.reply(&Request::Heartbeat).map(|_| ())
}

pub(super) fn too_short(probe: &mut Probe) -> Result<(), Broken> {
    drops(probe, &[0x03, 0x11, 0x22, 0x00], 0x2211, "a frame of two bytes")
}

pub(super) fn repeat(probe: &mut Probe) -> Result<(), Broken> {
    let id = probe.new_id();
    let (kind, payload) = encoded(&Request::SetSupply { millivolts: 0 })?;
    let first = probe.exchange(kind, id, &payload)?;
    let events = probe.events.len();
    let again = probe.exchange(kind, id, &payload)?;
    probe.hear(QUIET)?;
    if first != again {
        return otherwise(format!(
            "SetSupply was answered {:02x?}, its repeat {:02x?}",
            first.payload, again.payload
        ));
    }
    let set = probe.events[events.min(probe.events.len())..]
        .iter()
        .filter(|e| matches!(e.kind, EventKind::SupplySet { .. }) && e.rig_us > stamp(&first.payload))
        .count();
    if set == 0 { Ok(()) } else { otherwise("a repeat of SetSupply is carried out again") }
}

/// The time in a Done.
fn stamp(payload: &[u8]) -> u64 {
    payload.first_chunk().map_or(0, |bytes| u64::from_le_bytes(*bytes))
}

pub(super) fn stale(probe: &mut Probe) -> Result<(), Broken> {
    let newest = probe.new_id();
    let (kind, payload) = encoded(&Request::SetSupply { millivolts: 0 })?;
    probe.exchange(kind, newest, &payload)?;
    for (kind, id, payload, what) in [
        (kind::STOP, newest, Vec::new(), "the newest id with another content"),
        (kind::STOP, newest.wrapping_sub(3), Vec::new(), "an id of three requests ago"),
        (kind, newest.wrapping_add(0x8000), payload, "an id half way round"),
    ] {
        let answer = probe.exchange(kind, id, &payload)?;
        refuses(what, kind, &answer, Reason::Stale, None)?;
    }
    probe.reply(&Request::Stop).map(|_| ())
}

pub(super) fn stateless(probe: &mut Probe) -> Result<(), Broken> {
    for id in [0, 1, 0x8001] {
        for request in [Request::ReadStatus, Request::Heartbeat, Request::ClockPing { host_stamp: 77 }] {
            let (kind, payload) = encoded(&request)?;
            let answer = probe.exchange(kind, id, &payload)?;
            if answer.kind != kind | kind::REPLY {
                return otherwise(format!(
                    "{request:?} of id {id} is answered with kind {:#04x}",
                    answer.kind
                ));
            }
        }
    }
    probe.reply(&Request::Stop).map(|_| ())
}

pub(super) fn other_version(probe: &mut Probe) -> Result<(), Broken> {
    let id = probe.new_id();
    let raw = [9, kind::READ_STATUS, id as u8, (id >> 8) as u8];
    let mut whole = raw.to_vec();
    whole.extend(crc32(&raw).to_le_bytes());
    let mut bytes = [0; MAX_ENCODED];
    let len = cobs::encode(&whole, &mut bytes).unwrap_or_default();
    probe.send(&[&bytes[..len], &[DELIMITER]].concat())?;
    probe.hear_until(SOON, |p| p.answers_of(id) > 0)?;
    let Some(answer) = probe.take_answer(id) else {
        return otherwise("a frame of version 9 is not answered");
    };
    let own = u32::from(trackpair_protocol::VERSION);
    refuses("a frame of version 9", kind::READ_STATUS, &answer, Reason::Version, Some(own))
}

pub(super) fn rig_kinds(probe: &mut Probe) -> Result<(), Broken> {
    for kind in [kind::SAMPLES, kind::EVENT, kind::REFUSAL, 0x80, 0x90, 0xFF] {
        let id = probe.new_id();
        let mut bytes = [0; MAX_ENCODED];
        let len = frame::encode(kind, id, &[1, 2, 3], &mut bytes).unwrap_or_default();
        probe.send(&bytes[..len])?;
        quiet(probe, id, &format!("a frame of kind {kind:#04x}"))?;
    }
    Ok(())
}
