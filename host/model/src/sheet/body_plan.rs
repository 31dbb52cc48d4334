//! How a throttle body is tested: the sizes of every procedure, as a sheet's `[body]` table gives them. It drives nothing.

use super::fields::Fields;
use super::located::SheetError;
use serde::Serialize;

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

const BODY_KEYS: [&str; 18] = [
    "low_range_deg",
    "middle_deg",
    "steps",
    "step_volts",
    "release_deg",
    "creep_speed_deg_s",
    "creep_cycles",
    "lash_coasts",
    "map_strokes",
    "map_volts",
    "blips",
    "blip_volts",
    "rate_hz",
    "heat_limit",
    "position_loop",
    "motor",
    "gears",
    "source",
];
const LOOP_KEYS: [&str; 5] =
    ["kp_volts_rad", "ki_volts_rad_s", "kd_volt_s_rad", "current_limit_amps", "source"];
const TEETH_KEYS: [&str; 4] = ["pinion", "idler_large", "idler_small", "sector"];

/// Reads `[body]` of a sheet whose travel is known.
///
/// # Errors
/// Points at a missing or unknown key, a number out of range, ranges or openings that do not lie in the travel in order.
pub(super) fn body_plan(sheet: &Fields<'_>, travel_deg: f64) -> Result<BodyPlan, SheetError> {
    let body = sheet.table("body", "[body]", &BODY_KEYS)?;
    body.provenance()?;
    let (low_range_deg, middle_deg) = ranges(&body, travel_deg)?;
    Ok(BodyPlan {
        low_range_deg,
        middle_deg,
        steps: body.count("steps")?,
        step_volts: body.bounded("step_volts")?.value,
        release_deg: release_openings(&body, travel_deg)?,
        creep_speed_deg_s: body.bounded("creep_speed_deg_s")?.value,
        creep_cycles: body.count("creep_cycles")?,
        lash_coasts: body.count("lash_coasts")?,
        map_strokes: body.count("map_strokes")?,
        map_volts: body.bounded("map_volts")?.value,
        blips: body.count("blips")?,
        blip_volts: body.bounded("blip_volts")?.value,
        rate_hz: body.count("rate_hz")?,
        heat_limit: body.bounded("heat_limit")?.value,
        position_loop: loop_gains(&body)?,
        motor: motor(&body)?,
        gears: gears(&body)?,
    })
}

fn ranges(body: &Fields<'_>, travel_deg: f64) -> Result<(f64, f64), SheetError> {
    let low = body.bounded("low_range_deg")?;
    let middle = body.bounded("middle_deg")?;
    if middle.value <= low.value || middle.value >= travel_deg {
        let message =
            format!("`middle_deg` is {}, which does not lie in the travel above the low range", middle.value);
        let help = format!("give `middle_deg` between {} and {travel_deg} degrees", low.value);
        return Err(body.error_at(middle.span, message, help));
    }
    Ok((low.value, middle.value))
}

fn release_openings(body: &Fields<'_>, travel_deg: f64) -> Result<Vec<f64>, SheetError> {
    let openings = body.numbers("release_deg")?;
    let beyond = openings.iter().find(|o| o.value >= travel_deg);
    if let Some(opening) = beyond {
        let message =
            format!("the plate can't be let go from {} degrees: the travel is {travel_deg}", opening.value);
        return Err(body.error_at(opening.span.clone(), message, "give openings below the travel"));
    }
    Ok(openings.into_iter().map(|o| o.value).collect())
}

fn loop_gains(body: &Fields<'_>) -> Result<LoopGains, SheetError> {
    let fields = body.table("position_loop", "[body.position_loop]", &LOOP_KEYS)?;
    fields.provenance()?;
    Ok(LoopGains {
        kp: fields.bounded("kp_volts_rad")?.value,
        ki: fields.bounded("ki_volts_rad_s")?.value,
        kd: fields.bounded("kd_volt_s_rad")?.value,
        current_limit_amps: fields.bounded("current_limit_amps")?.value,
    })
}

fn motor(body: &Fields<'_>) -> Result<MotorNominal, SheetError> {
    let fields = body.table("motor", "[body.motor]", &["winding_ohms", "back_emf_volt_s_rad", "source"])?;
    fields.provenance()?;
    Ok(MotorNominal {
        winding_ohms: fields.bounded("winding_ohms")?.value,
        back_emf: fields.bounded("back_emf_volt_s_rad")?.value,
    })
}

fn gears(body: &Fields<'_>) -> Result<Option<GearTrain>, SheetError> {
    if !body.holds("gears") {
        return Ok(None);
    }
    let known = [&TEETH_KEYS[..], &["tooth_pitch_deg", "source"]].concat();
    let fields = body.table("gears", "[body.gears]", &known)?;
    fields.provenance()?;
    if !fields.holds("tooth_pitch_deg") {
        return Ok(Some(GearTrain::Teeth {
            pinion: fields.count("pinion")?,
            idler_large: fields.count("idler_large")?,
            idler_small: fields.count("idler_small")?,
            sector: fields.count("sector")?,
        }));
    }
    let pitch = fields.bounded("tooth_pitch_deg")?;
    if TEETH_KEYS.iter().any(|key| fields.holds(key)) {
        let message = "`tooth_pitch_deg` and numbers of teeth say the same thing twice";
        return Err(fields.error_at(pitch.span, message, "keep the numbers of teeth, or the pitch alone"));
    }
    Ok(Some(GearTrain::Pitch(pitch.value)))
}

#[cfg(test)]
#[path = "body_plan_tests.rs"]
mod tests;
