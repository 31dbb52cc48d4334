//! How a throttle body is tested: the sizes of every procedure, as a sheet's `[body]` table gives them. It drives nothing.

use super::located::SheetError;
use super::reader::{Document, Numbers, Sourced, later, numbers, sourced};
use serde::{Deserialize, Serialize};
use serde_spanned::Spanned;

/// Sizes of the procedures of a throttle body, and what its motor and gears should be.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct BodyPlan {
    /// Where the low range ends, degrees above the closed stop; it begins at rest.
    pub low_range_deg: f64,
    /// Where the middle range ends and the high one begins, degrees above the closed stop; above `low_range_deg`.
    pub middle_deg: f64,
    /// Steps per range and direction, 1 or more.
    pub steps: u32,
    /// Height of an open-loop step, V.
    pub step_volts: f64,
    /// Openings that the plate is let go from, degrees above the closed stop; each once per bridge state.
    #[serde(deserialize_with = "numbers")]
    pub release_deg: Vec<f64>,
    /// Speed of the quasi-static ramps, degrees per second.
    pub creep_speed_deg_s: f64,
    /// Ramps up and down.
    pub creep_cycles: u32,
    /// Arrests of the coasting rotor at rest.
    pub lash_coasts: u32,
    /// Strokes from rest for the map of lost motion.
    pub map_strokes: u32,
    /// Voltage of these strokes, V.
    pub map_volts: f64,
    /// Snap openings.
    pub blips: u32,
    /// Voltage of a snap opening, V.
    pub blip_volts: f64,
    /// Scans per second.
    pub rate_hz: u32,
    /// Largest share of the motor's thermal budget that a plan may use before it waits, above 0 to 1.
    pub heat_limit: f64,
    /// The position loop.
    #[serde(deserialize_with = "sourced")]
    pub position_loop: LoopGains,
    /// What the motor should be.
    #[serde(deserialize_with = "sourced")]
    pub motor: MotorNominal,
    /// The gear train, where it is known: shows where teeth stand along the travel.
    #[serde(deserialize_with = "later")]
    pub gears: Option<GearTrain>,
}

/// Gains of the position loop, angle at the plate.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct LoopGains {
    /// Proportional, V/rad.
    #[serde(rename(deserialize = "kp_volts_rad"))]
    pub kp: f64,
    /// Integral, V/(rad s).
    #[serde(rename(deserialize = "ki_volts_rad_s"))]
    pub ki: f64,
    /// Differential, V s/rad.
    #[serde(rename(deserialize = "kd_volt_s_rad"))]
    pub kd: f64,
    /// Largest current, A.
    pub current_limit_amps: f64,
}

/// What is expected of the motor.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct MotorNominal {
    /// Winding, brushes and leads at the plug, cold, ohm.
    pub winding_ohms: f64,
    /// Back-EMF per speed of the plate, V s/rad.
    #[serde(rename(deserialize = "back_emf_volt_s_rad"))]
    pub back_emf: f64,
}

/// What is known of the gears.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum GearTrain {
    /// Numbers of teeth, counted on full circles: motor pinion → idler's large wheel; idler's small wheel → plate's sector.
    Teeth {
        /// On the motor's shaft.
        pinion: u32,
        /// Driven by it.
        idler_large: u32,
        /// On the same shaft as `idler_large`.
        idler_small: u32,
        /// On the plate's shaft, as if its sector went all the way round.
        sector: u32,
    },
    /// Only the pitch of the plate's teeth is known, degrees of plate.
    Pitch(f64),
}

impl GearTrain {
    /// Pitch of the sector's teeth, degrees of plate.
    pub fn tooth_pitch_deg(self) -> f64 {
        match self {
            Self::Teeth { sector, .. } => 360.0 / f64::from(sector),
            Self::Pitch(deg) => deg,
        }
    }

    /// Turns of the rotor per turn of the plate; none where the numbers of teeth are not known.
    pub fn ratio(self) -> Option<f64> {
        match self {
            Self::Teeth { pinion, idler_large, idler_small, sector } => {
                let of = |driven: u32, driving: u32| f64::from(driven) / f64::from(driving);
                Some(of(idler_large, pinion) * of(sector, idler_small))
            }
            Self::Pitch(_) => None,
        }
    }
}

/// `[body.gears]`.
#[derive(Deserialize)]
struct RawGears {
    pinion: Option<u32>,
    idler_large: Option<u32>,
    idler_small: Option<u32>,
    sector: Option<u32>,
    tooth_pitch_deg: Option<Spanned<f64>>,
}

/// Reads `[body]` of a sheet whose travel is known.
///
/// # Errors
/// Points at a missing or unknown key, a number out of range, ranges or openings that do not lie in the travel in order.
pub(super) fn body_plan(document: &Document<'_>, travel_deg: f64) -> Result<BodyPlan, SheetError> {
    let Sourced(mut body): Sourced<BodyPlan> = document.read_at(&["body"])?;
    let (low, middle) = (body.low_range_deg, body.middle_deg);
    if middle <= low || middle >= travel_deg {
        let message =
            format!("`middle_deg` is {middle}, which does not lie in the travel above the low range");
        let help = format!("give `middle_deg` between {low} and {travel_deg} degrees");
        return Err(document.error_at(&["body", "middle_deg"], message, help));
    }
    let openings: Numbers = document.read_at(&["body", "release_deg"])?;
    if let Some(beyond) = openings.0.iter().find(|o| *o.get_ref() >= travel_deg) {
        let message = format!(
            "the plate can't be let go from {} degrees: the travel is {travel_deg}",
            beyond.get_ref()
        );
        return Err(document.source.error(beyond.span(), message, "give openings below the travel"));
    }
    let gears: Option<Spanned<Sourced<RawGears>>> = document.read_at(&["body", "gears"])?;
    body.gears = gears.map(|gears| gear_train(document, gears)).transpose()?;
    Ok(body)
}

/// All numbers of teeth, or the pitch alone.
fn gear_train(document: &Document<'_>, gears: Spanned<Sourced<RawGears>>) -> Result<GearTrain, SheetError> {
    let (source, span) = (document.source, gears.span());
    let Sourced(gears) = gears.into_inner();
    let teeth = [
        ("pinion", gears.pinion),
        ("idler_large", gears.idler_large),
        ("idler_small", gears.idler_small),
        ("sector", gears.sector),
    ];
    if let Some(pitch) = &gears.tooth_pitch_deg {
        if teeth.iter().any(|(_, count)| count.is_some()) {
            let message = "`tooth_pitch_deg` and numbers of teeth say the same thing twice";
            return Err(source.error(pitch.span(), message, "keep the numbers of teeth, or the pitch alone"));
        }
        return Ok(GearTrain::Pitch(*pitch.get_ref()));
    }
    let [pinion, idler_large, idler_small, sector] = teeth.map(|(key, count)| {
        let help = format!("add `{key}`, counted on a full circle, or give `tooth_pitch_deg` alone");
        count.ok_or_else(|| source.error(span.clone(), format!("[body.gears] lacks `{key}`"), help))
    });
    Ok(GearTrain::Teeth {
        pinion: pinion?,
        idler_large: idler_large?,
        idler_small: idler_small?,
        sector: sector?,
    })
}

#[cfg(test)]
#[path = "body_plan_tests.rs"]
mod tests;
