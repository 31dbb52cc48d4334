//! What is checked at the vehicle before a part is pulled, and what the readings say: expected values, readings, verdicts by line, and
//! whether the part should be pulled. It does not know the bench, nor where it is kept.
//!
//! - `wire`: what a length of wire resists.
//! - `meter`: how far a reading may be off.
//! - `worksheet`: which lines there are, and what is expected of each; `instruction`: what is done for them.
//! - `readings`: what was entered, parsed; `plausible`: what can't be true.
//! - `judge`: one line; `conclusion`: all of them.
//! - `file`: the file that readings are written into.
//! - `show`: numbers as text.

mod conclusion;
pub mod file;
#[cfg(test)]
mod fixture;
mod instruction;
mod judge;
mod meter;
mod plausible;
mod readings;
pub mod show;
mod wire;
mod worksheet;

pub use conclusion::{headline, run_words};
pub use instruction::{CAUTIONS, instruction, title};
pub use meter::{Accuracy, AccuracyError, Meter, Range};
pub use plausible::Implausible;
pub use readings::{Reading, ReadingError, allowed};
pub use wire::{Wire, WireError, WireRangeError, WireSize};
pub use worksheet::{Counted, Expected, Line, Setup, run_of, run_word};

use crate::diagnosis::{Run, VehicleEvidence};
use crate::verdict::Verdict;
use judge::Beside;
use readings::Typed;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// Version of the stored document's shape.
pub const CHECK_SCHEMA: u32 = 1;

/// What was entered, by line.
pub type Entries = BTreeMap<String, String>;

/// What the checks end with.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
#[serde(rename_all = "snake_case")]
pub enum Conclusion {
    /// The wiring is cleared: the part goes onto the bench.
    PullThePart,
    /// The wiring is at fault: mend it before anything is removed.
    MendTheRunFirst,
    /// Neither can be said.
    Undecided,
}

/// The part that is in question.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
#[serde(rename_all = "snake_case")]
pub enum Subject {
    /// A twist grip.
    Grip,
    /// A throttle body.
    Body,
    /// Both.
    Pair,
}

impl Subject {
    /// All.
    pub const ALL: [Self; 3] = [Self::Grip, Self::Body, Self::Pair];

    /// The name in files and options.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Grip => "grip",
            Self::Body => "body",
            Self::Pair => "pair",
        }
    }

    /// From its name.
    pub fn from_name(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|s| s.name() == name)
    }

    /// The runs that lead to it.
    pub const fn runs(self) -> &'static [Run] {
        match self {
            Self::Grip => &[Run::GripToController],
            Self::Body => &[Run::ControllerToMotor, Run::FeedbackToController],
            Self::Pair => &[Run::GripToController, Run::ControllerToMotor, Run::FeedbackToController],
        }
    }
}

/// How far a grip is opened.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
#[cfg_attr(feature = "schemas", schemars(rename = "GripOpening"))]
#[serde(rename_all = "snake_case")]
pub enum Opening {
    /// Let go.
    Rest,
    /// Half, by hand.
    Half,
    /// To the stop.
    Full,
}

impl Opening {
    /// In the order of measuring.
    pub const ALL: [Self; 3] = [Self::Rest, Self::Half, Self::Full];

    /// The name in ids.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Rest => "rest",
            Self::Half => "half",
            Self::Full => "full",
        }
    }

    /// Behind the name of a line.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Rest => "at rest",
            Self::Half => "half open",
            Self::Full => "fully open",
        }
    }
}

/// A line as it was entered and judged.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct Checked {
    /// The line.
    #[serde(flatten)]
    pub line: Line,
    /// What was entered; none where it was left out, or follows from others.
    pub entered: Option<String>,
    /// The same, parsed.
    #[serde(skip)]
    pub reading: Option<Reading>,
    /// What was judged, in the line's unit; none for words.
    pub value: Option<f64>,
    /// Its standard uncertainty.
    pub standard_uncertainty: Option<f64>,
    /// None where nothing was entered.
    pub verdict: Option<Verdict>,
    /// Why, as a sentence.
    pub why: String,
}

