//! What is checked at the vehicle before a part is pulled, and what the readings say: expected values, readings, verdicts by line, and
//! whether the part should be pulled. It does not know the bench, nor where it is kept.

use crate::diagnosis::VehicleEvidence;
use serde::{Deserialize, Serialize};

/// What the checks end with.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Conclusion {
    /// The wiring is cleared: the part goes onto the bench.
    PullThePart,
    /// The wiring is at fault: mend it before anything is removed.
    MendTheRunFirst,
    /// Neither can be said.
    Undecided,
}

/// Checks as they were entered and judged: a stored document.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct VehicleCheck {
    /// Version of its shape.
    pub schema: u32,
    /// When it was entered, RFC 3339.
    pub checked: String,
    /// What it ends with.
    pub conclusion: Conclusion,
    /// Why, as sentences.
    pub reasons: Vec<String>,
}

impl VehicleCheck {
    /// What its lines say to those who look for a cause.
    pub fn evidence(&self) -> Vec<VehicleEvidence> {
        Vec::new()
    }
}
