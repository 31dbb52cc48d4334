//! Any message and any noise, for property tests.

use proptest::collection::vec;
use proptest::prelude::*;
use trackpair_protocol::channel::{Calibration, ChannelInfo, Encoding, Unit};
use trackpair_protocol::frame::{Deframer, Drops, MAX_ENCODED};
use trackpair_protocol::mapping::{MAX_POINTS, Mapping, Point};
use trackpair_protocol::message::*;
use trackpair_protocol::position_loop::LoopSettings;
use trackpair_protocol::program::{MAX_SEGMENTS, Program, Segment};
use trackpair_protocol::samples::SampleBlock;
use trackpair_protocol::wire::Text;

/// Any request.
pub fn request() -> impl Strategy<Value = Request> {
    prop_oneof![
        any::<u32>().prop_map(|session| Request::Identify { session }),
        any::<u8>().prop_map(|channel| Request::DescribeChannel { channel }),
        any::<u8>().prop_map(|channel| Request::ReadCalibration { channel }),
        Just(Request::ReadStatus),
        any::<u16>().prop_map(|millivolts| Request::SetSupply { millivolts }),
        any::<(u8, bool, bool)>().prop_map(|(channel, load, pull_down)| Request::SetInput {
            channel,
            load,
            pull_down
        }),
        vec(segment(), 0..=MAX_SEGMENTS).prop_map(|segments| Request::LoadProgram(
            Program::from_slice(&segments).expect("within the bound")
        )),
        Just(Request::Arm),
        any::<(u32, u32, u16, bool, u64)>().prop_map(|(run, period_us, channels, drive, max_us)| {
            Request::Start(Start { run, period_us, channels, drive, max_us })
        }),
        Just(Request::Stop),
        Just(Request::ClearTrip),
        Just(Request::Heartbeat),
        any::<u64>().prop_map(|host_stamp| Request::ClockPing { host_stamp }),
        loop_settings().prop_map(Request::SetLoop),
        vec(any::<(i32, i32)>(), 0..=MAX_POINTS).prop_map(|points| {
            let points: Vec<Point> =
                points.into_iter().map(|(grip_ppm, plate_mdeg)| Point { grip_ppm, plate_mdeg }).collect();
            Request::SetMapping(Mapping::from_slice(&points).expect("within the bound"))
        }),
    ]
}

fn loop_settings() -> impl Strategy<Value = LoopSettings> {
    (any::<(i32, i32)>(), any::<[u32; 7]>()).prop_map(|((closed_ppm, open_ppm), rest)| {
        let [travel_mdeg, kp_uv_mdeg, ki_uv_mdeg_s, kd_nv_s_mdeg, speed_filter_us, dead_mdeg, current_ma] =
            rest;
        LoopSettings {
            closed_ppm,
            open_ppm,
            travel_mdeg,
            kp_uv_mdeg,
            ki_uv_mdeg_s,
            kd_nv_s_mdeg,
            speed_filter_us,
            dead_mdeg,
            current_ma,
        }
    })
}

fn segment() -> impl Strategy<Value = Segment> {
    prop_oneof![
        any::<(i32, u32, u32)>().prop_map(|(to_mdeg, speed_mdeg_s, accel_mdeg_s2)| Segment::Ramp {
            to_mdeg,
            speed_mdeg_s,
            accel_mdeg_s2
        }),
        any::<u32>().prop_map(|us| Segment::Hold { us }),
        any::<(i32, u32)>().prop_map(|(to_mdeg, us)| Segment::Step { to_mdeg, us }),
        any::<u32>().prop_map(|us| Segment::Release { us }),
        any::<(u8, u16)>().prop_map(|(from, times)| Segment::Repeat { from, times }),
        any::<(i32, u32)>().prop_map(|(mv, us)| Segment::Volts { mv, us }),
        any::<(i32, u32)>().prop_map(|(to_mv, us)| Segment::VoltsRamp { to_mv, us }),
        any::<u32>().prop_map(|us| Segment::Brake { us }),
    ]
}

