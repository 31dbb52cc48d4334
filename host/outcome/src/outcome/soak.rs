//! A soak as it is stored: the lines of its log while it runs, and what an outcome says of its course. It computes nothing.

use crate::analysis::dropout::Wire;
use crate::quantity::{Channel, Condition, FigureName, PartKind, Unit, Written};
use serde::{Deserialize, Serialize};

/// Version of the log's lines.
pub const SOAK_LOG_SCHEMA: u32 = 1;

/// One line of a soak's log.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(tag = "line", rename_all = "snake_case")]
pub enum SoakLine {
    /// The first: what was asked for.
    Begin(SoakBegin),
    /// A round that was done.
    Round(SoakRound),
    /// The traces of a round were kept after its line was written: it was the last.
    Kept(SoakKept),
    /// The rig or the program was away and goes on.
    Resume(SoakHole),
    /// It came to its end.
    End(SoakEnd),
}

/// What was asked for.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct SoakBegin {
    /// Version of the log's lines.
    pub schema: u32,
    /// Address of the rig.
    pub rig: String,
    /// Kind of part.
    pub kind: Written<PartKind>,
    /// The part in the user's words.
    pub part: String,
    /// Name or file of the part sheet.
    pub sheet: String,
    /// How long, hours of soaking.
    pub hours: f64,
    /// Time from the start of one round to the start of the next, s.
    pub every_s: f64,
    /// Cycles of a round; none: the sheet's.
    pub cycles: Option<u32>,
    /// Bytes that log and traces may take.
    pub disk: u64,
    /// How long an absent rig is waited for, s.
    pub patience_s: f64,
    /// When it began, RFC 3339.
    pub date: String,
    /// Whether rig and part are simulated.
    pub simulated: bool,
    /// The case that it belongs to, by its full name.
    #[serde(default)]
    pub case: Option<String>,
    /// Whether the part had been left plugged in, so that no mating is counted.
    #[serde(default)]
    pub still_plugged: bool,
}

/// A round.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct SoakRound {
    /// From 1.
    pub round: u64,
    /// Host's date, RFC 3339.
    pub date: String,
    /// Serial number of the rig.
    pub serial: String,
    /// Its boot count.
    pub boot: u32,
    /// First scan on the rig's clock, µs.
    pub rig_us: u64,
    /// Seconds since the soak began; holes count by the rig's clock where it ran on, else by the host's.
    pub t_s: f64,
    /// Seconds of soaking so far, without holes.
    pub soaked_s: f64,
    /// Cycles driven in it.
    pub cycles: u32,
    /// Its figures.
    pub figures: Vec<SoakFigure>,
    /// Its dropouts, at most [`SoakRound::MOST_EVENTS`].
    pub events: Vec<SoakEvent>,
    /// Dropouts beyond those, sure ones.
    pub events_beyond: u64,
    /// Time in which a dropout would have been seen, minutes.
    pub watched_min: f64,
    /// Scans that are missing.
    pub scans_lost: u64,
    /// Mean temperature of the rig, °C.
    pub celsius: Option<f64>,
    /// Kinds of other findings.
    pub findings: Vec<String>,
    /// Files of its traces, from the archive's folder; empty when they were not kept.
    pub traces: Vec<String>,
    /// Whether they were left out for want of room.
    pub no_room: bool,
}

impl SoakRound {
    /// Dropouts reported one by one in a round: what is beyond is counted, so that a line of the log stays short.
    pub const MOST_EVENTS: usize = 40;

    /// Sure dropouts.
    pub fn sure_events(&self) -> u64 {
        self.events.iter().filter(|e| e.sure).count() as u64 + self.events_beyond
    }
}

/// Traces of a round that was the last.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct SoakKept {
    /// Which.
    pub round: u64,
    /// Their files, from the archive's folder.
    pub traces: Vec<String>,
}

/// A figure of a round.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct SoakFigure {
    /// Name.
    pub figure: Written<FigureName>,
    /// Line; absent for the pair.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub channel: Option<Written<Channel>>,
    /// Condition; absent without one.
    #[serde(default, skip_serializing_if = "Condition::is_none")]
    pub condition: Condition,
    /// Value in the figure's unit.
    pub value: f64,
    /// Expanded uncertainty, 95 %, k = 2.
    pub u: f64,
}

/// A dropout.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct SoakEvent {
    /// On the rig's clock, µs.
    pub at_us: u64,
    /// Place, degrees of travel.
    pub at_deg: Option<f64>,
    /// `rising`, `falling`, `common` (both lines) or `supply` (both lines and the supply).
    pub wire: Written<Wire>,
    /// Length, µs.
    pub length_us: f64,
    /// Depth, ratio of supply, signed: negative is towards ground.
    pub depth: f64,
    /// Whether contact was surely lost.
    pub sure: bool,
}

/// A hole in a soak: what was missed while rig or program were away.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct SoakHole {
    /// Host's date of the last round before it, RFC 3339.
    pub from: String,
    /// Host's date at which it went on, RFC 3339.
    pub to: String,
    /// Hours from the soak's begin to the last round before it.
    pub from_h: f64,
    /// Hours from the soak's begin to where it went on.
    pub to_h: f64,
    /// Rounds that would have been done in it.
    pub rounds_missed: u64,
    /// Why: `program` (it was ended or killed), `link` (the rig was away).
    #[cfg_attr(feature = "schemas", schemars(extend("enum" = ["program", "link"])))]
    pub why: String,
    /// Whether the rig had started anew.
    pub rig_restarted: bool,
    /// Whether its length is by the rig's clock, which ran on; else by the host's.
    pub by_rig_clock: bool,
    /// Bytes of a torn last line that were cut off.
    pub torn_bytes: u64,
}

