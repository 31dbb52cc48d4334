//! Leads checks with known leads, made from the same circuit by hand.

use super::*;
use crate::analysis::statistics::Resampler;
use crate::analysis::synthetic::Synthetic;
use crate::quantity::Unit;
use crate::trace::{Column, Mark, MarkKind};

/// A part on a leads check.
#[derive(Clone, Copy)]
pub(crate) struct Circuit {
    pub supply_ohm: f64,
    pub ground_ohm: f64,
    pub source_ohm: [f64; 2],
    /// Amperes at 5 V.
    pub amps: f64,
    /// Whether the current goes with the supply.
    pub track: bool,
    pub noise_v: f64,
    /// From the first line to ground, behind an active output.
    pub leak_ohm: f64,
    /// Whether the second line runs at half of the first.
    pub half_slope: bool,
}

pub(crate) const GOOD: Circuit = Circuit {
    supply_ohm: 0.2,
    ground_ohm: 0.2,
    source_ohm: [50.0; 2],
    amps: 0.01,
    track: false,
    noise_v: 1.2e-3,
    leak_ohm: f64::INFINITY,
    half_slope: false,
};

/// Places 10, 50, 90 %: supply 5 → 4 → 5 V at each; loads of both lines at 50 %.
pub(crate) fn record(c: &Circuit, seed: u64) -> Trace {
    let mut r = Resampler::new(seed);
    let mut trace = Synthetic::hall(1).trace();
    let (mut columns, mut marks, mut time) = (vec![Vec::<f32>::new(); 4], Vec::new(), Vec::new());
    let mut now = 1_000_000u64;
    for (segment, place) in [0.1, 0.5, 0.9].into_iter().enumerate() {
        marks.push(Mark { at_us: now, kind: MarkKind::Segment { segment: segment as u8, pass: 0 } });
        let mut states = vec![(5.0, [false; 2]), (4.0, [false; 2]), (5.0, [false; 2])];
        if segment == 1 {
            states.extend([(5.0, [true, false]), (5.0, [false; 2]), (5.0, [false, true]), (5.0, [false; 2])]);
        }
        let mut before = (5.0, [false; 2]);
        for state in states {
            let (supply, load) = state;
            if supply != before.0 {
                marks.push(Mark {
                    at_us: now,
                    kind: MarkKind::Supply { millivolts: (1000.0 * supply) as u16 },
                });
            }
            for line in (0..2).filter(|l| load[*l] != before.1[*l]) {
                let kind =
                    MarkKind::Input { channel: Channel::SENSORS[line], load: load[line], pull_down: false };
                marks.push(Mark { at_us: now, kind });
            }
            before = state;
            let amps = if c.track { c.amps * supply / 5.0 } else { c.amps };
            let (low, high) = (amps * c.ground_ohm, supply - amps * c.supply_ohm);
            let leak = (low + (high - low) * (0.1 + 0.8 * place)) / c.leak_ohm;
            for _ in 0..1500 {
                for line in 0..2 {
                    let first = 0.1 + 0.8 * place;
                    let f = match (line, c.half_slope) {
                        (0, _) => first,
                        (_, true) => 0.5 * first,
                        (_, false) => 1.0 - first,
                    };
                    let open = low + (high - low) * f;
                    let v = if load[line] { open * LOAD_OHM / (LOAD_OHM + c.source_ohm[line]) } else { open };
                    columns[line].push((v + c.noise_v * r.normal()) as f32);
                }
                columns[2].push((supply + 0.2e-3 * r.normal()) as f32);
                columns[3].push((amps + leak + 20e-6 * r.normal()) as f32);
                time.push(now);
                now += 200;
            }
        }
    }
    let names = [Channel::Rising, Channel::Falling, Channel::Supply, Channel::SupplyAmps];
    trace.columns = names
        .into_iter()
        .zip(columns)
        .map(|(channel, values)| Column {
            channel,
            unit: if channel == Channel::SupplyAmps { Unit::Ampere } else { Unit::Volt },
            values,
        })
        .collect();
    trace.time_us = time;
    trace.marks = marks;
    trace
}

fn run(c: &Circuit) -> Report {
    analyse(&record(c, 3), &Synthetic::hall(1).sheet())
}

