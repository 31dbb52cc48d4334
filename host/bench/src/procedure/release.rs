//! The release of a grip: one slow stroke open and closed for the drive's current, then the grip is turned open, held and let go, twice from
//! wide open, half-way and a small opening. Whether it comes back is for the analysis to say (`analysis/self_closing.rs`).

use super::recording::{Plan, Recording};
use super::{Bench, Motion, ProcedureError};
use crate::quantity::ProcedureKind;

/// Setpoint beyond each stop, degrees: the drive then presses on it, which shows the stop's place and the sign of the current.
const PRESS_DEG: f64 = 1.0;
/// Speed of the slow stroke, deg/s: slow enough that viscous friction hardly counts.
const SLOW_DEG_S: f64 = 25.0;
/// Speed to an opening, deg/s.
const FAST_DEG_S: f64 = 60.0;
/// Pressing on a stop, µs: twice what is read.
const PRESS_US: u32 = 400_000;
/// Held before it is let go, µs.
const HOLD_US: u32 = 300_000;
/// Let go, µs: beyond the limit of any sheet's return time, so that what is still open then has not come back.
const RELEASE_US: u32 = 1_500_000;
/// Held where it has come to, µs: an event that is late by less than this does no harm.
const AFTER_US: u32 = 400_000;
/// Clear of the open stop, degrees, so that the stop does not throw it back.
const CLEAR_DEG: f64 = 2.0;
/// A small opening, degrees: there the spring is weakest and nothing carries the grip on.
const SMALL_DEG: f64 = 10.0;
/// Scan rate, Hz: a return takes a tenth of a second or so.
const RATE_HZ: f64 = 2_000.0;
/// Times that each opening comes again.
const AGAIN: u16 = 1;

impl Bench<'_> {
    /// Drives the slow stroke and lets the grip go: about 25 s. It goes by the stops of the last self-check.
    pub fn grip_release(&mut self) -> Recording {
        match self.plan_grip_release() {
            Ok(plan) => self.record(&plan, |tape| {
                tape.until_over(&|_| "letting the grip go from three openings".to_owned())
            }),
            Err(failure) => self.fail(failure),
        }
    }

    fn plan_grip_release(&mut self) -> Result<Plan, ProcedureError> {
        let procedure = ProcedureKind::Release;
        self.require_drive(procedure)?;
        let stops = self.stops_or_nominal();
        let travel = stops.open_deg - stops.closed_deg;
        let (low, high) = (
            self.within_travel(stops.closed_deg - PRESS_DEG),
            self.within_travel(stops.open_deg + PRESS_DEG),
        );
        let (slow, fast) = (self.speed(SLOW_DEG_S), self.speed(FAST_DEG_S));
        self.power_up(procedure)?;
        let mut motion = Motion::new().ramp(low, fast).hold(PRESS_US);
        motion = motion.ramp(high, slow).hold(PRESS_US).ramp(low, slow).hold(PRESS_US);
        let first = motion.next_segment();
        for opening in [travel - CLEAR_DEG, 0.5 * travel, SMALL_DEG.min(0.25 * travel)] {
            let place = self.within_travel(stops.closed_deg + opening);
            motion = motion.ramp(place, fast).hold(HOLD_US).release(RELEASE_US).hold(AFTER_US);
        }
        let motion = motion.repeat(first, AGAIN);
        Ok(Plan {
            procedure,
            program: motion.program(),
            stimuli: motion.stimuli(),
            channels: self.session.known_channels(),
            period_us: self.period_us(RATE_HZ),
            max_us: 0,
            planned_us: Some(motion.duration_us(stops.closed_deg)),
            sweep: None,
        })
    }
}
