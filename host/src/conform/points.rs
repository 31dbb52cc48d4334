//! What is asked of a rig, in the order of WIRE.md.

use super::probe::{BlockSeen, Broken, Probe, QUIET, encoded, otherwise};
use std::time::Duration;
use trackpair_protocol::channel::Encoding;
use trackpair_protocol::crc::crc32;
use trackpair_protocol::frame::{self, MAX_ENCODED};
use trackpair_protocol::message::{
    EndCause, Event, EventKind, Guard, Reason, Reply, Request, RigState, Start, capability, kind,
};
use trackpair_protocol::program::{Program, Segment};

/// One thing that is asked.
pub(super) struct Asked {
    pub(super) section: &'static str,
    pub(super) title: &'static str,
    /// Capabilities without which it can't be asked.
    pub(super) needs: u32,
    pub(super) ask: fn(&mut Probe) -> Result<(), Broken>,
}

const fn point(
    section: &'static str,
    title: &'static str,
    ask: fn(&mut Probe) -> Result<(), Broken>,
) -> Asked {
    Asked { section, title, needs: 0, ask }
}

/// Every point.
pub(super) const POINTS: &[Asked] = &[
    point("1", "empty frames are passed over", empty_frames),
    point("1", "a damaged frame is not answered, and counted", damaged_frame),
    point("1", "a frame that is too long is dropped, and the next one is read", too_long),
    point("1", "a frame that is too short is dropped", too_short),
    point("2", "a repeat gets the same answer, byte for byte, and is not carried out again", repeat),
    point("2", "an old id, or the newest with another content, is refused with Stale", stale),
    point("2", "ReadStatus, Heartbeat and ClockPing are answered whatever their id", stateless),
    point("2", "a frame of another version is refused with Version", other_version),
    point("2", "kinds of 0x7D and above are not answered", rig_kinds),
    point("3", "an unknown kind is refused with Unknown", unknown_kind),
    point("3", "a payload of another size is refused with Malformed", malformed),
    point("4", "Start: run 0, periods and channels out of range are refused", start_out_of_range),
    point("4", "SetSupply: off and the stated levels, nothing else", supply_levels),
    point("4", "SetInput: what is not there is refused", inputs),
    point("4", "an Identify of a new session is told by its number", sessions),
    point("5", "Identity: limits in order", identity),
    point("5", "Channel: every entry can be read, names are unique", channels),
    point("5", "Status tells the supply that was set", status),
    point("3.1", "watching: Arm, Start and LoadProgram are untimely", watching),
    point("6", "a watched run: one start, one end, blocks without a hole, scans on its period", watched_run),
    point("6", "a block is at most 20 ms old", young_blocks),
    point("6", "Stop ends a run, and the last block comes before its end", stopped_run),
    point("6", "events are numbered without a hole", event_numbers),
    point("5", "the clock goes as fast as this computer's", clock),
    point("8", "a new session ends the run of the old one", new_session),
    point("8", "2 s of silence end a watching run and switch the supply off", dead_host),
    driven("3.1", "armed by Arm, at rest by Stop, ClearTrip and a start that watches", armed),
    driven("4", "Start with drive is untimely before Arm and before a program", not_armed),
    driven("7", "LoadProgram: no segment, and segments that are not allowed, are refused", bad_programs),
    driven("7", "a program that lets go reports its segments and ends complete", releases),
    driven("8", "300 ms without an accepted request trip LinkSilence while armed", silence_armed),
    driven("8", "ReadStatus and ClockPing keep no drive on", looking_on),
    driven("8", "Heartbeat keeps a drive on", heartbeats),
    driven("4", "ClearTrip ends a run", clear_trip),
    driven("9", "tripped: Arm and Start are refused with Guarded until ClearTrip", tripped),
];

const fn driven(
    section: &'static str,
    title: &'static str,
    ask: fn(&mut Probe) -> Result<(), Broken>,
) -> Asked {
    Asked { section, title, needs: DRIVE, ask }
}

/// Stands for either drive.
const DRIVE: u32 = 1 << 31;

