//! Figures against limits with their uncertainty: `within`, `outside` or `undecided`.
//!
//! - `advised`: what would settle an undecided part.
//! - `scope`: what a procedure tests, and so what it may judge.
//! - `conformity`: a value with its uncertainty against a limit.
//! - `looks`: a part that is looked at more than once, at no higher risk.
//! - `remedy`: what would settle what is undecided, and how likely it does.
//! - `risk`: what that rule risks: consumer's and producer's; `integral`: the rule of integration.
//! - `done`: what of a plan was not done to its end.
//! - `findings`: what a finding does to the verdict.
//! - `judge`: a whole analysis against a sheet.
//! - `untested`: what was to be tested and was not.
//! - `words`: the sentences.

mod advised;
mod conformity;
mod done;
mod findings;
#[cfg(test)]
mod foreign_logs_tests;
mod integral;
mod judge;
mod looks;
mod remedy;
mod risk;
mod scope;
mod untested;
mod words;

pub use conformity::{
    CONFORMANCE_PROBABILITY, Conformity, GUARD_FACTOR, conformity, conformity_at, guard_factor, probability,
};
pub use done::{HowEnded, NotDone, loads_stepped, not_done};
pub use findings::LeastDepth;
pub use findings::{DECIDING_CONFIDENCE, FindingEffect, LEAST_CONFIDENCE};
pub use integral::GAUSS;
pub use judge::{Judging, judge, judge_by, judge_scope};
pub use looks::{MOST_MORE_SWEEPS, planned_looks, sure_in_each};
pub use remedy::{HOPED_CHANCE, LEAST_CHANCE, MOST_CYCLES, Makeup, Remedy, Sweep};
pub use risk::{Measured, Risks, Shares, Zones};
pub use scope::Scope;
pub use untested::NOT_LOOKED_AT;
pub use words::line_name;

use crate::analysis::{Figure, Finding};
use crate::sheet::{Limit, Topology};
use serde::{Deserialize, Serialize};

/// What can be said of a figure, or of a part.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
#[serde(rename_all = "snake_case")]
pub enum Verdict {
    /// It keeps its limits, with at least 95 % probability.
    Within,
    /// It breaks a limit, with at least 95 % probability.
    Outside,
    /// Neither can be said.
    Undecided,
}

impl Verdict {
    /// The word.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Within => "within",
            Self::Outside => "outside",
            Self::Undecided => "undecided",
        }
    }
}

/// A figure with its limit and what can be said of it.
#[derive(Clone, Debug, PartialEq)]
pub struct JudgedFigure {
    /// The figure.
    pub figure: Figure,
    /// Its limit, if the sheet has one.
    pub limit: Option<Limit>,
    /// The verdict; none without a limit.
    pub verdict: Option<Verdict>,
    /// Probability that it keeps its limit, 0..1; none for rates and where it is not known.
    pub probability: Option<f64>,
    /// For `undecided`: why, and what would decide it.
    pub would_decide: Option<String>,
    /// The same for a program; none where it is not known.
    pub remedy: Option<Remedy>,
}

/// A finding with what the sheet says it means.
#[derive(Clone, Debug, PartialEq)]
pub struct DecidedFinding {
    /// The finding.
    pub finding: Finding,
    /// What it does to the verdict.
    pub effect: FindingEffect,
    /// Source of the rule; empty when the sheet has none.
    pub source: String,
    /// For one that leaves the part undecided: the sweep that would settle it; none where no sweep does.
    pub sweep: Option<Sweep>,
}

impl DecidedFinding {
    /// What it makes of the part; none when it does nothing.
    pub const fn verdict(&self) -> Option<Verdict> {
        match self.effect {
            FindingEffect::Outside => Some(Verdict::Outside),
            FindingEffect::Undecided => Some(Verdict::Undecided),
            FindingEffect::Rival | FindingEffect::TooWeak | FindingEffect::Explains => None,
        }
    }
}

/// Something with a limit or a deciding rule that was not tested.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Untested {
    /// Figure or finding by its machine name, with its line where it has one.
    pub what: String,
    /// The same in the words of the trade.
    pub title: String,
    /// Why, and what would make it testable.
    pub why: String,
}

/// What can be said of a part.
#[derive(Clone, Debug, PartialEq)]
pub struct Judgement {
    /// What was to be judged.
    pub scope: Scope,
    /// The part, as far as the scope goes.
    pub overall: Verdict,
    /// Every figure in the order of the analysis.
    pub figures: Vec<JudgedFigure>,
    /// Every finding in the order of the analysis.
    pub findings: Vec<DecidedFinding>,
    /// What should have been tested and was not: keeps a part from being `within`.
    pub untested: Vec<Untested>,
    /// What nothing that was done looks at, as sentences: the verdict does not speak of it.
    pub not_looked_at: Vec<String>,
    /// What happened to the recording that keeps a part from being `within`: cut short, scans missing.
    pub impairments: Vec<String>,
    /// Whether every place that scans are missing from was passed whole by other strokes.
    pub places_covered: bool,
    /// What was not tried although a grip can do it, as a sentence that stands at the top: whether it closes by itself. Whether that keeps it
    /// from being `within` is the sheet's to say ([`PartSheet::self_closing_required`](crate::sheet::PartSheet::self_closing_required)).
    pub not_tried: Option<String>,
    /// The sheet is for another topology than the lines show, as a sentence: then nothing is `outside` by that sheet.
    pub mismatch: Option<String>,
    /// Topology of the sheet, for the names of the lines.
    pub topology: Topology,
    /// Probability that `within` and `outside` need.
    pub sure: f64,
    /// What else its reader should know, as sentences: they change nothing.
    pub notes: Vec<String>,
    /// Why, as sentences, the deciding ones first; notes last.
    pub reasons: Vec<String>,
}
