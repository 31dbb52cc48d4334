//! Whole sessions with a throttle body over virtual time with real protocol bytes: identity, voltages, loop, coast, guards, probe,
//! feedback faults.

mod common;

use common::{Host, near, ramp};
use trackpair_protocol::message::{EndCause, Guard, Reply, Request, Start, capability};
use trackpair_protocol::position_loop::LoopSettings;
use trackpair_protocol::program::{Program, Segment};
use trackpair_rig_sim::PartSpec;
use trackpair_rig_sim::board::{body_column, column};
use trackpair_rig_sim::clamped::Clamped;

const VOLTS: usize = body_column::MOTOR_VOLTS as usize;
const AMPS: usize = body_column::MOTOR_AMPS as usize;

/// Gains of the prototype study: 63 V/rad, 500 V/(rad s), 0.73 V s/rad; nominal scale of the first line.
const LOOP: LoopSettings = LoopSettings {
    closed_ppm: 100_000,
    open_ppm: 900_000,
    travel_mdeg: 84_000,
    kp_uv_mdeg: 1_100,
    ki_uv_mdeg_s: 8_727,
    kd_nv_s_mdeg: 12_741,
    speed_filter_us: 531,
    dead_mdeg: 120,
    current_ma: 10_000,
};

fn nominal() -> Host {
    let mut host = Host::exact(PartSpec::healthy_body());
    host.supply(5000);
    host
}

/// Plate angles as the first line shows them, degrees.
fn plate(host: &Host) -> Vec<f64> {
    let ratio = host.columns[0].iter().zip(&host.columns[2]).map(|(line, supply)| line / supply);
    ratio.map(|ratio| (ratio - 0.10) / 0.80 * 84.0).collect()
}

/// Index of the first scan at or after some time from the start, s.
fn scan(host: &Host, s: f64) -> usize {
    let from = host.times[0];
    host.times.iter().position(|t| *t >= from + (s * 1e6) as u64).expect("within the run")
}

fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len() as f64
}

fn volts(mv: i32, ms: u32) -> Segment {
    Segment::Volts { mv, us: 1000 * ms }
}

#[test]
fn the_rig_says_that_it_drives_bodies_and_that_it_is_simulated() {
    let mut host = Host::of("good-body?seed=1");
    let Reply::Identity(identity) = host.ask(Request::Identify { session: 9 }) else { panic!() };
    let can = |bit: u32| identity.capabilities & bit != 0;
    assert!(can(capability::SIMULATED) && can(capability::BODY_DRIVE) && can(capability::LOADS));
    assert!(!can(capability::GRIP_DRIVE) && !can(capability::REFERENCE));
    assert_eq!((identity.model.as_str(), identity.max_drive_mv), ("simulated body rig", 13_000));
    let names =
        ["rising", "falling", "supply", "motor_volts", "motor_amps", "supply_amps", "temperature", "ground"];
    for (channel, name) in (0..8).zip(names) {
        let Reply::Channel(info) = host.ask(Request::DescribeChannel { channel }) else { panic!() };
        assert_eq!((info.name.as_str(), info.has_load), (name, channel < 2));
        let Reply::Calibration(own) = host.ask(Request::ReadCalibration { channel }) else { panic!() };
        assert_eq!(own.channel, channel);
    }
}

#[test]
fn a_step_of_voltage_shows_at_the_terminals_behind_their_filter_and_moves_the_plate_a_millisecond_later() {
    let mut host = nominal();
    let start = [Segment::Release { us: 100_000 }, volts(8_000, 100), Segment::Brake { us: 50_000 }];
    assert_eq!(host.run(Some(&start), 0.0), EndCause::Complete);
    let at = scan(&host, 0.1);
    let rest = mean(&plate(&host)[at - 200..at]);
    near(rest, 6.5, 0.2);
    near(mean(&host.columns[VOLTS][at - 200..at]), 0.0, 5.0 * 2e-3 + 1e-3);
    // The bridge acts on the nearest 20 µs: the scan at the step sees at most 10 µs of it, the next, 200 µs later, 1 − e⁻² of it.
    near(host.columns[VOLTS][at], 0.0, 0.8);
    near(host.columns[VOLTS][at + 1] / 8.0, 1.0 - (-2.0_f64).exp(), 0.03);
    near(host.columns[VOLTS][at + 100] / 8.0, 1.0, 0.01);
    // Current of a standing motor after 1 ms: (8 − 0.15)/1.163 · (1 − e^(−1 ms/1.29 ms)), 0.1 ms of filter, own voltage yet small.
    let standing = 6.75 * (1.0 - (-0.9_f64 / 1.29).exp());
    near(host.columns[AMPS][at + 5], standing, 0.3);
    let moved = plate(&host)[at..].iter().position(|deg| *deg > rest + 0.15).unwrap();
    assert!((8..25).contains(&moved), "after {moved} scans of 200 us");
    let end = plate(&host)[scan(&host, 0.199)];
    assert!(end > 60.0, "{end} deg");
}