impl Asked {
    /// What the rig lacks of what this takes.
    pub(super) const fn lacks(&self, capabilities: u32) -> u32 {
        let drives = capabilities & (capability::GRIP_DRIVE | capability::BODY_DRIVE) != 0;
        let capabilities = if drives { capabilities | DRIVE } else { capabilities };
        self.needs & !capabilities
    }
}

/// How long a run's end or an event is waited for.
const SOON: Duration = Duration::from_secs(2);
/// Link silence after which a drive must be off, and before which it must not: 300 ms, with a control tick, and what a computer's own clock and
/// line add.
const SILENCE: (Duration, Duration) = (Duration::from_millis(250), Duration::from_millis(500));

fn status_is(probe: &mut Probe, state: RigState) -> Result<(), Broken> {
    let status = probe.status()?;
    if status.state == state {
        Ok(())
    } else {
        otherwise(format!("the rig is {:?}, not {state:?}", status.state))
    }
}

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

fn empty_frames(probe: &mut Probe) -> Result<(), Broken> {
    let before = dropped(probe)?;
    probe.send(&[0; 64])?;
    let counted = dropped(probe)?.wrapping_sub(before);
    if counted == 0 { Ok(()) } else { otherwise(format!("64 delimiters count as {counted} dropped frames")) }
}

fn damaged_frame(probe: &mut Probe) -> Result<(), Broken> {
    let id = probe.new_id();
    let mut bytes = frame_of(&Request::ClockPing { host_stamp: 0x0102_0304_0506_0708 }, id)?;
    // A payload byte that stuffing leaves alone.
    if let Some(byte) = bytes.iter_mut().rev().nth(8) {
        *byte ^= if *byte == 0x10 { 0x20 } else { 0x10 };
    }
    drops(probe, &bytes, id, "a frame with a wrong byte")
}

fn too_long(probe: &mut Probe) -> Result<(), Broken> {
    let mut bytes = vec![0x11; 1_500];
    bytes.push(0);
    drops(probe, &bytes, 0x1111, "a frame of 1500 bytes")?;
    probe.reply(&Request::Heartbeat).map(|_| ())
}

fn too_short(probe: &mut Probe) -> Result<(), Broken> {
    drops(probe, &[0x03, 0x11, 0x22, 0x00], 0x2211, "a frame of two bytes")
}

