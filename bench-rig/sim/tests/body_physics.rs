//! The throttle body's physics against closed forms: motor, free return, energy, holding, lash, stops; and its error against its step.
//!
//! Where a number is not derived here it is that of the prototype study that this model continues (simulation, not hardware).

use std::f64::consts::TAU;

use trackpair_rig_sim::body::mechanics::{STEP_S, State};
use trackpair_rig_sim::body::motion::Push;
use trackpair_rig_sim::body::numbers::{RATIO, SECTOR_RATIO};
use trackpair_rig_sim::body::{Body, BodyNumbers, Bridge, Probe, Teeth};

/// Everything that a closed form leaves out: ripples, cogs, brush drop, the higher friction near standstill.
fn plain() -> BodyNumbers {
    let mut body = BodyNumbers::nominal();
    (body.motor.ripple, body.motor.ohms_ripple) = (0.0, 0.0);
    (body.motor.cogging_nm, body.motor.brush_volts) = (0.0, 0.0);
    (body.motor.friction.static_ratio, body.plate.friction.static_ratio) = (1.0, 1.0);
    body
}

/// At 20 °C, where resistances are what they are called.
fn moving(numbers: BodyNumbers, h: f64) -> Body {
    Body::with_step(numbers, &Teeth::default(), 20.0, h)
}

fn drive(body: &mut Body, volts: f64) {
    body.set_bridge(Bridge::Drive { volts });
}

/// Steps until `done`, at most `seconds`; the time it took, s.
fn until(body: &mut Body, h: f64, seconds: f64, mut done: impl FnMut(&Body) -> bool) -> f64 {
    let mut t = 0.0;
    while !done(body) {
        body.advance(1);
        t += h;
        assert!(t < seconds, "not within {seconds} s: {:?}", body.state());
    }
    t
}

#[track_caller]
fn near(got: f64, want: f64, within: f64) {
    assert!((got - want).abs() <= within, "{got} is not {want} ± {within}");
}

#[test]
fn a_motor_alone_starts_as_its_two_poles_say() {
    let mut numbers = plain();
    numbers.motor.viscous = 1e-6;
    numbers.motor.friction.coulomb_nm = 0.0;
    // So much lash that the rotor never meets anything.
    numbers.gears.pinion.lash_deg = 1e5;
    let motor = numbers.motor.clone();
    let (r, l, k, j, b) = (motor.ohms, motor.henry, motor.constant, motor.inertia, motor.viscous);
    // L J s² + (R J + L b) s + R b + K² = 0; ω∞ = K V/(R b + K²).
    let (half, square) = (0.5 * (r / l + b / j), (r * b + k * k) / (l * j));
    let root = (half * half - square).sqrt();
    let (p, q) = (-half + root, -half - root);
    near(p, -70.44, 0.01);
    near(q, -696.44, 0.01);
    let volts = 2.0;
    let exact =
        |t: f64| k * volts / (r * b + k * k) * (1.0 + (q * (p * t).exp() - p * (q * t).exp()) / (p - q));
    for h in [1e-6, STEP_S] {
        let mut body = moving(numbers.clone(), h);
        drive(&mut body, volts);
        let mut at = 0;
        for (ms, known) in [(1, 2.0465), (5, 23.549), (20, 77.511), (50, 102.964), (200, 106.463)] {
            let steps = (f64::from(ms) * 1e-3 / h).round() as usize;
            body.advance(steps - at);
            at = steps;
            let t = f64::from(ms) * 1e-3;
            near(exact(t), known, 6e-4);
            // First order: no farther off than one step's gain of speed.
            let gain = (exact(t + h) - exact(t)).abs();
            near(body.state().rotor_speed, exact(t), gain + 1e-7 * exact(t));
        }
    }
}

