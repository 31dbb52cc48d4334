//! Steps: short pulses of a voltage from a plate at rest, in every range and both ways, then steps of the setpoint.
//!
//! Before a pulse the loop brings the plate to its place, then a steady current within the friction's band takes over: the plate
//! stands, the gears lie on one flank, the rotor is seated. (Under the loop a plate that friction holds goes on creeping while the
//! integral works.) A pulse is short, so the plate stays in its range.

use super::super::{Bench, Motion, Recording};
use crate::quantity::ProcedureKind;
use crate::sheet::BodyPlan;

/// The loop brings the plate to its place within this, µs.
const RETURN_US: u32 = 110_000;
/// The steady current, A: the spring takes as much in the middle of a healthy body's friction band, from rest to wide open.
const HOLD_AMPS: f64 = 1.0;
/// It is kept this long before a pulse, µs.
const STAND_US: u32 = 50_000;
/// Length of a pulse, µs: four degrees at 8 V.
const PULSE_US: u32 = 14_000;
/// Places as shares of their range: two in the low one, where riders spend their time.
const LOW_SHARES: [f64; 2] = [0.3, 0.75];
const OTHER_SHARES: [f64; 1] = [0.5];
/// Places that the setpoint steps between, in turn, as shares of the travel: low to middle, middle to high, and all the way back.
const SETPOINTS: [f64; 3] = [0.12, 0.36, 0.71];
/// Time of each, µs: beyond the settling time of a healthy body.
const SETPOINT_US: u32 = 700_000;
/// Times that the setpoint steps are repeated.
const ROUNDS: u16 = 3;
/// Nearest to rest that a pulse begins, degrees: the gears must lie on their opening flank.
const ABOVE_REST_DEG: f64 = 1.5;

impl Bench<'_> {
    /// Steps the voltage and the setpoint over the travel.
    pub fn steps(&mut self) -> Recording {
        self.run_body(ProcedureKind::Step, "steps over the travel, both ways", |bench, plan| {
            bench.step_motion(plan)
        })
    }

    fn step_motion(&self, plan: &BodyPlan) -> Motion {
        let travel = self.sheet.travel_deg;
        let ranges = [
            (self.rest_deg() + ABOVE_REST_DEG, plan.low_range_deg, &LOW_SHARES[..]),
            (plan.low_range_deg, plan.middle_deg, &OTHER_SHARES[..]),
            (plan.middle_deg, travel, &OTHER_SHARES[..]),
        ];
        let mut motion = Motion::new();
        for (from, to, shares) in ranges {
            let each = plan.steps.max(1).div_ceil(shares.len() as u32).clamp(1, 30_000) as u16;
            for share in shares {
                motion = self.pulses(motion, plan, self.clear_of_stops(from + share * (to - from)), each);
            }
        }
        let first = motion.next_segment();
        for share in SETPOINTS {
            motion = motion.step(self.clear_of_stops(share * travel), SETPOINT_US);
        }
        motion.repeat(first, ROUNDS - 1)
    }

    /// Pulses both ways from a place, so many of each.
    pub(super) fn pulses(&self, motion: Motion, plan: &BodyPlan, place: f64, count: u16) -> Motion {
        let again = motion.next_segment();
        let hold = HOLD_AMPS * self.winding_ohms.unwrap_or(plan.motor.winding_ohms);
        let standing = |motion: Motion| motion.step(place, RETURN_US).volts(hold, STAND_US);
        let opened = standing(motion).volts(plan.step_volts, PULSE_US);
        standing(opened).volts(-plan.step_volts, PULSE_US).repeat(again, count - 1)
    }
}
