//! One outcome's findings against another's: what appeared, what is gone, what is where it was. It does not ask for causes.

use crate::outcome::{Outcome, OutcomeFinding};
use crate::quantity::{Channel, FindingKind, Written};
use crate::verdict::FindingEffect;
use serde::Serialize;

/// Places closer than this are one place, degrees.
const SAME_PLACE_DEG: f64 = 1.0;

/// What became of a finding.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
#[serde(rename_all = "snake_case")]
pub enum Fate {
    /// Only the second has it.
    Appeared,
    /// Only the first has it.
    Gone,
    /// Both have it, at one place.
    SamePlace,
    /// Both have it, elsewhere.
    Elsewhere,
    /// Only one has it, and the other did not look for it.
    NotLookedFor,
}

/// A finding of one record or of both.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct FindingChange {
    /// Kind.
    pub kind: Written<FindingKind>,
    /// Line; null for the pair or the part.
    pub channel: Option<Written<Channel>>,
    /// What became of it.
    pub fate: Fate,
    /// In the first.
    pub before: Option<Seen>,
    /// In the second.
    pub after: Option<Seen>,
    /// What the record without it would have missed, as its own sentence.
    pub would_have_missed: Option<String>,
}

/// A finding as one record has it.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct Seen {
    /// From, degrees of travel.
    pub from_deg: Option<f64>,
    /// To, degrees of travel.
    pub to_deg: Option<f64>,
    /// 0..1.
    #[cfg_attr(feature = "schemas", schemars(range(min = 0, max = 1)))]
    pub confidence: f64,
    /// What it does to the verdict; null where that was not stored.
    pub effect: Option<FindingEffect>,
    /// One sentence.
    pub text: String,
}

impl From<&OutcomeFinding> for Seen {
    fn from(f: &OutcomeFinding) -> Self {
        Self {
            from_deg: f.from_deg,
            to_deg: f.to_deg,
            confidence: f.confidence,
            effect: f.effect,
            text: f.text.clone(),
        }
    }
}

/// Findings of both, each once: first those at one place, then those that moved, then those of one record alone.
pub fn compare(before: &Outcome, after: &Outcome) -> Vec<FindingChange> {
    let mut left: Vec<&OutcomeFinding> = before.findings.iter().collect();
    let mut new: Vec<&OutcomeFinding> = after.findings.iter().collect();
    let mut all = Vec::new();
    for (fate, one_place) in [(Fate::SamePlace, true), (Fate::Elsewhere, false)] {
        left.retain(|a| {
            let fits = |b: &&OutcomeFinding| alike(a, b) && (!one_place || near(a, b));
            let Some(at) = new.iter().position(fits) else { return true };
            let b = new.remove(at);
            all.push(finding(a, fate, Some(a), Some(b), None));
            false
        });
    }
    let lone = |f: &OutcomeFinding, other: &Outcome, fate| {
        let looked = looked_for(other, &f.kind);
        let missed = looked.then(|| missed(other, f)).flatten();
        (if looked { fate } else { Fate::NotLookedFor }, missed)
    };
    for a in left {
        let (fate, missed) = lone(a, after, Fate::Gone);
        all.push(finding(a, fate, Some(a), None, missed));
    }
    for b in new {
        let (fate, missed) = lone(b, before, Fate::Appeared);
        all.push(finding(b, fate, None, Some(b), missed));
    }
    all
}

fn finding(
    of: &OutcomeFinding,
    fate: Fate,
    before: Option<&OutcomeFinding>,
    after: Option<&OutcomeFinding>,
    would_have_missed: Option<String>,
) -> FindingChange {
    FindingChange {
        kind: of.kind.clone(),
        channel: of.channel.clone(),
        fate,
        before: before.map(Seen::from),
        after: after.map(Seen::from),
        would_have_missed,
    }
}

fn alike(a: &OutcomeFinding, b: &OutcomeFinding) -> bool {
    (&a.kind, &a.channel) == (&b.kind, &b.channel)
}

/// Whether two stretches touch, or neither has a place.
fn near(a: &OutcomeFinding, b: &OutcomeFinding) -> bool {
    let stretch = |f: &OutcomeFinding| {
        let (from, to) = (f.from_deg.or(f.to_deg)?, f.to_deg.or(f.from_deg)?);
        Some((from.min(to), from.max(to)))
    };
    match (stretch(a), stretch(b)) {
        (Some(a), Some(b)) => a.0 <= b.1 + SAME_PLACE_DEG && b.0 <= a.1 + SAME_PLACE_DEG,
        (None, None) => true,
        _ => false,
    }
}

/// Whether a record tested for a kind of finding: the whole part, or another scope that speaks of it.
fn looked_for(outcome: &Outcome, kind: &Written<FindingKind>) -> bool {
    let Some(kind) = kind.known() else { return true };
    outcome.scope.known().is_none_or(|scope| scope.looks_for(kind))
}

/// What a record says it would have missed of such a finding.
fn missed(outcome: &Outcome, finding: &OutcomeFinding) -> Option<String> {
    let of_kind = || outcome.detection_limits.iter().filter(|l| l.kind == finding.kind);
    let of_line = of_kind().find(|l| l.channel == finding.channel);
    of_line.or_else(|| of_kind().find(|l| l.channel.is_none())).map(|l| l.text.clone())
}
