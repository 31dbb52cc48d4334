//! Every refusal, every repetition, and what must never be answered.

mod common;

use common::{Bench, DRIVING, Heard, LONG, MockBoard, WATCHING, encode, program};
use trackpair_protocol::frame;
use trackpair_protocol::message::{
    EndCause, EventKind, Reason, Refusal, Reply, Request, RigState, Start, capability, kind,
};
use trackpair_protocol::program::Segment;
use trackpair_rig_core::board::Drive;

fn raw(kind: u8, id: u16, payload: &[u8]) -> Vec<u8> {
    let mut bytes = vec![0; 2_000];
    let len = frame::encode(kind, id, payload, &mut bytes).expect("fits");
    bytes.truncate(len);
    bytes
}

#[test]
fn before_a_session_only_the_stateless_requests_are_answered() {
    let mut bench = Bench::new(MockBoard::new());
    for request in [
        Request::DescribeChannel { channel: 0 },
        Request::ReadCalibration { channel: 0 },
        Request::SetSupply { millivolts: 5_000 },
        Request::SetInput { channel: 0, load: true, pull_down: false },
        program(LONG),
        Request::Arm,
        Request::Start(DRIVING),
        Request::Stop,
        Request::ClearTrip,
    ] {
        bench.refused(request, Reason::NoSession, 0);
    }
    bench.must(Request::Heartbeat);
    bench.must(Request::ReadStatus);
    bench.now = 77;
    assert_eq!(bench.must(Request::ClockPing { host_stamp: 5 }), Reply::Clock { host_stamp: 5, rig_us: 77 });
}

#[test]
fn identify_echoes_its_session_and_keeps_the_boards_boot() {
    let mut bench = Bench::new(MockBoard::new());
    let Reply::Identity(identity) = bench.must(Request::Identify { session: 42 }) else {
        panic!("no identity")
    };
    assert_eq!((identity.session, identity.boot, identity.model.as_str()), (42, 3, "mock"));
}

#[test]
fn the_table_and_its_calibration_are_read_by_column() {
    let mut bench = Bench::opened();
    for channel in 0..4 {
        assert!(
            matches!(bench.must(Request::DescribeChannel { channel }), Reply::Channel(c) if c.index == channel)
        );
        assert!(
            matches!(bench.must(Request::ReadCalibration { channel }), Reply::Calibration(c) if c.channel == channel)
        );
    }
    bench.refused(Request::DescribeChannel { channel: 4 }, Reason::OutOfRange, 0);
    bench.refused(Request::ReadCalibration { channel: 255 }, Reason::OutOfRange, 0);
}

#[test]
fn unknown_kinds_malformed_payloads_and_other_versions_are_refused_with_the_detail() {
    let mut bench = Bench::opened();
    let refusal = |request, reason, detail| Err(Refusal { request, reason, detail });
    assert_eq!(bench.answer(&raw(0x33, 200, &[1, 2])), refusal(0x33, Reason::Unknown, 0x33));
    assert_eq!(bench.answer(&raw(kind::STOP, 201, &[1, 2, 3])), refusal(kind::STOP, Reason::Malformed, 3));
    assert_eq!(bench.answer(&raw(kind::HEARTBEAT, 1, &[9])), refusal(kind::HEARTBEAT, Reason::Malformed, 1));

    // The same header with another version and a CRC that fits it.
    let mut content = vec![trackpair_protocol::VERSION + 1, kind::STOP, 202, 0];
    let crc = trackpair_protocol::crc::crc32(&content).to_le_bytes();
    content.extend(crc);
    let mut bytes = vec![0; 64];
    let len = trackpair_protocol::cobs::encode(&content, &mut bytes).expect("fits");
    assert_eq!(
        bench.answer(&bytes[..=len]),
        refusal(kind::STOP, Reason::Version, trackpair_protocol::VERSION.into())
    );
    assert_eq!(bench.answer(&encode(Request::Stop, 202)).map(|_| ()), Ok(()), "the window was not touched");
}

