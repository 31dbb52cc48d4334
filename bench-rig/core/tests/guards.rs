//! Each guard: what trips it, what it takes off, and when it may be cleared.

mod common;

use common::{Bench, Call, DRIVING, LONG, MockBoard, WATCHING, program};
use trackpair_protocol::message::{EndCause, EventKind, Guard, Reason, Request, RigState, Start};
use trackpair_rig_core::DEAD_HOST_US;
use trackpair_rig_core::board::{Drive, Micros};

/// Brings a fault, or takes it away.
type Plant = fn(&mut MockBoard);

fn driving() -> Bench {
    let mut bench = Bench::armed(LONG);
    bench.must(Request::Start(DRIVING));
    bench.wait(50_500);
    assert_ne!(bench.rig.board().drive(), Drive::Off);
    bench
}

/// Plants a fault while driving, and checks the trip, its time, its value, that it holds until the cause is gone.
#[track_caller]
fn check(guard: Guard, value: i32, delay: Micros, supply_off: bool, plant: Plant, cure: Plant) {
    let mut bench = driving();
    plant(bench.rig.board_mut());
    let at = 51_000 + delay;
    bench.wait(20_000);
    let blocks = bench.blocks().len() as u32;
    let told = bench.told();
    let tripped =
        told.iter().position(|(_, kind)| matches!(kind, EventKind::GuardTripped { .. })).expect("a trip");
    assert_eq!(told[tripped], (at, EventKind::GuardTripped { guard, value }));
    assert_eq!(told[tripped + 1], (at, EventKind::RunEnded { cause: EndCause::Guard, blocks }));
    let off = told.get(tripped + 2).copied();
    assert_eq!(off, supply_off.then_some((at, EventKind::SupplySet { millivolts: 0 })));
    let first_off = bench.rig.board().drives().find(|(t, drive)| *t > 10_000 && *drive == Drive::Off);
    assert_eq!(first_off.expect("off").0, at);

    let bits = 1u16 << guard as u16;
    let status = bench.status();
    assert_eq!((status.state, status.tripped, status.drive_on), (RigState::Tripped, bits, false));
    bench.refused(Request::Arm, Reason::Guarded, bits.into());
    bench.refused(Request::Start(Start { run: 2, ..WATCHING }), Reason::Guarded, bits.into());
    if !supply_off {
        bench.refused(Request::ClearTrip, Reason::Guarded, bits.into());
    }
    bench.must(Request::Stop);
    bench.check_state(RigState::Tripped);
    cure(bench.rig.board_mut());
    bench.wait(5_000);
    bench.check_state(RigState::Tripped);
    bench.must(Request::ClearTrip);
    bench.check_state(RigState::Resting);
    bench.refused(Request::Start(Start { run: 2, ..DRIVING }), Reason::Untimely, RigState::Resting as u32);
}

#[test]
fn the_e_stop_takes_the_drive_off() {
    check(
        Guard::EmergencyStop,
        0,
        0,
        false,
        |b| b.vitals.emergency_stop = true,
        |b| b.vitals.emergency_stop = false,
    );
}

#[test]
fn an_open_lid_takes_the_drive_off() {
    check(Guard::LidOpen, 0, 0, false, |b| b.vitals.lid_open = true, |b| b.vitals.lid_open = false);
}

#[test]
fn current_over_its_limit_for_its_hold_time_takes_the_drive_off() {
    check(Guard::OverCurrent, 2_001, 5_000, false, |b| b.vitals.drive_ma = 2_001, |b| b.vitals.drive_ma = 0);
}

#[test]
fn a_shorter_current_peak_does_not() {
    let mut bench = driving();
    for _ in 0..10 {
        bench.rig.board_mut().vitals.drive_ma = 9_000;
        bench.wait(4_000);
        bench.rig.board_mut().vitals.drive_ma = 0;
        bench.wait(1_000);
    }
    bench.check_state(RigState::Driving);
}

#[test]
fn an_angle_outside_the_travel_window_takes_the_drive_off() {
    let cure = |b: &mut MockBoard| b.vitals.reference_mdeg = 0;
    check(Guard::Travel, 95_001, 0, false, |b| b.vitals.reference_mdeg = 95_001, cure);
    check(Guard::Travel, -5_001, 0, false, |b| b.vitals.reference_mdeg = -5_001, cure);
}

#[test]
fn a_supply_that_is_not_what_was_set_takes_drive_and_supply_off() {
    check(Guard::SupplyRange, 4_899, 0, true, |b| b.supply_mv = Some(4_899), |b| b.supply_mv = None);
    check(Guard::SupplyRange, 5_101, 0, true, |b| b.supply_mv = Some(5_101), |b| b.supply_mv = None);
}

#[test]
fn a_rig_too_hot_takes_drive_and_supply_off() {
    let mut bench = driving();
    bench.rig.board_mut().vitals.temperature_cdeg = 6_001;
    bench.wait(5_000);
    bench.refused(Request::ClearTrip, Reason::Guarded, 1 << Guard::Temperature as u32);
    bench.refused(Request::SetSupply { millivolts: 5_000 }, Reason::Guarded, 1 << Guard::Temperature as u32);
    check(
        Guard::Temperature,
        6_001,
        0,
        true,
        |b| b.vitals.temperature_cdeg = 6_001,
        |b| b.vitals.temperature_cdeg = 2_300,
    );
}

