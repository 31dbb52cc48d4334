//! The outcome: figures, verdicts, findings and provenance as one stored, versioned document (`outcome.json`).
//!
//! These are stored types: they carry a version, are distinct from the runtime types, and old ones stay readable.

mod build;
mod cautions;
mod contact;
mod grade;
mod line;
mod soak;
mod stamp;
mod suspects;
mod text;

pub use build::{ANALYSIS_VERSION, OutcomeInputs, SessionEnd, StoredTrace, build};
pub use cautions::CAUTIONS;
pub use contact::{OutcomeContact, OutcomeContactEvent, OutcomePlace, OutcomeWarmth};
pub use grade::{grade, margin_percent};
pub use line::OutcomeLine;
pub use soak::{
    OutcomeSoak, SOAK_LOG_SCHEMA, SoakBegin, SoakDrift, SoakEnd, SoakEvent, SoakEvents, SoakFigure,
    SoakFindingCount, SoakHole, SoakKept, SoakLine, SoakLogFile, SoakRound, SoakTemperature, SoakWatched,
};
pub use stamp::{SLOT_CHARS, SLOT_CLOSES, SLOT_OPENS, Stamp, empty_slot};
pub use suspects::{OutcomeCode, OutcomeRival, OutcomeSuspect, evidence_of};
pub use text::{OutcomeError, SCHEMA};

use crate::quantity::{Channel, Condition, FigureName, FindingKind, PartKind, ProcedureKind, Unit, Written};
use crate::sheet::Topology;
use crate::trace::{Gap, RigProvenance, TraceEnd};
use crate::verdict::{FindingEffect, HowEnded, Scope, Verdict};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// Version of the document's shape.
pub const SCHEMA_VERSION: u32 = 2;

/// The whole document.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct Outcome {
    /// Shape version.
    pub schema: u32,
    /// Overall verdict on what `scope` names.
    pub verdict: Verdict,
    /// What was judged: `part`, `dropouts` (flex), `leads`, `soak`, `readiness` (self-check), or one procedure of a throttle body by its
    /// name.
    #[serde(default = "whole_part")]
    pub scope: Written<Scope>,
    /// What was planned and not done to its end; empty when all was done, and in outcomes of programs that kept no plan.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub not_done: Vec<OutcomeNotDone>,
    /// Why, as sentences; for `undecided` also what would decide it.
    pub reasons: Vec<String>,
    /// What must be heeded around this part, as sentences; empty for a grip.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub cautions: Vec<String>,
    /// Whether the data were simulated.
    pub simulated: bool,
    /// Whether a recording, or the session between two of them, was cut short.
    pub aborted: bool,
    /// The part as the user named it.
    pub part: OutcomePart,
    /// The sheet it was judged by.
    pub sheet: OutcomeSheet,
    /// The rig, when there was one.
    pub rig: Option<RigProvenance>,
    /// Program, protocol, analysis versions.
    #[cfg_attr(feature = "schemas", schemars(extend(
        "properties" = { "trackpair": { "type": "string" }, "analysis": { "type": "string" } },
        "required" = ["trackpair", "analysis"],
    )))]
    pub versions: BTreeMap<String, String>,
    /// When it was recorded, RFC 3339.
    pub recorded: String,
    /// When it was judged, RFC 3339.
    pub judged: String,
    /// Every figure, judged.
    pub figures: Vec<OutcomeFigure>,
    /// Every finding.
    pub findings: Vec<OutcomeFinding>,
    /// Histograms with their limits.
    pub histograms: Vec<OutcomeHistogram>,
    /// What the self-check read, in its order.
    #[serde(default)]
    pub readings: Vec<OutcomeReading>,
    /// Missing scans, by trace.
    pub gaps: Vec<OutcomeGap>,
    /// What would have been missed.
    pub detection_limits: Vec<OutcomeDetectionLimit>,
    /// What could not be tested, and why.
    pub not_testable: Vec<OutcomeNotTestable>,
    /// Procedures that were run, in order.
    pub procedures: Vec<OutcomeProcedure>,
    /// Things the reader should know.
    pub warnings: Vec<String>,
    /// Grade for resale; none when the sheet has no rules for one, and in outcomes of programs that gave none.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub grade: Option<OutcomeGrade>,
    /// How often the connectors were plugged in; none where no rig was, and in outcomes of programs that did not count.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub matings: Option<OutcomeMatings>,
    /// What the line between rig and computer did; none where no rig was, and in outcomes of programs that did not record it (schema 1).
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub line: Option<OutcomeLine>,
    /// Causes that fit, most likely first, problem by problem; none when nothing was found, and in outcomes of programs that ranked
    /// none.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub suspects: Vec<OutcomeSuspect>,
    /// Lost contact event by event; none where no pigtail was flexed, and in outcomes of programs that did not record it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub contact: Option<OutcomeContact>,
    /// The course of a soak; none for everything else.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub soak: Option<OutcomeSoak>,
    /// What came of sweeping again; none where the part was to be looked at once.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub settling: Option<OutcomeSettling>,
}