fn text<const N: usize>() -> impl Strategy<Value = Text<N>> {
    vec(any::<char>(), 0..30).prop_map(|chars| Text::new(&chars.into_iter().collect::<String>()))
}

fn finite() -> impl Strategy<Value = f64> {
    any::<f64>().prop_filter("finite", |v| v.is_finite())
}

fn channel_info() -> impl Strategy<Value = ChannelInfo> {
    let codes = (0..16u8, 0..3u8, 0..4u8, any::<(bool, bool)>());
    let numbers = (finite().prop_filter("not 0", |v| *v != 0.0), finite(), finite(), any::<u32>());
    (codes, text(), numbers).prop_map(
        |((index, encoding, unit, (has_load, has_pull_down)), name, numbers)| {
            let (scale, offset, resolution, filter_us) = numbers;
            ChannelInfo {
                index,
                encoding: Encoding::from_code(encoding).expect("assigned"),
                unit: Unit::from_code(unit).expect("assigned"),
                has_load,
                has_pull_down,
                name,
                scale,
                offset,
                resolution: resolution.abs(),
                filter_us,
            }
        },
    )
}

fn calibration() -> impl Strategy<Value = Calibration> {
    (any::<u8>(), finite(), finite(), any::<u32>(), text()).prop_map(
        |(channel, gain, offset, day, certificate)| Calibration {
            channel,
            gain_uncertainty: gain.abs(),
            offset_uncertainty: offset.abs(),
            day,
            certificate,
        },
    )
}

fn identity() -> impl Strategy<Value = Identity> {
    let limits = any::<(u32, u32, (u16, u16), (i32, i32), u32, u16)>();
    (any::<(u32, u32, u32, u8)>(), text(), text(), text(), limits).prop_map(
        |((session, boot, capabilities, channels), model, serial, firmware, limits)| Identity {
            session,
            boot,
            model,
            serial,
            firmware,
            capabilities,
            channels,
            min_period_us: limits.0,
            max_period_us: limits.1,
            supply_mv: limits.2,
            travel_mdeg: limits.3,
            max_speed_mdeg_s: limits.4,
            max_drive_mv: limits.5,
        },
    )
}

fn status() -> impl Strategy<Value = Status> {
    (any::<(u64, u16, u16, u32, u16)>(), 0..5u8, any::<(u32, u32, u32, u16, u16, bool, u16)>()).prop_map(
        |((rig_us, tripped, present, run, supply_mv), state, counters)| Status {
            rig_us,
            state: RigState::from_code(state).expect("assigned"),
            tripped,
            present,
            run,
            supply_mv,
            overruns: counters.0,
            frames_dropped: counters.1,
            blocks: counters.2,
            loads: counters.3,
            pull_downs: counters.4,
            drive_on: counters.5,
            heat_permille: counters.6,
        },
    )
}

/// Any reply with a kind of request it answers.
pub fn reply() -> impl Strategy<Value = (u8, Reply)> {
    prop_oneof![
        identity().prop_map(|v| (kind::IDENTIFY, Reply::Identity(v))),
        channel_info().prop_map(|v| (kind::DESCRIBE_CHANNEL, Reply::Channel(v))),
        calibration().prop_map(|v| (kind::READ_CALIBRATION, Reply::Calibration(v))),
        status().prop_map(|v| (kind::READ_STATUS, Reply::Status(v))),
        any::<(u64, u64)>()
            .prop_map(|(host_stamp, rig_us)| (kind::CLOCK_PING, Reply::Clock { host_stamp, rig_us })),
        (kind::SET_SUPPLY..=kind::HEARTBEAT, any::<u64>())
            .prop_map(|(kind, rig_us)| (kind, Reply::Done { rig_us })),
    ]
}