#[test]
fn the_supply_may_settle_before_it_is_guarded() {
    let mut bench = Bench::opened();
    bench.must(Request::Start(WATCHING));
    bench.wait(20_000);
    bench.rig.board_mut().supply_mv = Some(4_000);
    bench.must(Request::SetSupply { millivolts: 5_000 });
    bench.wait(9_000);
    bench.check_state(RigState::Watching);
    bench.wait(1_000);
    bench.check_state(RigState::Tripped);
    assert_eq!(bench.status().supply_mv, 0);
}

#[test]
fn at_rest_only_e_stop_lid_and_temperature_trip() {
    let plant: [(Plant, bool); 6] = [
        (|b| b.vitals.emergency_stop = true, true),
        (|b| b.vitals.lid_open = true, true),
        (|b| b.vitals.temperature_cdeg = 6_001, true),
        (|b| b.vitals.drive_ma = 9_000, false),
        (|b| b.vitals.reference_mdeg = 99_000, false),
        (|b| b.supply_mv = Some(1), false),
    ];
    for (plant, trips) in plant {
        let mut bench = Bench::opened();
        bench.must(Request::SetSupply { millivolts: 5_000 });
        bench.wait(20_000);
        plant(bench.rig.board_mut());
        bench.wait(20_000);
        bench.check_state(if trips { RigState::Tripped } else { RigState::Resting });
        assert_eq!(bench.ask(Request::Arm).expect_err("cause present").reason, Reason::Guarded);
        assert_ne!(bench.status().present, 0);
    }
}

#[test]
fn link_silence_takes_the_drive_off_after_300_ms() {
    let mut bench = driving();
    bench.must(Request::Heartbeat);
    let heard = bench.now;
    bench.wait_silently(299_000);
    assert_ne!(bench.rig.board().drive(), Drive::Off);
    bench.wait_silently(2_000);
    assert_eq!(bench.rig.board().drive(), Drive::Off);
    let at = (heard + 300_000).next_multiple_of(1_000);
    let value = (at - heard) as i32;
    assert!(bench.told().contains(&(at, EventKind::GuardTripped { guard: Guard::LinkSilence, value })));
    bench.must(Request::ClearTrip);
    bench.check_state(RigState::Resting);
}

#[test]
fn who_only_asks_for_the_status_or_the_clock_keeps_no_drive_on() {
    for request in [Request::ReadStatus, Request::ClockPing { host_stamp: 1 }] {
        let mut bench = driving();
        for _ in 0..4 {
            bench.wait_silently(80_000);
            bench.must(request);
        }
        assert_eq!(bench.rig.board().drive(), Drive::Off, "{request:?}");
        bench.check_state(RigState::Tripped);
    }
}

#[test]
fn link_silence_disarms_too() {
    let mut bench = Bench::armed(LONG);
    bench.wait_silently(301_000);
    bench.check_state(RigState::Tripped);
}

#[test]
fn refused_and_repeated_requests_do_not_count_as_a_sign_of_life() {
    let mut bench = Bench::armed(LONG);
    let stale = common::encode(Request::Stop, bench.id - 1);
    let start = bench.frame(Request::Start(DRIVING));
    bench.answer(&start).expect("started");
    for _ in 0..4 {
        bench.wait_silently(80_000);
        bench.answer(&start).expect("replayed");
        assert_eq!(bench.answer(&stale).expect_err("old").reason, Reason::Stale);
    }
    assert_eq!(bench.rig.board().drive(), Drive::Off);
}

#[test]
fn a_dead_host_leaves_the_part_unpowered_after_two_seconds() {
    let mut bench = Bench::opened();
    bench.must(Request::SetSupply { millivolts: 5_000 });
    bench.must(Request::Start(WATCHING));
    bench.wait_silently(DEAD_HOST_US - 1_000);
    assert_eq!(bench.rig.board().vitals.supply_mv, 5_000);
    bench.wait_silently(1_000);
    assert_eq!(bench.rig.board().vitals.supply_mv, 0);
    let told = bench.told();
    let tail = &told[told.len() - 2..];
    assert!(
        matches!(tail[0], (DEAD_HOST_US, EventKind::RunEnded { cause: EndCause::Stopped, .. })),
        "{tail:?}"
    );
    assert_eq!(tail[1], (DEAD_HOST_US, EventKind::SupplySet { millivolts: 0 }));
    bench.check_state(RigState::Resting);
}

#[test]
fn a_rig_starts_unpowered_and_says_so() {
    let bench = Bench::new(MockBoard::new());
    let calls = &bench.rig.board().calls;
    assert!(calls.contains(&Call::Drive(0, Drive::Off)) && calls.contains(&Call::Supply(0, 0)));
    assert!(
        calls.contains(&Call::Input(0, 0, false, false)) && calls.contains(&Call::Input(0, 1, false, false))
    );
    let events = bench.events();
    assert_eq!((events.len(), events[0].number, events[0].kind), (1, 0, EventKind::Booted));
}

#[test]
fn a_program_runs_only_after_arming_again() {
    let mut bench = driving();
    bench.must(Request::Stop);
    bench.must(program(LONG));
    bench.refused(Request::Start(Start { run: 2, ..DRIVING }), Reason::Untimely, RigState::Resting as u32);
    bench.must(Request::Arm);
    bench.must(Request::Start(Start { run: 2, ..DRIVING }));
    bench.check_state(RigState::Driving);
}
