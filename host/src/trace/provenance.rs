//! Where a trace came from: procedure, rig, calibration, part, time.

use crate::quantity::Channel;
use serde::{Deserialize, Serialize};

/// What the rig did.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum ProcedureKind {
    /// Supply, noise floor, reference, stops.
    SelfCheck,
    /// Driven cycles, stop to stop.
    Sweep,
    /// Supply step and load steps at rest.
    LeadsCheck,
    /// The grip turned by hand.
    HandSweep,
    /// Waiting for dropouts while the pigtail is flexed.
    Flex,
    /// Read from another logger's file.
    Import,
}

impl ProcedureKind {
    /// The name in files and outcomes.
    pub const fn name(self) -> &'static str {
        match self {
            Self::SelfCheck => "self_check",
            Self::Sweep => "sweep",
            Self::LeadsCheck => "leads_check",
            Self::HandSweep => "hand_sweep",
            Self::Flex => "flex",
            Self::Import => "import",
        }
    }
}

/// Where a trace came from. Stored with it, word for word.
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
    /// False when an imported file told no times: one scan then counts as 1 ms, and rates, lengths and lags can't be had.
    #[serde(default = "known")]
    pub time_known: bool,
}

/// Files from before the field existed had their times.
fn known() -> bool {
    true
}

impl Provenance {
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
    /// Smallest difference it can tell, in its unit; 0 = unknown.
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
