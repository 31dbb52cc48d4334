//! Which lines a worksheet has, what is done for each and what is expected, with its source. It judges nothing.

use super::wire::Wire;
use super::{Opening, Subject};
use crate::diagnosis::{CheckKind, Run};
use crate::quantity::{Channel, Condition, FigureName};
use crate::sheet::{NominalLine, PartSheet};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// Where a limit has no published source.
pub const NO_SOURCE: &str = "common practice, no source; use the maker's service data";
/// What terminals, crimps and the touch of the probes may add to a wire's resistance, Ω. At the 10 mA of a sensor half an ohm is 5 mV,
/// 0.1 % of 5 V; a signal line carries less. A drop under load shows more.
const CONTACT_OHMS: f64 = 0.5;
/// What two crimps and two contacts may add when a current is driven through them and the probes carry none, Ω.
const LOADED_CONTACT_OHMS: f64 = 0.05;
/// How much a resistance may change while a loom is moved, Ω.
pub const MOVED_OHMS: f64 = 0.25;
/// Least insulation, Ω.
const INSULATION_OHMS: f64 = 1e6;
/// How far the supply may be from nominal, as a share.
const SUPPLY_SHARE: f64 = 0.05;
/// How far an output may be from nominal where the sheet has no limit, as a ratio of supply.
const OUTPUT_RATIO: f64 = 0.03;
/// How far "half open" by hand may be from half, as a share of the span.
const HALF_SHARE: f64 = 1.0 / 6.0;

/// What a line's value is counted in.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
#[serde(rename_all = "snake_case")]
pub enum Counted {
    /// Ω.
    Ohms,
    /// V.
    Volts,
    /// Share of the measured supply, 0..1.
    RatioOfSupply,
    /// A word.
    Word,
}

/// What is expected of a line.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct Expected {
    /// What it should be, in `counted`; none where only a limit is known.
    pub nominal: Option<f64>,
    /// Smallest allowed value.
    pub min: Option<f64>,
    /// Largest allowed value.
    pub max: Option<f64>,
    /// Unit of the three.
    pub counted: Counted,
    /// Where the limits come from.
    #[cfg_attr(feature = "schemas", schemars(length(min = 1)))]
    pub source: String,
}

/// One line to be filled in.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct Line {
    /// Its name on forms, in files and options: `grip.continuity.supply`.
    #[cfg_attr(feature = "schemas", schemars(regex(pattern = r"^(grip|motor|feedback)\.")))]
    pub id: String,
    /// Which run.
    pub run: Run,
    /// What is checked.
    pub check: CheckKind,
    /// The wire or place in words.
    pub place: String,
    /// For a sensor's output: how far it is open.
    pub opening: Option<Opening>,
    /// What is expected.
    pub expected: Expected,
    /// Whether it follows from other lines and is not entered.
    pub computed: bool,
}

/// What a worksheet is made for.
#[derive(Clone, Debug)]
pub struct Setup {
    /// Kind of part.
    pub subject: Subject,
    /// The wires of a run that has none of its own.
    pub wire: Wire,
    /// The wires of single runs.
    pub runs: BTreeMap<Run, Wire>,
    /// The grip's sheet.
    pub grip: PartSheet,
    /// The throttle body's sheet.
    pub body: PartSheet,
}

impl Setup {
    /// The wire of a run.
    pub fn wire_of(&self, run: Run) -> Wire {
        self.runs.get(&run).copied().unwrap_or(self.wire)
    }

    /// The sheet of the sensor at a run's end; none for the motor.
    pub const fn sheet_of(&self, run: Run) -> Option<&PartSheet> {
        match run {
            Run::GripToController => Some(&self.grip),
            Run::FeedbackToController => Some(&self.body),
            Run::ControllerToMotor => None,
        }
    }

    /// Every line, in the order in which it is worked through: unplugged first, powered last.
    pub fn lines(&self) -> Vec<Line> {
        let runs = self.subject.runs();
        let unplugged = runs.iter().flat_map(|run| self.unplugged(*run));
        let powered = runs.iter().flat_map(|run| self.powered(*run));
        unplugged.chain(powered).collect()
    }

