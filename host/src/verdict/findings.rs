//! What each finding does to the verdict.
//!
//! - One that the sheet lets decide and that is sure (95 %, as figures must be) makes the part `outside`.
//! - One with less than that, but more likely true than not, leaves it `undecided`: the part can't be called good while a
//!   defect is the likelier explanation, nor bad.
//! - One that is likelier false than true does nothing by itself: when every figure keeps its limit beyond the guard band, a
//!   guess at a cause is no reason to withhold `within`. It is still told.
//! - Causes that were put up for one and the same deviation of the lines are rivals: at most one of them is true. So their
//!   confidences add: together they say how likely it is that one of those that decide is there, and `undecided` follows
//!   from that sum. It is said once, by the strongest. `outside` needs one that is sure by itself, for a technician is to be
//!   told what is broken.

use super::DecidedFinding;
use crate::analysis::Finding;
use crate::sheet::{FindingRule, PartSheet};
use serde::{Deserialize, Serialize};

/// Confidence from which a finding makes a part `outside`. The same 95 % that figures must have.
pub const DECIDING_CONFIDENCE: f64 = 0.95;

/// Confidence from which a finding keeps a part from being `within`: likelier true than not.
pub const LEAST_CONFIDENCE: f64 = 0.5;

/// The detail that causes carry which were found as explanations of one and the same deviation of the pair.
const RIVALS: &str = "deviation_score";

/// What a finding does to the verdict.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum FindingEffect {
    /// It makes the part `outside`.
    Outside,
    /// It is not sure enough for that, and keeps the part from being `within`.
    Undecided,
    /// Another explanation of the same deviation is likelier and speaks for both.
    Rival,
    /// It is likelier false than true, so it does nothing.
    TooWeak,
    /// By the sheet it explains, and the figures decide.
    Explains,
}

impl FindingEffect {
    /// As people read it.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Outside => "makes the part outside",
            Self::Undecided => "leaves the part undecided",
            Self::Rival => "does not count beside the likelier explanation of the same deviation",
            Self::TooWeak => "too unsure to count",
            Self::Explains => "explains; the figures decide",
        }
    }
}

/// The effect of every finding, in their order.
pub(super) fn decide(findings: Vec<&Finding>, sheet: &PartSheet) -> Vec<DecidedFinding> {
    let rule = |f: &Finding| sheet.findings.iter().find(|r| r.kind == f.kind);
    // A kind that the sheet does not know decides: better undecided or outside than passed over.
    let decides = |f: &Finding| rule(f).is_none_or(|r| r.decides);
    let rivals: Vec<&Finding> = findings.iter().copied().filter(|f| is_rival(f) && decides(f)).collect();
    let together: f64 = rivals.iter().map(|f| sureness(f)).sum();
    let strongest = rivals.into_iter().max_by(|a, b| sureness(a).total_cmp(&sureness(b)));
    let effect = |f: &Finding| {
        if !decides(f) {
            return FindingEffect::Explains;
        }
        let speaks = strongest.is_some_and(|s| std::ptr::eq(s, f));
        let sure = if speaks { together } else { sureness(f) };
        match sureness(f) {
            own if own >= DECIDING_CONFIDENCE => FindingEffect::Outside,
            _ if is_rival(f) && !speaks => FindingEffect::Rival,
            _ if sure >= LEAST_CONFIDENCE => FindingEffect::Undecided,
            _ => FindingEffect::TooWeak,
        }
    };
    let source = |rule: &FindingRule| rule.source.clone();
    let decided = |f: &Finding| DecidedFinding {
        finding: f.clone(),
        effect: effect(f),
        source: rule(f).map(source).unwrap_or_default(),
    };
    findings.iter().map(|f| decided(f)).collect()
}

fn is_rival(finding: &Finding) -> bool {
    finding.details.iter().any(|d| d.name == RIVALS)
}

/// A confidence that can be compared; what is no number is no confidence.
fn sureness(finding: &Finding) -> f64 {
    if finding.confidence.is_finite() { finding.confidence } else { 0.0 }
}
