//! What the wire's test vectors are: values from outside, one or more of every message, and frames that must be dropped.
//!
//! The program that prints them and the test that checks them share this file.

use serde_json::{Value, json};
use trackpair_protocol::channel::{Calibration, ChannelInfo, Encoding, Unit};
use trackpair_protocol::frame::{Deframer, MAX_ENCODED, MAX_RAW};
use trackpair_protocol::mapping::{Mapping, Point};
use trackpair_protocol::message::*;
use trackpair_protocol::position_loop::LoopSettings;
use trackpair_protocol::program::{Program, Segment};
use trackpair_protocol::samples::SampleBlock;
use trackpair_protocol::wire::Text;
use trackpair_protocol::{VERSION, cobs, crc};

/// Storage of the channels in the vectors' sample blocks, by channel number.
pub const ENCODINGS: [Encoding; 4] = [Encoding::I16, Encoding::U16, Encoding::I32, Encoding::U16];

/// The whole file: one vector per line.
pub fn render() -> String {
    let sections = [
        ("crc", crcs()),
        ("cobs", stuffings()),
        ("messages", messages()),
        ("undecodable", undecodable()),
        ("streams", streams()),
    ];
    let mut out = format!("{{\n\"version\": {VERSION}");
    for (name, vectors) in sections {
        let lines: Vec<String> = vectors.iter().map(Value::to_string).collect();
        out += &format!(",\n\"{name}\": [\n{}\n]", lines.join(",\n"));
    }
    out + "\n}\n"
}

/// Lower-case hex.
pub fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|b| format!("{b:02x}")).collect()
}

/// `raw` stuffed, with its delimiter.
fn stuff(raw: &[u8]) -> Vec<u8> {
    let mut out = vec![0; cobs::max_encoded(raw.len()) + 1];
    let len = cobs::encode(raw, &mut out).expect("the bound holds");
    out.truncate(len + 1);
    out[len] = 0;
    out
}

/// A frame before stuffing.
fn raw_frame(version: u8, kind: u8, id: u16, payload: &[u8]) -> Vec<u8> {
    let mut raw = vec![version, kind];
    raw.extend(id.to_le_bytes());
    raw.extend(payload);
    raw.extend(crc::crc32(&raw).to_le_bytes());
    raw
}

fn crcs() -> Vec<Value> {
    // Catalogue of parametrised CRC algorithms (reveng.sourceforge.io), entry CRC-32/AUTOSAR: check 0x1697d06a.
    let catalogue = [(b"123456789".to_vec(), "catalogue check value")];
    // AUTOSAR, Specification of CRC Routines, CRC32P4: its table of examples. Values from memory; a wrong one could
    // not agree with the calculation by chance.
    let examples: [&[u8]; 7] = [
        &[0x00, 0x00, 0x00, 0x00],
        &[0xF2, 0x01, 0x83],
        &[0x0F, 0xAA, 0x00, 0x55],
        &[0x00, 0xFF, 0x55, 0x11],
        &[0x33, 0x22, 0x55, 0xAA, 0xBB, 0xCC, 0xDD, 0xEE, 0xFF],
        &[0x92, 0x6B, 0x55],
        &[0xFF, 0xFF, 0xFF, 0xFF],
    ];
    catalogue
        .into_iter()
        .chain(examples.map(|bytes| (bytes.to_vec(), "AUTOSAR CRC32P4 example")))
        .map(|(bytes, source)| json!({"bytes": hex(&bytes), "crc": format!("{:08x}", crc::crc32(&bytes)), "source": source}))
        .collect()
}

fn stuffings() -> Vec<Value> {
    let run = |from: u8, to: u8| (from..=to).collect::<Vec<u8>>();
    let raws = [
        vec![],
        vec![0],
        vec![0, 0],
        vec![0, 0x11, 0],
        vec![0x11, 0x22, 0, 0x33],
        vec![0x11, 0, 0, 0],
        run(0x01, 0xFE),
        run(0x00, 0xFE),
        run(0x01, 0xFF),
        [run(0x02, 0xFF), vec![0]].concat(),
        [run(0x03, 0xFF), vec![0, 1]].concat(),
    ];
    raws.iter().map(|raw| json!({"raw": hex(raw), "stuffed": hex(&stuff(raw))})).collect()
}