/// A part that was to be looked at more than once, until it was decided.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct OutcomeSettling {
    /// Sweeps that were planned beforehand, the first among them.
    #[cfg_attr(feature = "schemas", schemars(range(min = 2)))]
    pub planned_sweeps: u32,
    /// Sweeps that were recorded.
    #[cfg_attr(feature = "schemas", schemars(range(min = 1)))]
    pub sweeps: u32,
    /// Which of them is judged, from 1.
    #[cfg_attr(feature = "schemas", schemars(range(min = 1)))]
    pub judged_sweep: u32,
    /// Probability that `within` and `outside` need in each look.
    #[cfg_attr(feature = "schemas", schemars(extend("exclusiveMinimum" = 0.5, "exclusiveMaximum" = 1)))]
    pub conformance_probability: f64,
    /// Figures that the first sweep left undecided and that are decided now.
    #[cfg_attr(feature = "schemas", schemars(inner(length(min = 1))))]
    pub settled: Vec<String>,
    /// Figures that are still undecided.
    #[cfg_attr(feature = "schemas", schemars(inner(length(min = 1))))]
    pub open: Vec<String>,
}

/// How often the connectors were plugged in, this session included.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct OutcomeMatings {
    /// Whether this session plugged the part in; false when it had been left plugged in.
    pub counted: bool,
    /// The part's connector; null for a part without a name.
    pub part: Option<OutcomeMating>,
    /// The rig's lead.
    pub lead: Option<OutcomeMating>,
}

/// One connector.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct OutcomeMating {
    /// What the part is called, or the rig's serial number.
    pub of: String,
    /// Matings so far.
    pub count: u32,
    /// How many it bears by the sheet.
    #[cfg_attr(feature = "schemas", schemars(range(min = 1)))]
    pub rated: u32,
    /// Source of that.
    pub source: String,
}

/// A grade by the rules of the sheet.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct OutcomeGrade {
    /// Short name; null when no rule is met.
    pub name: Option<String>,
    /// What it means; null with the name.
    pub title: Option<String>,
    /// Source of its rule; null with the name.
    pub source: Option<String>,
    /// Why it is given, and what kept the part from the next better one; for no grade, from the last of them.
    pub why: Vec<String>,
}

/// Outcomes that do not say it are about the whole part.
fn whole_part() -> Written<Scope> {
    Scope::Part.into()
}

/// One reading of the self-check.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct OutcomeReading {
    /// What was read, in words.
    pub name: String,
    /// Its value; null when it was not seen.
    pub value: Option<f64>,
    /// Its unit.
    pub unit: String,
}

/// The part.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct OutcomePart {
    /// Kind.
    pub kind: Written<PartKind>,
    /// In the user's words: number, serial; may hold anything.
    pub label: String,
    /// Topology that the data show.
    pub topology_found: Option<Written<Topology>>,
}

/// The sheet.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct OutcomeSheet {
    /// Name.
    pub name: String,
    /// Title.
    pub title: String,
    /// Topology it expects.
    pub topology: Written<Topology>,
}

/// A limit as it was applied.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct OutcomeLimit {
    /// Smallest allowed.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub min: Option<f64>,
    /// Largest allowed.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub max: Option<f64>,
    /// Rate that a clean test must be able to exclude.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub bound: Option<f64>,
}

