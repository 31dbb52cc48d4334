//! Whole sessions with a grip over virtual time with real protocol bytes: identity, sweeps, leads, dropouts, guards.

mod common;

use common::{Host, near, ramp};
use trackpair_protocol::message::{EndCause, EventKind, Guard, Reply, Request, Start, capability};
use trackpair_protocol::program::{Program, Segment};
use trackpair_rig_sim::board::column;
use trackpair_rig_sim::fault::{Fault, Lead, Towards};
use trackpair_rig_sim::spec::{Sensor, Topology};
use trackpair_rig_sim::{PartSpec, SimBoard};

fn hall() -> PartSpec {
    PartSpec::healthy(Sensor::Hall, Topology::Complementary)
}

#[test]
fn the_rig_says_that_it_is_simulated_and_what_it_can() {
    let mut host = Host::of("good-grip?seed=1");
    let Reply::Identity(identity) = host.ask(Request::Identify { session: 9 }) else { panic!() };
    assert_ne!(identity.capabilities & capability::SIMULATED, 0);
    assert_eq!((identity.session, identity.channels, identity.supply_mv), (9, 8, (4000, 5000)));
    let Reply::Calibration(calibration) = host.ask(Request::ReadCalibration { channel: 3 }) else { panic!() };
    near(calibration.offset_uncertainty, 0.012, 1e-12);
}

#[test]
fn a_sweep_follows_the_line_of_a_nominal_part_on_the_reference() {
    let mut host = Host::exact(hall());
    host.supply(5000);
    assert_eq!(host.run(Some(&[ramp(2000), ramp(74_000), ramp(2000)]), 0.0), EndCause::Complete);
    let mount = host.rig.board().truth().rig.mounting_deg;
    assert!(host.times.len() > 12_000 && host.times.windows(2).all(|w| w[1] - w[0] == 200));
    let (mut low, mut high) = (f64::MAX, f64::MIN);
    for j in 0..host.times.len() {
        let [rising, falling, supply, reference] = [0, 1, 2, 3].map(|c: usize| host.columns[c][j]);
        (low, high) = (f64::min(low, reference), f64::max(high, reference));
        // Noise 0.25 mV/V rms per channel, hysteresis, filter lag and eccentricity: 8 sd of noise and 0.06 degrees.
        near(rising / supply, 0.10 + 0.80 * (reference - mount) / 75.0, 8.0 * 0.25e-3 + 0.06 * 0.8 / 75.0);
        near((rising + falling) / supply, 1.0, 8.0 * 0.35e-3);
    }
    assert!(low < 2.1 && high > 73.8, "{low} to {high}");
}

#[test]
fn outputs_follow_the_supply_and_the_loop_of_the_hall_current_is_seen() {
    let mut host = Host::exact(hall());
    let mut at = [0.0; 2];
    for (k, millivolts) in [5000, 4000].into_iter().enumerate() {
        host.supply(millivolts);
        host.run(None, 1.0);
        at[k] = host.ratio(column::RISING);
        near(host.mean(column::SUPPLY), f64::from(millivolts) * 1e-3, 0.01);
        near(host.mean(column::SUPPLY_AMPS), 0.010, 0.1e-3);
        // 10 mA in 2 m of 0.34 mm² at 53 mΩ/m (VDE 0295).
        near(host.mean(column::GROUND), 1.06e-3, 0.1e-3);
    }
    near(at[0], at[1], 2e-4);
}

#[test]
fn a_supply_step_tells_a_bad_ground_from_a_bad_supply_lead() {
    let step = |fault: Fault| {
        let mut host = Host::exact(hall().with(fault));
        let mut ratios = [0.0; 2];
        for (k, millivolts) in [5000, 4000].into_iter().enumerate() {
            host.supply(millivolts);
            host.run(Some(&[ramp(37_500), Segment::Hold { us: 500_000 }]), 0.0);
            host.columns.iter_mut().for_each(|c| drop(c.drain(..c.len() - 2000)));
            ratios[k] = host.ratio(column::RISING) + host.ratio(column::FALLING);
        }
        ratios[1] - ratios[0]
    };
    // Sum of the ratios is 1 + 2 I R (1 − 1/2) / V = 1 + I R / V for the ground lead: 0.2 V (1/4 − 1/5) with 20 ohm.
    near(step(Fault::GroundLead { ohms: 20.0 }), 0.010, 6e-4);
    near(step(Fault::SupplyLead { ohms: 20.0 }), -0.010, 6e-4);
}

