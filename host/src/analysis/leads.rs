//! The leads check: what supply steps and load steps tell of supply, ground and signal leads and of leakage.

use super::NotTestable;
use crate::sheet::PartSheet;
use crate::trace::Trace;

/// A value with its standard uncertainty (k = 1), same unit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Estimate {
    /// Value.
    pub value: f64,
    /// Standard uncertainty, ≥ 0.
    pub standard_uncertainty: f64,
}

/// How the part draws its supply current.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SupplyCurrent {
    /// The same at 4 V and 5 V: an active (Hall) sensor; the supply step sees its leads.
    Constant,
    /// In proportion to the supply: a resistive track; the supply step is blind to its leads.
    Ratiometric,
    /// Not recorded, or neither.
    Unknown,
}

/// What the steps show. Absent = the step was not done, or could not be used.
#[derive(Clone, Debug, PartialEq)]
pub struct Report {
    /// Drop in the supply lead, volts.
    pub supply_drop_v: Option<Estimate>,
    /// Drop in the ground lead, volts.
    pub ground_drop_v: Option<Estimate>,
    /// Resistance of the supply lead, Ω, when the supply current was recorded.
    pub supply_lead_ohm: Option<Estimate>,
    /// Resistance of the ground lead, Ω, when the supply current was recorded.
    pub ground_lead_ohm: Option<Estimate>,
    /// Resistance each line shows to the 10 kΩ load, Ω: source, lead and leakage together.
    pub source_ohm: [Option<Estimate>; 2],
    /// Ratio of each line at the place of the load step, load off.
    pub loadless_ratio: [Option<Estimate>; 2],
    /// How the supply current behaves.
    pub current: SupplyCurrent,
    /// Supply current at the higher supply, amperes.
    pub supply_amps: Option<Estimate>,
    /// Return at the plug against the rig's ground, volts.
    pub ground_v: Option<Estimate>,
    /// What could not be had.
    pub not_testable: Vec<NotTestable>,
}

/// Analyses a leads check.
pub fn analyse(trace: &Trace, sheet: &PartSheet) -> Report {
    let _ = (trace, sheet);
    unimplemented!()
}
