//! What is known when a cause is looked for: what the bench found, what was checked at the vehicle, what was complained of and seen.
//! It holds facts alone; which cause they speak for is not its business.

use crate::analysis::contact::Follows;
use crate::quantity::{Channel, FigureName, FindingKind, PartKind};
use crate::verdict::Verdict;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// Everything that suspects are ranked by.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Evidence {
    /// Kind of part.
    pub kind: PartKind,
    /// What the bench found, weak findings and rivals of a sure one too.
    pub findings: Vec<FindingEvidence>,
    /// What the bench measured.
    pub figures: Vec<FigureEvidence>,
    /// What lost contact follows, where the pigtail was flexed, the grip swept, or the part warmed.
    pub contact: Option<ContactEvidence>,
    /// What could not be tested, by its machine name.
    pub not_testable: Vec<String>,
    /// What was checked at the vehicle.
    pub vehicle: Vec<VehicleEvidence>,
    /// What was complained of and seen.
    pub complaint: Complaint,
}

impl Evidence {
    /// Whether a bench measured or found anything.
    pub const fn is_of_the_bench(&self) -> bool {
        !self.findings.is_empty() || !self.figures.is_empty()
    }

    /// With what else is known of the same part: a later bench record, the vehicle, the complaint. Findings and figures of both count;
    /// the kind is the other's where it brings findings or figures.
    #[must_use]
    pub fn merge(mut self, other: Self) -> Self {
        if other.is_of_the_bench() {
            self.kind = other.kind;
        }
        self.findings.extend(other.findings);
        self.figures.extend(other.figures);
        self.contact = other.contact.or(self.contact);
        self.not_testable.extend(other.not_testable);
        self.vehicle.extend(other.vehicle);
        let (own, more) = (&mut self.complaint, other.complaint);
        let gap = if own.words.is_empty() || more.words.is_empty() { "" } else { "; " };
        own.words = format!("{}{gap}{}", own.words, more.words);
        own.symptoms.extend(more.symptoms);
        own.codes.extend(more.codes);
        own.seen.extend(more.seen);
        own.symptoms.sort_unstable();
        own.symptoms.dedup();
        own.codes.sort_unstable();
        own.codes.dedup();
        self
    }
}

/// What lost contact follows.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ContactEvidence {
    /// Track or wire.
    pub follows: Follows,
    /// Whether one place of the pigtail stands out.
    pub placed: bool,
    /// Whether it is lost when warm.
    pub warm: bool,
    /// How that is known, as a sentence.
    pub text: String,
}

/// A finding of the bench.
#[derive(Clone, Debug, PartialEq)]
pub struct FindingEvidence {
    /// Its kind.
    pub kind: FindingKind,
    /// Its line; none for the pair and for what is not a line's.
    pub channel: Option<Channel>,
    /// From, degrees of travel.
    pub from_deg: Option<f64>,
    /// To, degrees of travel.
    pub to_deg: Option<f64>,
    /// 0..1.
    pub confidence: f64,
    /// Named numbers.
    pub details: BTreeMap<String, f64>,
}

/// A figure of the bench.
#[derive(Clone, Debug, PartialEq)]
pub struct FigureEvidence {
    /// Which.
    pub name: FigureName,
    /// Its line; none for the pair.
    pub channel: Option<Channel>,
    /// Its value, in the figure's unit.
    pub value: f64,
    /// Standard uncertainty, in the same unit.
    pub standard_uncertainty: f64,
    /// Against its limit; none without one.
    pub verdict: Option<Verdict>,
}

/// Part of the vehicle's wiring that was checked.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
#[serde(rename_all = "snake_case")]
pub enum Run {
    /// Twist-grip sensor to controller.
    GripToController,
    /// Controller to the throttle body's motor.
    ControllerToMotor,
    /// The throttle body's feedback pair to controller.
    FeedbackToController,
}

/// What was checked of a run.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
#[serde(rename_all = "snake_case")]
pub enum CheckKind {
    /// Resistance from end to end.
    Continuity,
    /// Insulation to the handlebar or frame.
    InsulationToFrame,
    /// Insulation between neighbours.
    InsulationBetween,
    /// Continuity while the loom is moved at the steering neck.
    WiggleAtNeck,
    /// Continuity while the wires are bent from the plug to a hand's breadth back.
    WiggleAtConnector,
    /// How firmly a terminal holds its pin.
    TerminalGrip,
    /// What the supply loses under load.
    SupplyDrop,
    /// What the ground loses under load.
    GroundDrop,
    /// A sensor line's voltage at rest, half and full.
    SensorOutput,
}