fn refusal() -> impl Strategy<Value = Refusal> {
    (any::<u8>(), 1..=9u8, any::<u32>()).prop_map(|(request, reason, detail)| Refusal {
        request,
        reason: Reason::from_code(reason).expect("assigned"),
        detail,
    })
}

fn event() -> impl Strategy<Value = Event> {
    let what = prop_oneof![
        Just(EventKind::Booted),
        Just(EventKind::RunStarted),
        any::<(u8, u16)>().prop_map(|(segment, pass)| EventKind::SegmentReached { segment, pass }),
        (0..4u8, any::<u32>()).prop_map(|(cause, blocks)| EventKind::RunEnded {
            cause: EndCause::from_code(cause).expect("assigned"),
            blocks
        }),
        (0..7u8, any::<i32>()).prop_map(|(guard, value)| EventKind::GuardTripped {
            guard: Guard::from_code(guard).expect("assigned"),
            value
        }),
        any::<u32>().prop_map(|scans| EventKind::Overrun { scans }),
        any::<u16>().prop_map(|millivolts| EventKind::SupplySet { millivolts }),
        any::<(u8, bool, bool)>().prop_map(|(channel, load, pull_down)| EventKind::InputSet {
            channel,
            load,
            pull_down
        }),
    ];
    (any::<(u32, u64, u32)>(), what).prop_map(|((number, rig_us, run), kind)| Event {
        number,
        rig_us,
        run,
        kind,
    })
}

/// A message that owns its columns, as the bytes of its frame.
pub fn encoded_message() -> impl Strategy<Value = Vec<u8>> {
    let samples = (any::<(u32, u32, u64, u32, u32)>(), 1..=u16::MAX, 1..=u16::MAX, vec(any::<u8>(), 0..=988))
        .prop_map(|((run, number, first_us, period_us, overrun_before), scans, channels, columns)| {
            let block = SampleBlock {
                run,
                number,
                first_us,
                period_us,
                scans,
                channels,
                overrun_before,
                columns: &columns,
            };
            encode(&Message::Samples(block), 0, 0)
        });
    prop_oneof![
        4 => (request(), any::<u16>()).prop_map(|(m, id)| encode(&Message::Request(m), 0, id)),
        4 => (reply(), any::<u16>()).prop_map(|((kind, m), id)| encode(&Message::Reply(m), kind, id)),
        1 => (refusal(), any::<u16>()).prop_map(|(m, id)| encode(&Message::Refusal(m), 0, id)),
        2 => event().prop_map(|m| encode(&Message::Event(m), 0, 0)),
        2 => samples,
    ]
}

/// A message that borrows nothing, with the kind of request that is answered.
pub fn owned_message() -> impl Strategy<Value = (u8, Message<'static>)> {
    prop_oneof![
        3 => request().prop_map(|m| (0, Message::Request(m))),
        3 => reply().prop_map(|(kind, m)| (kind, Message::Reply(m))),
        1 => refusal().prop_map(|m| (0, Message::Refusal(m))),
        2 => event().prop_map(|m| (0, Message::Event(m))),
    ]
}

/// The frame of a message.
#[track_caller]
pub fn encode(message: &Message<'_>, request_kind: u8, id: u16) -> Vec<u8> {
    let mut out = [0; MAX_ENCODED];
    let len = message.encode(request_kind, id, &mut out).expect("every message fits a frame");
    out[..len].to_vec()
}

/// A frame as a test keeps it: version, kind, id, payload.
pub type Seen = (u8, u8, u16, Vec<u8>);

/// Everything a deframer finds in a stream that arrives in the given chunks.
pub fn deframe<'c>(chunks: impl IntoIterator<Item = &'c [u8]>) -> (Vec<Seen>, Drops) {
    let mut deframer = Deframer::new();
    let mut seen = Vec::new();
    for chunk in chunks {
        deframer.push(chunk, |f| seen.push((f.version, f.kind, f.id, f.payload.to_vec())));
    }
    (seen, deframer.drops())
}
