//! A run as the trace that a host would have stored, for tests alone. Nominal feedback lines, 5 V supply.

use super::programs;
use super::rig::{Bench, Run};
use crate::analysis::body::traces::BodyTraces;
use crate::analysis::statistics::Resampler;
use crate::quantity::{Channel, ProcedureKind, Unit};
use crate::trace::{Column, Mark, MarkKind, PlateScale, Provenance, Stimulus, Trace, TraceEnd};

const TRAVEL_DEG: f64 = 84.0;

/// The trace of a run of a program.
pub fn trace(run: &Run, procedure: ProcedureKind, program: &[Stimulus]) -> Trace {
    let s = &run.recording.signals;
    let mut random = Resampler::new(s.time_us.first().copied().unwrap_or(0) ^ 0x5EC0);
    let share = 0.8 / TRAVEL_DEG;
    let columns = [
        (
            Channel::Rising,
            Unit::Volt,
            s.deg.iter().zip(&run.supply).map(|(d, v)| v * (0.1 + share * d)).collect::<Vec<f64>>(),
        ),
        (
            Channel::Falling,
            Unit::Volt,
            run.second_deg
                .iter()
                .zip(&run.supply)
                .map(|(d, v)| v * (0.9 - share * (d + 0.02 * random.normal())))
                .collect(),
        ),
        (Channel::Supply, Unit::Volt, run.supply.iter().map(|v| v + 3e-4 * random.normal()).collect()),
        (Channel::MotorVolts, Unit::Volt, s.volts.clone()),
        (Channel::MotorAmps, Unit::Ampere, s.amps.clone()),
        (Channel::Temperature, Unit::Celsius, vec![s.celsius; s.deg.len()]),
    ];
    let columns = columns.into_iter().map(|(channel, unit, values)| Column {
        channel,
        unit,
        values: values.into_iter().map(|v| v as f32).collect(),
    });
    let marks = run.recording.stretches.iter().map(|s| Mark {
        at_us: s.began_us,
        kind: MarkKind::Segment { segment: s.segment as u8, pass: s.pass },
    });
    let program = compact(run, program);
    Trace {
        provenance: Provenance {
            simulated: true,
            part: "invented".into(),
            started: "2026-01-01T00:00:00Z".into(),
            recorded_by: "test".into(),
            program,
            plate: Some(PlateScale { closed_ratio: 0.1, open_ratio: 0.9, travel_deg: TRAVEL_DEG }),
            ..Provenance::bare(procedure, 200)
        },
        time_us: s.time_us.clone(),
        columns: columns.collect(),
        gaps: Vec::new(),
        marks: marks.collect(),
        end: TraceEnd::Complete,
    }
}

/// Segment numbers are bytes: a list of stimuli in these tests is shorter than that.
fn compact(run: &Run, program: &[Stimulus]) -> Vec<Stimulus> {
    assert!(program.len() <= 256 && run.recording.left_out == 0, "a program of {} stimuli", program.len());
    program.to_vec()
}

/// Every trace of a body's plan.
pub struct Plan(Vec<Trace>);

impl Plan {
    /// Records the plan.
    pub fn record(bench: &mut Bench) -> Self {
        let rest_deg = bench.seen_deg(bench.plant.th0.to_degrees());
        let steps: Vec<Stimulus> =
            [10.0, 40.0, 65.0].into_iter().flat_map(|deg| programs::steps(deg, 8)).collect();
        let steps = [steps, programs::responses()].concat();
        let programs = [
            (ProcedureKind::Rest, programs::rest()),
            (ProcedureKind::Creep, programs::creep()),
            (ProcedureKind::Step, steps),
            (ProcedureKind::Release, programs::releases()),
            (ProcedureKind::Lash, programs::lash(rest_deg)),
            (ProcedureKind::ToothMap, programs::tooth_map()),
        ];
        Self(programs.into_iter().map(|(kind, p)| trace(&bench.run(&p), kind, &p)).collect())
    }

    /// Sorted for the analysis.
    pub fn traces(&self) -> BodyTraces<'_> {
        BodyTraces::sorted(&self.0)
    }

    /// For spoiling.
    pub fn all_mut(&mut self) -> &mut [Trace] {
        &mut self.0
    }
}
