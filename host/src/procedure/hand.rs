//! The hand sweep: the grip is turned by hand, the rig only watches, until a time is over or a key is pressed.

use super::recording::{Conductor, Plan, Recording};
use super::{Bench, ProcedureError};
use crate::quantity::Channel;
use crate::session::{Recorder, Step};
use crate::trace::ProcedureKind;
use tokio_util::sync::CancellationToken;

/// When a procedure without a program ends, in good order. The stop flag of the bench ends it as aborted.
#[derive(Clone, Copy, Debug, Default)]
pub struct HandEnd<'k> {
    /// After this time on the rig's clock, µs.
    pub after_us: Option<u64>,
    /// When this is set: a key was pressed.
    pub key: Option<&'k CancellationToken>,
}

impl HandEnd<'_> {
    pub(super) fn is_pressed(&self) -> bool {
        self.key.is_some_and(|key| key.is_cancelled())
    }
}

/// Watches how much of the travel has been covered.
struct Covering<'k> {
    until: HandEnd<'k>,
    nominal: f64,
    channel: Channel,
    /// Volts or degrees of the nominal travel.
    scale: f64,
    looked: usize,
    low: f32,
    high: f32,
}

impl Conductor for Covering<'_> {
    fn step(&mut self, recorder: &Recorder, _rig_us: u64) -> Step {
        if let Some(values) = recorder.channel(self.channel) {
            for value in &values[self.looked.min(values.len())..] {
                self.low = self.low.min(*value);
                self.high = self.high.max(*value);
            }
            self.looked = values.len();
        }
        if self.until.is_pressed() { Step::Finish } else { Step::Wait }
    }

    fn progress(&self, planned_fraction: f64) -> (f64, String) {
        let covered = f64::from((self.high - self.low).max(0.0)) / self.scale;
        let covered = covered.clamp(0.0, 1.0);
        let seen = covered * self.nominal;
        (planned_fraction, format!("travel seen so far: {seen:.0} of {:.0} deg", self.nominal))
    }
}

impl Bench<'_> {
    /// Leaves the reference out of hand sweeps: it is not coupled to the grip.
    pub fn leave_out_reference(&mut self, left_out: bool) {
        self.without_reference = left_out;
    }

    /// Watches the lines while the grip is turned by hand. Without a reference the travel seen is told by the first line.
    pub fn hand_sweep(&mut self, until: HandEnd<'_>) -> Recording {
        let (plan, mut covering) = match self.plan_hand_sweep(until) {
            Ok(plan) => plan,
            Err(failure) => return self.fail(failure),
        };
        self.record(&plan, &mut covering)
    }

    fn plan_hand_sweep<'k>(&mut self, until: HandEnd<'k>) -> Result<(Plan, Covering<'k>), ProcedureError> {
        let procedure = ProcedureKind::HandSweep;
        self.require_grip(procedure)?;
        self.power_up(procedure)?;
        let sheet = self.sheet.clone();
        let reference = self.session.channel(Channel::Reference).map(|info| 1 << info.index);
        let left_out = if self.without_reference { reference.unwrap_or(0) } else { 0 };
        let has_reference = reference.is_some() && left_out == 0;
        let first_line = (sheet.rising.open - sheet.rising.closed).abs() * sheet.supply_volts;
        let plan = Plan {
            procedure,
            program: None,
            stimuli: Vec::new(),
            channels: self.session.known_channels() & !left_out,
            period_us: self.period_us(f64::from(sheet.sweep.rate_hz)),
            max_us: until.after_us.unwrap_or(0),
            planned_us: until.after_us,
            sweep: None,
        };
        let covering = Covering {
            until,
            nominal: sheet.travel_deg,
            channel: if has_reference { Channel::Reference } else { Channel::Rising },
            scale: if has_reference { sheet.travel_deg } else { first_line.max(1e-3) },
            looked: 0,
            low: f32::INFINITY,
            high: f32::NEG_INFINITY,
        };
        Ok((plan, covering))
    }
}