/// Name, kind of request that is answered (0 when none), request id, message.
type Named = (&'static str, u8, u16, Message<'static>);

fn messages() -> Vec<Value> {
    requests().into_iter().chain(replies()).chain(unasked()).map(|named| message_vector(&named)).collect()
}

fn message_vector((name, request_kind, id, message): &Named) -> Value {
    let mut out = [0; MAX_ENCODED];
    let len = message.encode(*request_kind, *id, &mut out).expect("every vector fits a frame");
    let mut raw = out[..len - 1].to_vec();
    let raw_len = cobs::decode_in_place(&mut raw).expect("it was just stuffed");
    json!({
        "name": name,
        "id": id,
        "kind": raw[1],
        "raw": hex(&raw[..raw_len]),
        "line": hex(&out[..len]),
        "fields": fields(message),
    })
}

fn requests() -> Vec<Named> {
    let program = [
        Segment::Ramp { to_mdeg: -1_000, speed_mdeg_s: 20_000, accel_mdeg_s2: 400_000 },
        Segment::Hold { us: 50_000 },
        Segment::Step { to_mdeg: 70_000, us: 250_000 },
        Segment::Release { us: 500_000 },
        Segment::Repeat { from: 0, times: 9 },
    ];
    let program = Program::from_slice(&program).expect("five segments fit");
    let bridge = [
        Segment::Volts { mv: -5_000, us: 250_000 },
        Segment::VoltsRamp { to_mv: 2_500, us: 400_000 },
        Segment::Brake { us: 20_000 },
    ];
    let bridge = Program::from_slice(&bridge).expect("three segments fit");
    let points = [(100_000, 0), (500_000, 20_000), (900_000, 84_000)];
    let mapping = Mapping::from_slice(&points.map(|(grip_ppm, plate_mdeg)| Point { grip_ppm, plate_mdeg }))
        .expect("three points fit");
    let settings = LoopSettings {
        closed_ppm: 101_250,
        open_ppm: 898_500,
        travel_mdeg: 84_000,
        kp_uv_mdeg: 1_100,
        ki_uv_mdeg_s: 8_727,
        kd_nv_s_mdeg: 12_741,
        speed_filter_us: 531,
        dead_mdeg: 120,
        current_ma: 9_000,
    };
    let start = Start { run: 7, period_us: 500, channels: 0x00FF, drive: true, max_us: 12_000_000 };
    let watch = Start { run: 8, period_us: 20, channels: 3, drive: false, max_us: 0 };
    [
        ("Identify", 1, Request::Identify { session: 0x1234_5678 }),
        ("DescribeChannel", 2, Request::DescribeChannel { channel: 3 }),
        ("ReadCalibration", 3, Request::ReadCalibration { channel: 0 }),
        ("ReadStatus", 0, Request::ReadStatus),
        ("SetSupply on", 4, Request::SetSupply { millivolts: 5_000 }),
        ("SetSupply off", 5, Request::SetSupply { millivolts: 0 }),
        ("SetInput load", 6, Request::SetInput { channel: 1, load: true, pull_down: false }),
        ("SetInput pull-down", 7, Request::SetInput { channel: 0, load: false, pull_down: true }),
        ("LoadProgram", 8, Request::LoadProgram(program)),
        ("LoadProgram empty", 9, Request::LoadProgram(Program::EMPTY)),
        ("Arm", 10, Request::Arm),
        ("Start driving", 11, Request::Start(start)),
        ("Start watching", 12, Request::Start(watch)),
        ("Stop", 13, Request::Stop),
        ("ClearTrip", 65_535, Request::ClearTrip),
        ("Heartbeat", 0, Request::Heartbeat),
        ("LoadProgram for a motor bridge", 14, Request::LoadProgram(bridge)),
        ("SetLoop", 15, Request::SetLoop(settings)),
        ("SetMapping", 16, Request::SetMapping(mapping)),
        ("SetMapping of no points", 17, Request::SetMapping(Mapping::EMPTY)),
        ("ClockPing", 256, Request::ClockPing { host_stamp: 0x0102_0304_0506_0708 }),
    ]
    .map(|(name, id, request)| (name, 0, id, Message::Request(request)))
    .to_vec()
}

