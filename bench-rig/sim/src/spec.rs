//! What a part is meant to be: kind of sensor, topology, spread and faults. A part file says exactly this.

use serde::{Deserialize, Serialize};
use thiserror::Error;

use crate::body;
use crate::fault::Fault;
use crate::fault_range::FaultError;

/// Kind of part.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Kind {
    /// Twist-grip sensor.
    Grip,
    /// Motor-driven throttle body; its sensor is the feedback pair on the plate.
    Body,
}

impl Kind {
    /// Nominal electrical travel, degrees of grip or plate.
    pub fn travel_deg(self) -> f64 {
        match self {
            Self::Grip => 75.0,
            Self::Body => body::numbers::TRAVEL_DEG,
        }
    }

    /// As people call it.
    pub fn name(self) -> &'static str {
        match self {
            Self::Grip => "grip",
            Self::Body => "body",
        }
    }
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

/// Why a part cannot be as it was specified.
#[derive(Clone, Debug, PartialEq, Error)]
pub enum SpecError {
    /// A number is out of range.
    #[error(transparent)]
    Range(#[from] FaultError),
    /// A fault that such a part cannot have.
    #[error("a {kind} cannot have the fault {fault}; see PARTS.md for the faults of a {kind}")]
    Misplaced {
        /// Kind of part.
        kind: &'static str,
        /// The fault's kind.
        fault: &'static str,
    },
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
    /// A healthy grip with spread.
    pub fn healthy(sensor: Sensor, topology: Topology) -> Self {
        Self { kind: Kind::Grip, sensor, topology, spread: true, faults: Vec::new() }
    }

    /// A healthy body with spread: Hall, complementary.
    pub fn healthy_body() -> Self {
        Self { kind: Kind::Body, ..Self::healthy(Sensor::Hall, Topology::Complementary) }
    }

    /// The same with one more fault.
    #[must_use]
    pub fn with(mut self, fault: Fault) -> Self {
        self.faults.push(fault);
        self
    }

    /// Checks every fault and its numbers.
    ///
    /// # Errors
    /// The first fault that such a part cannot have, or number out of range.
    pub fn validate(&self) -> Result<(), SpecError> {
        self.faults.iter().try_for_each(|fault| {
            if !fault.fits(self.kind == Kind::Body) {
                return Err(SpecError::Misplaced { kind: self.kind.name(), fault: fault.kind() });
            }
            Ok(fault.validate()?)
        })
    }
}
