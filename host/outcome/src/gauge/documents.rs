//! What programs read of a study and of a known part: numbers with where they came from. Their shapes are published
//! (`outcome/schema/gauge_result.schema.json`, `check_part.schema.json`).

use super::plan::Plan;
use super::study::{LeftOut, Study};
use super::watch::{State, Watched};
use serde::Serialize;

/// A study's result.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct StudyDocument {
    /// Version of the shape.
    pub schema: u32,
    /// `gauge_result`.
    pub document: &'static str,
    /// What was planned.
    pub plan: Plan,
    /// Rounds that are whole, and count.
    #[cfg_attr(feature = "schemas", schemars(range(min = 2)))]
    pub rounds: usize,
    /// Sweeps that count.
    #[cfg_attr(feature = "schemas", schemars(range(min = 8)))]
    pub sweeps: usize,
    /// Whether any of them was simulated.
    pub simulated: bool,
    /// Model and serial of every rig they came from.
    pub rigs: Vec<String>,
    /// Part sheets that they were judged by.
    pub sheets: Vec<String>,
    /// Versions of the analysis that worked them out.
    pub analyses: Vec<String>,
    /// Figure by figure.
    #[serde(flatten)]
    pub study: Study,
}

/// A known part over its sweeps.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct KnownDocument {
    /// Version of the shape.
    pub schema: u32,
    /// `check_part`.
    pub document: &'static str,
    /// The known part in the user's words.
    pub part: String,
    /// The worst state of all figures.
    pub state: State,
    /// Sweeps that later ones are held against.
    #[cfg_attr(feature = "schemas", schemars(range(min = 10)))]
    pub first: usize,
    /// When each sweep was made, RFC 3339, in their order.
    pub sweeps: Vec<String>,
    /// Whether any of them was simulated.
    pub simulated: bool,
    /// Model and serial of every rig they came from.
    pub rigs: Vec<String>,
    /// Part sheets that they were judged by.
    pub sheets: Vec<String>,
    /// Versions of the analysis that worked them out.
    pub analyses: Vec<String>,
    /// Figure by figure, in the order of the first sweep.
    pub figures: Vec<Watched>,
    /// Figures that could not be charted: which, and why.
    pub left_out: Vec<LeftOut>,
}