fn replies() -> Vec<Named> {
    let identity = Identity {
        session: 0x1234_5678,
        boot: 3,
        model: Text::new("invented bench rig"),
        serial: Text::new("TP-0001"),
        firmware: Text::new("0.1.0"),
        capabilities: capability::SIMULATED | capability::GRIP_DRIVE | capability::REFERENCE,
        channels: 8,
        min_period_us: 20,
        max_period_us: 100_000,
        supply_mv: (4_000, 5_000),
        travel_mdeg: (-5_000, 95_000),
        max_speed_mdeg_s: 600_000,
        max_drive_mv: 13_000,
    };
    let channel = ChannelInfo {
        index: 3,
        encoding: Encoding::I32,
        unit: Unit::Degree,
        has_load: false,
        has_pull_down: true,
        // Twelve bytes of UTF-8 in ten characters: lengths are bytes.
        name: Text::new("référence1"),
        scale: 0.001,
        offset: -0.25,
        resolution: 0.005,
        filter_us: 100,
    };
    let calibration = Calibration {
        channel: 3,
        gain_uncertainty: 0.000_05,
        offset_uncertainty: 0.02,
        day: 20_454,
        certificate: Text::new("invented, no certificate"),
    };
    let status = Status {
        rig_us: 987_654_321,
        state: RigState::Tripped,
        tripped: 0b000_0100,
        present: 0b000_0010,
        run: 7,
        supply_mv: 5_000,
        overruns: 11,
        frames_dropped: 12,
        blocks: 13,
        loads: 0b01,
        pull_downs: 0b10,
        drive_on: false,
        heat_permille: 250,
    };
    let clock = Reply::Clock { host_stamp: 0x0102_0304_0506_0708, rig_us: 1_000_000 };
    let mut all = vec![
        ("Identity", kind::IDENTIFY, 1, Message::Reply(Reply::Identity(identity))),
        ("Channel", kind::DESCRIBE_CHANNEL, 2, Message::Reply(Reply::Channel(channel))),
        ("Calibration", kind::READ_CALIBRATION, 3, Message::Reply(Reply::Calibration(calibration))),
        ("Status", kind::READ_STATUS, 0, Message::Reply(Reply::Status(status))),
        ("Clock", kind::CLOCK_PING, 256, Message::Reply(clock)),
    ];
    let done = [
        ("Done SetSupply", kind::SET_SUPPLY),
        ("Done SetInput", kind::SET_INPUT),
        ("Done LoadProgram", kind::LOAD_PROGRAM),
        ("Done Arm", kind::ARM),
        ("Done Start", kind::START),
        ("Done Stop", kind::STOP),
        ("Done ClearTrip", kind::CLEAR_TRIP),
        ("Done Heartbeat", kind::HEARTBEAT),
        ("Done SetLoop", kind::SET_LOOP),
        ("Done SetMapping", kind::SET_MAPPING),
    ];
    all.extend(done.map(|(name, kind)| (name, kind, 42, Message::Reply(Reply::Done { rig_us: 1_234_567 }))));
    all
}

fn unasked() -> Vec<Named> {
    let mut all: Vec<Named> = (1..=9)
        .map(|code| {
            let reason = Reason::from_code(code).expect("assigned");
            (
                "Refusal",
                0,
                500,
                Message::Refusal(Refusal {
                    request: kind::ARM,
                    reason,
                    detail: 0x0102_0300 + u32::from(code),
                }),
            )
        })
        .collect();
    let mut events = vec![
        ("Booted", EventKind::Booted),
        ("RunStarted", EventKind::RunStarted),
        ("SegmentReached", EventKind::SegmentReached { segment: 4, pass: 258 }),
        ("SupplySet", EventKind::SupplySet { millivolts: 4_000 }),
        ("InputSet", EventKind::InputSet { channel: 1, load: true, pull_down: true }),
        ("Overrun", EventKind::Overrun { scans: 70_000 }),
    ];
    events.extend((0..4).map(|code| {
        let cause = EndCause::from_code(code).expect("assigned");
        ("RunEnded", EventKind::RunEnded { cause, blocks: 66_000 })
    }));
    events.extend((0..10).map(|code| {
        let guard = Guard::from_code(code).expect("assigned");
        ("GuardTripped", EventKind::GuardTripped { guard, value: -1_500 + i32::from(code) })
    }));
    all.extend(events.into_iter().zip(1..).map(|((name, kind), number)| {
        (name, 0, 0, Message::Event(Event { number, rig_us: 5_000_000_000, run: 7, kind }))
    }));
    all.extend(
        [
            ("Samples i16", 0b0001, 3, &[0xFF, 0x7F, 0x00, 0x80, 0xFF, 0xFF][..]),
            ("Samples u16", 0b0010, 3, &[0x00, 0x00, 0xFF, 0xFF, 0x34, 0x12]),
            ("Samples i32", 0b0100, 2, &[0xFF, 0xFF, 0xFF, 0x7F, 0x00, 0x00, 0x00, 0x80]),
            ("Samples mixed", 0b1101, 2, &[1, 0, 2, 0, 0xFE, 0xFF, 0xFF, 0xFF, 2, 1, 0, 0, 3, 0, 4, 0xF0]),
        ]
        .map(|(name, channels, scans, columns)| {
            let first_us = 5_000_001_000;
            let block = SampleBlock {
                run: 7,
                number: 300,
                first_us,
                period_us: 500,
                scans,
                channels,
                overrun_before: 5,
                columns,
            };
            (name, 0, 0, Message::Samples(block))
        }),
    );
    all
}