#[test]
fn a_load_step_shows_the_signal_lead() {
    let channel = trackpair_rig_sim::fault::Channel::Falling;
    let mut host = Host::exact(hall().with(Fault::SignalLead { channel, ohms: 1000.0 }));
    host.supply(5000);
    host.run(None, 0.5);
    let free = [host.ratio(0), host.ratio(1)];
    for channel in [0, 1] {
        host.ask(Request::SetInput { channel, load: true, pull_down: false });
    }
    host.run(None, 0.5);
    // Lead and source against 10 kΩ: 50 ohm and 1050 ohm.
    near(host.ratio(0) / free[0], 10_000.0 / 10_050.0, 2e-3);
    near(host.ratio(1) / free[1], 10_000.0 / 11_050.0, 2e-3);
}

#[test]
fn dropouts_show_in_the_samples_at_the_times_the_board_knows_and_nowhere_else() {
    let (min_us, max_us) = (60.0, 400.0);
    let fault = Fault::Dropout {
        lead: Lead::Rising,
        rate_per_s: 4.0,
        burst_s: 0.0,
        pause_s: 0.0,
        flex_rate_per_s: 0.0,
        at_deg: 0.0,
        chance_per_pass: 0.0,
        min_us,
        max_us,
        towards: Towards::Ground,
    };
    let mut host = Host::exact(hall().with(fault));
    host.supply(5000);
    host.run(Some(&[ramp(40_000), Segment::Hold { us: 10_000_000 }]), 0.0);
    let outages = host.rig.board().outages().clone();
    let settled = host.times[host.times.len() - 49_000];
    let truth: Vec<_> = outages.iter().filter(|o| o.start_us > settled as f64 + 1e3).collect();
    assert!(truth.len() > 15, "{}", truth.len());
    let level = host.ratio(column::FALLING);
    let mut seen = vec![false; truth.len()];
    for j in host.times.len() - 48_900..host.times.len() {
        let falling = host.columns[1][j] / host.columns[2][j];
        near(falling, level, 0.05);
        if host.columns[0][j] / host.columns[2][j] < 1.0 - falling - 0.02 {
            // A sample remembers an event for as long as the filter does: 100 µs · ln(0.53/0.02) = 330 µs.
            let at = host.times[j] as f64;
            let hit = truth.iter().position(|o| at >= o.start_us && at <= o.end_us + 340.0);
            seen[hit.unwrap_or_else(|| panic!("a dropout at {at} that was not planted"))] = true;
        }
    }
    let end = *host.times.last().unwrap() as f64;
    for (outage, seen) in truth.iter().zip(seen) {
        assert!(seen || outage.end_us + 200.0 > end, "{outage:?} was not seen");
    }
}

#[test]
fn a_supply_contact_takes_both_channels_down_together() {
    let mut host = Host::of("loose-connector-grip?seed=2&operator=flex");
    host.supply(5000);
    host.run(None, 6.0);
    let low = |column: usize, j: usize| host.columns[column][j] < 0.5 * host.columns[column][0];
    let both = (0..host.times.len()).filter(|&j| low(0, j) && low(1, j)).count();
    let one = (0..host.times.len()).filter(|&j| low(0, j) != low(1, j)).count();
    assert!(both > 10 && one <= both / 4, "{both} together, {one} apart");
    near(host.columns[2].iter().copied().fold(f64::MAX, f64::min), 5.0, 0.02);
}

