//! A pair's rig: the grip is turned by the program, the plate follows its output, and nothing moves once anything is wrong.

mod common;

use common::*;
use trackpair_protocol::mapping::{Mapping, Point};
use trackpair_protocol::message::{EventKind, Reason, Request, RigState, capability};
use trackpair_protocol::program::Segment;
use trackpair_rig_core::board::{Drive, Micros};

const BOTH: u32 = capability::GRIP_DRIVE | capability::BODY_DRIVE;

fn mapping(points: &[(i32, i32)]) -> Request {
    let points: Vec<Point> =
        points.iter().map(|&(grip_ppm, plate_mdeg)| Point { grip_ppm, plate_mdeg }).collect();
    Request::SetMapping(Mapping::from_slice(&points).expect("fits"))
}

/// From closed to open of both, in a straight line.
fn straight() -> Request {
    mapping(&[(100_000, 0), (900_000, 80_000)])
}

/// A pair with supply, loop, mapping and program, armed.
fn following(program: &[Segment]) -> Bench {
    let mut bench = Bench::opened_on(MockBoard::pair());
    bench.must(Request::SetSupply { millivolts: 5_000 });
    bench.must(Request::SetLoop(LOOP));
    bench.must(straight());
    bench.must(common::program(program));
    bench.must(Request::Arm);
    bench
}

fn grip_at(bench: &Bench, at: Micros) -> Option<i32> {
    bench.rig.board().grips().take_while(|(when, _)| *when <= at).last().expect("let go at boot").1
}

fn drive_at(bench: &Bench, at: Micros) -> Drive {
    bench.rig.board().drives().take_while(|(when, _)| *when <= at).last().expect("set at boot").1
}

#[test]
fn the_program_turns_the_grip_and_the_plate_follows_its_output() {
    let ramp = Segment::Ramp { to_mdeg: 10_000, speed_mdeg_s: 100_000, accel_mdeg_s2: 1_000_000 };
    let mut bench = following(&[ramp, Segment::Hold { us: 50_000 }, Segment::Release { us: 50_000 }]);
    let start = bench.now;
    // The plate rests at 10 deg (a fifth of the supply), the grip's output is closed: the plate is asked for 0.
    bench.must(Request::Start(DRIVING));
    bench.wait(20_000);
    let Drive::Volts(closing) = drive_at(&bench, start + 15_000) else { panic!("the bridge is driven") };
    assert!(closing < -5_000, "{closing} mV");
    // The output rises: the plate is asked for more, on the next tick.
    let at = bench.now;
    bench.rig.board_mut().vitals.grip_ppm = 500_000;
    bench.wait(3_000);
    let Drive::Volts(opening) = drive_at(&bench, at + 2_000) else { panic!("the bridge is driven") };
    assert!(opening > 5_000, "{opening} mV");
    bench.wait(300_000);
    assert_eq!(grip_at(&bench, start + 220_000), Some(10_000));
    // Let go in the release while the plate follows on; at the end both are off.
    let end = bench
        .told()
        .into_iter()
        .find_map(|(at, kind)| matches!(kind, EventKind::RunEnded { .. }).then_some(at));
    let end = end.expect("the program ends");
    assert_eq!(grip_at(&bench, end - 2_000), None);
    assert!(matches!(drive_at(&bench, end - 2_000), Drive::Volts(_)));
    assert_eq!((grip_at(&bench, end), drive_at(&bench, end)), (None, Drive::Off));
}