/// One line of the vehicle checks, as it was judged.
#[derive(Clone, Debug, PartialEq)]
pub struct VehicleEvidence {
    /// Which run.
    pub run: Run,
    /// What was checked.
    pub check: CheckKind,
    /// The wire or place in words: `first signal`, `ground`.
    pub place: String,
    /// Whether it is as it should be.
    pub verdict: Verdict,
    /// A sentence with the reading.
    pub text: String,
}

/// What the rider shows.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
#[serde(rename_all = "snake_case")]
pub enum Symptom {
    /// Limp-home that comes at random.
    LimpHome,
    /// It comes when the handlebar is turned.
    WhenSteering,
    /// It comes over bumps or with vibration.
    OnBumps,
    /// It comes once warm.
    WhenWarm,
    /// It comes when wet.
    WhenWet,
    /// It comes at one opening of the grip.
    AtOneOpening,
    /// Engine speed returns slowly or hangs when the grip is let go.
    HangingThrottle,
    /// Idle wanders.
    UnsteadyIdle,
    /// Response is jerky or late.
    JerkyResponse,
    /// The throttle does nothing at all.
    NoResponse,
    /// It went away when a plug was pulled and put back.
    ClearedByReplugging,
}

impl Symptom {
    /// All, in the order they are asked for.
    pub const ALL: [Self; 11] = [
        Self::LimpHome,
        Self::WhenSteering,
        Self::OnBumps,
        Self::WhenWarm,
        Self::WhenWet,
        Self::AtOneOpening,
        Self::HangingThrottle,
        Self::UnsteadyIdle,
        Self::JerkyResponse,
        Self::NoResponse,
        Self::ClearedByReplugging,
    ];

    /// The name in files and options.
    pub const fn name(self) -> &'static str {
        match self {
            Self::LimpHome => "limp_home",
            Self::WhenSteering => "when_steering",
            Self::OnBumps => "on_bumps",
            Self::WhenWarm => "when_warm",
            Self::WhenWet => "when_wet",
            Self::AtOneOpening => "at_one_opening",
            Self::HangingThrottle => "hanging_throttle",
            Self::UnsteadyIdle => "unsteady_idle",
            Self::JerkyResponse => "jerky_response",
            Self::NoResponse => "no_response",
            Self::ClearedByReplugging => "cleared_by_replugging",
        }
    }
}

/// What the eye is led to look at.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
#[serde(rename_all = "snake_case")]
pub enum Look {
    /// Terminals: backed out, spread, bent.
    Terminals,
    /// Green or white growth, moisture.
    Corrosion,
    /// How firmly the pins sit in their sockets.
    PinFit,
    /// The wires where they bend into the connector.
    ConnectorBend,
    /// The part's cover and seal.
    Cover,
}

impl Look {
    /// All, in the order they are asked for.
    pub const ALL: [Self; 5] =
        [Self::Terminals, Self::Corrosion, Self::PinFit, Self::ConnectorBend, Self::Cover];

    /// The name in files and options.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Terminals => "terminals",
            Self::Corrosion => "corrosion",
            Self::PinFit => "pin_fit",
            Self::ConnectorBend => "connector_bend",
            Self::Cover => "cover",
        }
    }
}

/// What the eye saw at one place.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct Seen {
    /// Where.
    pub look: Look,
    /// Whether it was as it should be; null when that could not be seen.
    pub good: Option<bool>,
    /// In the user's words; may hold anything.
    pub note: String,
}

/// What was complained of, read from the vehicle's memory, and seen.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct Complaint {
    /// In the user's words; may hold anything.
    pub words: String,
    /// As the guided list has it.
    pub symptoms: Vec<Symptom>,
    /// Generic trouble codes that were read, `P0121` (SAE J2012, ISO 15031-6).
    #[cfg_attr(feature = "schemas", schemars(inner(regex(pattern = "^[PBCU][0-3][0-9A-F]{3}$"))))]
    pub codes: Vec<String>,
    /// What the eye saw.
    pub seen: Vec<Seen>,
}
