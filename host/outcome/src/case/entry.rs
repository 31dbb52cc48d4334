//! Entries of a case as they are stored: one JSON document each, with a version. What an entry may follow is `rules`' business.

use crate::diagnosis::{Complaint, Seen, Symptom};
use crate::quantity::{PartKind, Written};
use crate::vehicle::VehicleCheck;
use crate::verdict::{Scope, Verdict};
use serde::{Deserialize, Serialize};

/// Version of the document's shape.
pub const ENTRY_SCHEMA: u32 = 1;

/// One entry.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct Entry {
    /// Version of an entry's shape.
    #[cfg_attr(feature = "schemas", schemars(extend("const" = ENTRY_SCHEMA)))]
    pub schema: u32,
    /// The case.
    pub case: String,
    /// From 1.
    #[cfg_attr(feature = "schemas", schemars(range(min = 1)))]
    pub number: u32,
    /// When it was made, RFC 3339, by the host's clock.
    pub date: String,
    /// What it is.
    #[serde(flatten)]
    pub content: Content,
}

/// What an entry is.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
#[serde(tag = "what", content = "told", rename_all = "snake_case")]
pub enum Content {
    /// The complaint; always the first entry and only there.
    Opening(Opening),
    /// What came to light or was done since.
    Note(Note),
    /// Checks at the vehicle.
    VehicleCheck(VehicleCheck),
    /// A record of the bench that belongs to the case.
    Record(RecordEntry),
    /// The case was closed.
    Closing(Closing),
}

impl Content {
    /// The name in files and the index.
    pub const fn name(&self) -> &'static str {
        match self {
            Self::Opening(_) => "opening",
            Self::Note(_) => "note",
            Self::VehicleCheck(_) => "vehicle_check",
            Self::Record(_) => "record",
            Self::Closing(_) => "closing",
        }
    }
}

/// What a case begins with.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct Opening {
    /// The vehicle in the user's words; may hold anything.
    pub vehicle: String,
    /// What was complained of, read and seen.
    pub complaint: Complaint,
    /// The parts that are in question.
    pub parts: Vec<CasePart>,
}

/// A part of the vehicle.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct CasePart {
    /// What it is.
    pub kind: PartKind,
    /// What it is called in records.
    pub label: String,
    /// Part number, where it is known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub number: Option<String>,
    /// Serial number.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub serial: Option<String>,
    /// Its use so far: hours, distance, years.
    #[serde(default, skip_serializing_if = "Option::is_none", rename = "use")]
    pub used: Option<String>,
    /// Where it comes from.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub origin: Option<String>,
    /// Matings that its connector had before this case, as far as known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub matings_before: Option<u32>,
}

/// What came to light or was done.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct Note {
    /// In the user's words; may hold anything.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub words: String,
    /// What the rider shows besides.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub symptoms: Vec<Symptom>,
    /// Trouble codes that were read since.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    #[cfg_attr(feature = "schemas", schemars(inner(regex(pattern = "^[PBCU][0-3][0-9A-F]{3}$"))))]
    pub codes: Vec<String>,
    /// What the eye saw; the last word on a place counts.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub seen: Vec<Seen>,
    /// Parts that came into question.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub parts: Vec<CasePart>,
    /// Labels of parts whose plug was pulled and put back on the vehicle: a mating each.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub replugged: Vec<String>,
    /// Whether the fault went away with that.
    #[serde(default, skip_serializing_if = "is_false")]
    pub cleared_by_replugging: bool,
    /// What was mended or replaced.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub mended: Option<String>,
    /// Why a closed case goes on.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reopened: Option<String>,
}

#[expect(clippy::trivially_copy_pass_by_ref, reason = "serde asks for a reference")]
const fn is_false(flag: &bool) -> bool {
    !*flag
}

/// A record of the bench.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct RecordEntry {
    /// Its name in the archive.
    pub record: String,
    /// Which of its outcomes.
    #[cfg_attr(feature = "schemas", schemars(range(min = 1)))]
    pub number: u32,
    /// Fingerprint of that outcome's seal; none when it was not sealed.
    pub fingerprint: Option<String>,
    /// Kind of part.
    pub kind: PartKind,
    /// What the part is called there.
    pub label: String,
    /// What was judged.
    pub scope: Written<Scope>,
    /// The verdict.
    pub verdict: Verdict,
    /// Whether it was simulated.
    pub simulated: bool,
}

/// How a case ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
#[serde(rename_all = "snake_case")]
pub enum Ending {
    /// The cause was found and mended.
    Mended,
    /// Nothing was found, and the fault did not come back.
    NothingFound,
    /// Handed on, or given up: to another shop, by the customer's wish.
    HandedOn,
}

impl Ending {
    /// All.
    pub const ALL: [Self; 3] = [Self::Mended, Self::NothingFound, Self::HandedOn];

    /// The name in files and options.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Mended => "mended",
            Self::NothingFound => "nothing_found",
            Self::HandedOn => "handed_on",
        }
    }
}

/// A case's end.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct Closing {
    /// How it ended.
    pub ending: Ending,
    /// In the user's words; may hold anything.
    pub words: String,
}

/// Why a stored entry can't be read.
#[derive(Debug, thiserror::Error)]
pub enum EntryError {
    /// Not such a document.
    #[error("it is not an entry of a case: {0}")]
    Shape(#[from] serde_json::Error),
    /// Written by a later program.
    #[error("its schema is {0}, this program reads 1 to {ENTRY_SCHEMA}; use a newer program")]
    Newer(u32),
}

impl Entry {
    /// As the text of its file.
    pub fn to_json(&self) -> String {
        // Every type in it serialises.
        let mut text = serde_json::to_string_pretty(self).unwrap_or_default();
        text.push('\n');
        text
    }

    /// From the text of its file.
    ///
    /// # Errors
    /// It is no entry, or one of a later program.
    pub fn from_json(text: &str) -> Result<Self, EntryError> {
        #[derive(Deserialize)]
        struct Head {
            schema: u32,
        }
        let head: Head = serde_json::from_str(text)?;
        if head.schema > ENTRY_SCHEMA {
            return Err(EntryError::Newer(head.schema));
        }
        Ok(serde_json::from_str(text)?)
    }
}
