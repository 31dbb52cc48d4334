//! What a figure must satisfy and what a finding means, with the source of each.

use crate::quantity::{Channel, Condition, FigureName, FindingKind, Unit};
use serde::Serialize;

/// A limit on one figure.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Limit {
    /// Which figure.
    pub figure: FigureName,
    /// Which line; none = every line, or the pair's figure.
    pub channel: Option<Channel>,
    /// Under which condition; empty = under every one.
    pub condition: Condition,
    /// Smallest allowed value, in the figure's unit.
    pub min: Option<f64>,
    /// Largest allowed value, in the figure's unit.
    pub max: Option<f64>,
    /// For rates whose `max` is 0: the test must be long enough that a rate of this much would have been seen with
    /// 95 % probability; until then a clean test is undecided.
    pub bound: Option<f64>,
    /// Whether a part is undecided while the figure was not testable. False: the outcome says so, and the other limits decide.
    pub required: bool,
    /// The figure's unit, as written in the sheet.
    pub unit: Unit,
    /// Where the limit comes from.
    pub source: String,
}

impl Limit {
    /// Whether it speaks of a figure of this line, measured under this condition.
    pub fn covers(&self, figure: FigureName, channel: Option<Channel>, condition: &Condition) -> bool {
        self.figure == figure
            && (self.channel.is_none() || self.channel == channel)
            && self.condition.covers(condition)
    }

    /// How much it names: of the limits that cover a figure, the one that names most counts.
    pub fn names(&self) -> usize {
        usize::from(self.channel.is_some()) + self.condition.names()
    }
}

/// What a kind of finding means for the overall verdict.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct FindingRule {
    /// Which kind.
    pub kind: FindingKind,
    /// True: a part with it is outside. False: it is reported and does not decide.
    pub decides: bool,
    /// A flat spot shallower than this is reported and does not decide, % of the line's span; none = any depth decides.
    pub least_depth_percent_span: Option<f64>,
    /// Where the rule comes from.
    pub source: String,
}
