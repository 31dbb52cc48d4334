//! Several outcomes against the first: before and after, or a series. One document, one level for all of its figures.

use super::SCHEMA_VERSION;
use super::family::{self, Family};
use super::figures::{self, Change, NotCompared};
use super::findings::{self, FindingChange};
use super::subject::{OtherKind, Side, Subject, differing, same_kind};
use super::trend::{self, Trend};
use serde::Serialize;

/// What is stated of the uncertainty of every difference.
pub const SHARED: &str = "what both measurements share (one rig, its calibration, the model of a figure) was not taken off: an outcome \
                          states one uncertainty for all of it. A change may go unseen for that; none is claimed for it";
/// What is stated of the rule.
pub const RULE: &str = "\"changed\" is said only where chance is excluded for all figures of the comparison together: of comparisons of \
                        a part that did not change, one in 20 at most says it of anything (Holm)";

/// The document.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct Changes {
    /// Shape version.
    pub schema: u32,
    /// `changes`.
    pub document: &'static str,
    /// The questions that share one level.
    pub family: Family,
    /// The records, in the order given; the first is what the others are compared with.
    pub records: Vec<Side>,
    /// Each further record against the first.
    pub pairs: Vec<Pair>,
    /// Over time, where that was asked for; otherwise empty.
    pub trends: Vec<Trend>,
    /// How to read it.
    pub notes: Vec<String>,
}

/// One record against the first.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct Pair {
    /// Its place in `records`, from 0.
    pub record: usize,
    /// What else than the part differs.
    pub differing: Vec<String>,
    /// Figures that both have; with a trend none is asked for a change of its own.
    pub figures: Vec<Change>,
    /// Findings of either.
    pub findings: Vec<FindingChange>,
    /// What can't be compared.
    pub not_compared: Vec<NotCompared>,
}

/// What is asked.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Question {
    /// Each against the first.
    AgainstFirst,
    /// Every quantity over time.
    OverTime,
}

/// Compares; the first subject is "before".
///
/// # Errors
/// [`OtherKind`] when the parts are of different kinds.
pub fn compare(subjects: &[Subject<'_>], question: Question) -> Result<Changes, OtherKind> {
    let (before, others) = subjects.split_first().expect("there is a record to compare with");
    for after in others {
        same_kind(*before, *after)?;
    }
    let mut pairs: Vec<Pair> = others.iter().enumerate().map(|(k, s)| pair(k + 1, *before, *s)).collect();
    let mut trends = Vec::new();
    let family = match question {
        Question::AgainstFirst => answer(&mut pairs, subjects),
        Question::OverTime => {
            for pair in &mut pairs {
                pair.figures.clear();
                pair.not_compared.clear();
            }
            let (all, family) = trend::trends(subjects);
            trends = all;
            family
        }
    };
    let mut notes = vec![RULE.to_owned(), SHARED.to_owned()];
    notes.extend((question == Question::OverTime).then(|| trend::NOTE.to_owned()));
    let records = subjects.iter().map(Subject::side).collect();
    Ok(Changes { schema: SCHEMA_VERSION, document: "changes", family, records, pairs, trends, notes })
}

fn pair(record: usize, before: Subject<'_>, after: Subject<'_>) -> Pair {
    let compared = figures::compare(before.outcome, after.outcome);
    Pair {
        record,
        differing: differing(before, after),
        figures: compared.changes,
        findings: findings::compare(before.outcome, after.outcome),
        not_compared: compared.not_compared,
    }
}

/// What changed, by Holm over all figures of all pairs.
fn answer(pairs: &mut [Pair], subjects: &[Subject<'_>]) -> Family {
    let p: Vec<f64> = pairs.iter().flat_map(|pair| &pair.figures).map(|c| c.p).collect();
    let family = Family::of(p.len());
    let mut adjusted = family::adjusted(&p).into_iter();
    for pair in pairs {
        let (before, after) = (subjects[0].outcome, subjects[pair.record].outcome);
        for change in &mut pair.figures {
            change.p_family = adjusted.next().unwrap_or(1.0);
            change.changed = change.p_family <= family.level;
            change.least_shown = figures::least_shown(change, before, after, &family);
        }
    }
    family
}