#[test]
fn angles_are_the_plates_between_the_loop_and_the_mapping() {
    let hold = [Segment::Step { to_mdeg: 30_000, us: 50_000 }];
    let mut bench = Bench::opened_on(MockBoard::pair());
    bench.must(Request::SetSupply { millivolts: 5_000 });
    let run = |bench: &mut Bench, run: u32| {
        bench.must(program(&hold));
        bench.must(Request::Arm);
        let mut start = DRIVING;
        start.run = run;
        bench.must(Request::Start(start));
        bench.wait(20_000);
        let seen = (grip_at(bench, bench.now), drive_at(bench, bench.now));
        bench.must(Request::Stop);
        seen
    };
    assert_eq!(run(&mut bench, 1), (Some(30_000), Drive::Off), "before the loop: the grip");
    bench.must(Request::SetLoop(LOOP));
    let (grip, drive) = run(&mut bench, 2);
    assert!(grip.is_none() && matches!(drive, Drive::Volts(mv) if mv > 0), "the plate alone: {drive:?}");
    bench.must(straight());
    let (grip, drive) = run(&mut bench, 3);
    assert!(grip == Some(30_000) && matches!(drive, Drive::Volts(_)), "both: {grip:?}, {drive:?}");
    bench.must(Request::SetMapping(Mapping::EMPTY));
    assert_eq!(run(&mut bench, 4).0, None, "the plate alone again");
}

#[test]
fn a_new_session_forgets_loop_and_mapping_so_that_angles_are_the_grips() {
    let mut bench = following(LONG);
    bench.must(Request::Identify { session: 10 });
    bench.refused(straight(), Reason::Untimely, RigState::Resting as u32);
    bench.must(program(&[Segment::Step { to_mdeg: 3_000, us: 50_000 }]));
    bench.must(Request::Arm);
    bench.must(Request::Start(DRIVING));
    bench.wait(10_000);
    assert_eq!((grip_at(&bench, bench.now), drive_at(&bench, bench.now)), (Some(3_000), Drive::Off));
}

#[test]
fn a_mapping_needs_both_drives_a_loop_rest_and_order() {
    let mut grip = Bench::opened();
    grip.refused(straight(), Reason::NotCapable, BOTH);
    let mut body = Bench::opened_on(MockBoard::body());
    body.refused(straight(), Reason::NotCapable, BOTH);
    let mut bench = Bench::opened_on(MockBoard::pair());
    bench.refused(straight(), Reason::Untimely, RigState::Resting as u32);
    bench.must(Request::SetLoop(LOOP));
    bench.refused(mapping(&[(100_000, 0), (50_000, 10)]), Reason::OutOfRange, 1);
    bench.refused(mapping(&[(100_000, 0), (900_000, 360_001)]), Reason::OutOfRange, 1);
    bench.must(straight());
    let mut bench = following(LONG);
    bench.must(Request::Start(DRIVING));
    bench.refused(straight(), Reason::Untimely, RigState::Driving as u32);
}

/// Whatever ends a run, grip and motor are let go at the same moment and stay so.
#[test]
fn silence_a_stop_and_the_emergency_stop_let_both_go() {
    type End = fn(&mut Bench);
    let ends: [(&str, End); 4] = [
        ("stop", |bench| {
            bench.must(Request::Stop);
        }),
        ("silence", |bench| bench.wait_silently(310_000)),
        ("E-stop", |bench| {
            bench.rig.board_mut().vitals.emergency_stop = true;
            bench.wait(5_000);
        }),
        ("another session", |bench| {
            bench.must(Request::Identify { session: 77 });
        }),
    ];
    for (name, end) in ends {
        let mut bench = following(&[Segment::Step { to_mdeg: 5_000, us: 10_000_000 }]);
        bench.must(Request::Start(DRIVING));
        bench.wait(50_000);
        assert!(bench.status().drive_on && grip_at(&bench, bench.now).is_some(), "{name}");
        end(&mut bench);
        assert_eq!((grip_at(&bench, bench.now), drive_at(&bench, bench.now)), (None, Drive::Off), "{name}");
        assert!(!bench.status().drive_on, "{name}");
        let from = bench.now;
        bench.wait(100_000);
        assert!(bench.rig.board().grips().all(|(at, to)| at <= from || to.is_none()), "{name}");
    }
}
