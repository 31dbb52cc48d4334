//! Suspects as they are stored, and an outcome as evidence, so that they can be ranked again beside vehicle checks and a complaint. It
//! ranks nothing.

use super::{Outcome, OutcomeContact, OutcomeFigure, OutcomeFinding};
use crate::diagnosis::{ContactEvidence, Evidence, FigureEvidence, FindingEvidence, Suspect};
use crate::quantity::{Cause, Channel, Written};
use serde::{Deserialize, Serialize};

/// A cause that fits, as stored. Names and titles are those of the program that ranked.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct OutcomeSuspect {
    /// Machine name of the cause.
    pub cause: Written<Cause>,
    /// The cause in words.
    pub title: String,
    /// Which of several problems it explains, from 1.
    #[cfg_attr(feature = "schemas", schemars(range(min = 1)))]
    pub problem: u32,
    /// 0..1, that it is the cause of its problem.
    #[cfg_attr(feature = "schemas", schemars(range(min = 0, max = 1)))]
    pub probability: f64,
    /// Machine names of causes that fit as well.
    pub tied_with: Vec<Written<Cause>>,
    /// What speaks for it, with weights.
    pub evidence: Vec<String>,
    /// What speaks against it.
    pub against: Vec<String>,
    /// Other causes of the same problem.
    pub rivals: Vec<OutcomeRival>,
    /// The check that would separate it from them.
    pub next_check: String,
    /// Generic trouble codes that fit.
    pub codes: Vec<OutcomeCode>,
}

/// A cause that a suspect can't be distinguished from.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct OutcomeRival {
    /// Machine name.
    pub cause: Written<Cause>,
    /// In words.
    pub title: String,
    /// Why the bench can't separate them.
    pub why: String,
}

/// A generic trouble code (SAE J2012, ISO 15031-6).
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct OutcomeCode {
    /// `P2121`.
    #[cfg_attr(feature = "schemas", schemars(regex(pattern = "^P[0-9]{4}$")))]
    pub code: String,
    /// What it stands for.
    pub title: String,
}

impl From<Suspect> for OutcomeSuspect {
    fn from(s: Suspect) -> Self {
        Self {
            cause: s.cause.into(),
            title: s.cause.title().to_owned(),
            problem: s.problem,
            probability: s.probability,
            tied_with: s.tied_with.iter().map(|c| Written::from(*c)).collect(),
            evidence: s.evidence,
            against: s.against,
            rivals: s
                .rivals
                .iter()
                .map(|r| OutcomeRival {
                    cause: r.cause.into(),
                    title: r.cause.title().to_owned(),
                    why: r.why.to_owned(),
                })
                .collect(),
            next_check: s.next_check.to_owned(),
            codes: s
                .codes
                .iter()
                .map(|c| OutcomeCode { code: c.code.to_owned(), title: c.title.to_owned() })
                .collect(),
        }
    }
}

/// What an outcome knows, for [`crate::diagnosis::rank`]; vehicle checks and complaint come by [`Evidence::merge`]. Kinds and figures
/// of a newer program that this one does not know are left out.
pub fn evidence_of(outcome: &Outcome) -> Evidence {
    Evidence {
        kind: outcome.part.kind.known().unwrap_or_default(),
        findings: outcome.findings.iter().filter_map(finding).collect(),
        figures: outcome.figures.iter().filter_map(figure).collect(),
        contact: outcome.contact.as_ref().map(contact),
        not_testable: outcome.not_testable.iter().map(|n| n.what.clone()).collect(),
        ..Evidence::default()
    }
}

fn contact(contact: &OutcomeContact) -> ContactEvidence {
    ContactEvidence {
        follows: contact.followed(),
        placed: contact.places.iter().any(|p| p.stands_out),
        warm: contact.warmth.is_some_and(|w| w.follows),
        text: contact.why.clone(),
    }
}

fn line(channel: Option<&Written<Channel>>) -> Option<Channel> {
    channel.and_then(Written::known)
}

fn finding(f: &OutcomeFinding) -> Option<FindingEvidence> {
    Some(FindingEvidence {
        kind: f.kind.known()?,
        channel: line(f.channel.as_ref()),
        from_deg: f.from_deg,
        to_deg: f.to_deg,
        confidence: f.confidence,
        details: f.details.clone(),
    })
}

fn figure(f: &OutcomeFigure) -> Option<FigureEvidence> {
    Some(FigureEvidence {
        name: f.figure.known()?,
        channel: line(f.channel.as_ref()),
        value: f.value,
        standard_uncertainty: 0.5 * f.expanded_uncertainty,
        verdict: f.verdict,
    })
}