    fn unplugged(&self, run: Run) -> Vec<Line> {
        let wires = wires(run);
        let wire = self.wire_of(run);
        let mut lines = Vec::new();
        let mut each = |check, name: &str, expected: &dyn Fn() -> Expected| {
            lines.extend(
                wires.iter().map(|(id, place)| line(run, check, &format!("{name}.{id}"), place, expected())),
            );
        };
        each(CheckKind::TerminalGrip, "terminal", &firm);
        each(CheckKind::Continuity, "continuity", &|| continuity(wire));
        if run == Run::GripToController {
            each(CheckKind::WiggleAtNeck, "neck", &|| continuity(wire));
        }
        each(CheckKind::WiggleAtConnector, "bend", &|| continuity(wire));
        each(CheckKind::InsulationToFrame, "frame", &insulation);
        for pair in wires.windows(2) {
            let id = format!("between.{}-{}", pair[0].0, pair[1].0);
            let place = format!("{} to {}", pair[0].1, pair[1].1);
            lines.push(line(run, CheckKind::InsulationBetween, &id, &place, insulation()));
        }
        for (k, (id, place)) in wires.iter().take(2).enumerate() {
            let check = if k == 0 { CheckKind::SupplyDrop } else { CheckKind::GroundDrop };
            lines.push(line(run, check, &format!("drop.{id}"), place, loaded(wire)));
        }
        lines
    }

    fn powered(&self, run: Run) -> Vec<Line> {
        let Some(sheet) = self.sheet_of(run) else { return Vec::new() };
        let output =
            |id: &str, place: &str, expected| line(run, CheckKind::SensorOutput, id, place, expected);
        let mut lines = vec![output("output.supply", "supply", supply(sheet))];
        for opening in Opening::ALL {
            for (id, place, channel, nominal) in [
                ("first", "first signal", Channel::Rising, sheet.rising),
                ("second", "second signal", Channel::Falling, sheet.falling),
            ] {
                let id = format!("output.{id}.{}", opening.name());
                let expected = output_of(run, sheet, channel, nominal, opening);
                lines.push(Line { opening: Some(opening), ..output(&id, place, expected) });
            }
            let id = format!("output.pair.{}", opening.name());
            let pair =
                Line { opening: Some(opening), computed: true, ..output(&id, "pair", correlation(sheet)) };
            lines.push(pair);
        }
        lines
    }
}

/// The wires of a run, each with the word in ids and the words for people; neighbours stand beside each other.
pub const fn wires(run: Run) -> &'static [(&'static str, &'static str)] {
    match run {
        Run::GripToController | Run::FeedbackToController => &[
            ("supply", "supply"),
            ("ground", "ground"),
            ("first", "first signal"),
            ("second", "second signal"),
        ],
        Run::ControllerToMotor => &[("plus", "motor plus"), ("minus", "motor minus")],
    }
}

/// The word for a run in ids.
pub const fn run_word(run: Run) -> &'static str {
    match run {
        Run::GripToController => "grip",
        Run::ControllerToMotor => "motor",
        Run::FeedbackToController => "feedback",
    }
}

/// A run by its word in ids.
pub fn run_of(word: &str) -> Option<Run> {
    let all = [Run::GripToController, Run::ControllerToMotor, Run::FeedbackToController];
    all.into_iter().find(|run| run_word(*run) == word)
}

fn line(run: Run, check: CheckKind, id: &str, place: &str, expected: Expected) -> Line {
    let id = format!("{}.{id}", run_word(run));
    Line { id, run, check, place: place.to_owned(), opening: None, expected, computed: false }
}

fn firm() -> Expected {
    let source = "common practice, no source; use the terminal maker's gauge pin".to_owned();
    Expected { nominal: None, min: None, max: None, counted: Counted::Word, source }
}

fn continuity(wire: Wire) -> Expected {
    let source = format!("{}; for terminals and probes {CONTACT_OHMS} Ω: {NO_SOURCE}", wire.words());
    let (nominal, max) = (Some(wire.ohms()), Some(wire.ohms() + CONTACT_OHMS));
    Expected { nominal, min: None, max, counted: Counted::Ohms, source }
}

fn loaded(wire: Wire) -> Expected {
    let source =
        format!("{}; for two crimps and contacts {LOADED_CONTACT_OHMS} Ω: {NO_SOURCE}", wire.words());
    let (nominal, max) = (Some(wire.ohms()), Some(wire.ohms() + LOADED_CONTACT_OHMS));
    Expected { nominal, min: None, max, counted: Counted::Ohms, source }
}

fn insulation() -> Expected {
    let source = NO_SOURCE.to_owned();
    Expected { nominal: None, min: Some(INSULATION_OHMS), max: None, counted: Counted::Ohms, source }
}

fn supply(sheet: &PartSheet) -> Expected {
    let nominal = sheet.supply_volts;
    Expected {
        nominal: Some(nominal),
        min: Some(nominal * (1.0 - SUPPLY_SHARE)),
        max: Some(nominal * (1.0 + SUPPLY_SHARE)),
        counted: Counted::Volts,
        source: format!("sheet {}, ± 5 %: {NO_SOURCE}", sheet.name),
    }
}

