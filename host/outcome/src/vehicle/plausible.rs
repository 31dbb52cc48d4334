//! Entries that can't be true: a unit that slipped by a prefix, and entries that contradict each other. They are refused before anything
//! is judged.

use super::readings::{Reading, Typed};
use super::worksheet::{Line, Setup, run_word, wires};
use super::{Checked, Counted, Meter, Opening, show};
use crate::diagnosis::{CheckKind, Run};
use crate::verdict::Verdict;

/// How far beyond what is plausible a value must be before its unit is doubted.
const FAR: f64 = 20.0;
/// Least and largest insulation that is plausible, Ω.
const INSULATION: (f64, f64) = (1e6, 2e10);

/// Why entries are refused.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Implausible {
    /// A unit that slipped.
    #[error(
        "{line} = {given:?}: {value} where about {expected} is expected: {question} Correct the entry, or give --as-typed if it is true"
    )]
    Slip {
        /// The line.
        line: String,
        /// As given.
        given: String,
        /// What it says.
        value: String,
        /// What is expected.
        expected: String,
        /// What may have happened.
        question: String,
    },
    /// Two entries that can't both be true.
    #[error(
        "{first} and {second} contradict each other: {why} Measure both again and correct the wrong one; `-` leaves a line out"
    )]
    Contradiction {
        /// The one, with its line.
        first: String,
        /// The other, with its line.
        second: String,
        /// Why, as a sentence.
        why: String,
    },
}

/// Ways for a unit to slip: the factor that puts it right, and the question.
const OHM_SLIPS: [(f64, &str); 3] = [
    (1e-3, "was it typed in ohms for milliohms?"),
    (1e3, "was it typed in milliohms for ohms?"),
    (1e-9, "was it typed in megohms for milliohms (M for m)?"),
];
const INSULATION_SLIPS: [(f64, &str); 2] =
    [(1e6, "was it typed in ohms for megohms?"), (1e9, "was it typed in milliohms for megohms (m for M)?")];
const VOLT_SLIPS: [(f64, &str); 2] =
    [(1e-3, "was it typed in volts for millivolts?"), (1e3, "was it typed in millivolts for volts?")];
const DROP_SLIPS: [(f64, &str); 2] = [
    (1e-3, "were volts typed for millivolts, or milliamperes for amperes?"),
    (1e3, "were millivolts typed for volts, or amperes for milliamperes?"),
];

/// Refuses a reading whose unit seems to have slipped.
///
/// # Errors
/// [`Implausible::Slip`], which names what may have happened.
pub fn check_unit(
    line: &Line,
    given: &str,
    reading: &Reading,
    setup: &Setup,
    meter: &Meter,
) -> Result<(), Implausible> {
    let (plausible, slips) = match line.check {
        CheckKind::Continuity | CheckKind::WiggleAtNeck | CheckKind::WiggleAtConnector => (
            (
                line.expected.nominal.unwrap_or_default() / 10.0,
                line.expected.max.unwrap_or_default() + meter.leads_ohms,
            ),
            &OHM_SLIPS[..],
        ),
        CheckKind::InsulationToFrame | CheckKind::InsulationBetween => (INSULATION, &INSULATION_SLIPS[..]),
        CheckKind::SupplyDrop | CheckKind::GroundDrop => (
            (line.expected.nominal.unwrap_or_default() / 10.0, line.expected.max.unwrap_or_default()),
            &DROP_SLIPS[..],
        ),
        CheckKind::SensorOutput => {
            let volts = setup.sheet_of(line.run).map_or(5.0, |s| s.supply_volts);
            ((0.02 * volts, 1.1 * volts), &VOLT_SLIPS[..])
        }
        CheckKind::TerminalGrip => return Ok(()),
    };
    let far = |value: f64| value > FAR * plausible.1 || value < plausible.0 / FAR;
    let fits = |value: f64| (plausible.0..=plausible.1).contains(&value);
    for (value, milli) in values(reading).into_iter().flatten().filter(|(v, _)| far(*v)) {
        // A thousandth can only have been typed where it was typed.
        let could = |factor: f64| match milli {
            Some(milli) => milli == (factor == 1e3 || factor == 1e9),
            None => true,
        };
        if let Some((_, question)) = slips.iter().find(|(factor, _)| could(*factor) && fits(value * factor)) {
            return Err(slip(line, given, value, question, setup));
        }
    }
    Ok(())
}

fn slip(line: &Line, given: &str, value: f64, question: &str, setup: &Setup) -> Implausible {
    let expected = match line.check {
        CheckKind::SensorOutput => format!(
            "{} (at the sensor's supply)",
            show::expected(line, setup.sheet_of(line.run).map_or(5.0, |s| s.supply_volts))
        ),
        _ => line.expected.nominal.map_or_else(|| show::limits(&line.expected), show::ohms),
    };
    let counted = if line.check == CheckKind::SensorOutput { Counted::Volts } else { Counted::Ohms };
    Implausible::Slip {
        line: line.id.clone(),
        given: given.to_owned(),
        value: show::value(value, counted),
        expected,
        question: question.to_owned(),
    }
}

