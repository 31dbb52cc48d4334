//! On invented traces with known spring, friction and rig: what the ratio must be, and what degenerate traces say.

use super::*;
use crate::quantity::{Channel, Unit};
use crate::trace::{Column, Mark, MarkKind, Provenance, RigProvenance, Stimulus, TraceEnd};

/// A grip with a spring of `pull` N·m (the same everywhere) and friction on a rig of `amps_per_nm`, whose meter is off by `zero_amps`.
#[derive(Clone, Copy)]
struct Invented {
    pull: f64,
    friction: f64,
    amps_per_nm: f64,
    zero_amps: f64,
}

const TRAVEL_DEG: f64 = 75.0;
const PERIOD_US: u64 = 1000;

fn stimuli() -> Vec<Stimulus> {
    let ramp = |to_deg: f64, speed_deg_s: f64| Stimulus::Ramp { to_deg, speed_deg_s, accel_deg_s2: 1e4 };
    let hold = Stimulus::Hold { seconds: 0.4 };
    let mut all = vec![ramp(-1.0, 60.0), hold, ramp(76.0, 25.0), hold, ramp(-1.0, 25.0), hold];
    for place in [73.0, 37.0, 10.0] {
        all.extend([ramp(place, 60.0), hold, Stimulus::Release { seconds: 1.5 }, hold]);
    }
    all
}

impl Invented {
    fn trace(self) -> Trace {
        let program = stimuli();
        let (mut deg, mut amps, mut marks, mut at): (Vec<f32>, Vec<f32>, Vec<Mark>, f64) = Default::default();
        let read = |torque: f64| (torque * self.amps_per_nm + self.zero_amps) as f32;
        let hangs = self.pull < self.friction;
        for (k, stimulus) in program.iter().enumerate() {
            let at_us = deg.len() as u64 * PERIOD_US;
            marks.push(Mark { at_us, kind: MarkKind::Segment { segment: k as u8, pass: 0 } });
            match *stimulus {
                Stimulus::Ramp { to_deg, speed_deg_s, .. } => {
                    let (from, to) = (at, to_deg.clamp(0.0, TRAVEL_DEG));
                    let scans = ((to - from).abs() / speed_deg_s * 1e3).ceil().max(1.0) as usize;
                    let torque = self.pull + self.friction * (to - from).signum();
                    for scan in 1..=scans {
                        deg.push((from + (to - from) * scan as f64 / scans as f64) as f32);
                        amps.push(read(torque));
                    }
                    at = to;
                }
                Stimulus::Hold { seconds } => {
                    let pressed = if at <= 0.0 {
                        -0.9
                    } else if at >= TRAVEL_DEG {
                        0.9
                    } else {
                        self.pull
                    };
                    for _ in 0..(seconds * 1e3) as usize {
                        deg.push(at as f32);
                        amps.push(read(pressed));
                    }
                }
                Stimulus::Release { seconds } => {
                    for scan in 0..(seconds * 1e3) as usize {
                        at = if hangs { at } else { (at - 0.5).max(0.0) };
                        deg.push(at as f32);
                        // A whisper of noise, so that nothing is exactly alike.
                        amps.push(read(1e-6 * (scan % 3) as f64));
                    }
                }
                _ => unreachable!("not in the program"),
            }
        }
        let line: Vec<f32> = deg.iter().map(|d| 0.5 + 4.0 * d / TRAVEL_DEG as f32).collect();
        let column = |channel, unit, values| Column { channel, unit, values };
        Trace {
            provenance: provenance(program),
            time_us: (0..deg.len() as u64).map(|k| k * PERIOD_US).collect(),
            columns: vec![
                column(Channel::Rising, Unit::Volt, line),
                column(Channel::Supply, Unit::Volt, vec![5.0; deg.len()]),
                column(Channel::DriveAmps, Unit::Ampere, amps),
                column(Channel::Reference, Unit::Degree, deg),
            ],
            gaps: Vec::new(),
            marks,
            end: TraceEnd::Complete,
        }
    }
}

fn provenance(program: Vec<Stimulus>) -> Provenance {
    Provenance {
        simulated: true,
        rig: Some(RigProvenance {
            address: String::new(),
            model: String::new(),
            serial: String::new(),
            firmware: String::new(),
            protocol: 2,
            boot: 1,
            lets_go: true,
        }),
        program,
        ..Provenance::bare(ProcedureKind::Release, PERIOD_US as u32)
    }
}

