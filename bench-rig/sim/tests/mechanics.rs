//! The grip's mechanics against closed forms: free return, energy, halving the step, stops, servo, sticking and slipping.

use trackpair_rig_sim::PartSpec;
use trackpair_rig_sim::fault::Fault;
use trackpair_rig_sim::grip::{Command, Grip, Hand, Mechanics, STEP_S};
use trackpair_rig_sim::part::{Part, Works};
use trackpair_rig_sim::spec::{Sensor, Topology};

fn spec() -> PartSpec {
    PartSpec { spread: false, ..PartSpec::healthy(Sensor::Hall, Topology::Complementary) }
}

fn mechanics(spec: PartSpec) -> Mechanics {
    let part = Part::draw("mechanics", spec, 1);
    let Works::Grip(numbers) = part.works() else { panic!("a grip") };
    Mechanics::of(part.spec(), part.drawn().open_stop_deg, numbers)
}

/// Runs `seconds` with a setpoint on every control tick.
fn drive(grip: &mut Grip, seconds: f64, setpoint_deg: impl Fn(f64) -> f64) {
    for tick in 0..(seconds * 1e3) as usize {
        grip.command(Command::Position(setpoint_deg(tick as f64 * 1e-3).to_radians()));
        for _ in 0..20 {
            grip.step(STEP_S, None);
        }
    }
}

/// Time from rest at `from` to the first passage below `to` (rad) with the servo off, by linear interpolation, s.
fn return_time(m: &Mechanics, from: f64, to: f64, step: f64) -> f64 {
    let mut grip = Grip::new(m.clone(), 0.0).placed_at(from);
    let mut t = 0.0;
    loop {
        let before = grip.angle();
        grip.step(step, None);
        if grip.angle() <= to {
            return t + step * (before - to) / (before - grip.angle());
        }
        t += step;
        assert!(t < 1.0, "does not return");
    }
}

/// A grip that is one undamped mass on its spring under Coulomb friction: what the closed form below is for.
fn plain() -> Mechanics {
    Mechanics {
        rotor_inertia: 1e-9,
        rotor_friction: 0.0,
        coupling: 1e-6,
        coupling_damping: 0.0,
        cogging: 0.0,
        viscous: 0.0,
        static_ratio: 1.0,
        ..mechanics(spec())
    }
}

#[test]
fn a_free_return_takes_the_closed_form_time() {
    let m = plain();
    let (from, to) = (70.0_f64.to_radians(), 1.0_f64.to_radians());
    // J x'' = −(P − F) − k x: x = (x0 + d) cos ωt − d, d = (P − F)/k, ω = √(k/J).
    let d = (m.preload - m.friction) / m.stiffness;
    let omega = (m.stiffness / m.grip_inertia).sqrt();
    let want = ((to + d) / (from + d)).acos() / omega;
    let got = return_time(&m, from, to, STEP_S);
    assert!((got - want).abs() < STEP_S, "{got} s, closed form {want} s");
}

#[test]
fn halving_the_step_halves_the_error() {
    let m = plain();
    let (from, to) = (70.0_f64.to_radians(), 1.0_f64.to_radians());
    let exact = return_time(&m, from, to, 1e-7);
    let error = |step: f64| (return_time(&m, from, to, step) - exact).abs();
    let ratio = error(200e-6) / error(100e-6);
    assert!((1.7..2.3).contains(&ratio), "first order expected, error fell by {ratio}");
}

#[test]
fn without_friction_energy_is_kept_until_the_stop_and_lost_there() {
    let mut m = plain();
    m.friction = 0.0;
    let mut grip = Grip::new(m, 0.0).placed_at(1.2);
    let start = grip.energy();
    while grip.angle() > 0.01 {
        grip.step(STEP_S, None);
    }
    assert!((grip.energy() / start - 1.0).abs() < 2e-3, "{} of {start} J", grip.energy());
    let impact = -grip.speed();
    while grip.speed() <= 0.0 {
        grip.step(STEP_S, None);
    }
    while grip.angle() < 0.0 {
        grip.step(STEP_S, None);
    }
    let bounce = grip.speed() / impact;
    assert!((0.2..0.8).contains(&bounce), "bounces with {bounce} of its speed");
}

#[test]
fn the_released_grip_comes_to_rest_on_its_closed_stop() {
    let m = mechanics(spec());
    let rest = -m.preload / m.stop_stiffness;
    let mut grip = Grip::new(m, 0.0).placed_at(1.3);
    for _ in 0..20_000 {
        grip.step(STEP_S, None);
    }
    assert!((grip.angle() - rest).abs() < 2e-4 && grip.speed().abs() < 1e-9, "{} rad", grip.angle());
}

