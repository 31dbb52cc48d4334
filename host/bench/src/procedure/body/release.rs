//! Release: the plate is opened, held and let go, from every opening of the sheet, with the bridge open and with the motor braked; all of it
//! twice, so that a return of which scans are lost on the line is not the only one.

use super::super::{Bench, Motion, Recording};
use crate::quantity::ProcedureKind;

/// Hold before letting go, µs.
const HOLD_US: u32 = 300_000;
/// Time for the return, µs: beyond the limits of any sheet's return time.
const RETURN_US: u32 = 1_500_000;
/// Speed to an opening, degrees per second.
const SPEED_DEG_S: f64 = 120.0;
/// Most openings: a program has 40 segments.
const MOST: usize = 6;
/// Rounds.
const ROUNDS: u16 = 2;

impl Bench<'_> {
    /// Lets the plate go from the sheet's openings.
    pub fn release(&mut self) -> Recording {
        self.run_body(ProcedureKind::Release, "letting go from several openings", |bench, plan| {
            let mut motion = Motion::new();
            for opening in plan.release_deg.iter().take(MOST) {
                let place = bench.clear_of_stops(*opening);
                let speed = bench.speed(SPEED_DEG_S);
                motion = motion.ramp(place, speed).hold(HOLD_US).release(RETURN_US);
                motion = motion.ramp(place, speed).hold(HOLD_US).brake(RETURN_US);
            }
            motion.repeat(0, ROUNDS - 1)
        })
    }
}
