//! Grades for the resale of a part: what a part must be to bear one. The rules are the sheet's; how an outcome is held against
//! them is `trackpair_outcome`'s business.

use serde::Serialize;

/// Verdicts that a rule may name. A test keeps them equal to those of the verdict layer, which a sheet does not know.
pub const VERDICTS: [&str; 3] = ["within", "undecided", "outside"];

/// What may have been judged: the whole part, or one procedure alone. As [`VERDICTS`].
pub const SCOPES: [&str; 13] = [
    "part",
    "dropouts",
    "leads",
    "rest",
    "step",
    "release",
    "creep",
    "lash",
    "tooth_map",
    "blip_before",
    "blip",
    "blip_after",
    "guided_push",
];

/// Procedures that a rule may ask for. As [`VERDICTS`].
pub const PROCEDURES: [&str; 16] = [
    "self_check",
    "sweep",
    "leads_check",
    "hand_sweep",
    "flex",
    "import",
    "rest",
    "step",
    "release",
    "creep",
    "lash",
    "tooth_map",
    "blip_before",
    "blip",
    "blip_after",
    "guided_push",
];

/// A grade and what a part must be to bear it. Of the rules of a sheet, in their order, the first that a part meets names its grade.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct GradeRule {
    /// Short name, as on a label: "A".
    pub name: String,
    /// What it means, one line.
    pub title: String,
    /// Verdicts that are allowed, from [`VERDICTS`].
    pub verdicts: Vec<&'static str>,
    /// What must have been judged, from [`SCOPES`]; the whole part where the sheet says nothing.
    pub scopes: Vec<&'static str>,
    /// Smallest margin of any figure to its limit, %, as `outcome::margin_percent` defines it; none = any.
    pub smallest_margin_percent: Option<f64>,
    /// Largest confidence of any finding, 0..1; none = any.
    pub largest_confidence: Option<f64>,
    /// Procedures that must have run to their end, from [`PROCEDURES`].
    pub procedures: Vec<&'static str>,
    /// Whether figures may be undecided.
    pub undecided: bool,
    /// Whether limits of the sheet may have been left untested.
    pub untested: bool,
    /// Whether simulated parts bear it.
    pub simulated: bool,
    /// Where the rule comes from.
    pub source: String,
}
