//! Where a trace came from: procedure, rig, calibration, part, time.

use super::ending::LinkQuality;
use crate::quantity::{Channel, ProcedureKind};
use serde::{Deserialize, Serialize};

/// Where a trace came from. Written with it, word for word.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Provenance {
    /// What was done.
    pub procedure: ProcedureKind,
    /// True when rig and part were simulated.
    pub simulated: bool,
    /// The rig, when there was one.
    pub rig: Option<RigProvenance>,
    /// What is known of each recorded channel.
    pub channels: Vec<ChannelProvenance>,
    /// What the user calls the part (number, serial, words); hostile text possible.
    pub part: String,
    /// Host's date and time at the start, RFC 3339.
    pub started: String,
    /// Scan period, µs; 0 when the file's times are irregular.
    pub period_us: u32,
    /// Reference reading at the closed stop, degrees: subtracted to give travel. 0 for imported files.
    pub reference_zero_deg: f64,
    /// Motion of a driven sweep.
    pub sweep: Option<SweepConditions>,
    /// Name of the imported file, without its folder.
    pub file: Option<String>,
    /// Supply that the user stated because none was recorded, volts.
    pub stated_supply_volts: Option<f64>,
    /// Version of the program that recorded it.
    pub recorded_by: String,
    /// False when an imported file held no times: one scan then counts as 1 ms, and rates, lengths and lags can't be had.
    #[serde(default = "known")]
    pub time_known: bool,
    /// What the rig was asked to do, segment by segment; marks show when each began. Empty where no drive was programmed.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub program: Vec<Stimulus>,
    /// How the first feedback line shows the plate's angle; none for grips and before the stops were found.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub plate: Option<PlateScale>,
    /// What the rig asked of the plate while it followed a grip: first line of the grip as a ratio of supply, plate angle in degrees from the
    /// closed stop; straight lines between, both ascending. Empty where nothing was followed.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub mapping: Vec<(f64, f64)>,
    /// Names of the places along the pigtail that were flexed in turn; marks show when. Empty where none were named.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub places: Vec<String>,
    /// What the session was to do, in order, this procedure among it. Empty where nothing was planned: another logger's file, and recordings
    /// of programs that did not keep it.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub plan: Vec<ProcedureKind>,
    /// What the line between rig and host did meanwhile; none where there was none, or nothing was counted.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub link: Option<LinkQuality>,
    /// What of the procedure the rig refused or could not do in time, as sentences.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub refused: Vec<String>,
}

/// Files from before the field existed had their times.
fn known() -> bool {
    true
}

impl Provenance {
    /// Of a procedure at a scan period, µs, and nothing else: no rig, no part, no program.
    pub fn bare(procedure: ProcedureKind, period_us: u32) -> Self {
        Self {
            procedure,
            simulated: false,
            rig: None,
            channels: Vec::new(),
            part: String::new(),
            started: String::new(),
            period_us,
            reference_zero_deg: 0.0,
            sweep: None,
            file: None,
            stated_supply_volts: None,
            recorded_by: String::new(),
            time_known: true,
            program: Vec::new(),
            plate: None,
            mapping: Vec::new(),
            places: Vec::new(),
            plan: Vec::new(),
            link: None,
            refused: Vec::new(),
        }
    }

    /// What is known of a channel; none when nothing is.
    pub fn channel(&self, channel: Channel) -> Option<&ChannelProvenance> {
        self.channels.iter().find(|c| c.channel == channel)
    }

    /// Time constant of a channel's input filter, µs; 0 = none or unknown.
    pub fn filter_us(&self, channel: Channel) -> f64 {
        self.channel(channel).map_or(0.0, |c| f64::from(c.filter_us))
    }
}

/// The rig as it named itself.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct RigProvenance {
    /// Address it was reached at.
    pub address: String,
    /// Model.
    pub model: String,
    /// Serial number.
    pub serial: String,
    /// Firmware version.
    pub firmware: String,
    /// Protocol version.
    pub protocol: u8,
    /// Boot count.
    pub boot: u32,
    /// Whether it states that its grip drive holds next to nothing once released (WIRE.md, capability bit 6).
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub lets_go: bool,
}

/// What is known of a recorded channel.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ChannelProvenance {
    /// Which.
    pub channel: Channel,
    /// Engineering units per count; 1 for imported files.
    pub scale: f64,
    /// Value at 0 counts.
    pub offset: f64,
    /// Smallest difference it can show, in its unit; 0 = unknown.
    pub resolution: f64,
    /// Input filter, µs; 0 = none or unknown.
    pub filter_us: u32,
    /// Standard uncertainty of the scale, relative.
    pub gain_uncertainty: f64,
    /// Standard uncertainty of the offset, in its unit.
    pub offset_uncertainty: f64,
    /// Day of calibration, days since 1970-01-01; 0 = never or unknown.
    pub calibrated_day: u32,
    /// Certificate or note.
    pub certificate: String,
}

/// Motion of a driven sweep.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct SweepConditions {
    /// Full cycles asked for.
    pub cycles: u32,
    /// Speed, degrees per second; from two cycles on the last goes at half of it.
    pub speed_deg_s: f64,
}

/// How the first feedback line shows the plate's angle: a straight line through both stops.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct PlateScale {
    /// Ratio of supply at the closed stop.
    pub closed_ratio: f64,
    /// Ratio of supply at the open stop; differs from the other.
    pub open_ratio: f64,
    /// Travel between them, degrees, > 0: the sheet's, because nothing on the bench measures it.
    pub travel_deg: f64,
}

impl PlateScale {
    /// Angle of the plate from the closed stop, degrees.
    pub fn deg(&self, ratio: f64) -> f64 {
        (ratio - self.closed_ratio) / (self.open_ratio - self.closed_ratio) * self.travel_deg
    }
}

/// One segment of what the rig was asked to do. Angles are plate angles from the closed stop (bodies) or reference angles (grips).
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case", tag = "do")]
pub enum Stimulus {
    /// The setpoint moves at a speed.
    Ramp {
        /// Where to, degrees.
        to_deg: f64,
        /// How fast, degrees per second.
        speed_deg_s: f64,
        /// Acceleration at both ends, degrees per second squared.
        accel_deg_s2: f64,
    },
    /// The setpoint stays.
    Hold {
        /// How long, s.
        seconds: f64,
    },
    /// The setpoint jumps.
    Step {
        /// Where to, degrees.
        to_deg: f64,
        /// How long it stays there, s.
        seconds: f64,
    },
    /// Bridge open.
    Release {
        /// How long, s.
        seconds: f64,
    },
    /// The motor gets a voltage; no position loop.
    Volts {
        /// How much; positive opens.
        volts: f64,
        /// How long, s.
        seconds: f64,
    },
    /// The motor's voltage moves evenly to a level.
    VoltsRamp {
        /// Where to, volts.
        to_volts: f64,
        /// How long it takes, s.
        seconds: f64,
    },
    /// The motor's terminals are joined.
    Brake {
        /// How long, s.
        seconds: f64,
    },
    /// Back to an earlier segment, some more times.
    Repeat {
        /// Its number, from 0.
        from: u8,
        /// How many more times.
        times: u16,
    },
}
