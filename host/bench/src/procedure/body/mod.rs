//! The procedures of a throttle body: what the rig's motor bridge is asked to do with it.
//!
//! - `rest`: where the plate rests and where it stops; every other procedure needs it first.
//! - `steps`: steps of voltage and of the setpoint, over the travel and both ways.
//! - `release`: letting go from several openings.
//! - `creep`: slow ramps, and coasts that show the motor's constant.
//! - `lash`: the rotor swung and arrested inside the lash.
//! - `tooth_map`: strokes from rest at one voltage.
//! - `blips`: snap openings, with the same short check before and after.
//! - `guided_push`: the plate moved by a probe through the bore.
//! - `heat`: waiting while the motor is too warm.
//!
//! Angles are plate angles from the closed stop. Sizes come from the sheet's `[body]` table.

mod blips;
mod creep;
mod guided_push;
mod heat;
mod lash;
mod release;
mod rest;
mod steps;
mod tooth_map;

pub use guided_push::PLACES_DEG as PUSH_PLACES_DEG;
pub use rest::RestFound;

use super::recording::{Plan, Recording};
use super::{Bench, Motion, ProcedureError};
use crate::quantity::{PartKind, ProcedureKind};
use crate::session::Facing;
use crate::sheet::{BodyPlan, LoopGains};
use crate::trace::PlateScale;
use trackpair_protocol::message::{Request, capability};
use trackpair_protocol::position_loop::LoopSettings;
use trackpair_protocol::program::MAX_SEGMENTS;

/// Time constant of the loop's filter on the speed, µs: a pole at 300 Hz.
const SPEED_FILTER_US: u32 = 531;
/// Deviation within which the loop does not integrate, degrees: the noise of the feedback must not make it hunt.
const DEAD_DEG: f64 = 0.12;
/// The plate is kept this far from its stops by the position loop, degrees.
const CLEAR_OF_STOPS_DEG: f64 = 0.8;

