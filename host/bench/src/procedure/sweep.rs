//! The sweep: full cycles from beyond the closed stop to beyond the open stop and back, at the sheet's speed and rate. From
//! two cycles on, the last goes at half the speed: a lag grows with speed and a hysteresis does not, so the two can be distinguished
//! apart.

use super::recording::{Plan, Recording};
use super::{Bench, Motion, ProcedureError, Warning};
use crate::quantity::ProcedureKind;
use crate::trace::SweepConditions;

/// How far the setpoint goes beyond each stop, degrees: enough to press lightly, too little to strain the clamp.
const PRESS_DEG: f64 = 1.0;
/// Hold before the first cycle, µs: the part comes to rest on the closed stop.
const FIRST_HOLD_US: u32 = 300_000;
/// Hold at each end, µs: end voltages and noise are taken from it.
const END_HOLD_US: u32 = 200_000;

impl Bench<'_> {
    /// Drives the sheet's cycles between the stops (those of the last self-check, or the sheet's) and records every
    /// channel.
    pub fn sweep(&mut self) -> Recording {
        let (plan, lowered) = match self.plan_sweep() {
            Ok(plan) => plan,
            Err(failure) => return self.fail(failure),
        };
        let cycles = plan.sweep.map_or(1, |sweep| sweep.cycles);
        let words = |done: f64| {
            let cycle = (done * f64::from(cycles)) as u32 + 1;
            format!("cycle {} of {cycles}", cycle.min(cycles))
        };
        let mut recording = self.record(&plan, |tape| tape.until_over(&words));
        recording.warnings.extend(lowered);
        recording
    }

    fn plan_sweep(&mut self) -> Result<(Plan, Vec<Warning>), ProcedureError> {
        let procedure = ProcedureKind::Sweep;
        self.require_drive(procedure)?;
        let wanted = self.sheet.sweep;
        let cycles = wanted.cycles.max(1);
        let again = u16::try_from(cycles.saturating_sub(2)).map_err(|_| ProcedureError::OutOfRange {
            procedure,
            what: "a number of cycles",
            given: wanted.cycles.to_string(),
            allowed: "1 to 65537".to_owned(),
            advice: "change cycles in the part sheet",
        })?;
        let (speed, period_us) = (self.speed(wanted.speed_deg_s), self.period_us(f64::from(wanted.rate_hz)));
        let stops = self.stops_or_nominal();
        let (low, high) = (
            self.within_travel(stops.closed_deg - PRESS_DEG),
            self.within_travel(stops.open_deg + PRESS_DEG),
        );
        self.power_up(procedure)?;
        let start = Motion::new().ramp(low, speed).hold(FIRST_HOLD_US);
        let first = start.next_segment();
        let cycle = |motion: Motion, speed: f64| {
            motion.ramp(high, speed).hold(END_HOLD_US).ramp(low, speed).hold(END_HOLD_US)
        };
        let mut motion = cycle(start, speed).repeat(first, again);
        if cycles > 1 {
            motion = cycle(motion, speed / 2.0);
        }
        let plan = Plan {
            procedure,
            program: motion.program(),
            stimuli: motion.stimuli(),
            channels: self.session.known_channels(),
            period_us,
            max_us: 0,
            planned_us: Some(motion.duration_us(stops.closed_deg)),
            sweep: Some(SweepConditions { cycles, speed_deg_s: speed }),
        };
        let mut lowered = Vec::new();
        if speed < wanted.speed_deg_s {
            let (planned, used) = (wanted.speed_deg_s, speed);
            lowered.push(Warning::Lowered { what: "speed", planned, used, unit: "deg/s" });
        }
        let rate = 1e6 / f64::from(period_us);
        if rate < 0.99 * f64::from(wanted.rate_hz) {
            let planned = f64::from(wanted.rate_hz);
            lowered.push(Warning::Lowered { what: "rate", planned, used: rate, unit: "scans/s" });
        }
        Ok((plan, lowered))
    }
}