#[test]
fn the_position_loop_in_the_rig_steps_as_the_prototype_did() {
    let mut host = nominal();
    host.ask(Request::SetLoop(LOOP));
    let step = |to_mdeg| Segment::Step { to_mdeg, us: 800_000 };
    assert_eq!(
        host.run(Some(&[step(10_000), step(30_000), step(60_000), step(20_000)]), 0.0),
        EndCause::Complete
    );
    let plate = plate(&host);
    // Prototype: 10 to 30 degrees in 25.5 ms (10 to 90 %), overshoot 6.7 %; here the loop sees noise of 0.02° in thousandths of a degree.
    let from = scan(&host, 0.8);
    let passes = |deg: f64| plate[from..].iter().position(|p| *p > deg).unwrap() as f64 * 0.2;
    near(passes(28.0) - passes(12.0), 25.5, 3.0);
    let top = plate[from..from + 1000].iter().copied().fold(0.0, f64::max);
    assert!((30.3..33.0).contains(&top), "{top}");
    for (end, want) in [(0.79, 10.0), (1.59, 30.0), (2.39, 60.0), (3.19, 20.0)] {
        near(plate[scan(&host, end)], want, 0.35);
    }
}

#[test]
fn a_coast_tells_the_motors_constant_and_ends_at_rest() {
    let mut host = nominal();
    host.ask(Request::SetLoop(LOOP));
    let program = [Segment::Step { to_mdeg: 45_000, us: 500_000 }, Segment::Release { us: 800_000 }];
    assert_eq!(host.run(Some(&program), 0.0), EndCause::Complete);
    let plate = plate(&host);
    let from = scan(&host, 0.512);
    let to = from + plate[from..].iter().position(|deg| *deg < 12.0).unwrap();
    let offset = mean(&host.columns[VOLTS][plate.len() - 500..]);
    let integral: f64 = host.columns[VOLTS][from..to].iter().map(|v| (v - offset) * 200e-6).sum();
    let angle = (plate[to] - plate[from]).to_radians();
    // Meter gain 0.2 %, feedback noise, ripple: 1.5 %.
    near(integral / angle / 0.383, 1.0, 0.015);
    near(mean(&plate[plate.len() - 500..]), 6.5, 0.15);
    assert!(host.columns[AMPS][from + 20..].iter().all(|amps| amps.abs() < 0.05), "open");
}

#[test]
fn the_e_stop_opens_the_bridge_by_itself_and_the_springs_bring_the_plate_home() {
    let mut host = nominal();
    host.ask(Request::LoadProgram(Program::from_slice(&[volts(1_800, 60_000)]).unwrap()));
    host.ask(Request::Arm);
    host.ask(Request::Start(Start { run: 5, period_us: 200, channels: 0xff, drive: true, max_us: 0 }));
    host.rig.run_until(host.rig.now_us() + 200_000);
    assert!(!host.rig.board().plant().clamped().idle());
    host.rig.board_mut().set_emergency_stop(true);
    // No tick of the core has passed.
    assert!(host.rig.board().plant().clamped().idle());
    assert_eq!(host.finish(), EndCause::Guard);
    host.rig.run_until(host.rig.now_us() + 1_500_000);
    near(host.rig.board().plant().clamped().angle_deg(), 6.5, 0.2);
}

#[test]
fn a_plate_pressed_against_its_stop_for_too_long_trips_the_stall_guard() {
    let mut host = nominal();
    assert_eq!(host.run(Some(&[volts(9_000, 2_000)]), 0.0), EndCause::Guard);
    assert_eq!(host.tripped, [Guard::Stall]);
    assert!(host.rig.board().plant().clamped().idle());
    let stalled = host.columns[AMPS].iter().copied().fold(0.0, f64::max);
    assert!(stalled > 6.5, "{stalled} A");
}

