//! What a part is meant to be: kind of sensor, topology, spread and faults. A part file says exactly this.

use serde::{Deserialize, Serialize};

use crate::fault::{Fault, FaultError};

/// Kind of part. Only grips so far.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Kind {
    /// Twist-grip sensor.
    Grip,
}

/// Kind of sensor.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Sensor {
    /// Two Hall dies over one magnet, 12-bit outputs.
    Hall,
    /// Two resistive tracks with wipers.
    Potentiometer,
}

/// How the second channel relates to the first, in ratios of supply over the travel fraction x: the first is always .10 + .80 x.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Topology {
    /// .90 − .80 x.
    Complementary,
    /// .05 + .40 x.
    HalfSlope,
    /// .05 + .80 x.
    ParallelOffset,
}

impl Topology {
    /// Nominal ratio at zero travel and its rise over the nominal travel, for channel 0 or 1.
    pub fn line(self, channel: usize) -> (f64, f64) {
        match (channel, self) {
            (0, _) => (0.10, 0.80),
            (_, Self::Complementary) => (0.90, -0.80),
            (_, Self::HalfSlope) => (0.05, 0.40),
            (_, Self::ParallelOffset) => (0.05, 0.80),
        }
    }
}

fn yes() -> bool {
    true
}

/// A part to be drawn.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PartSpec {
    /// Kind of part.
    pub kind: Kind,
    /// Kind of sensor.
    pub sensor: Sensor,
    /// Topology of the two channels.
    pub topology: Topology,
    /// Whether the part has its own spread; without it every value is nominal.
    #[serde(default = "yes")]
    pub spread: bool,
    /// What is wrong with it.
    #[serde(default, rename = "fault")]
    pub faults: Vec<Fault>,
}

impl PartSpec {
    /// A healthy part with spread.
    pub fn healthy(sensor: Sensor, topology: Topology) -> Self {
        Self { kind: Kind::Grip, sensor, topology, spread: true, faults: Vec::new() }
    }

    /// The same with one more fault.
    #[must_use]
    pub fn with(mut self, fault: Fault) -> Self {
        self.faults.push(fault);
        self
    }

    /// Checks every fault's numbers.
    ///
    /// # Errors
    /// The first number out of range.
    pub fn validate(&self) -> Result<(), FaultError> {
        self.faults.iter().try_for_each(Fault::validate)
    }
}