#[test]
fn a_free_return_takes_the_closed_form_time() {
    let mut numbers = plain();
    // Hardly any lash, stiff gears: one mass.
    (numbers.gears.pinion.lash_deg, numbers.gears.sector.lash_deg) = (1e-4, 1e-4);
    (numbers.gears.pinion.stiffness, numbers.gears.sector.stiffness) = (3e3, 8e3);
    let (j, b, k) = (0.0021, 0.0088, numbers.springs.main.stiffness);
    let pull = numbers.springs.main.preload_nm - numbers.coulomb_friction_nm();
    let rest = numbers.springs.rest_deg;
    // J x'' + b x' + k x + P − F = 0 from x0: overdamped or not, by its two roots.
    let (decay, square) = (0.5 * b / j, k / j);
    let wave = (square - decay * decay).sqrt();
    let amplitude = (60.0 - rest).to_radians() + pull / k;
    let exact = |t: f64| {
        amplitude * (-decay * t).exp() * ((wave * t).cos() + decay / wave * (wave * t).sin()) - pull / k
    };
    let mut want = 0.0;
    while exact(want) > 1.0_f64.to_radians() {
        want += 1e-6;
    }
    near(want, 0.15910, 1e-4);
    for (h, within) in [(2e-6, 0.5e-3), (STEP_S, 0.5e-3)] {
        let mut body = moving(numbers.clone(), h).placed_at(60.0, 1.0);
        let t = until(&mut body, h, 0.5, |body| body.plate_deg() <= rest + 1.0);
        // The rest of the difference is the elastic unloading of the gears at the start.
        near(t, want, within);
    }
}

#[test]
fn what_goes_in_at_the_terminals_is_lost_in_copper_and_friction_or_stored() {
    let mut numbers = BodyNumbers::nominal();
    (numbers.motor.ripple, numbers.motor.ohms_ripple) = (0.0, 0.0);
    (numbers.motor.cogging_nm, numbers.motor.brush_volts) = (0.0, 0.0);
    let h = 1e-6;
    let mut body = moving(numbers.clone(), h).placed_at(6.5, -0.999);
    let level = |friction: trackpair_rig_sim::body::numbers::Friction, v: f64| {
        let excess = (friction.static_ratio - 1.0) * (-(v / friction.stribeck_rad_s).powi(2)).exp();
        friction.coulomb_nm * (1.0 + excess)
    };
    let (mut fed, mut copper, mut rubbed) = (0.0, 0.0, 0.0);
    let start = body.energy();
    for (volts, ms) in [(8.0, 20), (2.0, 40), (0.0, 190)] {
        drive(&mut body, volts);
        for _ in 0..ms * 1000 {
            body.advance(1);
            let s = *body.state();
            fed += h * volts * s.amps;
            copper += h * body.ohms() * s.amps * s.amps;
            rubbed += h
                * (level(numbers.motor.friction, s.rotor_speed) * s.rotor_speed.abs()
                    + numbers.gears.idler_friction_nm * s.idler_speed.abs()
                    + level(numbers.plate.friction, s.plate_speed) * s.plate_speed.abs()
                    + numbers.motor.viscous * s.rotor_speed.powi(2)
                    + numbers.plate.viscous * s.plate_speed.powi(2));
        }
    }
    let stored = body.energy() - start;
    near(fed, 0.7718, 0.002);
    // What is missing went into the damping of the contacts.
    let missing = fed - copper - rubbed - stored;
    assert!(missing.abs() < 5e-4 * fed, "of {fed} J: copper {copper}, friction {rubbed}, stored {stored}");
}

#[test]
fn a_flank_with_waves_and_a_missing_tooth_makes_no_energy() {
    let mut numbers = plain();
    // Nothing that takes energy but the gears themselves.
    numbers.motor.friction.coulomb_nm = 0.0;
    numbers.plate.friction.coulomb_nm = 0.0;
    numbers.gears.idler_friction_nm = 0.0;
    (numbers.motor.viscous, numbers.plate.viscous) = (0.0, 0.0);
    let mut teeth = Teeth::draw(&mut trackpair_rig_sim::random::Random::new("waves", 1));
    teeth.wear.push(trackpair_rig_sim::body::teeth::Wear::tooth(22.0, 2.4, 2.4));
    let mut body = Body::with_step(numbers, &teeth, 20.0, 1e-6).placed_at(50.0, 1.0);
    let start = body.energy();
    let mut most = start;
    for _ in 0..400_000 {
        body.advance(1);
        most = most.max(body.energy());
    }
    assert!(most < 1.002 * start, "{start} J became {most} J");
}

