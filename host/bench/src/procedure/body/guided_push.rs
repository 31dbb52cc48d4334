//! Guided push: the technician moves the plate with a probe through the bore, bridge open, and the rig only watches. It says
//! where to push next; nothing is driven.

use super::super::hand::{HandEnd, Typed};
use super::super::recording::{Plan, Recording};
use super::super::{Bench, ProcedureError};
use crate::quantity::ProcedureKind;

/// Places to push at, degrees from the closed stop.
pub const PLACES_DEG: [f64; 5] = [15.0, 30.0, 45.0, 60.0, 75.0];
/// Time that one place is given, µs.
const PLACE_US: u64 = 6_000_000;

/// What to do so long after the beginning.
fn words(elapsed_us: u64) -> String {
    let place = PLACES_DEG[(elapsed_us / PLACE_US) as usize % PLACES_DEG.len()];
    format!(
        "push the plate to {place:.0}° with a soft probe, and there to and fro by 1.5°, slowly (15 °/s at most)"
    )
}

impl Bench<'_> {
    /// Watches while the plate is pushed, until `end`.
    pub fn guided_push(&mut self, end: HandEnd<'_>) -> Recording {
        match self.plan_push(end) {
            Ok(plan) => self.record(&plan, |tape| {
                while tape.listen() {
                    let elapsed_us = tape.elapsed_us();
                    tape.report(&|_| words(elapsed_us));
                    if end.typed() == Typed::End {
                        tape.finish();
                    }
                }
            }),
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
