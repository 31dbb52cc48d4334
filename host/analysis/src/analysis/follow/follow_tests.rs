//! Runs that were made up with known lags: what is found must be those.

use super::*;
use crate::analysis::synthetic::Synthetic;
use crate::quantity::Unit;
use crate::sheet::shipped;
use crate::trace::{Column, Mark, MarkKind, PlateScale, Stimulus, TraceEnd};

const PERIOD_US: u32 = 200;

/// A run in which the plate follows with a lag by a given grip, degrees over seconds.
struct MadeUp {
    program: Vec<(Stimulus, f64)>,
    lag_ms: f64,
    offset_deg: f64,
}

const MAPPING: [(f64, f64); 3] = [(0.1, 4.0), (0.5, 30.0), (0.9, 80.0)];

impl MadeUp {
    /// Grip angle at a time, degrees.
    fn grip_at(&self, seconds: f64) -> f64 {
        let (mut at, mut begun) = (0.0, 0.0);
        for (stimulus, lasts) in &self.program {
            let gone = (seconds - begun).clamp(0.0, *lasts);
            let to = match *stimulus {
                Stimulus::Ramp { to_deg, speed_deg_s, .. } => {
                    let way: f64 = to_deg - at;
                    at + way.signum() * (speed_deg_s * gone).min(way.abs())
                }
                // 2 ms of a servo.
                Stimulus::Step { to_deg, .. } => at + (to_deg - at) * (gone / 0.002).min(1.0),
                _ => at,
            };
            if seconds < begun + lasts {
                return to;
            }
            (at, begun) = (to, begun + lasts);
        }
        at
    }

    fn traces(&self) -> (Trace, Trace) {
        let seconds: f64 = self.program.iter().map(|p| p.1).sum();
        let time_us: Vec<u64> =
            (0..).map(|k| k * u64::from(PERIOD_US)).take_while(|t| (*t as f64) < seconds * 1e6).collect();
        let ratio = |deg: f64| 0.1 + 0.8 * deg / 75.0;
        let grip: Vec<f64> = time_us.iter().map(|t| self.grip_at(*t as f64 * 1e-6)).collect();
        let plate = |t: &u64| {
            let then = (*t as f64 * 1e-6 - 1e-3 * self.lag_ms).max(0.0);
            course::mapped(&MAPPING, ratio(self.grip_at(then))) + self.offset_deg
        };
        let plates: Vec<f64> = time_us.iter().map(plate).collect();
        let column = |channel, unit, values: Vec<f64>| Column {
            channel,
            unit,
            values: values.into_iter().map(|v| v as f32).collect(),
        };
        let volts = |ratios: Vec<f64>| ratios.into_iter().map(|r| 5.0 * r).collect::<Vec<f64>>();
        let mut begun = 0.0;
        let mut marks = Vec::new();
        for (k, (_, lasts)) in self.program.iter().enumerate() {
            marks.push(Mark {
                at_us: (begun * 1e6) as u64,
                kind: MarkKind::Segment { segment: k as u8, pass: 0 },
            });
            begun += lasts;
        }
        let mut of_grip = Synthetic::hall(1).trace_of(&[0.0; 8]);
        of_grip.provenance.procedure = ProcedureKind::Follow;
        of_grip.provenance.sweep = None;
        of_grip.provenance.mapping = MAPPING.to_vec();
        of_grip.provenance.program = self.program.iter().map(|p| p.0).collect();
        of_grip.provenance.reference_zero_deg = 0.0;
        of_grip.provenance.period_us = PERIOD_US;
        let supply = || column(Channel::Supply, Unit::Volt, vec![5.0; time_us.len()]);
        let mut of_plate = of_grip.clone();
        of_plate.provenance.plate = Some(PlateScale { closed_ratio: 0.1, open_ratio: 0.9, travel_deg: 84.0 });
        let lines = |first: &[f64]| {
            let second = first.iter().map(|r| 1.0 - r).collect();
            [
                column(Channel::Rising, Unit::Volt, volts(first.to_vec())),
                column(Channel::Falling, Unit::Volt, volts(second)),
            ]
        };
        let of_lines: Vec<f64> = grip.iter().map(|g| ratio(*g)).collect();
        of_grip.columns = lines(&of_lines)
            .into_iter()
            .chain([supply(), column(Channel::Reference, Unit::Degree, grip)])
            .collect();
        let of_lines: Vec<f64> = plates.iter().map(|p| 0.1 + 0.8 * p / 84.0).collect();
        let motor = column(Channel::MotorAmps, Unit::Ampere, vec![0.0; time_us.len()]);
        of_plate.columns = lines(&of_lines).into_iter().chain([supply(), motor]).collect();
        for trace in [&mut of_grip, &mut of_plate] {
            (trace.time_us, trace.marks, trace.gaps, trace.end) =
                (time_us.clone(), marks.clone(), Vec::new(), TraceEnd::Complete);
        }
        (of_grip, of_plate)
    }
}

fn ramps(speed: f64, count: usize) -> Vec<(Stimulus, f64)> {
    let ramp = |to_deg| (Stimulus::Ramp { to_deg, speed_deg_s: speed, accel_deg_s2: 1e6 }, 75.0 / speed);
    let hold = || (Stimulus::Hold { seconds: 0.3 }, 0.3);
    (0..count).flat_map(|_| [ramp(75.0), hold(), ramp(0.0), hold()]).collect()
}

