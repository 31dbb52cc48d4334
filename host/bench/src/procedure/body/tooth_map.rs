//! Tooth map: strokes from rest to the open stop at one voltage. What the motor turns and the plate does not follow shows the teeth.

use super::super::{Bench, Motion, Recording};
use crate::quantity::ProcedureKind;

/// Rest before a stroke, µs.
const REST_US: u32 = 500_000;
/// Length of a stroke, µs: to the open stop, also of a body that a third more friction or resistance slows.
const STROKE_US: u32 = 400_000;

impl Bench<'_> {
    /// Drives the plate from rest, again and again, at the sheet's voltage.
    pub fn tooth_map(&mut self) -> Recording {
        self.run_body(ProcedureKind::ToothMap, "strokes from rest along the teeth", |_, plan| {
            let strokes = u16::try_from(plan.map_strokes).unwrap_or(u16::MAX).max(1);
            Motion::new()
                .release(REST_US)
                .volts(plan.map_volts, STROKE_US)
                .repeat(0, strokes - 1)
                .release(REST_US)
        })
    }
}