fn told(trace: &Trace) -> PartAnalysis {
    let mut out = PartAnalysis::default();
    tell(Some(trace), ProcedureKind::Sweep, &mut out);
    out
}

fn value(out: &PartAnalysis, name: FigureName) -> Option<f64> {
    out.figures.iter().find(|f| f.name == name).map(|f| f.value)
}

#[test]
fn the_ratio_is_pull_over_friction_whatever_the_rig() {
    // The closed form: S/F. Scale, sign and zero of the meter are invented.
    for (amps_per_nm, zero_amps) in [(6.7, 0.0), (6.7, 1.3), (-0.2, -0.4), (90.0, 5.0)] {
        for (pull, friction) in [(0.3, 0.05), (0.012, 0.05)] {
            let out = told(&Invented { pull, friction, amps_per_nm, zero_amps }.trace());
            let ratio = value(&out, FigureName::ReturnTorque).expect("a torque");
            assert!(
                (ratio - 100.0 * pull / friction).abs() < 0.5,
                "{ratio} % of {pull}/{friction} on {amps_per_nm} A/N·m"
            );
        }
    }
}

#[test]
fn one_that_comes_back_is_timed_and_one_that_hangs_is_found_with_its_place() {
    let good = Invented { pull: 0.3, friction: 0.05, amps_per_nm: 6.7, zero_amps: 0.0 };
    let out = told(&good.trace());
    assert!(out.findings.is_empty(), "{:?}", out.findings);
    assert_eq!(value(&out, FigureName::ReturnRest), Some(0.0));
    // From 73° at 0.5° a scan: within a degree after 145 ms.
    let time = value(&out, FigureName::ReturnTime).expect("a time");
    assert!((time - 145.0).abs() < 3.0, "{time} ms");
    let weak = Invented { pull: 0.012, ..good };
    let out = told(&weak.trace());
    assert_eq!(out.findings.len(), 1);
    let found = &out.findings[0];
    assert_eq!(found.kind, FindingKind::WeakSpring);
    assert!(found.confidence > 0.95 && found.from_deg.is_some_and(|d| (d - 73.0).abs() < 0.1), "{found:?}");
    assert!(value(&out, FigureName::ReturnRest).is_some_and(|d| (d - 73.0).abs() < 0.1));
    assert_eq!(value(&out, FigureName::ReturnTime), None);
    let broken = told(&Invented { pull: 0.0, ..good }.trace());
    assert!(matches!(broken.findings[0].kind, FindingKind::BrokenSpring | FindingKind::WeakSpring));
}

#[test]
fn what_a_trace_lacks_is_named_and_nothing_is_guessed() {
    let good = Invented { pull: 0.3, friction: 0.05, amps_per_nm: 6.7, zero_amps: 0.0 };
    let why = |change: &dyn Fn(&mut Trace)| {
        let mut trace = good.trace();
        change(&mut trace);
        let out = told(&trace);
        assert!(out.findings.is_empty() && out.figures.is_empty(), "{:?}", out.figures);
        out.not_testable.iter().map(|n| n.why.clone()).collect::<String>()
    };
    assert!(why(&|t| t.columns.retain(|c| c.channel != Channel::Reference)).contains("stop to stop"));
    assert!(why(&|t| t.columns.retain(|c| c.channel != Channel::Rising)).contains("neither line"));
    assert!(
        why(&|t| t.marks.truncate(8)).contains("whole") || why(&|t| t.marks.clear()).contains("stop to stop")
    );
    // A drive that goes on holding: its current is that of the spring, here and there another.
    let held = why(&|t| {
        let deg = t.channel(Channel::Reference).expect("a reference").to_vec();
        let amps = t.columns.iter_mut().find(|c| c.channel == Channel::DriveAmps).expect("amps");
        let begun: Vec<u64> = t.marks.iter().map(|m| m.at_us).collect();
        for (k, value) in amps.values.iter_mut().enumerate() {
            // The releases' own tails, each with a current that goes with where it was let go.
            let segment = begun.iter().rposition(|us| *us <= k as u64 * PERIOD_US).unwrap_or(0);
            if matches!(t.provenance.program[segment], Stimulus::Release { .. }) {
                *value = 0.5 * segment as f32 + 0.0 * deg[k];
            }
        }
    });
    assert!(held.contains("went on"), "{held}");
    let mut nothing = PartAnalysis::default();
    tell(None, ProcedureKind::HandSweep, &mut nothing);
    assert!(nothing.not_testable[0].why.contains("snaps shut"));
}
