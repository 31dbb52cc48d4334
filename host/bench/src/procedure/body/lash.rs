//! Lash: the rotor is swung to and fro inside the lash at a voltage that does not move the plate, then coasts onto the plate at
//! rest from a little above it.

use super::super::{Bench, Motion, Recording};
use crate::quantity::ProcedureKind;

/// Share of the voltage that moves the plate; more than 0.65 moves it now and then.
const SHARE: f64 = 0.6;
/// Voltage that moves a healthy plate, V, where rest and stops did not show.
const BREAK_VOLTS: f64 = 2.2;
/// Levels of a swing as shares of its first, with their times, µs.
const LEVELS: [(f64, u32); 4] = [(1.0, 80_000), (0.8, 12_000), (0.62, 12_000), (0.0, 20_000)];
/// Swings, each both ways.
const SWINGS: u16 = 10;
/// A coast begins this far above rest, degrees.
const COAST_ABOVE_DEG: f64 = 5.0;
/// Hold before a coast, µs, and its length.
const COAST_HOLD_US: u32 = 200_000;
const COAST_US: u32 = 400_000;
/// Rest before the swings, µs.
const REST_US: u32 = 400_000;
/// Speed to where a coast begins, degrees per second.
const SPEED_DEG_S: f64 = 60.0;

impl Bench<'_> {
    /// Swings and arrests the rotor inside the lash at rest.
    pub fn lash(&mut self) -> Recording {
        self.run_body(ProcedureKind::Lash, "the rotor swung and arrested inside the lash", |bench, plan| {
            let mut motion = Motion::new().release(REST_US);
            let again = motion.next_segment();
            for way in [1.0, -1.0] {
                let volts = way * SHARE * bench.break_volts.unwrap_or(BREAK_VOLTS);
                for (share, us) in LEVELS {
                    motion = motion.volts(share * volts, us);
                }
            }
            motion = motion.repeat(again, SWINGS - 1).release(REST_US);
            bench.coasts(motion, plan.lash_coasts)
        })
    }

    /// Coasts onto rest from a little above it.
    pub(super) fn coasts(&self, motion: Motion, count: u32) -> Motion {
        let coast = motion.next_segment();
        let count = u16::try_from(count).unwrap_or(u16::MAX).max(1);
        motion
            .ramp(self.clear_of_stops(self.rest_deg() + COAST_ABOVE_DEG), self.speed(SPEED_DEG_S))
            .hold(COAST_HOLD_US)
            .release(COAST_US)
            .repeat(coast, count - 1)
    }
}
