//! How a throttle body is tested: the sizes of every procedure, as a sheet's `[body]` table gives them. It drives nothing.

use super::located::SheetError;
use super::reader::{Document, Numbers};
use serde::{Deserialize, Serialize};
use serde_spanned::Spanned;

/// Sizes of the procedures of a throttle body, and what its motor and gears should be.
#[derive(Clone, Debug, PartialEq, Serialize)]
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
    pub position_loop: LoopGains,
    /// What the motor should be.
    pub motor: MotorNominal,
    /// The gear train, where it is known: tells where teeth stand along the travel.
    pub gears: Option<GearTrain>,
}

/// Gains of the position loop, angle at the plate.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct LoopGains {
    /// Proportional, V/rad.
    pub kp: f64,
    /// Integral, V/(rad s).
    pub ki: f64,
    /// Differential, V s/rad.
    pub kd: f64,
    /// Largest current, A.
    pub current_limit_amps: f64,
}

/// What is expected of the motor.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct MotorNominal {
    /// Winding, brushes and leads at the plug, cold, ohm.
    pub winding_ohms: f64,
    /// Back-EMF per speed of the plate, V s/rad.
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

/// `[body]`.
#[derive(Deserialize)]
struct RawBody {
    #[serde(rename = "source")]
    _source: String,
    low_range_deg: f64,
    middle_deg: Spanned<f64>,
    steps: u32,
    step_volts: f64,
    release_deg: Numbers,
    creep_speed_deg_s: f64,
    creep_cycles: u32,
    lash_coasts: u32,
    map_strokes: u32,
    map_volts: f64,
    blips: u32,
    blip_volts: f64,
    rate_hz: u32,
    heat_limit: f64,
    position_loop: RawLoop,
    motor: RawMotor,
    gears: Option<Spanned<RawGears>>,
}

#[derive(Deserialize)]
struct RawLoop {
    #[serde(rename = "source")]
    _source: String,
    kp_volts_rad: f64,
    ki_volts_rad_s: f64,
    kd_volt_s_rad: f64,
    current_limit_amps: f64,
}

#[derive(Deserialize)]
struct RawMotor {
    #[serde(rename = "source")]
    _source: String,
    winding_ohms: f64,
    back_emf_volt_s_rad: f64,
}

#[derive(Deserialize)]
struct RawGears {
    pinion: Option<u32>,
    idler_large: Option<u32>,
    idler_small: Option<u32>,
    sector: Option<u32>,
    tooth_pitch_deg: Option<Spanned<f64>>,
    #[serde(rename = "source")]
    _source: String,
}

/// Reads `[body]` of a sheet whose travel is known.
///
/// # Errors
/// Points at a missing or unknown key, a number out of range, ranges or openings that do not lie in the travel in order.
pub(super) fn body_plan(document: &Document<'_>, travel_deg: f64) -> Result<BodyPlan, SheetError> {
    let body: RawBody = document.read_at("body")?;
    let (gains, motor) = (&body.position_loop, &body.motor);
    Ok(BodyPlan {
        low_range_deg: body.low_range_deg,
        middle_deg: middle(document, &body, travel_deg)?,
        steps: body.steps,
        step_volts: body.step_volts,
        release_deg: release_openings(document, &body.release_deg, travel_deg)?,
        creep_speed_deg_s: body.creep_speed_deg_s,
        creep_cycles: body.creep_cycles,
        lash_coasts: body.lash_coasts,
        map_strokes: body.map_strokes,
        map_volts: body.map_volts,
        blips: body.blips,
        blip_volts: body.blip_volts,
        rate_hz: body.rate_hz,
        heat_limit: body.heat_limit,
        position_loop: LoopGains {
            kp: gains.kp_volts_rad,
            ki: gains.ki_volts_rad_s,
            kd: gains.kd_volt_s_rad,
            current_limit_amps: gains.current_limit_amps,
        },
        motor: MotorNominal { winding_ohms: motor.winding_ohms, back_emf: motor.back_emf_volt_s_rad },
        gears: body.gears.as_ref().map(|gears| gear_train(document, gears)).transpose()?,
    })
}

fn middle(document: &Document<'_>, body: &RawBody, travel_deg: f64) -> Result<f64, SheetError> {
    let (low, middle) = (body.low_range_deg, *body.middle_deg.get_ref());
    if middle <= low || middle >= travel_deg {
        let message =
            format!("`middle_deg` is {middle}, which does not lie in the travel above the low range");
        let help = format!("give `middle_deg` between {low} and {travel_deg} degrees");
        return Err(document.source.error(body.middle_deg.span(), message, help));
    }
    Ok(middle)
}

fn release_openings(
    document: &Document<'_>,
    openings: &Numbers,
    travel_deg: f64,
) -> Result<Vec<f64>, SheetError> {
    if let Some(beyond) = openings.0.iter().find(|o| *o.get_ref() >= travel_deg) {
        let message = format!(
            "the plate can't be let go from {} degrees: the travel is {travel_deg}",
            beyond.get_ref()
        );
        return Err(document.source.error(beyond.span(), message, "give openings below the travel"));
    }
    Ok(openings.values())
}

/// All numbers of teeth, or the pitch alone.
fn gear_train(document: &Document<'_>, gears: &Spanned<RawGears>) -> Result<GearTrain, SheetError> {
    let (source, span) = (document.source, gears.span());
    let gears = gears.get_ref();
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