#[test]
fn what_only_a_rig_sends_is_never_answered() {
    let mut bench = Bench::opened();
    let len = bench.heard.len();
    for kind in [kind::REPLY | kind::STOP, kind::REFUSAL, kind::EVENT, kind::SAMPLES, 0xFF] {
        assert_eq!(bench.send(&raw(kind, 300, &[0; 8])), []);
    }
    assert_eq!((bench.heard.len(), bench.rig.ignored_frames()), (len, 5));
}

#[test]
fn bytes_that_are_no_frame_are_counted_and_do_not_disturb_the_next() {
    let mut bench = Bench::opened();
    let mut bytes = encode(Request::Arm, 400);
    bytes[3] ^= 0x40;
    bytes.extend([1, 2, 3, 0]);
    assert_eq!(bench.send(&bytes), []);
    let status = bench.status();
    assert_eq!((status.state, status.frames_dropped), (RigState::Resting, 2));
}

#[test]
fn a_status_counts_what_was_dropped_right_before_it() {
    let mut bench = Bench::opened();
    let mut bytes = vec![1, 2, 3, 0];
    bytes.extend(encode(Request::ReadStatus, 0));
    let heard = bench.send(&bytes);
    assert!(
        matches!(heard[..], [Heard::Reply(0, Reply::Status(status))] if status.frames_dropped == 1),
        "{heard:?}"
    );
}

#[test]
fn a_repeated_request_is_answered_again_and_not_carried_out_again() {
    let mut bench = Bench::opened();
    bench.now = 10_000;
    let set = bench.frame(Request::SetSupply { millivolts: 4_500 });
    let first = bench.send(&set);
    bench.wait_silently(5_000);
    // Stateless requests in between do not count.
    bench.must(Request::Heartbeat);
    let again = bench.send(&set);
    let reply = Heard::Reply(bench.id - 1, Reply::Done { rig_us: 10_000 });
    assert!(first.contains(&reply));
    assert_eq!(again, [reply], "the same bytes and nothing else");
}

#[test]
fn a_refusal_is_replayed_too() {
    let mut bench = Bench::opened();
    let start = bench.frame(Request::Start(DRIVING));
    let first = bench.answer(&start);
    assert_eq!(first.expect_err("not armed").reason, Reason::Untimely);
    assert_eq!(bench.answer(&start), first);
}

#[test]
fn an_older_request_or_the_newest_id_with_other_content_is_stale() {
    let mut bench = Bench::opened();
    let old = bench.frame(Request::Arm);
    bench.answer(&old).expect("armed");
    bench.must(Request::Stop);
    let newest = bench.id.into();
    assert_eq!(
        bench.answer(&old),
        Err(Refusal { request: kind::ARM, reason: Reason::Stale, detail: newest })
    );
    let other = encode(Request::Arm, bench.id);
    assert_eq!(bench.answer(&other).expect_err("other content").reason, Reason::Stale);
    bench.check_state(RigState::Resting);
}

#[test]
fn a_late_duplicate_of_a_start_never_restarts_motion() {
    let mut bench = Bench::armed(&[Segment::Hold { us: 50_000 }]);
    let start = bench.frame(Request::Start(DRIVING));
    bench.answer(&start).expect("started");
    bench.wait(60_000);
    bench.check_state(RigState::Resting);
    bench.answer(&start).expect("replayed");
    bench.check_state(RigState::Resting);
    bench.must(Request::Arm);
    assert_eq!(bench.answer(&start).expect_err("older than the arm").reason, Reason::Stale);
    // Even under a new id.
    bench.refused(Request::Start(DRIVING), Reason::Untimely, RigState::Armed as u32);
    assert_eq!(bench.rig.board().drive(), Drive::Off);
}