/// Checks as they were entered and judged: a stored document.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct VehicleCheck {
    /// Always `vehicle_check`.
    #[cfg_attr(feature = "schemas", schemars(extend("const" = "vehicle_check")))]
    pub document: String,
    /// Version of this shape.
    #[cfg_attr(feature = "schemas", schemars(extend("const" = CHECK_SCHEMA)))]
    pub schema: u32,
    /// When it was entered, RFC 3339.
    pub checked: String,
    /// The part that is in question.
    pub kind: Subject,
    /// The wires of each run.
    #[cfg_attr(feature = "schemas", schemars(extend("propertyNames" = { "enum": Subject::Pair.runs() })))]
    pub wires: BTreeMap<Run, Wire>,
    /// The meter.
    pub meter: Meter,
    /// Nominal sensor supply of each run that has one, V.
    #[cfg_attr(feature = "schemas", schemars(extend("propertyNames" = { "enum": Subject::Pair.runs() }, "additionalProperties" = { "type": "number", "exclusiveMinimum": 0 })))]
    pub supply_volts: BTreeMap<Run, f64>,
    /// Whether entries that seemed to have slipped by a prefix were kept as typed.
    pub as_typed: bool,
    /// Every line.
    #[cfg_attr(feature = "schemas", schemars(length(min = 1)))]
    pub lines: Vec<Checked>,
    /// What it ends with.
    pub conclusion: Conclusion,
    /// Why, as sentences.
    #[cfg_attr(feature = "schemas", schemars(length(min = 1)))]
    pub reasons: Vec<String>,
}

