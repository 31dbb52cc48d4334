//! Waiting while the motor is too warm for the next procedure. The rig counts the heat and trips by itself; this keeps clear of it.

use super::super::{Bench, ProcedureError, Progress};
use crate::quantity::ProcedureKind;

use std::time::Duration;

/// Time between two looks at the heat, on the link's clock.
const LOOK_EVERY: Duration = Duration::from_millis(250);
/// Longest wait, on the link's clock: a motor that is not cool by then does not cool.
const LONGEST: Duration = Duration::from_secs(600);

impl Bench<'_> {
    /// Waits until the motor's heat is within `limit` of the rig's budget, 0..1, and says so.
    pub(in crate::procedure) fn cool(
        &mut self,
        procedure: ProcedureKind,
        limit: f64,
    ) -> Result<(), ProcedureError> {
        let deadline = self.session.now() + LONGEST;
        let mut first = None;
        loop {
            let heat = f64::from(self.session.status()?.heat_permille) / 1e3;
            if heat <= limit {
                return Ok(());
            }
            if self.session.now() >= deadline {
                return Err(ProcedureError::StaysHot { procedure, heat_percent: 100.0 * heat });
            }
            let from = *first.get_or_insert(heat);
            let done_fraction = ((from - heat) / (from - limit).max(1e-3)).clamp(0.0, 1.0);
            let message = format!("cooling down: {:.0} % of the motor's heat budget", 100.0 * heat);
            (self.setup.progress)(Progress { procedure, done_fraction, message });
            self.settle(procedure, LOOK_EVERY)?;
        }
    }
}
