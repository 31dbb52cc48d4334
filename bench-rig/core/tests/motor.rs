//! The motor bridge: voltages, braking, the position loop, and the guards of the motor.

mod common;

use common::*;
use trackpair_protocol::message::{EndCause, EventKind, Guard, Reason, Request, RigState, capability};
use trackpair_protocol::position_loop::LoopSettings;
use trackpair_protocol::program::Segment;
use trackpair_rig_core::board::{Drive, Micros};

/// The bridge's last command before `at`.
fn drive_at(bench: &Bench, at: Micros) -> Drive {
    bench.rig.board().drives().take_while(|(when, _)| *when <= at).last().expect("set at boot").1
}

#[test]
fn a_program_of_voltages_is_carried_out_on_the_microsecond() {
    let program = [
        Segment::Volts { mv: 5_000, us: 10_300 },
        Segment::Brake { us: 4_000 },
        Segment::Release { us: 3_000 },
        Segment::VoltsRamp { to_mv: -8_000, us: 8_000 },
        Segment::VoltsRamp { to_mv: 0, us: 8_000 },
    ];
    let mut bench = Bench::armed_body(&program);
    let start = bench.now;
    bench.must(Request::Start(DRIVING));
    bench.wait(50_000);
    let at = |us: Micros| drive_at(&bench, start + us);
    assert_eq!(at(0), Drive::Volts(5_000));
    assert_eq!((at(10_299), at(10_300)), (Drive::Volts(5_000), Drive::Brake));
    assert_eq!((at(14_299), at(14_300)), (Drive::Brake, Drive::Off));
    // The ramp begins at 0 where no voltage was before it, and at -8 V behind the other.
    assert_eq!(at(17_300), Drive::Volts(0));
    assert_eq!((at(21_000), at(26_000)), (Drive::Volts(-3_700), Drive::Volts(-7_300)));
    assert_eq!(at(33_300), Drive::Off);
    assert!(
        bench
            .told()
            .iter()
            .any(|(_, kind)| matches!(kind, EventKind::RunEnded { cause: EndCause::Complete, .. }))
    );
}

#[test]
fn a_step_of_the_setpoint_becomes_a_voltage_through_the_loop() {
    let mut bench =
        Bench::armed_body(&[Segment::Hold { us: 20_000 }, Segment::Step { to_mdeg: 15_000, us: 20_000 }]);
    let start = bench.now;
    bench.must(Request::Start(DRIVING));
    bench.wait(30_000);
    // Feedback at a fifth of the supply is 10 deg: the hold keeps it, 5 deg more ask for 5 V and more.
    assert_eq!(drive_at(&bench, start + 19_000), Drive::Volts(0));
    let Drive::Volts(mv) = drive_at(&bench, start + 29_000) else { panic!("the bridge is not driven") };
    assert!((5_000..=13_000).contains(&mv), "{mv} mV");
}

#[test]
fn a_bridge_is_sent_to_angles_only_once_its_loop_is_set_and_never_beyond_its_voltage() {
    let mut bench = Bench::opened_on(MockBoard::body());
    bench.refused(
        program(&[Segment::Brake { us: 1_000 }, Segment::Hold { us: 1_000 }]),
        Reason::OutOfRange,
        1,
    );
    bench.refused(program(&[Segment::Volts { mv: -13_001, us: 1_000 }]), Reason::OutOfRange, 0);
    bench.refused(program(&[Segment::VoltsRamp { to_mv: 13_001, us: 1_000 }]), Reason::OutOfRange, 0);
    bench.refused(program(&[Segment::Brake { us: 999 }]), Reason::OutOfRange, 0);
    bench.refused(Request::SetLoop(LoopSettings { current_ma: 10_001, ..LOOP }), Reason::OutOfRange, 8);
    bench.must(Request::SetLoop(LOOP));
    bench.must(program(&[Segment::Hold { us: 1_000 }]));
}

#[test]
fn a_grip_rig_has_no_bridge() {
    let mut bench = Bench::opened();
    bench.refused(Request::SetLoop(LOOP), Reason::NotCapable, capability::BODY_DRIVE);
    bench.refused(program(&[Segment::Volts { mv: 1, us: 1_000 }]), Reason::OutOfRange, 0);
    bench.refused(program(&[Segment::Brake { us: 1_000 }]), Reason::OutOfRange, 0);
}

#[test]
fn the_loop_is_not_changed_during_a_run() {
    let mut bench = Bench::armed_body(LONG);
    bench.must(Request::Start(DRIVING));
    bench.refused(Request::SetLoop(LOOP), Reason::Untimely, RigState::Driving as u32);
}

/// Runs a program with the motor as given and expects the guard; the bridge is open at once.
#[track_caller]
fn check_trip(program: &[Segment], motor_ma: i32, guard: Guard, after_us: Micros) {
    let mut bench = Bench::armed_body(program);
    bench.must(Request::Start(DRIVING));
    let start = bench.now;
    let board = bench.rig.board_mut();
    board.vitals.motor_ma = motor_ma;
    board.vitals.drive_ma = motor_ma.unsigned_abs();
    bench.wait(3_000_000);
    let tripped = bench.told().into_iter().find_map(|(at, kind)| match kind {
        EventKind::GuardTripped { guard, .. } => Some((at, guard)),
        _ => None,
    });
    let (at, which) = tripped.expect("a guard trips");
    assert_eq!(which, guard);
    assert!((after_us..after_us + 3_000).contains(&(at - start)), "after {} us", at - start);
    assert_eq!(drive_at(&bench, at), Drive::Off);
    assert!(bench.rig.board().drives().filter(|(when, _)| *when > at).all(|(_, drive)| drive == Drive::Off));
    bench.check_state(RigState::Tripped);
}

#[test]
fn a_motor_that_draws_current_and_does_not_move_opens_the_bridge() {
    check_trip(&[Segment::Volts { mv: 5_000, us: 3_000_000 }], 1_600, Guard::Stall, 200_000);
    check_trip(&[Segment::Volts { mv: -5_000, us: 3_000_000 }], -1_600, Guard::Stall, 200_000);
}

#[test]
fn a_motor_that_has_had_its_heat_opens_the_bridge() {
    // (1.4² - 1²) A² fill 1 A²s in 1.04 s.
    check_trip(&[Segment::Volts { mv: 5_000, us: 3_000_000 }], 1_400, Guard::Heat, 1_042_000);
}

#[test]
fn a_plate_that_does_not_follow_opens_the_bridge() {
    check_trip(&[Segment::Step { to_mdeg: 40_000, us: 3_000_000 }], 0, Guard::NotFollowing, 300_000);
}

#[test]
fn heat_shows_in_the_status_and_flows_off() {
    let mut bench = Bench::armed_body(&[Segment::Volts { mv: 5_000, us: 500_000 }]);
    bench.must(Request::Start(DRIVING));
    bench.rig.board_mut().vitals.motor_ma = 1_400;
    bench.wait(500_000);
    let warm = bench.status().heat_permille;
    assert!((475..=485).contains(&warm), "{warm}");
    bench.rig.board_mut().vitals.motor_ma = 0;
    bench.wait(200_000);
    assert_eq!(warm - bench.status().heat_permille, 200);
}