#[test]
fn a_late_duplicate_of_the_identify_does_not_end_the_run() {
    let mut bench = Bench::new(MockBoard::new());
    let identify = bench.frame(Request::Identify { session: 1 });
    bench.answer(&identify).expect("opened");
    bench.answer(&identify).expect("replayed");
    bench.must(Request::Start(WATCHING));
    assert_eq!(bench.answer(&identify).expect_err("old").reason, Reason::Stale);
    bench.check_state(RigState::Watching);
}

#[test]
fn a_new_session_ends_the_run_and_opens_the_window_at_any_id() {
    let mut bench = Bench::armed(LONG);
    bench.must(Request::Start(DRIVING));
    bench.wait(10_000);
    bench.id = 5;
    bench.must(Request::Identify { session: 10 });
    let (_, last) = *bench.told().last().expect("events");
    assert!(matches!(last, EventKind::RunEnded { cause: EndCause::NewSession, .. }), "{last:?}");
    assert_eq!(bench.rig.board().drive(), Drive::Off);
    bench.check_state(RigState::Resting);
    bench.must(Request::Arm);
    bench.id = 3;
    bench.must(Request::Identify { session: 11 });
    bench.check_state(RigState::Resting);
}

#[test]
fn supply_and_inputs_are_checked_and_setting_them_again_does_nothing() {
    let mut bench = Bench::opened();
    bench.refused(Request::SetSupply { millivolts: 3_999 }, Reason::OutOfRange, 0);
    bench.refused(Request::SetSupply { millivolts: 5_001 }, Reason::OutOfRange, 0);
    bench.refused(Request::SetInput { channel: 4, load: false, pull_down: false }, Reason::OutOfRange, 0);
    bench.refused(Request::SetInput { channel: 2, load: true, pull_down: false }, Reason::OutOfRange, 1);
    bench.refused(Request::SetInput { channel: 1, load: true, pull_down: true }, Reason::OutOfRange, 2);
    for _ in 0..2 {
        bench.must(Request::SetSupply { millivolts: 4_000 });
        bench.must(Request::SetInput { channel: 0, load: true, pull_down: true });
        bench.must(Request::SetInput { channel: 1, load: true, pull_down: false });
    }
    let status = bench.status();
    assert_eq!((status.supply_mv, status.loads, status.pull_downs), (4_000, 0b11, 0b01));
    let kinds: Vec<EventKind> = bench.told().iter().map(|(_, kind)| *kind).collect();
    assert_eq!(
        kinds,
        [
            EventKind::SupplySet { millivolts: 4_000 },
            EventKind::InputSet { channel: 0, load: true, pull_down: true },
            EventKind::InputSet { channel: 1, load: true, pull_down: false },
        ]
    );
}

#[test]
fn a_rig_without_drive_or_loads_says_what_it_lacks() {
    let mut board = MockBoard::new();
    board.identity.capabilities = 0;
    let mut bench = Bench::new(board);
    bench.must(Request::Identify { session: 1 });
    for request in [program(LONG), Request::Arm, Request::Start(DRIVING)] {
        bench.refused(request, Reason::NotCapable, capability::GRIP_DRIVE);
    }
    bench.refused(
        Request::SetInput { channel: 0, load: true, pull_down: false },
        Reason::NotCapable,
        capability::LOADS,
    );
    bench.must(Request::Start(WATCHING));
}

#[test]
fn each_field_of_a_start_is_checked() {
    let mut bench = Bench::armed(LONG);
    let cases = [
        (Start { run: 0, ..DRIVING }, 0),
        (Start { period_us: 99, ..DRIVING }, 1),
        (Start { period_us: 1_000_001, ..DRIVING }, 1),
        (Start { channels: 0, ..DRIVING }, 2),
        (Start { channels: 0b1_0001, ..DRIVING }, 2),
    ];
    for (start, field) in cases {
        bench.refused(Request::Start(start), Reason::OutOfRange, field);
    }
    bench.check_state(RigState::Armed);
}

