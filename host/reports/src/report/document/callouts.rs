//! What stands out of a document's text: banner, verdict, grade, findings, suspects, what ties it to its record. Each holds its parts
//! by their meaning, and says its own standing words, so that no medium says them in its own way.

use super::text::{Text, Tone};
use super::{Facts, Mark};

/// Said before everything else.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Banner {
    /// In capitals.
    pub word: &'static str,
    /// The sentence after it.
    pub text: String,
    /// More, where there is room.
    pub more: &'static str,
}

impl Banner {
    /// That a part was simulated.
    pub const SIMULATED: &'static str = "SIMULATED";

    /// Of what was simulated.
    pub fn simulated(more: &'static str) -> Self {
        Self { word: Self::SIMULATED, text: "No real part was measured.".to_owned(), more }
    }
}

/// What comes of it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Verdict {
    /// What it comes to; open where the document judges nothing.
    pub mark: Mark,
    /// The word that stands largest.
    pub word: String,
    /// What it means.
    pub meaning: Text,
    /// Why.
    pub reasons: Vec<Text>,
}

/// A grade, or that there is none.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Grade {
    /// "Resale grade: ample", or "No resale grade".
    pub headline: String,
    /// What it means.
    pub title: String,
    /// Why, and what kept the part from a better one.
    pub why: Vec<String>,
    /// Source of its rule; empty without a grade.
    pub source: String,
}

impl Grade {
    /// Where its rule comes from; none without a grade.
    pub fn source(&self) -> Option<String> {
        (!self.source.is_empty()).then(|| format!("Source of the grade: {}", self.source))
    }
}

/// A finding.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Finding {
    /// From 1; the same on the plots.
    pub number: usize,
    /// Kind in words.
    pub kind: String,
    /// Line in words, or "both lines"; none for a defect of the plate's drive.
    pub line: Option<String>,
    /// Place, where known.
    pub place: Option<String>,
    /// What it does to the verdict, in words.
    pub weight: &'static str,
    /// How sure.
    pub confidence: String,
    /// The sentence.
    pub text: String,
    /// Named numbers: "depth 3.2 %".
    pub evidence: Vec<String>,
    /// Whether the short form has these numbers: where they stand in no figure.
    pub evidence_in_brief: bool,
    /// What to do next.
    pub next_step: Option<&'static str>,
}

impl Finding {
    /// What stands after its kind: its line and its place.
    pub fn whereabouts(&self) -> String {
        let line = self.line.as_ref().map_or(String::new(), |l| format!(", {l}"));
        let place = self.place.as_ref().map_or(String::new(), |p| format!(", at {p}"));
        format!("{line}{place}")
    }

    /// What it is headed with.
    pub fn title(&self) -> String {
        format!("{}{}", self.kind, self.whereabouts())
    }

    /// How sure it is, what it does, and on which numbers it stands.
    pub fn sure(&self, with_evidence: bool) -> String {
        let sure = format!("Confidence {}; {}.", self.confidence, self.weight);
        if with_evidence && !self.evidence.is_empty() {
            format!("{sure} Evidence: {}.", self.evidence.join(", "))
        } else {
            sure
        }
    }

    /// What to do next.
    pub fn next(&self) -> Option<Text> {
        self.next_step.map(|step| Text::named("Next step", step))
    }
}

/// A cause that fits.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Suspect {
    /// Cause, how likely it is, and whether it is tied.
    pub heading: String,
    /// What speaks for it, what speaks against it, what the bench can't distinguish, codes: each under its name.
    pub lines: Vec<(&'static str, String)>,
    /// The next check.
    pub next_check: String,
}

impl Suspect {
    /// What can't be distinguished from it.
    pub const RIVALS: &'static str = "Rivals";

    /// Its lines as text.
    pub fn said(&self) -> impl Iterator<Item = Text> {
        self.lines.iter().map(|(name, text)| Text::named(name, text))
    }

    /// The next check.
    pub fn next(&self) -> Text {
        Text::named("Next check", &self.next_check)
    }
}

/// Causes that fit, most likely first.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Suspects {
    /// All of them.
    pub all: Vec<Suspect>,
    /// How many the short form has.
    pub brief: usize,
    /// Whether the short form has their lines.
    pub lines_in_brief: bool,
}

/// What ties a document to its sealed record, and where a hand signs it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Sealing {
    /// Record, fingerprint, key.
    pub facts: Facts,
    /// The beginning of the fingerprint, for the head of a page.
    pub short: String,
    /// The code as a picture (SVG); none when it is too long for one.
    pub code: Option<String>,
}

impl Sealing {
    /// Its heading, where it has a section of its own.
    pub const TITLE: &'static str = "Seal";

    /// How to check a document.
    pub const HOW: &'static str = "To check this document: trackpair verify FILE, with the shop's public key. The code holds \
        record, fingerprint, key and signature. It shows who sealed it and that nothing was altered since, not that the \
        measurement was right.";

    /// How to check it, as text.
    pub fn how() -> Text {
        Text::new(Self::HOW, Tone::Faint)
    }
}