#[track_caller]
fn near(got: Option<Estimate>, want: f64, floor: f64) {
    let got = got.unwrap();
    assert!((got.value - want).abs() < 4.0 * got.standard_uncertainty + floor, "{got:?} is not {want}");
}

#[test]
fn drops_in_both_leads_are_told_apart_with_their_resistances() {
    for (supply_ohm, ground_ohm) in [(0.2, 0.2), (20.0, 0.2), (0.2, 15.0), (30.0, 12.0)] {
        let report = run(&Circuit { supply_ohm, ground_ohm, ..GOOD });
        assert_eq!(report.current, SupplyCurrent::Constant);
        near(report.supply_lead_ohm, supply_ohm, 0.3);
        near(report.ground_lead_ohm, ground_ohm, 0.3);
        near(report.supply_drop_v, 0.01 * supply_ohm, 0.003);
        assert!(report.supply_drop_v.unwrap().standard_uncertainty < 0.0005);
    }
}

#[test]
fn the_load_step_gives_each_lines_resistance() {
    let report = run(&Circuit { source_ohm: [50.0, 2050.0], ..GOOD });
    near(report.source_ohm[0], 50.0, 1.0);
    near(report.source_ohm[1], 2050.0, 3.0);
    near(report.loadless_ratio[0], 0.5, 1e-3);
}

#[test]
fn lines_of_different_slope_stand_at_different_places_of_their_tracks() {
    // Half way: 6 kohm · 0.5 · 0.5 = 1500 ohm and 6 kohm · 0.25 · 0.75 = 1125 ohm, both with 100 ohm of contact; 2 · 5 V / 6 kohm.
    let track = Circuit { track: true, amps: 10.0 / 6000.0, half_slope: true, ..GOOD };
    let report = run(&Circuit { source_ohm: [1600.0, 1225.0], ..track });
    near(report.track_difference_ohm(), 375.0, 1.0);
    // Without the current the track may be anything between none and all of it.
    let mut trace = record(&Circuit { source_ohm: [1600.0, 1225.0], ..track }, 3);
    trace.columns.retain(|c| c.channel != Channel::SupplyAmps);
    let unknown = analyse(&trace, &Synthetic::hall(1).sheet()).track_difference_ohm().unwrap();
    assert!((unknown.value - 200.0).abs() < 10.0 && unknown.standard_uncertainty > 100.0, "{unknown:?}");
    near(run(&Circuit { source_ohm: [450.0; 2], track: true, ..GOOD }).track_difference_ohm(), 0.0, 2.0);
    near(run(&Circuit { half_slope: true, ..GOOD }).track_difference_ohm(), 0.0, 1e-9);
}

#[test]
fn a_track_is_recognised_and_its_leads_are_called_untestable() {
    let report = run(&Circuit { track: true, ground_ohm: 30.0, source_ohm: [450.0; 2], ..GOOD });
    assert_eq!(report.current, SupplyCurrent::Ratiometric);
    assert!(report.supply_drop_v.is_none());
    assert!(report.not_testable.iter().any(|n| n.why.contains("four wires")), "{:?}", report.not_testable);
}

#[test]
fn without_current_load_or_steps_it_says_what_is_missing() {
    let sheet = Synthetic::hall(1).sheet();
    let mut trace = record(&Circuit { ground_ohm: 20.0, ..GOOD }, 5);
    trace.columns.retain(|c| c.channel != Channel::SupplyAmps);
    let report = analyse(&trace, &sheet);
    assert_eq!(report.current, SupplyCurrent::Unknown);
    near(report.ground_drop_v, 0.2, 0.003);
    assert!(report.ground_lead_ohm.is_none());
    trace.marks.clear();
    let report = analyse(&trace, &sheet);
    assert!(report.ground_drop_v.is_none() && report.source_ohm == [None; 2]);
    assert_eq!(report.not_testable.len(), 3);
    for n in [0, 1, 5, 100] {
        let mut short = trace.clone();
        short.time_us.truncate(n);
        short.columns.iter_mut().for_each(|c| c.values.truncate(n));
        assert!(analyse(&short, &sheet).supply_drop_v.is_none());
    }
    let mut holes = record(&GOOD, 6);
    holes.columns.iter_mut().for_each(|c| c.values.fill(f32::NAN));
    assert!(analyse(&holes, &sheet).source_ohm[0].is_none());
}