impl Bench<'_> {
    /// Whether the rig has a motor bridge: a throttle body is on it.
    ///
    /// On a pair's rig: while the plate is faced.
    pub fn drives_body(&self) -> bool {
        let faced = !self.has_pair() || self.session.facing() == Facing::Plate;
        self.session.can(capability::BODY_DRIVE) && faced
    }

    /// Whether a procedure that only a throttle body has can be done here.
    ///
    /// # Errors
    /// [`ProcedureError::WrongPart`] on a rig without a motor bridge.
    pub fn takes_bodies(&self, procedure: ProcedureKind) -> Result<(), ProcedureError> {
        let part = PartKind::Body;
        if self.session.can(capability::BODY_DRIVE) {
            Ok(())
        } else {
            Err(ProcedureError::WrongPart { procedure, part })
        }
    }

    /// Whether a grip and a body are on the rig.
    pub fn has_pair(&self) -> bool {
        self.session.has_pair()
    }

    /// The sheet's plan for a body, when sheet and rig are for one.
    pub(super) fn body_plan(&self, procedure: ProcedureKind) -> Result<BodyPlan, ProcedureError> {
        self.takes_bodies(procedure)?;
        self.sheet.body.clone().ok_or(ProcedureError::OutOfRange {
            procedure,
            what: "a sheet for a throttle body",
            given: format!("the sheet {} for a {}", self.sheet.name, self.sheet.kind.name()),
            allowed: "a sheet with `kind = \"body\"`".to_owned(),
            advice: "give --sheet body, or leave --sheet out",
        })
    }

    /// How the first feedback line shows the angle: as found by rest and stops, or by the sheet's nominal line.
    fn plate_scale(&self) -> PlateScale {
        self.plate.unwrap_or(self.nominal_scale())
    }

    /// The sheet's nominal line.
    fn nominal_scale(&self) -> PlateScale {
        PlateScale {
            closed_ratio: self.sheet.rising.closed,
            open_ratio: self.sheet.rising.open,
            travel_deg: self.sheet.travel_deg,
        }
    }

    /// Where the plate rests, degrees: as found, or a twelfth of the travel.
    fn rest_deg(&self) -> f64 {
        self.rest_deg.unwrap_or(self.sheet.travel_deg / 12.0)
    }

    /// An angle that the position loop may be sent to.
    fn clear_of_stops(&self, deg: f64) -> f64 {
        self.within_travel(deg).clamp(CLEAR_OF_STOPS_DEG, self.sheet.travel_deg - CLEAR_OF_STOPS_DEG)
    }

    /// Lets the motor cool, sets the loop, and runs the program that the sheet's plan gives; a failure leaves the rig unpowered.
    fn run_body(
        &mut self,
        procedure: ProcedureKind,
        words: &'static str,
        motion: impl FnOnce(&Self, &BodyPlan) -> Motion,
    ) -> Recording {
        let ready = self.body_plan(procedure).and_then(|plan| {
            let motion = motion(self, &plan);
            self.ready_body(procedure, &plan, &motion)
        });
        match ready {
            Ok(plan) => self.record(&plan, |tape| tape.until_over(&|_| words.to_owned())),
            Err(failure) => self.fail(failure),
        }
    }

    /// Sets in the rig how the first feedback line shows the angle, and how hard to hold the plate.
    pub(super) fn set_loop(&mut self, plan: &BodyPlan) -> Result<(), ProcedureError> {
        let settings = loop_settings(self.plate_scale(), plan.position_loop);
        self.session.request(&Request::SetLoop(settings))?;
        Ok(())
    }

    fn ready_body(
        &mut self,
        procedure: ProcedureKind,
        plan: &BodyPlan,
        motion: &Motion,
    ) -> Result<Plan, ProcedureError> {
        // None would be a run without a drive.
        let program = motion.program().ok_or(ProcedureError::OutOfRange {
            procedure,
            what: "a program",
            given: format!("{} segments", motion.stimuli().len()),
            allowed: format!("up to {MAX_SEGMENTS}"),
            advice: "ask for fewer openings or places in the part sheet",
        })?;
        self.power_up(procedure)?;
        self.cool(procedure, plan.heat_limit)?;
        self.set_loop(plan)?;
        Ok(Plan {
            procedure,
            program: Some(program),
            stimuli: motion.stimuli(),
            channels: self.session.known_channels(),
            period_us: self.period_us(f64::from(plan.rate_hz)),
            max_us: 0,
            planned_us: Some(motion.duration_us(self.rest_deg())),
            sweep: None,
        })
    }
}

/// The loop's settings on the wire. Gains are per radian of plate in a sheet, per thousandth of a degree on the wire.
fn loop_settings(scale: PlateScale, gains: LoopGains) -> LoopSettings {
    let ppm = |ratio: f64| (ratio * 1e6).round() as i32;
    let per_mdeg = |per_radian: f64| per_radian.to_radians() * 1e-3;
    LoopSettings {
        closed_ppm: ppm(scale.closed_ratio),
        open_ppm: ppm(scale.open_ratio),
        travel_mdeg: (scale.travel_deg * 1e3).round() as u32,
        kp_uv_mdeg: (per_mdeg(gains.kp) * 1e6).round() as u32,
        ki_uv_mdeg_s: (per_mdeg(gains.ki) * 1e6).round() as u32,
        kd_nv_s_mdeg: (per_mdeg(gains.kd) * 1e9).round() as u32,
        speed_filter_us: SPEED_FILTER_US,
        dead_mdeg: (DEAD_DEG * 1e3).round() as u32,
        current_ma: (gains.current_limit_amps * 1e3).round() as u32,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn gains_per_radian_arrive_as_gains_per_thousandth_of_a_degree() {
        let scale = PlateScale { closed_ratio: 0.1, open_ratio: 0.9, travel_deg: 84.0 };
        let gains = LoopGains { kp: 63.0, ki: 500.0, kd: 0.73, current_limit_amps: 9.0 };
        let s = loop_settings(scale, gains);
        // 63 V/rad are 1.0996 V/deg.
        assert_eq!((s.kp_uv_mdeg, s.ki_uv_mdeg_s, s.kd_nv_s_mdeg), (1_100, 8_727, 12_741));
        assert_eq!(
            (s.closed_ppm, s.open_ppm, s.travel_mdeg, s.current_ma),
            (100_000, 900_000, 84_000, 9_000)
        );
    }
}
