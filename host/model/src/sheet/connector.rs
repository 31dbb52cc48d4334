//! How many matings the connectors bear: `[connector]` of a sheet, and what is taken where a sheet says nothing.

use serde::{Deserialize, Serialize};

/// What is taken where the sheet says nothing: tin terminals bear about 10 to 50 matings, thin gold about 50, by makers' references
/// (read in part, in part from memory). The part's is taken to be tin at its worst, the rig's lead to be gold.
const UNNAMED: (u32, u32, &str) =
    (10, 50, "common practice, no source: tin terminals 10 at the worst, a lead with thin gold about 50");

/// Ratings of the connectors.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct ConnectorRating {
    /// Matings that the part's connector bears.
    pub part_matings: u32,
    /// Matings that the rig's lead bears.
    pub lead_matings: u32,
    /// Where the numbers come from.
    pub source: String,
}

impl Default for ConnectorRating {
    fn default() -> Self {
        let (part_matings, lead_matings, source) = UNNAMED;
        Self { part_matings, lead_matings, source: source.to_owned() }
    }
}