#[test]
fn a_plate_stays_within_its_holding_band_and_leaves_it_beyond() {
    let numbers = plain();
    let friction = numbers.coulomb_friction_nm();
    let k = numbers.motor.constant * RATIO;
    for (deg, low, high) in [(30.0, 0.414, 1.840), (84.0, 0.628, 2.054)] {
        let spring = -numbers.spring_nm(deg);
        near((spring - friction) / k, low, 2e-3);
        near((spring + friction) / k, high, 2e-3);
        let moved = |amps: f64| {
            // Out of reach of the open stop.
            let mut numbers = numbers.clone();
            numbers.plate.open_stop_deg = 100.0;
            let ohms = numbers.motor.ohms;
            let mut body = moving(numbers, STEP_S).placed_at(deg, 1.0);
            // Held in the middle of the band first, then slowly towards the wanted current.
            for step in 0..1000 {
                let share = (f64::from(step) / 500.0).min(1.0);
                drive(&mut body, ohms * (0.5 * (low + high) * (1.0 - share) + amps * share));
                body.advance(50);
            }
            (body.plate_deg() - deg).abs()
        };
        // 0.02 A of margin is 0.008 N·m; elastic windup stays below 0.1°.
        for (amps, stays) in
            [(low - 0.02, false), (low + 0.02, true), (high - 0.02, true), (high + 0.02, false)]
        {
            let by = moved(amps);
            assert!(if stays { by < 0.1 } else { by > 0.3 }, "{by} deg at {amps} A from {deg} deg");
        }
    }
}

#[test]
fn the_plate_breaks_away_from_rest_at_preload_and_static_friction() {
    let mut numbers = BodyNumbers::nominal();
    // Ripple and cogs off: the closed form knows none.
    (numbers.motor.ripple, numbers.motor.ohms_ripple) = (0.0, 0.0);
    (numbers.motor.cogging_nm, numbers.motor.brush_volts) = (0.0, 0.0);
    let k = numbers.motor.constant * RATIO;
    for (sign, known) in [(1.0, 1.846), (-1.0, 1.752)] {
        let preload =
            if sign > 0.0 { numbers.springs.main.preload_nm } else { numbers.springs.default.preload_nm };
        let want = (preload + numbers.static_friction_nm()) / k;
        near(want, known, 2e-3);
        let mut body = moving(numbers.clone(), STEP_S).placed_at(6.5, sign);
        // The winding warms by some kelvin meanwhile: the current is what counts.
        let (mut amps, mut broke) = (1.5, 0.0);
        let start = body.plate_deg();
        // With an excess of torque that grows by 0.02 A/s · K = 0.0077 N·m/s, 0.0021 kg·m² take (6 · 0.5° J/0.0077)^⅓ = 0.24 s for 0.5°:
        // 0.005 A.
        while sign * (body.plate_deg() - start) < 0.5 && amps < 3.0 {
            amps += 0.02e-3;
            drive(&mut body, sign * amps * numbers.motor.ohms);
            body.advance(50);
            if body.state().plate_speed.abs() < 0.01 {
                broke = body.amps().abs();
            }
        }
        near(broke, want, 0.01);
    }
}

#[test]
fn a_rotor_crosses_its_lash_and_stalls_on_the_other_flank() {
    let numbers = BodyNumbers::nominal();
    let stall = (1.0 - numbers.motor.brush_volts) / numbers.motor.ohms;
    let half = 0.5 * (numbers.gears.sector.lash_deg + numbers.gears.pinion.lash_deg / SECTOR_RATIO);
    let mut body = moving(numbers, STEP_S).placed_at(6.5, -0.999);
    drive(&mut body, 1.0);
    let relative = |body: &Body| (body.state().rotor / RATIO).to_degrees() - body.plate_deg();
    let mut before = 0.0;
    let t = until(&mut body, STEP_S, 0.1, |body| {
        if relative(body) < half {
            before = body.state().rotor_speed;
        }
        relative(body) >= half
    });
    // LSODA with events at the mesh boundaries: 15.92 ms, 13.38 rad/s.
    near(t, 15.92e-3, 2.0 * STEP_S);
    near(before, 13.38, 0.02);
    body.advance(1000);
    // Ripple of the resistance: 2 %.
    near(body.amps(), stall, 0.03 * stall);
    assert!(body.state().plate_speed == 0.0 && body.plate_deg() - 6.5 < 0.15, "{}", body.plate_deg());
}

