//! The hand sweep: the grip is turned by hand, the rig only watches, until a time is over or a key is pressed.

use super::recording::{Plan, Recording};
use super::{Bench, ProcedureError};
use crate::quantity::{Channel, ProcedureKind};
use crate::session::Recorder;

/// When a procedure without a program ends, in good order. The stop flag of the bench ends it as aborted.
#[derive(Clone, Copy, Default)]
pub struct HandEnd<'k> {
    /// After this time on the rig's clock, µs.
    pub after_us: Option<u64>,
    /// What was typed since it was last asked: asked again and again while the run is on, so it must not wait.
    pub keys: Option<&'k dyn Fn() -> Typed>,
}

/// What somebody at the bench typed.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Typed {
    /// Nothing.
    #[default]
    Nothing,
    /// The hand goes to the place of this number; 0 = hands off.
    Place(u8),
    /// It is to end.
    End,
}

impl HandEnd<'_> {
    /// What was typed since it was last asked.
    pub(super) fn typed(&self) -> Typed {
        self.keys.map_or(Typed::Nothing, |keys| keys())
    }
}

impl std::fmt::Debug for HandEnd<'_> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("HandEnd").field("after_us", &self.after_us).finish_non_exhaustive()
    }
}

/// How much of the travel has been covered.
struct Covering {
    nominal: f64,
    channel: Channel,
    /// Volts or degrees of the nominal travel.
    scale: f64,
    looked: usize,
    low: f32,
    high: f32,
}

impl Covering {
    fn look(&mut self, recorder: &Recorder) {
        if let Some(values) = recorder.channel(self.channel) {
            for value in &values[self.looked.min(values.len())..] {
                self.low = self.low.min(*value);
                self.high = self.high.max(*value);
            }
            self.looked = values.len();
        }
    }

    fn words(&self) -> String {
        let covered = f64::from((self.high - self.low).max(0.0)) / self.scale;
        let covered = covered.clamp(0.0, 1.0);
        let seen = covered * self.nominal;
        format!("travel seen so far: {seen:.0} of {:.0}°", self.nominal)
    }
}

impl Bench<'_> {
    /// Leaves the reference out of hand sweeps: it is not coupled to the grip.
    pub fn leave_out_reference(&mut self, left_out: bool) {
        self.without_reference = left_out;
    }

    /// Watches the lines while the grip is turned by hand. Without a reference the travel seen is that of the first line.
    pub fn hand_sweep(&mut self, until: HandEnd<'_>) -> Recording {
        let (plan, mut covering) = match self.plan_hand_sweep(until) {
            Ok(plan) => plan,
            Err(failure) => return self.fail(failure),
        };
        self.record(&plan, |tape| {
            while tape.listen() {
                covering.look(tape.recorder());
                tape.report(&|_| covering.words());
                if until.typed() == Typed::End {
                    tape.finish();
                }
            }
        })
    }

    fn plan_hand_sweep(&mut self, until: HandEnd<'_>) -> Result<(Plan, Covering), ProcedureError> {
        let procedure = ProcedureKind::HandSweep;
        self.takes_grips(procedure)?;
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