/// The numbers of a reading that can be held against what is expected, and whether their unit was a thousandth; for a quotient of two
/// that is open.
fn values(reading: &Reading) -> [Option<(f64, Option<bool>)>; 2] {
    let of = |typed: &Typed| Some((typed.value, Some(typed.milli)));
    match reading {
        Reading::Ohms(typed) | Reading::Volts(typed) => [of(typed), None],
        Reading::Moved(rest, worst) => [of(rest), of(worst)],
        Reading::Drop(volts, load) => [Some((volts.value / load.amps(), None)), None],
        _ => [None, None],
    }
}

/// Refuses entries that can't both be true.
///
/// # Errors
/// [`Implausible::Contradiction`], which names both.
pub fn check_together(entries: &[Checked]) -> Result<(), Implausible> {
    for run in [Run::GripToController, Run::ControllerToMotor, Run::FeedbackToController] {
        let of = Together { entries, run: run_word(run) };
        for (wire, _) in wires(run) {
            of.open_and_yet(wire)?;
            of.insulation_below_continuity(wire)?;
        }
        for signal in ["first", "second"] {
            of.above_supply(signal)?;
            of.half_between(signal)?;
        }
    }
    Ok(())
}

/// The entries of a run.
struct Together<'a> {
    entries: &'a [Checked],
    run: &'static str,
}

impl<'a> Together<'a> {
    fn find(&self, id: &str) -> Option<(&'a Checked, Reading)> {
        let id = format!("{}.{id}", self.run);
        let found = self.entries.iter().find(|e| e.line.id == id)?;
        Some((found, found.reading?))
    }

    fn refuse(one: &Checked, other: &Checked, why: &str) -> Result<(), Implausible> {
        let told = |c: &Checked| format!("{} = {:?}", c.line.id, c.entered.as_deref().unwrap_or_default());
        Err(Implausible::Contradiction { first: told(one), second: told(other), why: why.to_owned() })
    }

    /// A wire that is open at rest carries nothing and has no resistance.
    fn open_and_yet(&self, wire: &str) -> Result<(), Implausible> {
        let Some((open, Reading::Open)) = self.find(&format!("continuity.{wire}")) else { return Ok(()) };
        for check in ["neck", "bend"] {
            if let Some((other, Reading::Moved(..) | Reading::Steady | Reading::Ohms(_))) =
                self.find(&format!("{check}.{wire}"))
            {
                return Self::refuse(
                    open,
                    other,
                    "a wire that is open has no resistance; one that comes and goes is entered as flickers.",
                );
            }
        }
        if let Some((other, Reading::Drop(..))) = self.find(&format!("drop.{wire}")) {
            return Self::refuse(open, other, "no current flows through an open wire.");
        }
        for opening in Opening::ALL {
            let signals = ["first", "second"]
                .into_iter()
                .filter(|s| *s == wire || !["first", "second"].contains(&wire));
            for signal in signals {
                let output = self.find(&format!("output.{signal}.{}", opening.name()));
                if let Some((other, _)) = output.filter(|(o, _)| o.verdict == Some(Verdict::Within)) {
                    return Self::refuse(open, other, "through an open wire no right output arrives.");
                }
            }
        }
        Ok(())
    }

    fn insulation_below_continuity(&self, wire: &str) -> Result<(), Implausible> {
        let Some((one, Reading::Ohms(along))) = self.find(&format!("continuity.{wire}")) else {
            return Ok(());
        };
        let between = self.entries.iter().filter(|e| {
            e.line
                .id
                .strip_prefix(self.run)
                .and_then(|id| id.strip_prefix(".between."))
                .is_some_and(|pair| pair.split('-').any(|w| w == wire))
        });
        let frame = self.find(&format!("frame.{wire}")).map(|(c, _)| c);
        for other in frame.into_iter().chain(between) {
            if let Some(Reading::Ohms(across)) = other.reading
                && across.value < along.value
            {
                return Self::refuse(
                    one,
                    other,
                    "an insulation can't be less than the wire's own resistance.",
                );
            }
        }
        Ok(())
    }

    fn output(&self, signal: &str, opening: Opening) -> Option<(&'a Checked, Typed)> {
        match self.find(&format!("output.{signal}.{}", opening.name()))? {
            (checked, Reading::Volts(typed)) => Some((checked, typed)),
            _ => None,
        }
    }

    fn above_supply(&self, signal: &str) -> Result<(), Implausible> {
        let Some((supply, Reading::Volts(all))) = self.find("output.supply") else { return Ok(()) };
        for opening in Opening::ALL {
            if let Some((output, volts)) = self.output(signal, opening)
                && volts.value > all.value * 1.02
            {
                return Self::refuse(supply, output, "a sensor can't put out more than its supply.");
            }
        }
        Ok(())
    }

    /// Half lies between rest and full, but for what a hand and a meter do: a fiftieth of the larger.
    fn half_between(&self, signal: &str) -> Result<(), Implausible> {
        let at = |opening| self.output(signal, opening);
        let (Some(rest), Some(half), Some(full)) = (at(Opening::Rest), at(Opening::Half), at(Opening::Full))
        else {
            return Ok(());
        };
        let (low, high) = (rest.1.value.min(full.1.value), rest.1.value.max(full.1.value));
        let room = high / 50.0;
        let nearest = if half.1.value < low - room {
            if rest.1.value <= full.1.value { rest.0 } else { full.0 }
        } else if half.1.value > high + room {
            if rest.1.value >= full.1.value { rest.0 } else { full.0 }
        } else {
            return Ok(());
        };
        Self::refuse(
            half.0,
            nearest,
            "the output half open lies between rest and full, or two entries were exchanged.",
        )
    }
}