#[test]
fn swapped_leads_exchange_the_columns_and_a_dead_channel_stays_put() {
    let mut host = Host::exact(hall().with(Fault::SwappedChannels {}));
    host.supply(5000);
    host.run(None, 0.5);
    assert!(host.ratio(0) > 0.85 && host.ratio(1) < 0.15);
    let mut host = Host::of("dead-channel-grip?seed=1");
    host.supply(5000);
    host.run(Some(&[ramp(60_000), ramp(2000)]), 0.0);
    let range = |c: usize| {
        host.columns[c].iter().copied().fold(f64::MIN, f64::max)
            - host.columns[c].iter().copied().fold(f64::MAX, f64::min)
    };
    assert!(range(0) > 2.5 && range(1) < 0.02, "{} {}", range(0), range(1));
}

#[test]
fn a_setpoint_beyond_the_open_stop_presses_without_a_trip() {
    let mut host = Host::of("good-grip?seed=4");
    host.supply(5000);
    assert_eq!(
        host.run(Some(&[ramp(80_000), Segment::Hold { us: 300_000 }, ramp(0)]), 0.0),
        EndCause::Complete
    );
    let high = host.columns[3].iter().copied().fold(f64::MIN, f64::max);
    let truth = host.rig.board().truth();
    near(high, truth.part.drawn.open_stop_deg + truth.rig.mounting_deg, 0.3);
}

#[test]
fn the_e_stop_ends_a_drive_and_the_spring_brings_the_grip_home() {
    let mut host = Host::of("good-grip?seed=4");
    host.supply(5000);
    let program = [ramp(60_000), Segment::Hold { us: 5_000_000 }];
    host.ask(Request::LoadProgram(Program::from_slice(&program).unwrap()));
    host.ask(Request::Arm);
    host.ask(Request::Start(Start { run: 5, period_us: 200, channels: 0x0f, drive: true, max_us: 0 }));
    for _ in 0..20 {
        let until = host.rig.now_us() + 100_000;
        while host.rig.now_us() < until {
            host.hear(1000);
        }
        host.ask(Request::Heartbeat);
    }
    assert!(host.columns[3].last().unwrap() > &59.0);
    host.rig.board_mut().set_emergency_stop(true);
    assert_eq!(host.finish(), EndCause::Guard);
    host.rig.run_until(host.rig.now_us() + 500_000);
    assert!(host.rig.board().plant().clamped().idle());
    near(host.rig.board().plant().clamped().angle_deg(), 0.0, 0.05);
}

#[test]
fn heat_lid_and_a_sagging_supply_trip_their_guards() {
    type Poke = fn(&mut SimBoard);
    let hot: Poke = |board| board.set_temperature(90.0);
    let lid: Poke = |board| board.set_lid_open(true);
    let sag: Poke = |board| board.set_supply_fault(Some(3.0));
    for (guard, poke) in [(Guard::Temperature, hot), (Guard::LidOpen, lid), (Guard::SupplyRange, sag)] {
        let mut host = Host::of("good-grip?seed=4");
        host.supply(5000);
        host.ask(Request::Arm);
        poke(host.rig.board_mut());
        let until = host.rig.now_us() + 100_000;
        while host.rig.now_us() < until {
            host.hear(1000);
        }
        let tripped = |e: &EventKind| matches!(e, EventKind::GuardTripped { guard: g, .. } if *g == guard);
        assert!(host.events.iter().any(tripped), "{guard:?}: {:?}", host.events);
    }
}

#[test]
fn a_hand_sweeps_the_travel_while_the_rig_only_watches() {
    let mut host = Host::of("good-grip?seed=1&operator=hand");
    host.supply(5000);
    assert_eq!(host.run(None, 8.0), EndCause::Complete);
    let (low, high) = host.columns[3].iter().fold((f64::MAX, f64::MIN), |(l, h), &v| (l.min(v), h.max(v)));
    assert!(low < 1.0 && high > 74.0, "{low} to {high}");
}

#[test]
fn the_same_address_gives_the_same_samples() {
    let samples = |address: &str| {
        let mut host = Host::of(address);
        host.supply(5000);
        host.run(Some(&[ramp(20_000)]), 0.0);
        host.columns
    };
    assert_eq!(samples("cracked-wire-grip?seed=3"), samples("cracked-wire-grip?seed=3"));
    assert_ne!(samples("cracked-wire-grip?seed=3"), samples("cracked-wire-grip?seed=4"));
}
