//! From evidence to ranked suspects: which causes fit, what speaks for and against each, and which check would decide. It judges no
//! part and measures nothing.
//!
//! Weights add (log-likelihoods, nats) and each is printed with its reason. A clue gives every cause that fits it the log-odds that
//! its sureness adds, less how badly it fits; vehicle checks, complaint and codes add theirs. Causes whose odds differ by less than a factor of
//! two are tied. What the first cause and its ties do not explain is another problem, with suspects of its own.
//!
//! - `clue`, `mechanics`: what bench findings fit. - `context`: vehicle and complaint.
//! - `rivals`: why two can't be distinguished. - `codes`: trouble codes.

mod clue;
mod codes;
mod context;
mod mechanics;
mod rivals;

pub use codes::{CODES, Code, codes_for};

use super::Evidence;
use crate::quantity::Cause;
use clue::Clue;
use context::Weight;

/// Odds that differ by less than this, nats, are a tie: a factor of two.
const TIE: f64 = std::f64::consts::LN_2;
/// A suspect less probable than this is not named.
const LEAST_PROBABILITY: f64 = 0.03;
/// So many problems at most.
const MOST_PROBLEMS: u32 = 4;

/// A cause that the bench can't separate from a suspect.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Rival {
    /// The other cause.
    pub cause: Cause,
    /// Why it can't be separated, without a full stop.
    pub why: &'static str,
}

/// A cause that fits, and why.
#[derive(Clone, Debug, PartialEq)]
pub struct Suspect {
    /// The cause.
    pub cause: Cause,
    /// Which of several problems it explains, from 1: no single cause explains two of them.
    pub problem: u32,
    /// Probability, 0..1, that it is the cause of its problem. Those of one problem add up to how sure the problem is.
    pub probability: f64,
    /// Sum of its weights, nats.
    pub score: f64,
    /// Causes that fit as well: less than twice as likely one way or the other.
    pub tied_with: Vec<Cause>,
    /// What speaks for it: sentences with their weights.
    pub evidence: Vec<String>,
    /// What speaks against it.
    pub against: Vec<String>,
    /// Other suspects of the same problem.
    pub rivals: Vec<Rival>,
    /// The check that would separate it from its rivals.
    pub next_check: &'static str,
    /// Generic trouble codes that fit.
    pub codes: Vec<Code>,
}

/// Ranks the causes that fit the evidence, most likely first, problem by problem. Nothing found and nothing complained of gives none.
pub fn rank(evidence: &Evidence) -> Vec<Suspect> {
    let weights = context::weights(evidence);
    let mut clues = clue::clues(evidence);
    clues.extend(context::clues(evidence));
    if clues.is_empty() && context::complains(&evidence.complaint) {
        clues.push(what_remains(evidence));
    }
    let mut out: Vec<Suspect> = Vec::new();
    let mut explained: Vec<Cause> = Vec::new();
    let mut left: Vec<&Clue> = clues.iter().collect();
    for problem in 1..=MOST_PROBLEMS {
        // A clue that is likelier false than true leads only where nothing else does.
        let lead = left.iter().find(|c| problem == 1 || c.sureness >= 0.5);
        let Some(lead) = lead.copied() else { break };
        let ranked = of_problem(problem, lead, &left, &weights, evidence);
        let best = ranked.first().map_or(0.0, |s| s.score);
        let leading: Vec<Cause> = ranked.iter().filter(|s| best - s.score < TIE).map(|s| s.cause).collect();
        left.retain(|c| !std::ptr::eq(*c, lead) && !leading.iter().any(|cause| c.is_explained_by(*cause)));
        let beside =
            explained.first().map(|first| format!("another problem: {} does not explain it", first.title()));
        explained.extend(leading.first());
        out.extend(ranked.into_iter().map(|mut s| {
            s.evidence.extend(beside.clone());
            s
        }));
    }
    out
}

