//! Guided push: the technician moves the plate with a probe through the bore, bridge open, and the rig only watches. It says
//! where to push next; nothing is driven.

use super::super::hand::HandEnd;
use super::super::recording::{Conductor, Plan, Recording};
use super::super::{Bench, ProcedureError};
use crate::session::{Recorder, Step};
use crate::trace::ProcedureKind;

/// Places to push at, degrees from the closed stop.
pub const PLACES_DEG: [f64; 5] = [15.0, 30.0, 45.0, 60.0, 75.0];
/// Time that one place is given, µs.
const PLACE_US: u64 = 6_000_000;

struct Guiding<'k> {
    until: HandEnd<'k>,
    started_us: Option<u64>,
    elapsed_us: u64,
}

impl Conductor for Guiding<'_> {
    fn step(&mut self, _recorder: &Recorder, rig_us: u64) -> Step {
        self.elapsed_us = rig_us.saturating_sub(*self.started_us.get_or_insert(rig_us));
        if self.until.is_pressed() { Step::Finish } else { Step::Wait }
    }

    fn progress(&self, planned_fraction: f64) -> (f64, String) {
        let place = PLACES_DEG[(self.elapsed_us / PLACE_US) as usize % PLACES_DEG.len()];
        let words = format!(
            "push the plate to {place:.0} deg with a soft probe, and there to and fro by 1.5 deg, slowly (15 deg/s at most)"
        );
        (planned_fraction, words)
    }
}

impl Bench<'_> {
    /// Watches while the plate is pushed, until `end`.
    pub fn guided_push(&mut self, end: HandEnd<'_>) -> Recording {
        match self.plan_push(end) {
            Ok(plan) => {
                let mut guiding = Guiding { until: end, started_us: None, elapsed_us: 0 };
                self.record(&plan, &mut guiding)
            }
            Err(failure) => self.fail(failure),
        }
    }

    fn plan_push(&mut self, end: HandEnd<'_>) -> Result<Plan, ProcedureError> {
        let procedure = ProcedureKind::GuidedPush;
        let plan = self.body_plan(procedure)?;
        self.power_up(procedure)?;
        Ok(Plan {
            procedure,
            program: None,
            stimuli: Vec::new(),
            channels: self.session.known_channels(),
            period_us: self.period_us(f64::from(plan.rate_hz)),
            max_us: end.after_us.unwrap_or(0),
            planned_us: end.after_us,
            sweep: None,
        })
    }
}
