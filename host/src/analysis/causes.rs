//! Faults of the part as a whole, by rules that can be explained: leads, leakage, gain, shared bends, dead or exchanged lines.

use super::prepared::Prepared;
use super::{Finding, NotTestable, dropout, leads};
use crate::sheet::PartSheet;

/// What the rules look at.
#[derive(Clone, Copy, Debug)]
pub struct CausesInput<'a> {
    /// The sweep.
    pub prepared: &'a Prepared<'a>,
    /// The part sheet.
    pub sheet: &'a PartSheet,
    /// The leads check, if done.
    pub leads: Option<&'a leads::Report>,
    /// Dropouts of the sweep.
    pub dropouts: &'a dropout::Report,
}

/// Causes, and what could not be told.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Report {
    /// What was found.
    pub findings: Vec<Finding>,
    /// Kinds that could not be told, and why.
    pub not_testable: Vec<NotTestable>,
}

/// Applies the rules in their order.
pub fn find(input: &CausesInput<'_>) -> Report {
    let _ = input;
    unimplemented!()
}