fn steps(count: usize) -> Vec<(Stimulus, f64)> {
    let step = |to_deg| (Stimulus::Step { to_deg, seconds: 0.3 }, 0.3);
    (0..count).flat_map(|_| [step(20.0), step(35.0)]).collect()
}

fn analysed(run: &MadeUp) -> PartAnalysis {
    let (grip, plate) = run.traces();
    analyse(PairTraces { grip: &grip, plate: &plate, rest: None }, &shipped("pair").unwrap())
}

#[track_caller]
fn value(of: &PartAnalysis, name: FigureName) -> f64 {
    of.figures
        .iter()
        .find(|f| f.name == name)
        .unwrap_or_else(|| panic!("{name:?}: {:?}", of.not_testable))
        .value
}

#[test]
fn a_plate_that_lags_by_a_known_time_is_told_so_by_ramps_and_by_steps() {
    for lag_ms in [2.0, 9.0, 25.0] {
        let program = ramps(60.0, 2).into_iter().chain(steps(40)).collect();
        let out = analysed(&MadeUp { program, lag_ms, offset_deg: 0.0 });
        // Half a scan of the made-up columns, and the ends of the mapping's straight lines.
        assert!(
            (value(&out, FigureName::FollowLag) - lag_ms).abs() < 0.2,
            "{lag_ms}: {}",
            value(&out, FigureName::FollowLag)
        );
        for name in [FigureName::FollowLatencyP50, FigureName::FollowLatencyP95] {
            assert!((value(&out, name) - lag_ms).abs() < 0.1, "{lag_ms}: {name:?} {}", value(&out, name));
        }
        // 60 deg/s of grip are 80 deg/s of plate in the upper half: 50 deg over 37.5 deg.
        let deviation = value(&out, FigureName::FollowDeviation);
        assert!((deviation - 80.0e-3 * lag_ms).abs() < 0.02 * lag_ms.max(2.0), "{lag_ms}: {deviation}");
        assert_eq!(value(&out, FigureName::LimpTrips), 0.0);
        assert_eq!(out.plots.len(), 3);
    }
}

#[test]
fn a_constant_offset_is_a_deviation_and_no_lag() {
    let out = analysed(&MadeUp { program: ramps(60.0, 2), lag_ms: 0.0, offset_deg: 2.5 });
    assert!(value(&out, FigureName::FollowLag).abs() < 0.2);
    assert!((value(&out, FigureName::FollowDeviation) - 2.5).abs() < 0.02);
    assert!(out.not_testable.iter().any(|n| n.what == "follow_latency_p50"), "no step was made");
}

#[test]
fn a_plate_that_stands_still_has_no_latency_and_that_is_said() {
    let run = MadeUp { program: steps(40), lag_ms: 1e6, offset_deg: 0.0 };
    let out = analysed(&run);
    assert!(out.figures.iter().all(|f| f.name != FigureName::FollowLatencyP50));
    assert!(out.not_testable.iter().any(|n| n.why.contains("never came half-way")), "{:?}", out.not_testable);
}

#[test]
fn lost_lines_of_either_part_trip_its_own_monitor() {
    let program = || ramps(60.0, 1);
    for (of_the_plate, name, other) in [
        (false, FigureName::LimpTrips, FigureName::PlateTrips),
        (true, FigureName::PlateTrips, FigureName::LimpTrips),
    ] {
        let (mut grip, mut plate) = MadeUp { program: program(), lag_ms: 5.0, offset_deg: 0.0 }.traces();
        let lost = if of_the_plate { &mut plate } else { &mut grip };
        // 300 ms of ground: beyond 20 samples of 5 ms.
        let line = lost.columns.iter_mut().find(|c| c.channel == Channel::Falling).unwrap();
        line.values[3_000..4_500].fill(0.0);
        let out = analyse(PairTraces { grip: &grip, plate: &plate, rest: None }, &shipped("pair").unwrap());
        assert!((value(&out, name) - 1.0).abs() < 0.05, "{name:?} {}", value(&out, name));
        assert_eq!(value(&out, other), 0.0);
        let word = if of_the_plate { "the plate's lines" } else { "the grip's lines" };
        assert!(out.warnings.iter().any(|w| w.contains(word) && w.contains("0.60 s")), "{:?}", out.warnings);
    }
}

#[test]
fn traces_of_other_scans_or_without_a_mapping_are_told() {
    let (grip, plate) = MadeUp { program: ramps(60.0, 1), lag_ms: 5.0, offset_deg: 0.0 }.traces();
    let sheet = shipped("pair").unwrap();
    let why = |grip: &Trace, plate: &Trace| {
        let out = analyse(PairTraces { grip, plate, rest: None }, &sheet);
        out.not_testable.iter().map(|n| n.why.clone()).collect::<Vec<_>>().join("; ")
    };
    let mut other = plate.clone();
    other.time_us.iter_mut().for_each(|t| *t += 1);
    assert!(why(&grip, &other).contains("not of the same scans"));
    let mut unmapped = grip.clone();
    unmapped.provenance.mapping.clear();
    assert!(why(&unmapped, &plate).contains("by which mapping"));
}