fn repeat(probe: &mut Probe) -> Result<(), Broken> {
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

fn stale(probe: &mut Probe) -> Result<(), Broken> {
    let newest = probe.new_id();
    let (kind, payload) = encoded(&Request::SetSupply { millivolts: 0 })?;
    probe.exchange(kind, newest, &payload)?;
    for (kind, id, payload, what) in [
        (kind::STOP, newest, Vec::new(), "the newest id with another content"),
        (kind::STOP, newest.wrapping_sub(3), Vec::new(), "an id of three requests ago"),
        (kind, newest.wrapping_add(0x8000), payload, "an id half way round"),
    ] {
        let answer = probe.exchange(kind, id, &payload)?;
        let right = answer.kind == kind::REFUSAL && answer.payload.get(1) == Some(&(Reason::Stale as u8));
        if !right {
            return otherwise(format!("{what} is not refused with Stale: kind {:#04x}", answer.kind));
        }
    }
    probe.reply(&Request::Stop).map(|_| ())
}

fn stateless(probe: &mut Probe) -> Result<(), Broken> {
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

fn other_version(probe: &mut Probe) -> Result<(), Broken> {
    let id = probe.new_id();
    let raw = [9, kind::READ_STATUS, id as u8, (id >> 8) as u8];
    let mut whole = raw.to_vec();
    whole.extend(crc32(&raw).to_le_bytes());
    let mut bytes = stuffed(&whole);
    bytes.push(0);
    probe.send(&bytes)?;
    if !probe.hear_until(SOON, |p| p.answers_of(id) > 0)? {
        return otherwise("a frame of version 9 is not answered");
    }
    let own = u32::from(trackpair_protocol::VERSION);
    let answer = probe.exchange(kind::READ_STATUS, id, &[])?;
    let detail = answer.payload.get(2..6).and_then(|d| d.first_chunk()).map(|d| u32::from_le_bytes(*d));
    let right = answer.kind == kind::REFUSAL && answer.payload.get(1) == Some(&(Reason::Version as u8));
    if right && detail == Some(own) {
        return Ok(());
    }
    otherwise(format!(
        "a frame of version 9 is answered with kind {:#04x}, {:02x?}",
        answer.kind, answer.payload
    ))
}

/// Byte stuffing of a short frame without a run of 254 bytes.
fn stuffed(bytes: &[u8]) -> Vec<u8> {
    let mut out = Vec::with_capacity(bytes.len() + 2);
    for run in bytes.split(|b| *b == 0) {
        out.push(run.len() as u8 + 1);
        out.extend_from_slice(run);
    }
    out
}

fn rig_kinds(probe: &mut Probe) -> Result<(), Broken> {
    for kind in [kind::SAMPLES, kind::EVENT, kind::REFUSAL, 0x80, 0x90, 0xFF] {
        let id = probe.new_id();
        let mut bytes = [0; MAX_ENCODED];
        let len = frame::encode(kind, id, &[1, 2, 3], &mut bytes).unwrap_or_default();
        probe.send(&bytes[..len])?;
        quiet(probe, id, &format!("a frame of kind {kind:#04x}"))?;
    }
    Ok(())
}

fn unknown_kind(probe: &mut Probe) -> Result<(), Broken> {
    for kind in [0x00, 0x10, 0x42, 0x7C] {
        probe.refused_bytes(kind, &[], Reason::Unknown, Some(kind.into()))?;
    }
    Ok(())
}

fn malformed(probe: &mut Probe) -> Result<(), Broken> {
    let kinds = [
        (kind::DESCRIBE_CHANNEL, 2),
        (kind::SET_SUPPLY, 3),
        (kind::SET_INPUT, 1),
        (kind::ARM, 1),
        (kind::START, 18),
        (kind::STOP, 1),
        (kind::CLEAR_TRIP, 4),
        (kind::READ_STATUS, 1),
        (kind::HEARTBEAT, 2),
        (kind::CLOCK_PING, 7),
    ];
    for (kind, size) in kinds {
        probe.refused_bytes(kind, &vec![0; size], Reason::Malformed, Some(size as u32))?;
    }
    // A bool that is neither 0 nor 1.
    let mut start =
        encoded(&Request::Start(Start { run: 1, period_us: 1, channels: 1, drive: false, max_us: 0 }))?.1;
    start[10] = 2;
    probe.refused_bytes(kind::START, &start, Reason::Malformed, Some(19))
}

/// A run that only watches.
fn watch(probe: &mut Probe, period_us: u32, max_us: u64) -> Result<Start, Broken> {
    let run = probe.new_run();
    let channels = ((1u32 << probe.identity()?.channels) - 1) as u16;
    Ok(Start { run, period_us, channels, drive: false, max_us })
}

/// A period at which a plain line carries every channel: 2 ms, or what the rig allows.
fn easy_period(probe: &Probe) -> Result<u32, Broken> {
    let identity = probe.identity()?;
    Ok(2_000.clamp(identity.min_period_us, identity.max_period_us))
}

fn start_out_of_range(probe: &mut Probe) -> Result<(), Broken> {
    let identity = probe.identity()?;
    let good = watch(probe, easy_period(probe)?, 100_000)?;
    let refused = |probe: &mut Probe, start, field| {
        probe.refused(&Request::Start(start), Reason::OutOfRange, Some(field))
    };
    refused(probe, Start { run: 0, ..good }, 0)?;
    if let Some(short) = identity.min_period_us.checked_sub(1) {
        refused(probe, Start { period_us: short, ..good }, 1)?;
    }
    if let Some(long) = identity.max_period_us.checked_add(1) {
        refused(probe, Start { period_us: long, ..good }, 1)?;
    }
    refused(probe, Start { channels: 0, ..good }, 2)?;
    if identity.channels < 16 {
        refused(probe, Start { channels: 1 << identity.channels, ..good }, 2)?;
    }
    status_is(probe, RigState::Resting)
}

fn supply_levels(probe: &mut Probe) -> Result<(), Broken> {
    let (low, high) = probe.identity()?.supply_mv;
    let below = low.checked_sub(1).filter(|mv| *mv > 0);
    for millivolts in [below, high.checked_add(1)].into_iter().flatten() {
        probe.refused(&Request::SetSupply { millivolts }, Reason::OutOfRange, Some(0))?;
    }
    for millivolts in [low, high, 0] {
        probe.reply(&Request::SetSupply { millivolts })?;
    }
    Ok(())
}

fn inputs(probe: &mut Probe) -> Result<(), Broken> {
    let identity = probe.identity()?;
    let set = |channel, load, pull_down| Request::SetInput { channel, load, pull_down };
    probe.refused(&set(identity.channels, true, false), Reason::OutOfRange, Some(0))?;
    if identity.capabilities & capability::LOADS == 0 {
        return probe.refused(&set(0, true, false), Reason::NotCapable, Some(capability::LOADS));
    }
    for channel in 0..identity.channels {
        let Reply::Channel(info) = probe.reply(&Request::DescribeChannel { channel })? else { continue };
        for (has, request, field, bit) in [
            (info.has_load, set(channel, true, false), 1, 0),
            (info.has_pull_down, set(channel, false, true), 2, 1),
        ] {
            if !has {
                probe.refused(&request, Reason::OutOfRange, Some(field))?;
                continue;
            }
            probe.reply(&request)?;
            let status = probe.status()?;
            let on = [status.loads, status.pull_downs][bit];
            if on != 1 << channel {
                return otherwise(format!("{request:?} is accepted, and the status tells {on:#06x}"));
            }
            probe.reply(&set(channel, false, false))?;
        }
    }
    Ok(())
}

fn sessions(probe: &mut Probe) -> Result<(), Broken> {
    let first = probe.identify()?;
    let second = probe.identify()?;
    if first.boot == second.boot { Ok(()) } else { otherwise("it started anew between two Identify") }
}

fn identity(probe: &mut Probe) -> Result<(), Broken> {
    let i = probe.identity()?;
    let wrong = [
        (i.channels == 0 || i.channels > 16, format!("{} channels, allowed are 1 to 16", i.channels)),
        (
            i.min_period_us == 0 || i.min_period_us > i.max_period_us,
            format!("periods of {} to {} µs", i.min_period_us, i.max_period_us),
        ),
        (i.supply_mv.0 > i.supply_mv.1, format!("supply of {} to {} mV", i.supply_mv.0, i.supply_mv.1)),
        (
            i.travel_mdeg.0 > i.travel_mdeg.1,
            format!("travel of {} to {} mdeg", i.travel_mdeg.0, i.travel_mdeg.1),
        ),
    ];
    match wrong.into_iter().find(|(wrong, _)| *wrong) {
        Some((_, what)) => otherwise(what),
        None => Ok(()),
    }
}

fn channels(probe: &mut Probe) -> Result<(), Broken> {
    let count = probe.identity()?.channels;
    let mut names: Vec<String> = Vec::new();
    for channel in 0..count {
        let Reply::Channel(info) = probe.reply(&Request::DescribeChannel { channel })? else {
            return otherwise("DescribeChannel is answered with another reply");
        };
        let name = info.name.as_str().to_owned();
        if info.index != channel {
            return otherwise(format!("asked for channel {channel}, told of {}", info.index));
        }
        if !(info.scale.is_finite() && info.scale > 0.0 && info.offset.is_finite() && info.resolution >= 0.0)
        {
            return otherwise(format!(
                "{name}: scale {}, offset {}, resolution {}",
                info.scale, info.offset, info.resolution
            ));
        }
        if names.contains(&name) {
            return otherwise(format!("two channels are named {name}"));
        }
        names.push(name);
        let Reply::Calibration(c) = probe.reply(&Request::ReadCalibration { channel })? else {
            return otherwise("ReadCalibration is answered with another reply");
        };
        if !(c.gain_uncertainty >= 0.0 && c.offset_uncertainty >= 0.0) {
            return otherwise(format!("calibration of channel {channel}: {c:?}"));
        }
    }
    probe.refused(&Request::DescribeChannel { channel: count }, Reason::OutOfRange, Some(0))?;
    probe.refused(&Request::ReadCalibration { channel: count }, Reason::OutOfRange, Some(0))
}

fn status(probe: &mut Probe) -> Result<(), Broken> {
    let (_, high) = probe.identity()?.supply_mv;
    for millivolts in [high, 0] {
        probe.reply(&Request::SetSupply { millivolts })?;
        let told = probe.status()?.supply_mv;
        if told != millivolts {
            return otherwise(format!("set to {millivolts} mV, the status tells {told} mV"));
        }
    }
    let on = probe.status()?.drive_on;
    if on { otherwise("the drive is on at rest") } else { Ok(()) }
}

fn watching(probe: &mut Probe) -> Result<(), Broken> {
    let period_us = easy_period(probe)?;
    let start = watch(probe, period_us, 0)?;
    probe.reply(&Request::Start(start))?;
    status_is(probe, RigState::Watching)?;
    let state = Some(RigState::Watching as u32);
    let next = watch(probe, period_us, 0)?;
    probe.refused(&Request::Start(next), Reason::Untimely, state)?;
    if probe.identity()?.capabilities & (capability::GRIP_DRIVE | capability::BODY_DRIVE) != 0 {
        probe.refused(&Request::Arm, Reason::Untimely, state)?;
        probe.refused(&load(&[Segment::Release { us: 1_000 }])?, Reason::Untimely, state)?;
    }
    probe.reply(&Request::Stop)?;
    status_is(probe, RigState::Resting)?;
    probe.refused(&Request::Start(start), Reason::Untimely, None)
}

fn load(segments: &[Segment]) -> Result<Request, Broken> {
    Program::from_slice(segments)
        .map(Request::LoadProgram)
        .ok_or_else(|| Broken::NotAsked("the program is too long".to_owned()))
}

fn ended(run: u32) -> impl Fn(&Event) -> bool {
    move |event| event.run == run && matches!(event.kind, EventKind::RunEnded { .. })
}

fn await_end(probe: &mut Probe, run: u32, most: Duration) -> Result<(EndCause, u32), Broken> {
    let is_end = ended(run);
    if !probe.hear_until(most, |p| p.events.iter().any(&is_end))? {
        return otherwise(format!("the end of the run is not told within {} ms", most.as_millis()));
    }
    match probe.events.iter().find(|e| is_end(e)).map(|e| e.kind) {
        Some(EventKind::RunEnded { cause, blocks }) => Ok((cause, blocks)),
        _ => otherwise("the end of the run is not told"),
    }
}

/// Blocks of a run against its start: numbers, period, channels, sizes, times.
fn check_blocks(probe: &mut Probe, start: Start, started_us: u64, count: u32) -> Result<u64, Broken> {
    let width = scan_bytes(probe)?;
    let blocks: Vec<BlockSeen> = probe.blocks.iter().filter(|b| b.run == start.run).copied().collect();
    if blocks.len() as u32 != count {
        return otherwise(format!("{} blocks came, its end tells {count}", blocks.len()));
    }
    let mut due = started_us;
    let mut scans = 0;
    for (k, b) in blocks.iter().enumerate() {
        if b.number != k as u32 {
            return otherwise(format!("block {k} bears the number {}", b.number));
        }
        if b.period_us != start.period_us || b.channels != start.channels {
            return otherwise(format!("block {k}: period {} µs, channels {:#06x}", b.period_us, b.channels));
        }
        if b.column_bytes != width * usize::from(b.scans) {
            return otherwise(format!(
                "block {k}: {} bytes of columns for {} scans",
                b.column_bytes, b.scans
            ));
        }
        due += u64::from(b.overrun_before) * u64::from(start.period_us);
        if b.first_us != due {
            return otherwise(format!("block {k} begins at {} µs, due at {due} µs", b.first_us));
        }
        due += u64::from(b.scans) * u64::from(start.period_us);
        scans += u64::from(b.scans);
    }
    Ok(scans)
}

fn scan_bytes(probe: &mut Probe) -> Result<usize, Broken> {
    let mut bytes = 0;
    for channel in 0..probe.identity()?.channels {
        if let Reply::Channel(info) = probe.reply(&Request::DescribeChannel { channel })? {
            bytes += match info.encoding {
                Encoding::I16 | Encoding::U16 => 2,
                Encoding::I32 => 4,
            };
        }
    }
    Ok(bytes)
}

fn start_of(probe: &mut Probe, start: Start) -> Result<u64, Broken> {
    match probe.reply(&Request::Start(start))? {
        Reply::Done { rig_us } => Ok(rig_us),
        other => otherwise(format!("Start is answered with {other:?}")),
    }
}

fn watched_run(probe: &mut Probe) -> Result<(), Broken> {
    let start = watch(probe, easy_period(probe)?, 500_000)?;
    let started_us = start_of(probe, start)?;
    let (cause, blocks) = await_end(probe, start.run, SOON)?;
    if cause != EndCause::Complete {
        return otherwise(format!("a run of 500 ms ends with {cause:?}"));
    }
    let starts =
        probe.events.iter().filter(|e| e.run == start.run && e.kind == EventKind::RunStarted).count();
    if starts != 1 {
        return otherwise(format!("{starts} events tell its start"));
    }
    let scans = check_blocks(probe, start, started_us, blocks)?;
    let due = 500_000 / u64::from(start.period_us);
    if scans.abs_diff(due) <= 1 {
        Ok(())
    } else {
        otherwise(format!("{scans} scans in 500 ms, due are {due}"))
    }
}

fn young_blocks(probe: &mut Probe) -> Result<(), Broken> {
    let start = watch(probe, easy_period(probe)?, 300_000)?;
    start_of(probe, start)?;
    await_end(probe, start.run, SOON)?;
    let most = (20_000 / start.period_us).max(1) + 1;
    match probe.blocks.iter().find(|b| u32::from(b.scans) > most) {
        Some(b) => otherwise(format!("block {} holds {} scans of {} µs", b.number, b.scans, b.period_us)),
        None => Ok(()),
    }
}

fn stopped_run(probe: &mut Probe) -> Result<(), Broken> {
    let start = watch(probe, easy_period(probe)?, 0)?;
    let started_us = start_of(probe, start)?;
    if !probe.hear_until(SOON, |p| p.blocks.iter().filter(|b| b.run == start.run).count() >= 3)? {
        return otherwise("no three blocks within 2 s");
    }
    probe.reply(&Request::Stop)?;
    let (cause, blocks) = await_end(probe, start.run, SOON)?;
    if cause != EndCause::Stopped {
        return otherwise(format!("a stopped run ends with {cause:?}"));
    }
    check_blocks(probe, start, started_us, blocks)?;
    let before = probe.blocks.len();
    probe.hear(QUIET)?;
    if probe.blocks.len() == before { Ok(()) } else { otherwise("blocks come after the end of the run") }
}

fn event_numbers(probe: &mut Probe) -> Result<(), Broken> {
    for millivolts in [probe.identity()?.supply_mv.1, 0] {
        probe.reply(&Request::SetSupply { millivolts })?;
    }
    let start = watch(probe, easy_period(probe)?, 100_000)?;
    start_of(probe, start)?;
    await_end(probe, start.run, SOON)?;
    let numbers: Vec<u32> = probe.events.iter().map(|e| e.number).collect();
    if numbers.windows(2).any(|two| two[1] != two[0].wrapping_add(1)) {
        return otherwise(format!("events are numbered {numbers:?}"));
    }
    let set = probe.events.iter().filter(|e| matches!(e.kind, EventKind::SupplySet { .. })).count();
    if set >= 2 { Ok(()) } else { otherwise(format!("two supplies were set, {set} events tell it")) }
}

fn clock(probe: &mut Probe) -> Result<(), Broken> {
    let ping = |probe: &mut Probe| -> Result<(f64, f64), Broken> {
        let sent = probe.now();
        let Reply::Clock { host_stamp, rig_us } = probe.reply(&Request::ClockPing { host_stamp: 4_711 })?
        else {
            return otherwise("ClockPing is answered with another reply");
        };
        if host_stamp != 4_711 {
            return otherwise(format!("it echoes {host_stamp} for 4711"));
        }
        Ok((0.5 * (sent + probe.now()).as_secs_f64(), rig_us as f64 * 1e-6))
    };
    let first = ping(probe)?;
    probe.hear(Duration::from_secs(1))?;
    let last = ping(probe)?;
    let rate = (last.1 - first.1) / (last.0 - first.0);
    if (rate - 1.0).abs() < 0.02 {
        Ok(())
    } else {
        otherwise(format!("its clock goes {rate:.3} times as fast"))
    }
}

fn new_session(probe: &mut Probe) -> Result<(), Broken> {
    let start = watch(probe, easy_period(probe)?, 0)?;
    start_of(probe, start)?;
    probe.identify()?;
    let (cause, _) = await_end(probe, start.run, SOON)?;
    if cause == EndCause::NewSession { Ok(()) } else { otherwise(format!("the run ends with {cause:?}")) }
}

fn dead_host(probe: &mut Probe) -> Result<(), Broken> {
    let (_, high) = probe.identity()?.supply_mv;
    probe.reply(&Request::SetSupply { millivolts: high })?;
    let start = watch(probe, easy_period(probe)?, 0)?;
    start_of(probe, start)?;
    probe.hear(Duration::from_millis(1_700))?;
    if probe.events.iter().any(ended(start.run)) {
        return otherwise("a watching run ends within 1.7 s of silence");
    }
    probe.hear(Duration::from_millis(800))?;
    if !probe.events.iter().any(ended(start.run)) {
        return otherwise("a watching run goes on after 2.5 s of silence");
    }
    let supply = probe.status()?.supply_mv;
    if supply == 0 {
        Ok(())
    } else {
        otherwise(format!("the supply is at {supply} mV after 2.5 s of silence"))
    }
}

/// Arms over a program that lets go for so long.
fn arm(probe: &mut Probe, us: u32) -> Result<(), Broken> {
    probe.reply(&load(&[Segment::Release { us }, Segment::Release { us }])?)?;
    probe.reply(&Request::Arm)?;
    status_is(probe, RigState::Armed)
}

fn drive(probe: &mut Probe, us: u32) -> Result<Start, Broken> {
    arm(probe, us)?;
    let start = Start { drive: true, ..watch(probe, easy_period(probe)?, 0)? };
    start_of(probe, start)?;
    Ok(start)
}

fn armed(probe: &mut Probe) -> Result<(), Broken> {
    for request in [Request::Stop, Request::ClearTrip] {
        arm(probe, 50_000)?;
        probe.reply(&request)?;
        status_is(probe, RigState::Resting)?;
    }
    arm(probe, 50_000)?;
    let start = watch(probe, easy_period(probe)?, 50_000)?;
    start_of(probe, start)?;
    await_end(probe, start.run, SOON)?;
    status_is(probe, RigState::Resting)
}

fn not_armed(probe: &mut Probe) -> Result<(), Broken> {
    let start = Start { drive: true, ..watch(probe, easy_period(probe)?, 0)? };
    probe.refused(&Request::Start(start), Reason::Untimely, Some(RigState::Resting as u32))
}

fn bad_programs(probe: &mut Probe) -> Result<(), Broken> {
    let ok = Segment::Release { us: 1_000 };
    probe.refused_bytes(kind::LOAD_PROGRAM, &[0], Reason::OutOfRange, Some(0))?;
    probe.refused(&load(&[ok, Segment::Release { us: 999 }])?, Reason::OutOfRange, Some(1))?;
    probe.refused(&load(&[Segment::Repeat { from: 0, times: 1 }])?, Reason::OutOfRange, Some(0))?;
    probe.refused(&load(&[ok, ok, Segment::Repeat { from: 0, times: 0 }])?, Reason::OutOfRange, Some(2))
}

fn releases(probe: &mut Probe) -> Result<(), Broken> {
    let start = drive(probe, 100_000)?;
    let (cause, _) = await_end(probe, start.run, SOON)?;
    if cause != EndCause::Complete {
        return otherwise(format!("it ends with {cause:?}"));
    }
    let reached: Vec<u8> = probe
        .events
        .iter()
        .filter_map(|e| match e.kind {
            EventKind::SegmentReached { segment, .. } if e.run == start.run => Some(segment),
            _ => None,
        })
        .collect();
    if reached.ends_with(&[1]) { Ok(()) } else { otherwise(format!("segments told as reached: {reached:?}")) }
}

/// Waits for LinkSilence, counted from now; with `meanwhile` asked every 50 ms.
fn await_silence(probe: &mut Probe, meanwhile: Option<Request>) -> Result<(), Broken> {
    let tripped = |p: &Probe| {
        p.events.iter().any(|e| matches!(e.kind, EventKind::GuardTripped { guard: Guard::LinkSilence, .. }))
    };
    let begun = probe.now();
    while !tripped(probe) {
        let silent = probe.now().saturating_sub(begun);
        if silent > SILENCE.1 {
            return otherwise(format!("no LinkSilence within {} ms", SILENCE.1.as_millis()));
        }
        match &meanwhile {
            Some(request) => {
                probe.reply(request)?;
                probe.hear_until(Duration::from_millis(50), tripped)?;
            }
            None => {
                probe.hear_until(SILENCE.1, tripped)?;
            }
        }
    }
    let silent = probe.now().saturating_sub(begun);
    if silent < SILENCE.0 {
        return otherwise(format!("LinkSilence trips after {} ms", silent.as_millis()));
    }
    status_is(probe, RigState::Tripped)
}

fn silence_armed(probe: &mut Probe) -> Result<(), Broken> {
    probe.reply(&load(&[Segment::Release { us: 1_000_000 }])?)?;
    probe.reply(&Request::Arm)?;
    await_silence(probe, None)?;
    probe.reply(&Request::ClearTrip)?;
    status_is(probe, RigState::Resting)
}

fn looking_on(probe: &mut Probe) -> Result<(), Broken> {
    for request in [Request::ReadStatus, Request::ClockPing { host_stamp: 1 }] {
        drive(probe, 2_000_000)?;
        await_silence(probe, Some(request))?;
        probe.begin()?;
    }
    Ok(())
}

fn heartbeats(probe: &mut Probe) -> Result<(), Broken> {
    let start = drive(probe, 2_000_000)?;
    for _ in 0..20 {
        probe.reply(&Request::Heartbeat)?;
        probe.hear(Duration::from_millis(50))?;
    }
    if probe.events.iter().any(ended(start.run)) {
        return otherwise("the run ends although a heartbeat comes every 50 ms");
    }
    status_is(probe, RigState::Driving)?;
    probe.reply(&Request::Stop)?;
    status_is(probe, RigState::Resting)
}

fn clear_trip(probe: &mut Probe) -> Result<(), Broken> {
    let start = drive(probe, 2_000_000)?;
    probe.reply(&Request::ClearTrip)?;
    let (cause, _) = await_end(probe, start.run, SOON)?;
    if cause != EndCause::Stopped {
        return otherwise(format!("the run ends with {cause:?}"));
    }
    status_is(probe, RigState::Resting)
}

fn tripped(probe: &mut Probe) -> Result<(), Broken> {
    probe.reply(&load(&[Segment::Release { us: 1_000_000 }])?)?;
    probe.reply(&Request::Arm)?;
    await_silence(probe, None)?;
    let silence = Some(1 << Guard::LinkSilence as u32);
    probe.refused(&Request::Arm, Reason::Guarded, silence)?;
    let start = watch(probe, easy_period(probe)?, 50_000)?;
    probe.refused(&Request::Start(start), Reason::Guarded, silence)?;
    probe.reply(&Request::ClearTrip)?;
    start_of(probe, start)?;
    await_end(probe, start.run, SOON).map(|_| ())
}
