//! What judging records again made of them: verdicts and figures that differ from the last outcome. It judges nothing itself.

use super::SCHEMA_VERSION;
use super::subject::Quantity;
use crate::outcome::Outcome;
use crate::quantity::{FindingKind, Written};
use crate::verdict::Verdict;
use serde::Serialize;

/// All records.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Rejudged {
    /// How many were asked for.
    pub records: usize,
    /// Whether nothing was kept.
    pub dry_run: bool,
    /// Whether it was stopped between two records.
    pub stopped: bool,
    /// Those that were judged.
    pub judged: Vec<Difference>,
    /// Those that were not.
    pub skipped: Vec<Skipped>,
}

/// The document.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct Document<'a> {
    /// Shape version.
    pub schema: u32,
    /// `rejudged`.
    pub document: &'static str,
    /// How many records were asked for.
    pub records: usize,
    /// How many of them were judged.
    pub judged: usize,
    /// Whether nothing was kept.
    pub dry_run: bool,
    /// Whether it was stopped between two records.
    pub stopped: bool,
    /// Records whose verdict, or the verdict of a figure, or a finding differs.
    pub differing: Vec<&'a Difference>,
    /// Those that were not judged.
    pub skipped: &'a [Skipped],
}

impl Rejudged {
    /// What is printed as JSON.
    pub fn document(&self) -> Document<'_> {
        Document {
            schema: SCHEMA_VERSION,
            document: "rejudged",
            records: self.records,
            judged: self.judged.len(),
            dry_run: self.dry_run,
            stopped: self.stopped,
            differing: self.judged.iter().filter(|d| d.differs()).collect(),
            skipped: &self.skipped,
        }
    }
}

/// One record.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct Difference {
    /// Its name.
    pub record: String,
    /// Number of the new outcome; null when nothing was kept.
    pub number: Option<u32>,
    /// The sheet it was judged by before; null when it was not judged.
    pub sheet_before: Option<String>,
    /// The sheet now.
    pub sheet: String,
    /// The verdict before; null when it was not judged.
    pub before: Option<Verdict>,
    /// The verdict now.
    pub after: Verdict,
    /// Figures whose verdict differs.
    pub figures: Vec<FigureVerdict>,
    /// Figures whose value differs by more than a tenth of its uncertainty.
    pub values_differ: usize,
    /// Kinds of finding that are new.
    pub findings_new: Vec<Written<FindingKind>>,
    /// Kinds of finding that are gone.
    pub findings_gone: Vec<Written<FindingKind>>,
    /// Scans it was judged from.
    pub scans: u64,
}

impl Difference {
    /// Whether anything that a reader would act on differs.
    pub fn differs(&self) -> bool {
        self.before != Some(self.after)
            || !(self.figures.is_empty() && self.findings_new.is_empty() && self.findings_gone.is_empty())
    }
}

/// A figure whose verdict differs.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct FigureVerdict {
    /// Which.
    #[serde(flatten)]
    pub quantity: Quantity,
    /// Before; null without a limit, or without the figure.
    pub before: Option<Verdict>,
    /// Now.
    pub after: Option<Verdict>,
}

/// A record that was not judged.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct Skipped {
    /// Its name.
    pub record: String,
    /// Why, and what to do.
    pub why: String,
    /// Whether a file of it is missing, swapped or damaged.
    pub damaged: bool,
}

/// What differs between a record's last outcome and the new one.
pub fn differences(record: &str, before: Option<&Outcome>, after: &Outcome, scans: u64) -> Difference {
    let kinds = |o: &Outcome| o.findings.iter().map(|f| f.kind.clone()).collect::<Vec<_>>();
    let (old, new) = (before.map(kinds).unwrap_or_default(), kinds(after));
    let without = |all: &[Written<FindingKind>], others: &[Written<FindingKind>]| {
        let mut rest: Vec<Written<FindingKind>> =
            all.iter().filter(|k| !others.contains(k)).cloned().collect();
        rest.dedup();
        rest
    };
    Difference {
        record: record.to_owned(),
        number: None,
        sheet_before: before.map(|o| o.sheet.name.clone()),
        sheet: after.sheet.name.clone(),
        before: before.map(|o| o.verdict),
        after: after.verdict,
        figures: before.map(|before| figures(before, after)).unwrap_or_default(),
        values_differ: before.map_or(0, |before| values_differ(before, after)),
        findings_new: without(&new, &old),
        findings_gone: without(&old, &new),
        scans,
    }
}

fn figures(before: &Outcome, after: &Outcome) -> Vec<FigureVerdict> {
    let of = |quantity: Quantity| {
        let verdict = |o: &Outcome| quantity.find(o).and_then(|f| f.verdict);
        let (before, after) = (verdict(before), verdict(after));
        (before != after).then_some(FigureVerdict { quantity, before, after })
    };
    let gone = before.figures.iter().map(Quantity::of).filter(|q| q.find(after).is_none());
    after.figures.iter().map(Quantity::of).chain(gone).filter_map(of).collect()
}

fn values_differ(before: &Outcome, after: &Outcome) -> usize {
    let differs = |f: &&crate::outcome::OutcomeFigure| {
        Quantity::of(f)
            .find(before)
            .is_none_or(|old| (old.value - f.value).abs() > 0.1 * f.expanded_uncertainty.max(1e-12))
    };
    after.figures.iter().filter(differs).count()
}
