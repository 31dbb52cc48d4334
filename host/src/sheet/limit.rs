//! What a figure must satisfy and what a finding means, with the source of each.

use crate::quantity::{Channel, FigureName, FindingKind, Unit};
use serde::Serialize;

/// A limit on one figure.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Limit {
    /// Which figure.
    pub figure: FigureName,
    /// Which line; none = every line, or the pair's figure.
    pub channel: Option<Channel>,
    /// Smallest allowed value, in the figure's unit.
    pub min: Option<f64>,
    /// Largest allowed value, in the figure's unit.
    pub max: Option<f64>,
    /// For rates whose `max` is 0: the test must be long enough that a rate of this much would have been seen with
    /// 95 % probability; until then a clean test is undecided.
    pub bound: Option<f64>,
    /// The figure's unit, as written in the sheet.
    pub unit: Unit,
    /// Where the limit comes from.
    pub source: String,
}

/// What a kind of finding means for the overall verdict.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct FindingRule {
    /// Which kind.
    pub kind: FindingKind,
    /// True: a part with it is outside. False: it is reported and does not decide.
    pub decides: bool,
    /// Where the rule comes from.
    pub source: String,
}
