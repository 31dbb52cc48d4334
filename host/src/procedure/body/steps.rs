//! Steps: short pulses of a voltage from a plate at rest, at two places of every range and both ways, then steps of the setpoint.
//!
//! A pulse begins from a hold, so the gears lie on one flank and the rotor is seated; it is short, so the plate stays in its
//! range.

use super::super::{Bench, Motion, Recording};
use crate::sheet::BodyPlan;
use crate::trace::ProcedureKind;

/// The plate is held this long before a pulse, µs: the loop has settled and the plate stands.
const SETTLE_US: u32 = 130_000;
/// Length of a pulse, µs: four degrees at 8 V.
const PULSE_US: u32 = 14_000;
/// Places within a range, as shares of it.
const SHARES: [f64; 2] = [0.3, 0.75];
/// Places that the setpoint steps between, in turn, as shares of the travel: low to middle, middle to high, and all the way back.
const SETPOINTS: [f64; 3] = [0.12, 0.36, 0.71];
/// Time of each, µs: beyond the settling time of a healthy body.
const SETPOINT_US: u32 = 700_000;
/// Times that the setpoint steps are repeated.
const ROUNDS: u16 = 3;
/// Speed to the first place of a range, degrees per second.
const SPEED_DEG_S: f64 = 120.0;
/// Nearest to rest that a pulse begins, degrees: the gears must lie on their opening flank.
const ABOVE_REST_DEG: f64 = 1.5;

impl Bench<'_> {
    /// Steps the voltage and the setpoint over the travel.
    pub fn steps(&mut self) -> Recording {
        let procedure = ProcedureKind::Step;
        let plan = match self.body_plan(procedure) {
            Ok(plan) => plan,
            Err(failure) => return self.fail(failure),
        };
        let motion = self.step_motion(&plan);
        self.run_body(procedure, &plan, &motion, "steps over the travel, both ways")
    }

    fn step_motion(&self, plan: &BodyPlan) -> Motion {
        let travel = self.sheet.travel_deg;
        let ranges = [
            (self.rest_deg() + ABOVE_REST_DEG, plan.low_range_deg),
            (plan.low_range_deg, plan.middle_deg),
            (plan.middle_deg, travel),
        ];
        let each = (plan.steps.max(1)).div_ceil(SHARES.len() as u32).clamp(1, 30_000) as u16;
        let mut motion = Motion::new();
        for (from, to) in ranges {
            for share in SHARES {
                let place = self.clear_of_stops(from + share * (to - from));
                motion = motion.ramp(place, self.speed(SPEED_DEG_S));
                let again = motion.next_segment();
                motion = motion
                    .step(place, SETTLE_US)
                    .volts(plan.step_volts, PULSE_US)
                    .step(place, SETTLE_US)
                    .volts(-plan.step_volts, PULSE_US)
                    .repeat(again, each - 1);
            }
        }
        let first = motion.next_segment();
        for share in SETPOINTS {
            motion = motion.step(self.clear_of_stops(share * travel), SETPOINT_US);
        }
        motion.repeat(first, ROUNDS - 1)
    }
}