/// Whole frames that hold no message, and whose fault that is.
fn undecodable() -> Vec<Value> {
    let bad_text = [&[3u8, 2, 2, 0][..], b"a\0b", &[0; 13], &1f64.to_le_bytes(), &[0; 20]].concat();
    let bad_scale = [&[3u8, 2, 2, 0][..], &[0; 16], &f64::NAN.to_le_bytes(), &[0; 20]].concat();
    let hold_with_target = [&[1u8, 1, 0, 0, 0][..], &[1; 4], &[0; 8]].concat();
    let cases: [(&str, Vec<u8>, &str); 13] = [
        ("another version", raw_frame(VERSION + 1, kind::ARM, 1, &[]), "version"),
        ("kind 0", raw_frame(VERSION, 0x00, 1, &[]), "unknown"),
        ("kind after the last request", raw_frame(VERSION, kind::SET_MAPPING + 1, 1, &[]), "unknown"),
        (
            "reply to no request",
            raw_frame(VERSION, (kind::SET_MAPPING + 1) | kind::REPLY, 1, &[0; 8]),
            "unknown",
        ),
        ("Arm with a payload", raw_frame(VERSION, kind::ARM, 1, &[0]), "malformed"),
        ("Identify too short", raw_frame(VERSION, kind::IDENTIFY, 1, &[1, 2, 3]), "malformed"),
        ("input flags out of range", raw_frame(VERSION, kind::SET_INPUT, 1, &[0, 4]), "malformed"),
        (
            "forty-one segments",
            raw_frame(VERSION, kind::LOAD_PROGRAM, 1, &[&[41u8][..], &[0; 41 * 16]].concat()),
            "malformed",
        ),
        ("a hold with a target", raw_frame(VERSION, kind::LOAD_PROGRAM, 1, &hold_with_target), "malformed"),
        (
            "text after its NUL",
            raw_frame(VERSION, kind::DESCRIBE_CHANNEL | kind::REPLY, 1, &bad_text),
            "malformed",
        ),
        (
            "a scale that is not a number",
            raw_frame(VERSION, kind::DESCRIBE_CHANNEL | kind::REPLY, 1, &bad_scale),
            "malformed",
        ),
        ("refusal for no reason", raw_frame(VERSION, kind::REFUSAL, 1, &[8, 0, 0, 0, 0, 0]), "malformed"),
        ("a block without scans", raw_frame(VERSION, kind::SAMPLES, 0, &[0; 28]), "malformed"),
    ];
    cases
        .map(|(name, raw, fault)| json!({"name": name, "raw": hex(&raw), "line": hex(&stuff(&raw)), "fault": fault}))
        .to_vec()
}