#[test]
fn the_servo_follows_a_slow_sweep_within_a_tenth_of_a_degree() {
    let mut grip = Grip::new(mechanics(spec()), 0.004);
    drive(&mut grip, 0.3, |_| 5.0);
    let mut worst: f64 = 0.0;
    for k in 0..100 {
        let from = 5.0 + 0.6 * f64::from(k);
        drive(&mut grip, 0.01, |t| from + 60.0 * t);
        // The setpoint of the last tick is reached one tick later.
        let lag = from + 60.0 * 0.009 - grip.shaft().to_degrees();
        if k > 5 {
            worst = worst.max(lag.abs());
        }
    }
    assert!(worst < 0.1, "{worst} deg");
}

#[test]
fn a_setpoint_beyond_the_stop_presses_with_the_current_limit_and_no_more() {
    let m = mechanics(spec());
    let (open, limit) = (m.open_stop.to_degrees(), m.current_limit);
    let mut grip = Grip::new(m, 0.0);
    drive(&mut grip, 1.5, |t| (60.0 * t).min(80.0));
    assert!((grip.current() - limit).abs() < 0.01 * limit, "{} A", grip.current());
    let beyond = grip.angle().to_degrees() - open;
    assert!((0.0..0.15).contains(&beyond), "{beyond} deg into the stop");
}

#[test]
fn a_seized_grip_does_not_follow_and_a_slipping_one_parts_from_the_encoder() {
    let mut seized = Grip::new(mechanics(spec().with(Fault::Seized { friction_nm: 3.0 })), 0.0);
    drive(&mut seized, 0.8, |t| 60.0 * t);
    assert!(seized.angle().to_degrees().abs() < 0.1 && seized.current() > 5.9);
    let mut slipping = Grip::new(mechanics(spec().with(Fault::Slipping { torque_nm: 0.12 })), 0.0);
    drive(&mut slipping, 0.8, |t| 60.0 * t);
    assert!(slipping.shaft().to_degrees() > 40.0 && slipping.angle().to_degrees() < 1.0);
}

#[test]
fn a_sticky_grip_on_a_weak_spring_stays_where_it_is_let_go() {
    let spec = spec().with(Fault::WeakSpring { left: 0.05 });
    let mut grip = Grip::new(mechanics(spec), 0.0).placed_at(0.7);
    for _ in 0..20_000 {
        grip.step(STEP_S, None);
    }
    assert!(grip.angle() > 0.6, "returned to {} rad", grip.angle());
}

#[test]
fn what_the_released_drive_holds_is_less_than_its_capability_states() {
    // A spring that exceeds the grip's own static friction by the 0.02 N·m of capability bit 6 must bring it back from anywhere.
    let m = mechanics(spec());
    let least = m.friction * m.static_ratio + 0.02;
    let m = Mechanics { preload: least, stiffness: 0.0, ..m };
    for from in [0.05, 0.2, 0.7, 1.3] {
        let mut grip = Grip::new(m.clone(), 0.0).placed_at(from);
        for _ in 0..40_000 {
            grip.step(STEP_S, None);
        }
        assert!(grip.angle() < 1e-3, "from {from} rad it stayed at {} rad", grip.angle());
    }
}

#[test]
fn a_hand_turns_the_grip_from_stop_to_stop() {
    let m = mechanics(spec());
    let open = m.open_stop;
    let mut grip = Grip::new(m, 0.0);
    for k in 0..40_000 {
        let share = f64::from(k) / 40_000.0;
        grip.step(STEP_S, Some(Hand { angle: share * (open + 0.12), speed: (open + 0.12) / 2.0 }));
    }
    assert!(grip.angle() > open, "{} of {open} rad", grip.angle());
}

#[test]
fn a_grip_that_seizes_follows_its_servo_until_then_and_not_after() {
    let mut grip = Grip::new(mechanics(spec()), 0.0);
    drive(&mut grip, 1.0, |_| 30.0);
    let before = grip.angle().to_degrees();
    assert!((before - 30.0).abs() < 0.2, "{before}");
    grip.bind(3.0);
    drive(&mut grip, 1.0, |_| 60.0);
    // The drive's 0.9 N·m wind the coupling of 400 N·m/rad by 0.13°; the grip itself stays.
    assert!((grip.angle().to_degrees() - before).abs() < 0.01, "{}", grip.angle().to_degrees());
    assert!((grip.shaft().to_degrees() - before).abs() < 0.2, "{}", grip.shaft().to_degrees());
}