/// One judged figure.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct OutcomeFigure {
    /// Name.
    pub figure: Written<FigureName>,
    /// Line, or null for the pair.
    pub channel: Option<Written<Channel>>,
    /// Under which condition, where one quantity has several values.
    #[serde(default, skip_serializing_if = "Condition::is_none")]
    pub condition: Condition,
    /// Value.
    pub value: f64,
    /// Unit.
    pub unit: Unit,
    /// Expanded uncertainty, 95 %, k = 2.
    #[cfg_attr(feature = "schemas", schemars(range(min = 0)))]
    pub expanded_uncertainty: f64,
    /// 95 % upper bound of a rate.
    pub upper_bound: Option<f64>,
    /// Where, degrees of travel.
    pub at_deg: Option<f64>,
    /// The limit, or null when the sheet has none.
    pub limit: Option<OutcomeLimit>,
    /// Source of the limit.
    pub source: Option<String>,
    /// The verdict, or null when there is no limit.
    pub verdict: Option<Verdict>,
    /// For `undecided`: what would decide it.
    pub would_decide: Option<String>,
    /// What was measured.
    pub definition: String,
}

/// One finding.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct OutcomeFinding {
    /// Kind.
    pub kind: Written<FindingKind>,
    /// Line, or null.
    pub channel: Option<Written<Channel>>,
    /// From, degrees of travel.
    pub from_deg: Option<f64>,
    /// To, degrees of travel.
    pub to_deg: Option<f64>,
    /// 0..1.
    #[cfg_attr(feature = "schemas", schemars(range(min = 0, max = 1)))]
    pub confidence: f64,
    /// Whether it makes the part `outside`.
    pub decides: bool,
    /// What it does to the verdict; null in outcomes of programs that did not say it.
    #[serde(default)]
    pub effect: Option<FindingEffect>,
    /// One sentence.
    pub text: String,
    /// Written numbers.
    pub details: BTreeMap<String, f64>,
}

/// A histogram.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct OutcomeHistogram {
    /// Name.
    pub name: String,
    /// Line, or null.
    pub channel: Option<Written<Channel>>,
    /// Region and direction of a latency's.
    #[serde(default, skip_serializing_if = "Condition::is_none")]
    pub condition: Condition,
    /// Unit of the bins.
    pub unit: Unit,
    /// Lower edge of the first bin.
    pub low: f64,
    /// Bin width.
    #[cfg_attr(feature = "schemas", schemars(extend("exclusiveMinimum" = 0)))]
    pub width: f64,
    /// Counts.
    pub counts: Vec<u64>,
    /// Limit lines, in the bins' unit.
    pub limits: Vec<f64>,
}

/// Missing scans of one trace.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct OutcomeGap {
    /// Procedure.
    pub procedure: Written<ProcedureKind>,
    /// The gap.
    #[serde(flatten)]
    pub gap: Gap,
    /// Travel that it touches, degrees.
    pub from_deg: Option<f64>,
    /// Travel that it touches, degrees.
    pub to_deg: Option<f64>,
}

/// What would have been missed.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct OutcomeDetectionLimit {
    /// Kind of defect.
    pub kind: Written<FindingKind>,
    /// Line, or null.
    pub channel: Option<Written<Channel>>,
    /// A sentence.
    pub text: String,
    /// Written numbers.
    pub details: BTreeMap<String, f64>,
}

/// What could not be tested.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct OutcomeNotTestable {
    /// Figure or finding.
    pub what: String,
    /// Why, and what to do.
    pub why: String,
}

/// A procedure that was planned and not done to its end.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct OutcomeNotDone {
    /// Name.
    pub procedure: Written<ProcedureKind>,
    /// How it ended.
    pub how: HowEnded,
    /// Why, a fragment.
    pub why: String,
}

/// A procedure that was run.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct OutcomeProcedure {
    /// Name.
    pub procedure: Written<ProcedureKind>,
    /// Scans recorded.
    pub scans: u64,
    /// How it ended.
    pub end: Written<TraceEnd>,
    /// File in the archive folder, when stored.
    pub trace_file: Option<String>,
    /// Frames that were damaged between rig and computer, of all, %; none where too few went to show, or none were counted.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[cfg_attr(feature = "schemas", schemars(range(min = 0, max = 100)))]
    pub damaged_percent: Option<f64>,
    /// For a leads check: whether every line's load was really switched on; none for the rest, and in outcomes of programs that did not say.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub loads_stepped: Option<bool>,
}