/// Streams with something in them that must be dropped, and what must still be found.
fn streams() -> Vec<Value> {
    let good = stuff(&raw_frame(VERSION, kind::ARM, 10, &[]));
    let mut wrong_bit = raw_frame(VERSION, kind::ARM, 10, &[]);
    wrong_bit[1] ^= 0x10;
    let mut lost_byte = good.clone();
    lost_byte.remove(3);
    let lost_delimiter = [&good[..good.len() - 1], &good].concat();
    let overlong = [vec![1; MAX_ENCODED], vec![0]].concat();
    let too_long_raw = stuff(&raw_frame(VERSION, kind::SAMPLES, 0, &[0x5A; MAX_RAW - 7]));
    let cases: [(&str, Vec<u8>); 9] = [
        ("nothing but a frame", vec![]),
        ("extra delimiters", vec![0, 0, 0]),
        ("a wrong bit", stuff(&wrong_bit)),
        ("a lost byte", lost_byte),
        ("a lost delimiter joins two frames", lost_delimiter),
        ("a code that points beyond the end", vec![9, 1, 2, 0]),
        ("too short for header and CRC", stuff(&[1, 8, 10, 0, 0, 0, 0])),
        ("longer than any frame", overlong),
        ("too long after unstuffing", too_long_raw),
    ];
    cases
        .map(|(name, bad)| {
            let stream = [&bad[..], &good].concat();
            let (drops, frames) = read(&stream);
            json!({"name": name, "stream": hex(&stream), "frames": frames, "drops": drops})
        })
        .to_vec()
}

/// Drop counters by cause, and the payloads found, as `[kind, id, payload]`.
pub fn read(stream: &[u8]) -> (Value, Vec<Value>) {
    let mut deframer = Deframer::new();
    let mut frames = Vec::new();
    deframer.push(stream, |f| frames.push(json!([f.kind, f.id, hex(f.payload)])));
    let d = deframer.drops();
    let drops = json!({
        "too_long": d.too_long, "too_short": d.too_short, "stuffing": d.stuffing, "crc": d.crc, "bytes": d.bytes,
    });
    (drops, frames)
}

/// A message's fields by name, enumerations by their code, text as text.
pub fn fields(message: &Message<'_>) -> Value {
    match message {
        Message::Request(request) => request_fields(request),
        Message::Reply(reply) => reply_fields(reply),
        Message::Refusal(r) => json!({"request": r.request, "reason": r.reason as u8, "detail": r.detail}),
        Message::Event(event) => event_fields(event),
        Message::Samples(block) => block_fields(block),
    }
}

fn request_fields(request: &Request) -> Value {
    match request {
        Request::Identify { session } => json!({"session": session}),
        Request::DescribeChannel { channel } | Request::ReadCalibration { channel } => {
            json!({"channel": channel})
        }
        Request::SetSupply { millivolts } => json!({"millivolts": millivolts}),
        Request::SetInput { channel, load, pull_down } => {
            json!({"channel": channel, "load": load, "pull_down": pull_down})
        }
        Request::LoadProgram(program) => {
            json!({"segments": program.segments().iter().map(segment_fields).collect::<Vec<_>>()})
        }
        Request::Start(s) => json!({
            "run": s.run, "period_us": s.period_us, "channels": s.channels, "drive": s.drive, "max_us": s.max_us,
        }),
        Request::ClockPing { host_stamp } => json!({"host_stamp": host_stamp}),
        Request::SetLoop(s) => json!({
            "closed_ppm": s.closed_ppm, "open_ppm": s.open_ppm, "travel_mdeg": s.travel_mdeg,
            "kp_uv_mdeg": s.kp_uv_mdeg, "ki_uv_mdeg_s": s.ki_uv_mdeg_s, "kd_nv_s_mdeg": s.kd_nv_s_mdeg,
            "speed_filter_us": s.speed_filter_us, "dead_mdeg": s.dead_mdeg, "current_ma": s.current_ma,
        }),
        Request::SetMapping(m) => {
            let point = |p: &Point| json!({"grip_ppm": p.grip_ppm, "plate_mdeg": p.plate_mdeg});
            json!({"points": m.points().iter().map(point).collect::<Vec<_>>()})
        }
        Request::ReadStatus | Request::Arm | Request::Stop | Request::ClearTrip | Request::Heartbeat => {
            json!({})
        }
    }
}