#[test]
fn the_return_depends_threefold_on_the_bridge() {
    let within = |body: &mut Body, bridge: Bridge| {
        body.set_bridge(bridge);
        let (mut t, mut last) = (0.0, 0.0);
        while t < 2.0 {
            body.advance(1);
            t += STEP_S;
            if (body.plate_deg() - 6.5).abs() > 1.0 {
                last = t;
            }
        }
        last
    };
    // Prototype study, default part, ms: from 84, 60, 30 and 0.3 degrees.
    for (bridge, known) in
        [(Bridge::Open, [273.6, 238.6, 174.2, 59.4]), (Bridge::Brake, [807.2, 599.0, 292.4, 94.2])]
    {
        for (from, ms) in [84.0, 60.0, 30.0, 0.3].into_iter().zip(known) {
            let side = if from > 6.5 { 1.0 } else { -1.0 };
            let mut body = moving(BodyNumbers::nominal(), STEP_S).placed_at(from, side);
            let t = 1e3 * within(&mut body, bridge);
            // Ripple and cogs depend on where the rotor starts: 1 %.
            near(t, ms, 0.01 * ms + 0.5);
            assert!((6.3..6.7).contains(&body.plate_deg()), "rests at {} deg", body.plate_deg());
        }
    }
}

#[test]
fn a_full_step_from_rest_takes_longer_by_the_lash() {
    // Prototype study: first 0.01° at 1.44 ms seated on the opening flank, 3.46 ms on the closing one; 30° at 29.1 ms.
    for (side, first) in [(1.0, 1.44e-3), (-1.0, 3.46e-3)] {
        let mut body = moving(BodyNumbers::nominal(), STEP_S).placed_at(6.5, side);
        drive(&mut body, 20.0);
        assert_eq!(body.terminal_volts(), 13.0, "the bridge has no more");
        near(until(&mut body, STEP_S, 0.1, |b| b.plate_deg() > 6.51), first, 0.06e-3);
    }
    let mut body = moving(BodyNumbers::nominal(), STEP_S).placed_at(6.5, 1.0);
    drive(&mut body, 13.0);
    near(until(&mut body, STEP_S, 0.1, |b| b.plate_deg() > 30.0), 29.1e-3, 0.1e-3);
}

#[test]
fn an_opened_bridge_lets_the_current_die_through_its_diodes_and_then_shows_the_motors_own_voltage() {
    let numbers = BodyNumbers::nominal();
    let tau = numbers.motor.henry / numbers.motor.ohms;
    let mut body = moving(numbers.clone(), STEP_S).placed_at(83.0, 1.0);
    drive(&mut body, 8.0);
    body.advance(5000);
    let amps = body.amps();
    assert!(amps > 5.0 && body.state().plate_speed.abs() < 1e-6, "stalled on the open stop: {amps} A");
    body.set_bridge(Bridge::Open);
    assert_eq!(body.terminal_volts(), -13.0);
    let t = until(&mut body, STEP_S, 0.01, |body| body.amps() == 0.0);
    // i(t) = (i0 + 13/R) e^(−t/τ) − 13/R, brush drop and ripple within 3 %.
    let want = tau * (1.0 + amps * numbers.motor.ohms / 13.0).ln();
    near(t, want, 0.03 * want + STEP_S);
    body.advance(2000);
    let own = body.state().rotor_speed * numbers.motor.constant;
    assert!(own < -0.5, "returns: {own} V");
    near(body.terminal_volts(), own, 0.04 * own.abs());
}

#[test]
fn the_error_falls_with_the_step() {
    let trace = |h: f64| {
        let mut body = moving(BodyNumbers::nominal(), h).placed_at(6.5, -0.999);
        drive(&mut body, 1.0);
        (0..200)
            .map(|_| {
                body.advance((200e-6 / h).round() as usize);
                *body.state()
            })
            .collect::<Vec<State>>()
    };
    let exact = trace(0.5e-6);
    let error = |h: f64| {
        let pairs = trace(h);
        pairs
            .iter()
            .zip(&exact)
            .map(|(a, b)| ((a.rotor - b.rotor) / RATIO).to_degrees().abs())
            .fold(0.0, f64::max)
    };
    let (coarse, middle, fine) = (error(40e-6), error(20e-6), error(10e-6));
    assert!((1.6..2.5).contains(&(coarse / middle)) && (1.6..2.5).contains(&(middle / fine)));
    assert!(middle < 0.002, "{middle} deg at the step that is used");
}