/// A complaint that the bench does not bear out, or has not been asked about: then the part's own contacts are as likely as others.
fn what_remains(evidence: &Evidence) -> Clue {
    let (says, sureness, cleared) = if evidence.is_of_the_bench() {
        ("something was complained of and the bench found nothing in the part", 0.9, -1.2)
    } else {
        ("something was complained of and no bench has tested the part yet", 0.5, 0.0)
    };
    Clue {
        says: says.to_owned(),
        sureness,
        channel: None,
        fits: vec![
            (Cause::WiringRun, 0.0),
            (Cause::Terminal, 0.0),
            (Cause::SignalContact, cleared),
            (Cause::SupplyContact, cleared),
            (Cause::Controller, -1.5),
        ],
        absorbed_by: Vec::new(),
    }
}

/// Suspects of one problem, most likely first.
fn of_problem(
    problem: u32,
    lead: &Clue,
    clues: &[&Clue],
    weights: &[Weight],
    evidence: &Evidence,
) -> Vec<Suspect> {
    let candidates: Vec<Cause> = lead.fits.iter().map(|(c, _)| *c).collect();
    // What another problem's causes explain does not bear on this one.
    let bearing: Vec<&Clue> =
        clues.iter().copied().filter(|c| candidates.iter().any(|cause| c.is_explained_by(*cause))).collect();
    let mut suspects: Vec<Suspect> = candidates
        .iter()
        .map(|cause| {
            let line = bearing.iter().find(|c| c.weight(*cause).is_some()).and_then(|c| c.channel);
            let mut suspect = Suspect {
                cause: *cause,
                problem,
                probability: 0.0,
                score: 0.0,
                tied_with: Vec::new(),
                evidence: Vec::new(),
                against: Vec::new(),
                rivals: Vec::new(),
                next_check: next_check(*cause, evidence),
                codes: codes_for(*cause, evidence.kind, line),
            };
            weigh(&mut suspect, &bearing, weights);
            suspect
        })
        .collect();
    suspects.sort_by(|a, b| b.score.total_cmp(&a.score));
    let best = suspects.first().map_or(0.0, |s| s.score);
    let sum: f64 = suspects.iter().map(|s| (s.score - best).exp()).sum();
    for suspect in &mut suspects {
        suspect.probability = lead.sureness.clamp(0.0, 1.0) * (suspect.score - best).exp() / sum;
    }
    suspects.retain(|s| s.probability >= LEAST_PROBABILITY || best - s.score < TIE);
    name_rivals(&mut suspects, best);
    suspects
}

/// The next check; where lost contact is known to follow something, the one beyond that.
fn next_check(cause: Cause, evidence: &Evidence) -> &'static str {
    let of_contact = matches!(cause, Cause::SignalContact | Cause::SupplyContact | Cause::LiftingWiper);
    let told = evidence.contact.as_ref().filter(|_| of_contact);
    let further = told.and_then(|c| super::advice_on_contact(c.follows, c.placed));
    further.unwrap_or(cause.advice())
}

/// Adds every weight with its sentence.
fn weigh(suspect: &mut Suspect, bearing: &[&Clue], weights: &[Weight]) {
    for clue in bearing {
        match clue.weight(suspect.cause) {
            Some(nats) => {
                suspect.score += nats;
                let list = if nats >= 0.0 { &mut suspect.evidence } else { &mut suspect.against };
                list.push(format!("{nats:+.1}: {}", clue.says));
            }
            None if !clue.is_explained_by(suspect.cause) && clue.sureness >= 0.5 => {
                suspect.against.push(format!("it does not explain: {}", clue.says));
            }
            None => {}
        }
    }
    for weight in weights.iter().filter(|w| w.cause == suspect.cause) {
        suspect.score += weight.nats;
        let list = if weight.nats >= 0.0 { &mut suspect.evidence } else { &mut suspect.against };
        list.push(format!("{:+.1}: {}", weight.nats, weight.says));
    }
}

fn name_rivals(suspects: &mut [Suspect], best: f64) {
    let all: Vec<(Cause, f64)> = suspects.iter().map(|s| (s.cause, s.score)).collect();
    for suspect in suspects {
        let others = || all.iter().filter(|(cause, _)| *cause != suspect.cause);
        let is_first = best - suspect.score < TIE;
        let tied = others().filter(|(_, score)| is_first && best - score < TIE).map(|(c, _)| *c);
        suspect.tied_with = tied.collect();
        suspect.rivals = others()
            .map(|(cause, _)| Rival { cause: *cause, why: rivals::why(suspect.cause, *cause) })
            .collect();
    }
}

#[cfg(test)]
mod tests;
