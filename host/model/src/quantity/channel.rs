//! Names of measured columns.

use serde::{Deserialize, Serialize};

/// One measured column. `rising` and `falling` are the first and the second sensor line, whatever their slopes: in a
/// half-slope or parallel-offset sensor the second line rises too.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
#[serde(rename_all = "snake_case")]
pub enum Channel {
    /// First sensor line, volts.
    Rising,
    /// Second sensor line, volts.
    Falling,
    /// Sensor supply measured at the rig's plug, volts.
    Supply,
    /// The rig's own angle, degrees.
    Reference,
    /// Sensor supply current, amperes.
    SupplyAmps,
    /// Drive current, amperes.
    DriveAmps,
    /// Rig temperature, °C.
    Temperature,
    /// Supply return sensed at the plug against the rig's ground, volts.
    Ground,
    /// Voltage between the motor's terminals, volts; positive opens.
    MotorVolts,
    /// Current through the motor, amperes; positive opens.
    MotorAmps,
}

impl Channel {
    /// Every channel the host knows.
    pub const ALL: [Self; 10] = [
        Self::Rising,
        Self::Falling,
        Self::Supply,
        Self::Reference,
        Self::SupplyAmps,
        Self::DriveAmps,
        Self::Temperature,
        Self::Ground,
        Self::MotorVolts,
        Self::MotorAmps,
    ];

    /// The two sensor lines.
    pub const SENSORS: [Self; 2] = [Self::Rising, Self::Falling];

    /// The name on the wire, in files and in outcomes.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Rising => "rising",
            Self::Falling => "falling",
            Self::Supply => "supply",
            Self::Reference => "reference",
            Self::SupplyAmps => "supply_amps",
            Self::DriveAmps => "drive_amps",
            Self::Temperature => "temperature",
            Self::Ground => "ground",
            Self::MotorVolts => "motor_volts",
            Self::MotorAmps => "motor_amps",
        }
    }

    /// From its name; `second` is understood as `falling`.
    pub fn from_name(name: &str) -> Option<Self> {
        match name {
            "second" => Some(Self::Falling),
            _ => Self::ALL.into_iter().find(|c| c.name() == name),
        }
    }
}

impl crate::quantity::Name for Channel {
    const ALL: &'static [Self] = &Self::ALL;

    fn name(self) -> &'static str {
        Self::name(self)
    }

    fn from_name(name: &str) -> Option<Self> {
        Self::from_name(name)
    }
}

impl std::fmt::Display for Channel {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(self.name())
    }
}