/// How it ended.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct SoakEnd {
    /// Host's date, RFC 3339.
    pub date: String,
    /// `time`, `user` or `stopped_moving`.
    pub why: String,
    /// In words.
    pub text: String,
}

/// What an outcome says of a soak's course.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct OutcomeSoak {
    /// The log that it was made from.
    pub log: SoakLogFile,
    /// Rounds that were done.
    pub rounds: u64,
    /// Rounds that were asked for.
    pub rounds_planned: u64,
    /// Cycles driven.
    pub cycles: u64,
    /// Hours from the first round to the last, holes included.
    pub hours: f64,
    /// Hours of soaking, without holes.
    pub soaked_hours: f64,
    /// How it ended: `time`, `user`, `stopped_moving`; null while it has not.
    #[cfg_attr(feature = "schemas", schemars(extend("enum" = ["time", "user", "stopped_moving", null])))]
    pub ended: Option<String>,
    /// Holes.
    pub holes: Vec<SoakHole>,
    /// Rounds of which traces are kept.
    pub rounds_with_traces: u64,
    /// Rounds with dropouts of which none could be kept for want of room.
    pub rounds_without_room: u64,
    /// Dropouts over time.
    pub events: SoakEvents,
    /// Temperature of the rig.
    pub temperature: Option<SoakTemperature>,
    /// Other findings, with the number of rounds that had them.
    pub findings: Vec<SoakFindingCount>,
    /// Figures over time.
    pub drifts: Vec<SoakDrift>,
}

/// The log.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct SoakLogFile {
    /// From the archive's folder.
    pub file: String,
    /// SHA-256, hex.
    pub sha256: String,
    /// Size.
    pub bytes: u64,
}

/// Events and the time in which one would have been seen.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct SoakWatched {
    /// Sure dropouts.
    pub events: u64,
    /// Minutes watched.
    #[cfg_attr(feature = "schemas", schemars(range(min = 0)))]
    pub minutes: f64,
}

/// Dropouts over a whole soak.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct SoakEvents {
    /// All of it.
    pub all: SoakWatched,
    /// Those that are not sure.
    pub unsure: u64,
    /// Events per minute, with exact 95 % bounds (Garwood).
    pub rate: f64,
    /// Lower bound.
    pub lower: f64,
    /// Upper bound.
    pub upper: f64,
    /// First half of the time watched.
    pub first_half: SoakWatched,
    /// Second half.
    pub second_half: SoakWatched,
    /// Probability that the halves differ so much by chance (exact conditional binomial).
    #[cfg_attr(feature = "schemas", schemars(range(min = 0, max = 1)))]
    pub p: f64,
    /// Whether the rate changed.
    pub changed: bool,
    /// When, hours; the first [`OutcomeSoak::MOST_TICKS`].
    pub at_h: Vec<f64>,
}

impl OutcomeSoak {
    /// Moments of dropouts that are reported one by one.
    pub const MOST_TICKS: usize = 500;
}

/// Temperature of the rig over a soak, °C.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct SoakTemperature {
    /// In the first round.
    pub first: f64,
    /// In the last.
    pub last: f64,
    /// Lowest.
    pub lowest: f64,
    /// Highest.
    pub highest: f64,
    /// Over time, hours; for a picture.
    pub hours: Vec<f64>,
    /// Values there.
    pub values: Vec<f64>,
}

/// A finding in some rounds.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct SoakFindingCount {
    /// Kind, with its line where it has one.
    pub finding: String,
    /// Rounds that had it.
    pub rounds: u64,
}

/// A figure over time.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct SoakDrift {
    /// Name.
    pub figure: Written<FigureName>,
    /// Line, or null for the pair.
    pub channel: Option<Written<Channel>>,
    /// Under which condition.
    #[serde(default, skip_serializing_if = "Condition::is_none")]
    pub condition: Condition,
    /// Unit of every value.
    pub unit: Unit,
    /// Rounds in which it was had.
    pub rounds: u64,
    /// On its line at the first round.
    pub first: f64,
    /// On its line at the last round.
    pub last: f64,
    /// Slope per hour (Theil–Sen).
    pub per_hour: f64,
    /// 95 % interval of the slope.
    pub lower: f64,
    /// Its upper end.
    pub upper: f64,
    /// Resemblance of neighbouring rounds beside the line, 0..1: it widens interval and probability.
    #[cfg_attr(feature = "schemas", schemars(range(min = 0, max = 1)))]
    pub resemblance: f64,
    /// Probability of such an order of values without a drift (Mann–Kendall).
    #[cfg_attr(feature = "schemas", schemars(range(min = 0, max = 1)))]
    pub p: f64,
    /// The same for all figures of the soak together (Holm).
    #[cfg_attr(feature = "schemas", schemars(range(min = 0, max = 1)))]
    pub p_family: f64,
    /// Whether it drifts.
    pub drifts: bool,
    /// Hours after the last round at which it would reach its limit: earliest; only where it drifts towards one.
    pub reaches_from_h: Option<f64>,
    /// The latest; null where the interval has no end.
    pub reaches_to_h: Option<f64>,
    /// The limit that it drifts towards.
    pub reaches_limit: Option<f64>,
    /// Smallest that the sheet allows.
    pub min: Option<f64>,
    /// Largest.
    pub max: Option<f64>,
    /// Rounds in which it was outside its limit, beyond its uncertainty.
    pub rounds_outside: u64,
    /// Expanded uncertainty of one value, the median.
    #[cfg_attr(feature = "schemas", schemars(range(min = 0)))]
    pub u: f64,
    /// For a picture: hours …
    pub hours: Vec<f64>,
    /// … mean of the rounds there …
    pub values: Vec<f64>,
    /// … lowest …
    pub lowest: Vec<f64>,
    /// … and highest.
    pub highest: Vec<f64>,
}