#[test]
fn a_motor_held_against_its_spring_warms_and_its_resistance_with_it() {
    let mut host = nominal();
    let before = host.rig.board().truth().part.body.unwrap();
    near(before.winding_celsius, 23.0, 1e-9);
    // Against the closed stop, where the rotor stands still.
    assert_eq!(host.run(Some(&[volts(-2_500, 30_000)]), 0.0), EndCause::Complete);
    let after = host.rig.board().truth().part.body.unwrap();
    // About 5 W for 30 s into 30 J/K.
    assert!(after.winding_celsius > 25.0, "{}", after.winding_celsius);
    let warmer = after.winding_celsius - before.winding_celsius;
    near(after.ohms / before.ohms - 1.0, 0.00393 / (1.0 + 0.00393 * 3.0) * warmer, 1e-9);
    let amps = &host.columns[AMPS];
    let (early, late) = (mean(&amps[2_000..4_000]), mean(&amps[amps.len() - 2_000..]));
    near(early / late - 1.0, 0.0039 * warmer, 0.004);
}

#[test]
fn a_technician_takes_the_plate_from_place_to_place_and_shows_the_lash_there() {
    let mut host = Host::of("good-body?seed=3&operator=push");
    host.supply(5000);
    assert_eq!(host.run(None, 24.5), EndCause::Complete);
    let truth = host.rig.board().truth();
    let body = truth.part.body.unwrap();
    // A mean over 25 scans: the plate's turns are slow, its feedback noisy.
    let plate: Vec<f64> = plate(&host).windows(25).map(mean).collect();
    let offset = mean(&host.columns[VOLTS][..1000]);
    for (k, deg) in [15.0, 30.0, 45.0, 60.0, 75.0].into_iter().enumerate() {
        // The bridge has been open since the rig was switched on; every place takes four seconds, the last three of them to and fro.
        let centre = (0..host.times.len()).find(|&j| (host.times[j] as f64 * 1e-6) >= 4.2 + 4.0 * k as f64);
        let from = centre.unwrap();
        let there = &plate[from..from + 9_000];
        let (low, high) = there.iter().fold((f64::MAX, f64::MIN), |(l, h), v| (l.min(*v), h.max(*v)));
        // The probe gives way by up to 0.7 N·m/40 N·m/rad = 1°.
        near(0.5 * (low + high), deg, 1.5);
        assert!((1.8..3.2).contains(&(high - low)), "{low} to {high}");
        // Plate travel less rotor travel from turn to turn is the lash.
        let (mut rotor, mut most, mut least) = (0.0, f64::MIN, f64::MAX);
        for j in from..from + 9_000 {
            rotor += ((host.columns[VOLTS][j] - offset) * 200e-6 / body.plate_constant).to_degrees();
            (most, least) = (most.max(rotor), least.min(rotor));
        }
        let lash = (high - low) - (most - least);
        // Prototype: bias 0.01 to 0.03°, sd 0.05°; the teeth's own unevenness is in it.
        near(lash, body.lash_deg + 0.02, 0.10);
    }
}

#[test]
fn a_struck_stop_breaks_a_contact_that_opens_on_impact_and_gentle_motion_does_not() {
    let mut host = Host::of("impact-dropout-body?seed=4");
    host.supply(5000);
    let gentle = [volts(1_700, 300), Segment::Release { us: 500_000 }];
    host.run(Some(&gentle), 0.0);
    assert_eq!(host.rig.board().outages().len(), 0);
    let blip = [volts(13_000, 60), Segment::Release { us: 600_000 }, Segment::Repeat { from: 0, times: 19 }];
    host.run(Some(&blip), 0.0);
    let outages = host.rig.board().outages().len();
    // One stop a blip, in 60 to 95 % of them; the way back may strike too.
    assert!((9..=40).contains(&outages), "{outages}");
    let lost =
        host.columns[1].iter().zip(&host.columns[2]).filter(|(line, supply)| *line < &(0.05 * *supply));
    assert!(lost.count() >= 5, "seen in the second line");
}

