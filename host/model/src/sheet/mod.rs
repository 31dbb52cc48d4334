//! Part sheets: what a kind of part is, how it is tested, and the limits it must keep, each with its source.

mod body_plan;
pub mod bounds;
mod connector;
mod follow_plan;
mod grade;
mod limit;
mod load;
mod load_grades;
mod load_limits;
mod located;
mod near;
pub mod reader;
mod self_closing;
mod shipped;

pub use body_plan::{BodyPlan, GearTrain, LoopGains, MotorNominal};
pub use connector::ConnectorRating;
pub use follow_plan::{FollowPlan, PlateLines};
pub use grade::{GradeRule, PROCEDURES, SCOPES, VERDICTS};
pub use limit::{FindingRule, Limit};
pub use load::parse;
pub use located::SheetError;
pub use located::Source;
pub use shipped::{shipped, shipped_names, shipped_of, shipped_text};

use crate::quantity::{Channel, Condition, FigureName, PartKind};
use serde::{Deserialize, Serialize};

/// How the two sensor lines belong together.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
#[serde(rename_all = "kebab-case")]
pub enum Topology {
    /// rising + falling = supply.
    Complementary,
    /// rising = 2 × second.
    HalfSlope,
    /// rising − second = constant × supply.
    ParallelOffset,
}

impl Topology {
    /// The name in sheets and outcomes.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Complementary => "complementary",
            Self::HalfSlope => "half-slope",
            Self::ParallelOffset => "parallel-offset",
        }
    }
}

impl crate::quantity::Name for Topology {
    const ALL: &'static [Self] = &[Self::Complementary, Self::HalfSlope, Self::ParallelOffset];

    fn name(self) -> &'static str {
        Self::name(self)
    }
}

/// Output of one line at both ends of travel, as ratios of supply (0..1).
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct NominalLine {
    /// At the closed stop.
    pub closed: f64,
    /// At wide open.
    pub open: f64,
}

/// A controller's plausibility monitor, as far as a sheet knows it.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Monitor {
    /// Correlation residual beyond which a sample counts as bad, % of supply.
    pub threshold_percent: f64,
    /// Ratios of supply below / above which a line counts as out of range.
    pub rails: (f64, f64),
    /// Time between the monitor's samples, ms.
    pub period_ms: f64,
    /// Bad samples in a row (or up/down counts) that trip it.
    pub debounce: u32,
}

/// How a sweep is to be driven.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct SweepPlan {
    /// Full cycles.
    pub cycles: u32,
    /// Speed, degrees per second.
    pub speed_deg_s: f64,
    /// Scans per second.
    pub rate_hz: u32,
}

/// A kind of part: what it is, how to test it, what it must keep.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct PartSheet {
    /// Short name, as on the command line.
    pub name: String,
    /// One line for people.
    pub title: String,
    /// What it is.
    pub kind: PartKind,
    /// How the lines belong together.
    pub topology: Topology,
    /// Nominal sensor supply, volts.
    pub supply_volts: f64,
    /// Nominal travel, degrees.
    pub travel_deg: f64,
    /// First line.
    pub rising: NominalLine,
    /// Second line.
    pub falling: NominalLine,
    /// The plausibility monitor to predict trips with.
    pub monitor: Monitor,
    /// The sweep; of a throttle body, its creep.
    pub sweep: SweepPlan,
    /// How a throttle body is tested; none for a grip.
    pub body: Option<BodyPlan>,
    /// How a pair is tested; none for one part.
    pub follow: Option<FollowPlan>,
    /// Limits on figures.
    pub limits: Vec<Limit>,
    /// What findings mean for the verdict.
    pub findings: Vec<FindingRule>,
    /// Grades for resale, best first; empty = none is given.
    pub grades: Vec<GradeRule>,
    /// How many matings its connectors bear.
    pub connector: ConnectorRating,
    /// Whether a grip must have been let go, and so have shown that it closes by itself, to be within. False: the outcome says that it was not.
    pub self_closing_required: bool,
}

impl PartSheet {
    /// The nominal line of channel 0 (rising) or 1 (falling).
    pub fn line(&self, index: usize) -> NominalLine {
        if index == 0 { self.rising } else { self.falling }
    }

    /// Its slope, ratio of supply per degree, signed.
    pub fn slope(&self, index: usize) -> f64 {
        let nominal = self.line(index);
        (nominal.open - nominal.closed) / self.travel_deg
    }

    /// Correlation line of the topology with these nominal lines: `second = m × first + k`, ratios of supply.
    pub fn correlation_line(&self) -> (f64, f64) {
        let m = (self.falling.open - self.falling.closed) / (self.rising.open - self.rising.closed);
        (m, self.falling.closed - m * self.rising.closed)
    }

    /// The limit that counts for a figure: of those that cover it, the one that names most; the first of equals.
    pub fn limit_for(
        &self,
        figure: FigureName,
        channel: Option<Channel>,
        condition: &Condition,
    ) -> Option<&Limit> {
        let covering = self.limits.iter().rev().filter(|l| l.covers(figure, channel, condition));
        covering.max_by_key(|l| l.names())
    }
}
