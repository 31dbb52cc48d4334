//! Ripple, sag and noise of the supply: what must go out of the ratio, and what must not get into it.

use crate::analysis::prepared::Prepared;
use crate::analysis::synthetic::Synthetic;
use crate::analysis::{dropout, noise, statistics};
use crate::quantity::Channel;
use crate::trace::Trace;

/// Adds `wave(seconds)` volts to the supply, and what a ratiometric line makes of it, `late_us` later, to the lines.
fn with_supply(part: &Synthetic, late_us: f64, wave: impl Fn(f64) -> f64) -> Trace {
    let mut trace = part.trace();
    for column in &mut trace.columns {
        let late = if Channel::SENSORS.contains(&column.channel) { late_us * 1e-6 } else { 0.0 };
        for (i, v) in column.values.iter_mut().enumerate() {
            let add = wave(i as f64 / part.rate_hz - late);
            match column.channel {
                Channel::Rising | Channel::Falling => *v *= (1.0 + add / part.supply_v) as f32,
                Channel::Supply => *v += add as f32,
                _ => {}
            }
        }
    }
    trace
}

fn sine(volts: f64, hertz: f64) -> impl Fn(f64) -> f64 {
    move |t| volts * (std::f64::consts::TAU * hertz * t).sin()
}

/// Noise of both lines, mV, with the standard uncertainty.
fn noises(trace: &Trace, part: &Synthetic) -> [(f64, f64); 2] {
    let prepared = Prepared::new(trace, &part.sheet());
    [0, 1].map(|line| {
        let f = noise::analyse(&prepared, line).expect("measured");
        (f.value, f.standard_uncertainty())
    })
}

#[track_caller]
fn same(a: [(f64, f64); 2], b: [(f64, f64); 2], what: &str) {
    for line in 0..2 {
        let u = a[line].1.hypot(b[line].1);
        assert!((a[line].0 - b[line].0).abs() <= 2.0 * u, "{what}: {:?} {:?}", a[line], b[line]);
    }
}

#[test]
fn ripple_of_the_supply_is_neither_noise_nor_lost_contact() {
    for seed in 1..=10 {
        let part = Synthetic { ripple_v: 0.0, cycles: 2, ..Synthetic::pot(seed) };
        let quiet = noises(&part.trace(), &part);
        for (volts, hertz) in [(0.030, 100.0), (0.005, 300.0), (0.050, 50.0)] {
            for late_us in [0.0, 100.0] {
                let trace = with_supply(&part, late_us, sine(volts, hertz));
                let sheet = part.sheet();
                let found = dropout::find(&Prepared::new(&trace, &sheet), &sheet);
                assert!(found.events.is_empty(), "{seed} {volts} {hertz}: {:?}", found.events);
                same(noises(&trace, &part), quiet, &format!("{seed} {volts} V {hertz} Hz {late_us} us"));
            }
        }
    }
}

#[test]
fn noise_of_a_quiet_supplys_own_reading_does_not_get_into_the_lines() {
    for seed in 1..=10 {
        let part = Synthetic { ripple_v: 0.0, cycles: 2, ..Synthetic::pot(seed) };
        let quiet = noises(&part.trace(), &part);
        let mut random = statistics::Resampler::new(seed);
        let mut noisy = part.trace();
        let supply = noisy.columns.iter_mut().find(|c| c.channel == Channel::Supply).unwrap();
        // A 10-bit column with 3 mV of noise of its own.
        let step = 5.12 / 1024.0;
        supply
            .values
            .iter_mut()
            .for_each(|v| *v = (((f64::from(*v) + 0.003 * random.normal()) / step).round() * step) as f32);
        same(noises(&noisy, &part), quiet, &format!("{seed}"));
    }
}

#[test]
fn a_sag_in_one_scan_goes_out_of_the_ratio_and_a_supply_column_that_jumps_alone_does_not_get_in() {
    for seed in 1..=10 {
        let part = Synthetic { ripple_v: 0.0, cycles: 1, ..Synthetic::pot(seed) };
        let sheet = part.sheet();
        // 80 mV for 12 ms, edges within one scan: less than a supply that is lost.
        let sag = |t: f64| if (0.7..0.712).contains(&t) { -0.08 } else { 0.0 };
        let trace = with_supply(&part, 0.0, sag);
        let found = dropout::find(&Prepared::new(&trace, &sheet), &sheet);
        assert!(found.events.is_empty(), "{seed}: {:?}", found.events);
        let mut alone = part.trace();
        let supply = alone.columns.iter_mut().find(|c| c.channel == Channel::Supply).unwrap();
        supply.values[3000..3004].iter_mut().for_each(|v| *v -= 1.0);
        let prepared = Prepared::new(&alone, &sheet);
        assert!(prepared.warnings.iter().any(|w| w.contains("not believed")), "{:?}", prepared.warnings);
        let found = dropout::find(&prepared, &sheet);
        assert!(found.events.is_empty(), "{seed}: {:?}", found.events);
    }
}

#[test]
fn a_time_between_supply_and_lines_is_named_and_a_supply_logged_seldom_too() {
    let part = Synthetic { ripple_v: 0.0, cycles: 1, ..Synthetic::pot(1) };
    let trace = with_supply(&part, 150.0, sine(0.03, 300.0));
    let prepared = Prepared::new(&trace, &part.sheet());
    let late = prepared.warnings.iter().find(|w| w.contains("later than the supply's own column"));
    let told: f64 = late.and_then(|w| w.split(' ').find_map(|n| n.parse().ok())).expect("a number");
    assert!((told - 150.0).abs() < 15.0, "{told}");
    let mut seldom = part.trace();
    let supply = seldom.columns.iter_mut().find(|c| c.channel == Channel::Supply).unwrap();
    supply.values.iter_mut().enumerate().filter(|(i, _)| i % 10 != 0).for_each(|(_, v)| *v = f32::NAN);
    let prepared = Prepared::new(&seldom, &part.sheet());
    assert!(prepared.warnings.iter().any(|w| w.contains("every 10 scans")), "{:?}", prepared.warnings);
    assert!(prepared.ratio[0].as_ref().unwrap()[20..5000].iter().all(|r| r.is_finite()));
}