#[test]
fn a_torn_lead_and_a_shifted_line_show_in_the_sum_of_the_feedback() {
    let residual =
        |host: &Host, j: usize| (host.columns[0][j] + host.columns[1][j]) / host.columns[2][j] - 1.0;
    let mut host = Host::of("torn-feedback-body?seed=2&operator=flex");
    host.supply(5000);
    host.run(None, 4.0);
    let low = (0..host.times.len()).filter(|&j| residual(&host, j) < -0.05).count();
    assert!(low > 20, "{low}");
    let mut host = Host::of("offset-feedback-body?seed=2");
    host.supply(5000);
    host.run(None, 1.0);
    let mean = (0..host.times.len()).map(|j| residual(&host, j)).sum::<f64>() / host.times.len() as f64;
    assert!((0.012..0.045).contains(&mean.abs()), "{mean}");
}

#[test]
fn a_plate_held_from_below_leaves_a_millisecond_after_the_step() {
    let mut latencies = Vec::new();
    for seed in 1..9 {
        let mut host = Host::of(&format!("good-body?seed={seed}"));
        host.supply(5000);
        host.ask(Request::SetLoop(LOOP));
        let slow = Segment::Ramp { to_mdeg: 30_000, speed_mdeg_s: 20_000, accel_mdeg_s2: 100_000 };
        let hold = Segment::Hold { us: 400_000 };
        host.run(Some(&[slow, hold, volts(8_000, 14)]), 0.0);
        let Clamped::Body(mount) = host.rig.board().plant().clamped() else { panic!("a body") };
        let last = mount.departures().seen().back().unwrap_or_else(|| panic!("{seed}: never left"));
        assert!(last.opening, "{seed}: {last:?}");
        latencies.push(last.latency_us);
    }
    // Prototype: 1.00 ms to the first 0.004°, standard deviation 0.14 ms over parts and holds; where in its friction band a part is
    // held counts for more: 2 ms at its lower end.
    near(mean(&latencies), 1000.0, 150.0);
    assert!(latencies.iter().all(|us| (600.0..1500.0).contains(us)), "{latencies:?}");
}

#[test]
fn a_hand_takes_the_plate_from_stop_to_stop_while_the_bridge_is_open() {
    let mut host = Host::of("good-body?seed=1&operator=hand");
    host.supply(5000);
    assert_eq!(host.run(None, 8.0), EndCause::Complete);
    let (low, high) = plate(&host).iter().fold((f64::MAX, f64::MIN), |(l, h), v| (l.min(*v), h.max(*v)));
    assert!(low < 1.5 && high > 82.0, "{low} to {high}");
}

#[test]
fn the_same_address_gives_the_same_samples() {
    let samples = |address: &str| {
        let mut host = Host::of(address);
        host.supply(5000);
        host.run(Some(&[volts(5_000, 200), Segment::Release { us: 300_000 }]), 0.0);
        host.columns
    };
    assert_eq!(samples("worn-teeth-body?seed=3"), samples("worn-teeth-body?seed=3"));
    assert_ne!(samples("worn-teeth-body?seed=3"), samples("worn-teeth-body?seed=4"));
}

#[test]
fn the_feedback_is_as_noisy_as_declared() {
    let mut host = nominal();
    host.run(None, 2.0);
    let plate = plate(&host);
    let m = mean(&plate);
    let sd = (plate.iter().map(|v| (v - m).powi(2)).sum::<f64>() / plate.len() as f64).sqrt();
    // 0.02° rms of the part, 12-bit steps of the output (0.026°, rms 0.0074), the rig's converters.
    assert!((0.015..0.03).contains(&sd), "{sd} deg rms");
    near(host.mean(column::GROUND), 1.06e-3, 0.1e-3);
}

#[test]
fn a_grip_rig_still_sweeps_and_a_body_rig_refuses_no_angles_once_its_loop_is_set() {
    let mut grip = Host::of("good-grip?seed=1");
    grip.supply(5000);
    assert_eq!(grip.run(Some(&[ramp(20_000)]), 0.0), EndCause::Complete);
    let mut host = nominal();
    host.ask(Request::SetLoop(LOOP));
    assert_eq!(host.run(Some(&[ramp(20_000)]), 0.0), EndCause::Complete);
    let Clamped::Body(mount) = host.rig.board().plant().clamped() else { panic!("a body") };
    assert!(mount.body().numbers().motor.ohms > 1.0);
}