#[test]
fn a_body_at_rest_sleeps_and_has_not_moved_when_it_wakes() {
    let mut body = Body::new(BodyNumbers::nominal(), &Teeth::default(), 23.0).placed_at(60.0, 1.0);
    for _ in 0..20_000 {
        body.advance(5);
    }
    assert!(body.asleep());
    let before = *body.state();
    let mut state = before;
    for _ in 0..1000 {
        body.model().step(&mut state, None, 1.0, &Push::default());
    }
    assert_eq!(state, before);
    body.advance(5000);
    assert_eq!(*body.state(), before);
    drive(&mut body, 6.0);
    body.advance(1000);
    assert!(!body.asleep() && body.plate_deg() > 7.0);
}

#[test]
fn a_held_rotor_takes_the_same_way_as_one_that_is_stepped_in_full() {
    let mut body = moving(BodyNumbers::nominal(), STEP_S).placed_at(30.0, 1.0);
    let mut full = *body.state();
    let warmth = body.winding().factor();
    body.winding_mut().set_frozen(true);
    // Held, broken away, held again, let go.
    for (volts, steps) in [(1.6, 5_000), (2.6, 2_000), (1.4, 9_000), (-1.0, 1_000), (0.5, 9_000)] {
        drive(&mut body, volts);
        for _ in 0..steps {
            body.advance(1);
            body.model().step(&mut full, Some(volts), warmth, &Push::default());
        }
        assert_eq!(body.state().plate, full.plate, "{volts}");
        assert!((body.amps() - full.amps).abs() < 1e-12 && body.state().rotor == full.rotor, "{volts}");
    }
}

#[test]
fn a_probe_takes_the_plate_along_and_the_motor_follows_behind_the_lash() {
    let mut body = Body::new(BodyNumbers::nominal(), &Teeth::default(), 23.0);
    let speed = 15.0_f64.to_radians();
    let mut angle = body.state().plate;
    // Up: the plate pulls the motor by the opening flank's back, so the rotor lags; the probe is let go at the end.
    for _ in 0..20_000 {
        body.set_push(Push { torque_nm: 0.0, probe: Some(Probe { angle, speed }) });
        body.advance(5);
        angle += speed * 5.0 * STEP_S;
    }
    let wanted = angle.to_degrees();
    near(body.plate_deg(), wanted, 1.5);
    let lag = body.plate_deg() - (body.state().rotor / RATIO).to_degrees();
    near(lag, 0.15, 0.05);
    assert!(body.amps() == 0.0 && body.terminal_volts().abs() > 0.05);
    body.set_push(Push::default());
    body.advance(100_000);
    near(body.plate_deg(), 6.5, 0.1);
}

#[test]
fn a_dead_spot_takes_the_current_away_once_a_rotor_turn() {
    let mut numbers = BodyNumbers::nominal();
    numbers.motor.dead_spot =
        Some(trackpair_rig_sim::body::numbers::DeadSpot { centre_deg: 90.0, width_deg: 20.0, ohms: 30.0 });
    // No friction and no springs: it runs through.
    numbers.springs.main.preload_nm = 0.1;
    let mut body = moving(numbers, STEP_S).placed_at(10.0, 1.0);
    drive(&mut body, 3.0);
    let (mut turns, mut inside) = (Vec::new(), false);
    while body.plate_deg() < 80.0 {
        body.advance(1);
        let now = body.ohms() > 10.0;
        if now && !inside {
            turns.push(body.state().rotor / TAU);
        }
        inside = now;
    }
    assert!(turns.len() >= 3, "{turns:?}");
    turns.windows(2).for_each(|w| near(w[1] - w[0], 1.0, 0.01));
    near(turns[0].fract(), 80.0 / 360.0, 0.01);
}

#[test]
fn striking_a_stop_shocks_the_plate_and_gentle_contact_does_not() {
    let shock = |volts: f64| {
        let mut body = moving(BodyNumbers::nominal(), STEP_S).placed_at(6.5, 1.0);
        drive(&mut body, volts);
        let mut worst = 0.0_f64;
        for _ in 0..2000 {
            body.advance(5);
            worst = worst.max(body.take_shock());
        }
        (worst, body.plate_deg())
    };
    let (hard, end) = shock(13.0);
    assert!(end > 84.0 && hard > 5e4, "{hard} rad/s² at {end} deg");
    let (soft, end) = shock(1.8);
    assert!(end < 84.0 && soft < 1e4, "{soft} rad/s² at {end} deg");
}