#[test]
fn what_the_state_does_not_allow_is_untimely() {
    let mut bench = Bench::opened();
    let resting = RigState::Resting as u32;
    bench.refused(Request::Start(DRIVING), Reason::Untimely, resting);
    bench.must(Request::Arm);
    bench.refused(Request::Start(DRIVING), Reason::Untimely, RigState::Armed as u32);
    bench.must(program(LONG));
    bench.must(Request::Arm);
    for (start, state) in [(DRIVING, RigState::Driving), (Start { run: 2, ..WATCHING }, RigState::Watching)] {
        bench.must(Request::Start(start));
        bench.check_state(state);
        bench.refused(Request::Start(Start { run: 7, ..start }), Reason::Untimely, state as u32);
        bench.refused(Request::Arm, Reason::Untimely, state as u32);
        bench.refused(program(LONG), Reason::Untimely, state as u32);
        bench.must(Request::Stop);
        bench.check_state(RigState::Resting);
        bench.must(Request::Stop);
    }
}

#[test]
fn clearing_trips_in_a_run_ends_it_as_a_stop_does() {
    let mut bench = Bench::armed(LONG);
    for start in [DRIVING, Start { run: 2, ..WATCHING }] {
        bench.must(Request::Start(start));
        bench.wait(20_000);
        bench.must(Request::ClearTrip);
        bench.check_state(RigState::Resting);
        assert_eq!(bench.rig.board().drive(), Drive::Off);
        let ended = bench.told().last().map(|(_, kind)| *kind);
        assert!(matches!(ended, Some(EventKind::RunEnded { cause: EndCause::Stopped, .. })), "{ended:?}");
    }
}

#[test]
fn a_link_that_is_hung_up_takes_its_session_and_its_run_along() {
    let mut bench = Bench::armed(LONG);
    bench.must(Request::Start(DRIVING));
    bench.wait(20_000);
    assert_ne!(bench.rig.board().drive(), Drive::Off);
    bench.rig.hang_up(bench.now);
    assert_eq!((bench.rig.board().drive(), bench.rig.state()), (Drive::Off, RigState::Resting));
    bench.refused(Request::Arm, Reason::NoSession, 0);
    bench.must(Request::Identify { session: 78 });
    bench.must(Request::Stop);
}

#[test]
fn answers_without_room_are_counted() {
    let mut bench = Bench::opened();
    let asked = 400;
    for id in 0..asked {
        bench.rig.handle(&encode(Request::ClockPing { host_stamp: u64::from(id) }, 500 + id), bench.now);
    }
    bench.heard.clear();
    let answered = bench.send(&[]).len() as u32;
    assert!((1..u32::from(asked)).contains(&answered), "{answered} answered");
    assert_eq!(bench.status().frames_dropped, u32::from(asked) - answered);
}

#[test]
fn clearing_trips_disarms_also_when_nothing_is_tripped() {
    let mut bench = Bench::armed(LONG);
    bench.must(Request::ClearTrip);
    bench.check_state(RigState::Resting);
}

#[test]
fn a_program_out_of_range_names_its_segment_and_the_old_one_stays() {
    let mut bench = Bench::armed(LONG);
    bench.refused(
        program(&[Segment::Hold { us: 1_000 }, Segment::Step { to_mdeg: 90_001, us: 1_000 }]),
        Reason::OutOfRange,
        1,
    );
    bench.refused(program(&[]), Reason::OutOfRange, 0);
    bench.must(Request::Start(DRIVING));
    bench.wait(500_000);
    bench.check_state(RigState::Driving);
}

#[test]
fn answers_find_room_however_full_the_samples_make_the_queue() {
    let mut bench = Bench::opened();
    bench.must(Request::Start(Start { period_us: 100, ..WATCHING }));
    for _ in 0..40 {
        bench.now += 50_000;
        bench.rig.handle(&encode(Request::Heartbeat, 0), bench.now);
    }
    let before = bench.heard.len();
    bench.drain();
    let answers = bench.heard[before..].iter().filter(|h| matches!(h, Heard::Reply(..))).count();
    assert_eq!(answers, 40);
}
