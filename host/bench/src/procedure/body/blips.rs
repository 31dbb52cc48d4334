//! Blips: snap openings, with one and the same short check before and after them: returns, pulses in the low range, coasts onto
//! rest.

use super::super::{Bench, Motion, Recording};
use crate::quantity::ProcedureKind;
use crate::sheet::BodyPlan;

/// Time a snap opening is driven, µs: most of the travel.
const SNAP_US: u32 = 60_000;
/// Time for the return between snaps, µs.
const RETURN_US: u32 = 500_000;
/// Returns of the check.
const RETURNS: u16 = 3;
/// Opening that the check's returns begin at, share of the travel.
const RETURN_FROM: f64 = 0.48;
/// Pulses of the check, each both ways.
const PULSES: u16 = 20;
/// Place of the pulses between rest and the end of the low range.
const PLACE: f64 = 0.6;
/// Hold before a return, µs.
const HOLD_US: u32 = 130_000;
/// Coasts of the check.
const COASTS: u32 = 5;
/// Speed between places, degrees per second.
const SPEED_DEG_S: f64 = 120.0;

impl Bench<'_> {
    /// The check before the snap openings.
    pub fn check_before_blips(&mut self) -> Recording {
        self.short_check(ProcedureKind::BlipBefore, "short check before the blips")
    }

    /// The check after the snap openings.
    pub fn check_after_blips(&mut self) -> Recording {
        self.short_check(ProcedureKind::BlipAfter, "short check after the blips")
    }

    /// The sheet's snap openings.
    pub fn blips(&mut self) -> Recording {
        self.run_body(ProcedureKind::Blip, "snap openings", |_, plan| {
            let blips = u16::try_from(plan.blips).unwrap_or(u16::MAX).max(1);
            Motion::new()
                .release(RETURN_US)
                .volts(plan.blip_volts, SNAP_US)
                .release(RETURN_US)
                .repeat(1, blips - 1)
        })
    }

    fn short_check(&mut self, procedure: ProcedureKind, words: &'static str) -> Recording {
        self.run_body(procedure, words, |bench, plan| bench.check_motion(plan))
    }

    fn check_motion(&self, plan: &BodyPlan) -> Motion {
        let speed = self.speed(SPEED_DEG_S);
        let open = self.clear_of_stops(RETURN_FROM * self.sheet.travel_deg);
        let motion = Motion::new().ramp(open, speed).hold(HOLD_US).release(RETURN_US).repeat(0, RETURNS - 1);
        let place = self.rest_deg() + PLACE * (plan.low_range_deg - self.rest_deg());
        let place = self.clear_of_stops(place);
        let motion = self.pulses(motion.ramp(place, speed), plan, place, PULSES);
        self.coasts(motion, COASTS)
    }
}