/// Why entries can't be judged.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum CheckError {
    /// There is no such line.
    #[error(
        "no line of a {kind} worksheet is named {given:?}; {near}. `trackpair vehicle-check form --kind {kind} --template FILE.toml` writes them all"
    )]
    NoLine {
        /// As given.
        given: String,
        /// Kind of part.
        kind: &'static str,
        /// What is near.
        near: String,
    },
    /// An entry that can't be read.
    #[error(transparent)]
    Reading(#[from] ReadingError),
    /// An entry that can't be true.
    #[error(transparent)]
    Implausible(#[from] Implausible),
}

impl VehicleCheck {
    /// Judges what was entered.
    ///
    /// # Errors
    /// [`CheckError`]: an entry that can't be read, has no line, or can't be true.
    pub fn of(
        setup: &Setup,
        meter: &Meter,
        entries: &Entries,
        as_typed: bool,
        checked: &str,
    ) -> Result<Self, CheckError> {
        let mut lines = read(setup, meter, entries, as_typed)?;
        judge_all(setup, meter, &mut lines);
        plausible::check_together(&lines)?;
        let (conclusion, reasons) = conclusion::conclude(&lines);
        let runs = setup.subject.runs();
        Ok(Self {
            document: "vehicle_check".to_owned(),
            schema: CHECK_SCHEMA,
            checked: checked.to_owned(),
            kind: setup.subject,
            wires: runs.iter().map(|run| (*run, setup.wire_of(*run))).collect(),
            meter: meter.clone(),
            supply_volts: runs
                .iter()
                .filter_map(|run| Some((*run, setup.sheet_of(*run)?.supply_volts)))
                .collect(),
            as_typed,
            lines,
            conclusion,
            reasons,
        })
    }

    /// What its lines say to those who look for a cause.
    pub fn evidence(&self) -> Vec<VehicleEvidence> {
        let one = |checked: &Checked| {
            Some(VehicleEvidence {
                run: checked.line.run,
                check: checked.line.check,
                place: show::place(&checked.line),
                verdict: checked.verdict?,
                text: checked.why.clone(),
            })
        };
        self.lines.iter().filter_map(one).collect()
    }

    /// Lines that wait for an entry.
    pub fn missing(&self) -> impl Iterator<Item = &Checked> {
        self.lines.iter().filter(|l| l.verdict.is_none() && !l.line.computed)
    }
}

fn read(setup: &Setup, meter: &Meter, entries: &Entries, as_typed: bool) -> Result<Vec<Checked>, CheckError> {
    let lines = setup.lines();
    if let Some(given) = entries.keys().find(|id| !lines.iter().any(|l| l.id == **id && !l.computed)) {
        return Err(CheckError::NoLine {
            given: given.clone(),
            kind: setup.subject.name(),
            near: near(given, &lines),
        });
    }
    let one = |line: Line| {
        let entered = entries.get(&line.id).map(|e| e.trim()).filter(|e| !e.is_empty() && *e != "-");
        let reading = entered.map(|e| Reading::parse(e, line.check, &line.id)).transpose()?;
        if let (Some(given), Some(reading), false) = (entered, &reading, as_typed) {
            plausible::check_unit(&line, given, reading, setup, meter)?;
        }
        let entered = entered.map(str::to_owned);
        let why = "Not entered.".to_owned();
        Ok(Checked { line, entered, reading, value: None, standard_uncertainty: None, verdict: None, why })
    };
    lines.into_iter().map(one).collect()
}

fn near(given: &str, lines: &[Line]) -> String {
    let last = given.rsplit('.').next().unwrap_or_default();
    let alike = lines.iter().filter(|l| !l.computed && !last.is_empty() && l.id.contains(last));
    let alike: Vec<&str> = alike.take(4).map(|l| l.id.as_str()).collect();
    if alike.is_empty() {
        "a line is named like grip.continuity.supply".to_owned()
    } else {
        format!("near it are {}", alike.join(", "))
    }
}

fn judge_all(setup: &Setup, meter: &Meter, lines: &mut [Checked]) {
    let typed = |id: String, lines: &[Checked]| -> Option<Typed> {
        match lines.iter().find(|l| l.line.id == id)?.reading? {
            Reading::Ohms(typed) | Reading::Volts(typed) => Some(typed),
            _ => None,
        }
    };
    for k in 0..lines.len() {
        let line = &lines[k].line;
        let run = run_word(line.run);
        let supply = typed(format!("{run}.output.supply"), lines).filter(|s| s.value > 0.0);
        let said = match (lines[k].reading, line.opening) {
            (Some(reading), _) => {
                let wire = line.id.rsplit('.').next().unwrap_or_default();
                let at_rest = typed(format!("{run}.continuity.{wire}"), lines);
                judge::judge(line, &reading, Beside { meter, at_rest, supply })
            }
            (None, Some(opening)) if line.computed => {
                let of = |signal| typed(format!("{run}.output.{signal}.{}", opening.name()), lines);
                let both = of("first").zip(of("second")).zip(supply).zip(setup.sheet_of(line.run));
                both.map(|(((first, second), supply), sheet)| {
                    judge::against(
                        line,
                        judge::correlation(first, second, supply, sheet.correlation_line(), meter),
                    )
                })
            }
            _ => None,
        };
        let entered = lines[k].reading.is_some();
        let checked = &mut lines[k];
        match said {
            Some(said) => {
                checked.value = said.measured.map(|m| m.value);
                checked.standard_uncertainty = said.measured.map(|m| m.uncertainty);
                checked.verdict = Some(said.verdict);
                checked.why = said.why;
            }
            None if entered => {
                checked.verdict = Some(Verdict::Undecided);
                checked.why =
                    "It counts as a share of the supply at the same plug, and that was not entered."
                        .to_owned();
            }
            None if checked.line.computed => {
                checked.why = "It follows from supply and both signals; one of them is missing.".to_owned()
            }
            None => {}
        }
    }
}

#[cfg(test)]
#[path = "vehicle_tests.rs"]
mod tests;