fn segment_fields(segment: &Segment) -> Value {
    match segment {
        Segment::Ramp { to_mdeg, speed_mdeg_s, accel_mdeg_s2 } => {
            json!({"kind": 0, "to_mdeg": to_mdeg, "speed_mdeg_s": speed_mdeg_s, "accel_mdeg_s2": accel_mdeg_s2})
        }
        Segment::Hold { us } => json!({"kind": 1, "us": us}),
        Segment::Step { to_mdeg, us } => json!({"kind": 2, "to_mdeg": to_mdeg, "us": us}),
        Segment::Release { us } => json!({"kind": 3, "us": us}),
        Segment::Repeat { from, times } => json!({"kind": 4, "from": from, "times": times}),
        Segment::Volts { mv, us } => json!({"kind": 5, "mv": mv, "us": us}),
        Segment::VoltsRamp { to_mv, us } => json!({"kind": 6, "to_mv": to_mv, "us": us}),
        Segment::Brake { us } => json!({"kind": 7, "us": us}),
    }
}

fn reply_fields(reply: &Reply) -> Value {
    match reply {
        Reply::Identity(i) => json!({
            "session": i.session, "boot": i.boot, "model": i.model.as_str(), "serial": i.serial.as_str(),
            "firmware": i.firmware.as_str(), "capabilities": i.capabilities, "channels": i.channels,
            "min_period_us": i.min_period_us, "max_period_us": i.max_period_us, "min_supply_mv": i.supply_mv.0,
            "max_supply_mv": i.supply_mv.1, "min_travel_mdeg": i.travel_mdeg.0, "max_travel_mdeg": i.travel_mdeg.1,
            "max_speed_mdeg_s": i.max_speed_mdeg_s, "max_drive_mv": i.max_drive_mv,
        }),
        Reply::Channel(c) => json!({
            "index": c.index, "encoding": c.encoding as u8, "unit": c.unit as u8, "has_load": c.has_load,
            "has_pull_down": c.has_pull_down, "name": c.name.as_str(), "scale": c.scale, "offset": c.offset,
            "resolution": c.resolution, "filter_us": c.filter_us,
        }),
        Reply::Calibration(c) => json!({
            "channel": c.channel, "gain_uncertainty": c.gain_uncertainty, "offset_uncertainty": c.offset_uncertainty,
            "day": c.day, "certificate": c.certificate.as_str(),
        }),
        Reply::Status(s) => json!({
            "rig_us": s.rig_us, "state": s.state as u8, "tripped": s.tripped, "present": s.present, "run": s.run,
            "supply_mv": s.supply_mv, "overruns": s.overruns, "frames_dropped": s.frames_dropped, "blocks": s.blocks,
            "loads": s.loads, "pull_downs": s.pull_downs, "drive_on": s.drive_on,
            "heat_permille": s.heat_permille,
        }),
        Reply::Clock { host_stamp, rig_us } => json!({"host_stamp": host_stamp, "rig_us": rig_us}),
        Reply::Done { rig_us } => json!({"rig_us": rig_us}),
    }
}

fn event_fields(event: &Event) -> Value {
    let (code, mut what) = match event.kind {
        EventKind::Booted => (0, json!({})),
        EventKind::RunStarted => (1, json!({})),
        EventKind::SegmentReached { segment, pass } => (2, json!({"segment": segment, "pass": pass})),
        EventKind::RunEnded { cause, blocks } => (3, json!({"cause": cause as u8, "blocks": blocks})),
        EventKind::GuardTripped { guard, value } => (4, json!({"guard": guard as u8, "value": value})),
        EventKind::Overrun { scans } => (5, json!({"scans": scans})),
        EventKind::SupplySet { millivolts } => (6, json!({"millivolts": millivolts})),
        EventKind::InputSet { channel, load, pull_down } => {
            (7, json!({"channel": channel, "load": load, "pull_down": pull_down}))
        }
    };
    what["number"] = event.number.into();
    what["rig_us"] = event.rig_us.into();
    what["run"] = event.run.into();
    what["code"] = code.into();
    what
}

fn block_fields(block: &SampleBlock<'_>) -> Value {
    let encodings = ENCODINGS.map(|e| e as u8);
    let columns: Vec<Value> = (0..16u8)
        .filter(|channel| block.channels >> channel & 1 == 1)
        .map(|channel| {
            let column = block.column(channel, &ENCODINGS).expect("the columns fit the encodings");
            json!({"channel": channel, "counts": column.counts().collect::<Vec<_>>()})
        })
        .collect();
    json!({
        "run": block.run, "number": block.number, "first_us": block.first_us, "period_us": block.period_us,
        "scans": block.scans, "channels": block.channels, "overrun_before": block.overrun_before,
        "encodings": encodings, "columns": columns,
    })
}
