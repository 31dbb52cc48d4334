//! Creep: slow ramps over the whole travel, then coasts from nearly wide open that show the motor's constant.

use super::super::{Bench, Motion, Recording};
use crate::quantity::ProcedureKind;

/// Hold at each end of a ramp, µs.
const END_HOLD_US: u32 = 200_000;
/// Place that the plate coasts from, share of the travel: far, so that the bend of the feedback line weighs little.
const COAST_FROM: f64 = 0.93;
/// Hold before a coast, µs.
const COAST_HOLD_US: u32 = 250_000;
/// Length of a coast, µs.
const COAST_US: u32 = 600_000;
/// Coasts.
const COASTS: u16 = 3;
/// Speed to where a coast begins, degrees per second.
const SPEED_DEG_S: f64 = 120.0;

impl Bench<'_> {
    /// Moves the plate slowly to and fro, then lets it coast.
    pub fn creep(&mut self) -> Recording {
        self.run_body(ProcedureKind::Creep, "slow ramps over the travel", |bench, plan| {
            let (low, high) = (bench.clear_of_stops(0.0), bench.clear_of_stops(bench.sheet.travel_deg));
            let slow = plan.creep_speed_deg_s;
            let start = Motion::new().ramp(low, bench.speed(SPEED_DEG_S)).hold(END_HOLD_US);
            let again = start.next_segment();
            let cycles = u16::try_from(plan.creep_cycles).unwrap_or(u16::MAX).max(1);
            let motion = start
                .ramp(high, slow)
                .hold(END_HOLD_US)
                .ramp(low, slow)
                .hold(END_HOLD_US)
                .repeat(again, cycles - 1);
            let coast = motion.next_segment();
            let from = bench.clear_of_stops(COAST_FROM * bench.sheet.travel_deg);
            motion
                .ramp(from, bench.speed(SPEED_DEG_S))
                .hold(COAST_HOLD_US)
                .release(COAST_US)
                .repeat(coast, COASTS - 1)
        })
    }
}
