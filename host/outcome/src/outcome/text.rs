//! An outcome to and from its JSON text. Old versions stay readable; newer ones are refused by name.

use super::{Outcome, SCHEMA_VERSION};
use serde::Deserialize;

/// JSON Schema (2020-12) of `outcome.json`.
pub const SCHEMA: &str = include_str!("schema/outcome.schema.json");

/// Why a text is no outcome.
#[derive(Debug, thiserror::Error)]
pub enum OutcomeError {
    /// Not JSON, or JSON of something else.
    #[error("this is not an outcome of trackpair ({0}); give the outcome.json of an archive folder")]
    NotAnOutcome(#[source] serde_json::Error),
    /// Written by a later program.
    #[error(
        "this outcome has schema {found}, this program reads 1 to {SCHEMA_VERSION}; use the program that wrote it, or a newer one"
    )]
    Version {
        /// The version in the text.
        found: u32,
    },
}

impl Outcome {
    /// Pretty-printed JSON with the keys in their fixed order and a final newline.
    pub fn to_json(&self) -> String {
        // Every type in it serialises: maps have text keys, and numbers that are not finite can't get in (`build`).
        let mut text = serde_json::to_string_pretty(self).unwrap_or_default();
        text.push('\n');
        text
    }

    /// Reads the text of an `outcome.json`.
    ///
    /// # Errors
    /// Not JSON, not an outcome, or written with a later schema.
    pub fn from_json(text: &str) -> Result<Self, OutcomeError> {
        #[derive(Deserialize)]
        struct Head {
            schema: u32,
        }
        let head: Head = serde_json::from_str(text).map_err(OutcomeError::NotAnOutcome)?;
        if head.schema == 0 || head.schema > SCHEMA_VERSION {
            return Err(OutcomeError::Version { found: head.schema });
        }
        serde_json::from_str(text).map_err(OutcomeError::NotAnOutcome)
    }
}
