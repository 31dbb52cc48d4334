//! Units that figures and columns come in.

use serde::{Deserialize, Serialize};

/// Unit of a figure, a limit or a column.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub enum Unit {
    /// Volts as measured.
    #[serde(rename = "V")]
    Volt,
    /// Volts at a supply of exactly 5 V: ratio × 5.
    #[serde(rename = "V at 5 V")]
    VoltAtFive,
    /// Millivolts at a supply of exactly 5 V.
    #[serde(rename = "mV at 5 V")]
    MillivoltAtFive,
    /// Per cent of the channel's own output span.
    #[serde(rename = "% span")]
    PercentSpan,
    /// Per cent of the supply.
    #[serde(rename = "% supply")]
    PercentSupply,
    /// Degrees of travel.
    #[serde(rename = "deg")]
    Degree,
    /// Amperes.
    #[serde(rename = "A")]
    Ampere,
    /// Degrees Celsius.
    #[serde(rename = "degC")]
    Celsius,
    /// Microseconds on the rig's clock.
    #[serde(rename = "us")]
    Microsecond,
    /// Milliseconds on the rig's clock.
    #[serde(rename = "ms")]
    Millisecond,
    /// Events per minute of observation.
    #[serde(rename = "1/min")]
    PerMinute,
    /// A count.
    #[serde(rename = "1")]
    Count,
    /// Per cent of what the figure's definition names.
    #[serde(rename = "%")]
    Percent,
    /// Torque at the plate, newton metres.
    #[serde(rename = "N m")]
    NewtonMetre,
    /// Stiffness at the plate.
    #[serde(rename = "N m/rad")]
    NewtonMetrePerRadian,
    /// Resistance.
    #[serde(rename = "ohm")]
    Ohm,
    /// Voltage per speed of the plate; the same number is torque per current in N m/A.
    #[serde(rename = "V s/rad")]
    VoltSecondPerRadian,
}

impl Unit {
    /// The symbol as stored and printed.
    pub const fn symbol(self) -> &'static str {
        match self {
            Self::Volt => "V",
            Self::VoltAtFive => "V at 5 V",
            Self::MillivoltAtFive => "mV at 5 V",
            Self::PercentSpan => "% span",
            Self::PercentSupply => "% supply",
            Self::Degree => "deg",
            Self::Ampere => "A",
            Self::Celsius => "degC",
            Self::Microsecond => "us",
            Self::Millisecond => "ms",
            Self::PerMinute => "1/min",
            Self::Count => "1",
            Self::Percent => "%",
            Self::NewtonMetre => "N m",
            Self::NewtonMetrePerRadian => "N m/rad",
            Self::Ohm => "ohm",
            Self::VoltSecondPerRadian => "V s/rad",
        }
    }
}