fn correlation(sheet: &PartSheet) -> Expected {
    let most = sheet.monitor.threshold_percent / 100.0;
    let source = format!("sheet {}, threshold of the monitor", sheet.name);
    Expected {
        nominal: Some(0.0),
        min: Some(-most),
        max: Some(most),
        counted: Counted::RatioOfSupply,
        source,
    }
}

fn output_of(
    run: Run,
    sheet: &PartSheet,
    channel: Channel,
    nominal: NominalLine,
    opening: Opening,
) -> Expected {
    let (low, high) = (nominal.closed.min(nominal.open), nominal.closed.max(nominal.open));
    let ratio = |nominal, min, max, source| Expected {
        nominal,
        min: Some(min),
        max: Some(max),
        counted: Counted::RatioOfSupply,
        source,
    };
    if run == Run::FeedbackToController {
        let source = format!(
            "sheet {}: between its lines' ends, for the controller places the plate; {NO_SOURCE}",
            sheet.name
        );
        return ratio(None, low - OUTPUT_RATIO, high + OUTPUT_RATIO, source);
    }
    let (at, figure) = match opening {
        Opening::Rest => (nominal.closed, FigureName::ClosedVolts),
        Opening::Full => (nominal.open, FigureName::OpenVolts),
        Opening::Half => {
            let middle = f64::midpoint(low, high);
            let room = (high - low) * HALF_SHARE + OUTPUT_RATIO;
            let source = format!(
                "sheet {}; half is found by hand: a sixth of the span either way, engineering assumption",
                sheet.name
            );
            return ratio(Some(middle), middle - room, middle + room, source);
        }
    };
    // Limits of the sheet are volts at a supply of 5 V.
    let limit = sheet.limit_for(figure, Some(channel), &Condition::default());
    let bound = |volts: Option<f64>, otherwise: f64| volts.map_or(otherwise, |v| v / 5.0);
    let (min, max) = (limit.and_then(|l| l.min), limit.and_then(|l| l.max));
    let source = limit.map_or_else(|| NO_SOURCE.to_owned(), |l| l.source.clone());
    let source = format!("sheet {}: {source}", sheet.name);
    ratio(Some(at), bound(min, at - OUTPUT_RATIO), bound(max, at + OUTPUT_RATIO), source)
}

#[cfg(test)]
mod tests {
    use super::super::fixture::setup;
    use super::*;
    use std::collections::BTreeSet;

    #[test]
    fn every_line_has_its_own_name_and_a_source() {
        for subject in Subject::ALL {
            let lines = setup(subject).lines();
            let ids: BTreeSet<&str> = lines.iter().map(|l| l.id.as_str()).collect();
            assert_eq!(ids.len(), lines.len());
            assert!(lines.iter().all(|l| l.expected.source.len() > 10));
        }
    }

    #[test]
    fn a_pair_has_the_lines_of_grip_and_body_and_nothing_else() {
        let count = |subject| setup(subject).lines().len();
        assert_eq!(count(Subject::Pair), count(Subject::Grip) + count(Subject::Body));
    }

    #[test]
    fn a_continuity_expects_the_wires_own_resistance_and_room_for_its_contacts() {
        let lines = setup(Subject::Grip).lines();
        let line = lines.iter().find(|l| l.id == "grip.continuity.first").unwrap();
        // 1.8 m of 0.34 mm² at 53 mΩ/m.
        assert!((line.expected.nominal.unwrap() - 0.0954).abs() < 1e-12);
        assert!((line.expected.max.unwrap() - 0.5954).abs() < 1e-12);
    }

    #[test]
    fn only_the_grips_run_passes_the_steering_neck() {
        let lines = setup(Subject::Pair).lines();
        let neck = lines.iter().filter(|l| l.check == CheckKind::WiggleAtNeck);
        assert!(neck.clone().count() == 4 && neck.clone().all(|l| l.run == Run::GripToController));
    }

    #[test]
    fn a_grips_ends_are_those_of_its_sheet_as_ratios_of_supply() {
        let lines = setup(Subject::Grip).lines();
        let line = lines.iter().find(|l| l.id == "grip.output.first.rest").unwrap();
        // The sheet allows 0.35 to 0.65 V at 5 V.
        assert!(
            (line.expected.min.unwrap() - 0.07).abs() < 1e-12
                && (line.expected.max.unwrap() - 0.13).abs() < 1e-12
        );
    }
}
