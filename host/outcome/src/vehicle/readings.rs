//! What is written into a box: a number with its unit, or a word. Parsed strictly; whether it can be true is `plausible`'s business.

use crate::diagnosis::CheckKind;

/// A number as it was typed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Typed {
    /// In Ω, V or A; finite, not negative.
    pub value: f64,
    /// Whether its unit was a thousandth: mΩ, mV.
    pub milli: bool,
}

/// What a drop was measured under.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Load {
    /// A current, A; above 0.
    Amps(f64),
    /// A 12 V bulb of so many watts; above 0.
    Bulb(f64),
}

/// Voltage that a 12 V bulb's watts are meant at, V: engineering assumption.
const BULB_VOLTS: f64 = 13.5;
/// How far a bulb's current may be off, as a share: engineering assumption.
const BULB_SHARE: f64 = 0.15;

impl Load {
    /// Its current, A.
    pub const fn amps(self) -> f64 {
        match self {
            Self::Amps(amps) => amps,
            Self::Bulb(watts) => watts / BULB_VOLTS,
        }
    }

    /// Standard uncertainty of a bulb's current, A; a stated current is the meter's business.
    pub fn bulb_uncertainty(self) -> Option<f64> {
        match self {
            Self::Amps(_) => None,
            Self::Bulb(_) => Some(self.amps() * BULB_SHARE / 3_f64.sqrt()),
        }
    }
}

/// What was entered.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Reading {
    /// A resistance.
    Ohms(Typed),
    /// A voltage.
    Volts(Typed),
    /// A resistance beyond the end of a range.
    MoreThan(Typed),
    /// No connection; for insulation, more than the meter can show.
    Open,
    /// A resistance at rest and the worst while the loom was moved.
    Moved(Typed, Typed),
    /// It comes and goes while the loom is moved.
    Flickers,
    /// It did not change while the loom was moved.
    Steady,
    /// A voltage under a load.
    Drop(Typed, Load),
    /// A terminal holds its pin.
    Firm,
    /// It does not.
    Loose,
    /// That could not be seen.
    Unclear,
}

/// Why an entry can't be read.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum ReadingError {
    /// Not of a form that this check takes.
    #[error("{given:?} is not an entry for {line}; allowed are {allowed}")]
    Form {
        /// As given.
        given: String,
        /// Where.
        line: String,
        /// What is allowed.
        allowed: &'static str,
    },
    /// A number without unit.
    #[error("{given:?} for {line} has no unit; allowed are {allowed}")]
    NoUnit {
        /// As given.
        given: String,
        /// Where.
        line: String,
        /// What is allowed.
        allowed: &'static str,
    },
    /// A comma where a point belongs.
    #[error("{given:?} for {line} has a comma; write a point before the decimals, like 0.3 ohm")]
    Comma {
        /// As given.
        given: String,
        /// Where.
        line: String,
    },
    /// Less while moved than at rest.
    #[error(
        "{given:?} for {line}: the worst while moved is less than at rest; write REST..WORST, like 0.3..0.9 ohm"
    )]
    WorstFirst {
        /// As given.
        given: String,
        /// Where.
        line: String,
    },
}

/// The forms that a check takes, in words.
pub const fn allowed(check: CheckKind) -> &'static str {
    match check {
        CheckKind::Continuity => "a resistance (43 mOhm, 0.3 ohm), >20 ohm, or open (OL)",
        CheckKind::InsulationToFrame | CheckKind::InsulationBetween => {
            "a resistance (5 Mohm), more than the range (>20 Mohm), or open (OL)"
        }
        CheckKind::WiggleAtNeck | CheckKind::WiggleAtConnector => {
            "steady, flickers, open (OL), the worst while moved (0.4 ohm), or at rest and worst (0.3..0.9 ohm)"
        }
        CheckKind::TerminalGrip => "firm, loose or unclear",
        CheckKind::SupplyDrop | CheckKind::GroundDrop => {
            "a voltage and its load: 180 mV @ 1.7 A, or 180 mV @ bulb 21 W"
        }
        CheckKind::SensorOutput => "a voltage (4.98 V, 480 mV)",
    }
}

impl Reading {
    /// From what was typed for a line of a check; `line` is how messages name it.
    ///
    /// # Errors
    /// [`ReadingError`], which says what is allowed.
    pub fn parse(text: &str, check: CheckKind, line: &str) -> Result<Self, ReadingError> {
        let text = text.trim();
        let (given, line) = (text.to_owned(), line.to_owned());
        if text.contains(',') {
            return Err(ReadingError::Comma { given, line });
        }
        let found = match check {
            CheckKind::TerminalGrip => grip(text),
            CheckKind::SupplyDrop | CheckKind::GroundDrop => drop(text),
            CheckKind::SensorOutput => volts(text).map(Self::Volts),
            CheckKind::Continuity | CheckKind::InsulationToFrame | CheckKind::InsulationBetween => {
                resistance(text)
            }
            CheckKind::WiggleAtNeck | CheckKind::WiggleAtConnector => moved(text),
        };
        match found {
            Some(Self::Moved(rest, worst)) if worst.value < rest.value => {
                Err(ReadingError::WorstFirst { given, line })
            }
            Some(reading) => Ok(reading),
            None if text.parse::<f64>().is_ok() => {
                Err(ReadingError::NoUnit { given, line, allowed: allowed(check) })
            }
            None => Err(ReadingError::Form { given, line, allowed: allowed(check) }),
        }
    }
}

fn grip(text: &str) -> Option<Reading> {
    match text.to_lowercase().as_str() {
        "firm" => Some(Reading::Firm),
        "loose" => Some(Reading::Loose),
        "unclear" => Some(Reading::Unclear),
        _ => None,
    }
}

fn is_open(text: &str) -> bool {
    matches!(text.to_lowercase().as_str(), "open" | "ol" | "o.l" | "o.l.")
}

fn resistance(text: &str) -> Option<Reading> {
    if is_open(text) {
        return Some(Reading::Open);
    }
    match text.strip_prefix('>') {
        Some(more) => ohms(more).map(Reading::MoreThan),
        None => ohms(text).map(Reading::Ohms),
    }
}

fn moved(text: &str) -> Option<Reading> {
    match text.to_lowercase().as_str() {
        "flickers" => return Some(Reading::Flickers),
        "steady" => return Some(Reading::Steady),
        _ => {}
    }
    let Some((rest, worst)) = text.split_once("..") else { return resistance(text) };
    let worst = ohms(worst)?;
    // The unit may stand once, behind both.
    let rest = ohms(rest).or_else(|| {
        let unit = text.trim_end().trim_start_matches(|c: char| !c.is_alphabetic() && c != 'Ω');
        ohms(&format!("{rest} {unit}"))
    })?;
    Some(Reading::Moved(rest, worst))
}

fn drop(text: &str) -> Option<Reading> {
    let (voltage, load) = text.split_once('@')?;
    let load = load.trim();
    let load = match load.strip_prefix("bulb") {
        Some(watts) => Load::Bulb(quantity(watts, &[("W", 1.0)])?.value),
        None => Load::Amps(quantity(load, &[("mA", 1e-3), ("A", 1.0)])?.value),
    };
    let (Load::Amps(size) | Load::Bulb(size)) = load;
    (size > 0.0).then_some(Reading::Drop(volts(voltage)?, load))
}

fn volts(text: &str) -> Option<Typed> {
    quantity(text, &[("mV", 1e-3), ("V", 1.0)])
}

/// The prefix counts as it is written, m for a thousandth and M for a million; the rest of the unit in any spelling.
fn ohms(text: &str) -> Option<Typed> {
    let text = text.trim();
    let lower = text.to_lowercase();
    let bare = ["ohms", "ohm", "Ω", "ω", "\u{2126}"].iter().find_map(|unit| {
        let length = lower.strip_suffix(unit)?.chars().count();
        Some(text.chars().take(length).collect::<String>())
    })?;
    quantity(
        &format!("{}o", bare.trim_end()),
        &[("mo", 1e-3), ("ko", 1e3), ("Ko", 1e3), ("Mo", 1e6), ("Go", 1e9), ("o", 1.0)],
    )
}

/// A number with one of the units.
fn quantity(text: &str, units: &[(&str, f64)]) -> Option<Typed> {
    let text = text.trim();
    let (number, factor) =
        units.iter().find_map(|(unit, factor)| Some((text.strip_suffix(unit)?, *factor)))?;
    let number = number.trim();
    let plain = number.starts_with(|c: char| c.is_ascii_digit() || c == '.');
    let value: f64 = number.parse().ok().filter(|_| plain)?;
    // Divided, so that 43 mΩ is the same number as 0.043 Ω.
    let value = if factor < 1.0 { value / (1.0 / factor).round() } else { value * factor };
    (value.is_finite() && value <= 1e12).then_some(Typed { value, milli: factor < 1.0 })
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn read(text: &str, check: CheckKind) -> Result<Reading, ReadingError> {
        Reading::parse(text, check, "a line")
    }

    fn typed(value: f64, milli: bool) -> Typed {
        Typed { value, milli }
    }

    #[test]
    fn resistances_are_read_in_every_usual_spelling() {
        for (text, value, milli) in [
            ("43 mOhm", 0.043, true),
            ("43mΩ", 0.043, true),
            ("0.043 ohm", 0.043, false),
            ("0.3Ω", 0.3, false),
            ("2 kOhm", 2000.0, false),
            ("5 MOHM", 5e6, false),
            ("1 GΩ", 1e9, false),
        ] {
            assert_eq!(read(text, CheckKind::Continuity), Ok(Reading::Ohms(typed(value, milli))), "{text}");
        }
        for open in ["open", "OL", "o.l."] {
            assert_eq!(read(open, CheckKind::Continuity), Ok(Reading::Open));
        }
        assert_eq!(read(">20 Mohm", CheckKind::InsulationToFrame), Ok(Reading::MoreThan(typed(20e6, false))));
    }

    #[test]
    fn moved_looms_loaded_wires_voltages_and_terminals_have_their_own_forms() {
        let wiggle = CheckKind::WiggleAtNeck;
        let both = Ok(Reading::Moved(typed(0.3, false), typed(0.9, false)));
        assert_eq!(read("0.3..0.9 ohm", wiggle), both);
        assert_eq!(read("0.3 ohm .. 0.9 ohm", wiggle), both);
        assert_eq!(read("flickers", wiggle), Ok(Reading::Flickers));
        assert_eq!(read("Steady", wiggle), Ok(Reading::Steady));
        let drop = CheckKind::GroundDrop;
        assert_eq!(read("180 mV @ 1.7 A", drop), Ok(Reading::Drop(typed(0.18, true), Load::Amps(1.7))));
        assert_eq!(read("0.18V@bulb 21 W", drop), Ok(Reading::Drop(typed(0.18, false), Load::Bulb(21.0))));
        assert_eq!(read("4.98 V", CheckKind::SensorOutput), Ok(Reading::Volts(typed(4.98, false))));
        assert_eq!(read("firm", CheckKind::TerminalGrip), Ok(Reading::Firm));
    }

    #[track_caller]
    fn refused(text: &str, check: CheckKind, word: &str) {
        let error = read(text, check).unwrap_err().to_string();
        assert!(error.contains(word), "{word} in {error}");
    }

    #[test]
    fn what_can_not_be_read_is_refused_with_what_is_allowed() {
        refused("43", CheckKind::Continuity, "no unit");
        refused("0,3 ohm", CheckKind::Continuity, "a point before the decimals");
        refused("-3 ohm", CheckKind::Continuity, "allowed are");
        refused("NaN ohm", CheckKind::Continuity, "allowed are");
        refused("4.98 ohm", CheckKind::SensorOutput, "4.98 V");
        refused("4.98 V", CheckKind::Continuity, "43 mOhm");
        refused("180 mV", CheckKind::SupplyDrop, "@ 1.7 A");
        refused("180 mV @ 0 A", CheckKind::SupplyDrop, "@ 1.7 A");
        refused("0.9..0.3 ohm", CheckKind::WiggleAtNeck, "REST..WORST");
        refused("good", CheckKind::TerminalGrip, "firm, loose or unclear");
        refused("1e300 ohm", CheckKind::Continuity, "allowed are");
    }

    proptest! {
        #[test]
        fn any_text_is_read_or_refused_and_never_more(text in "\\PC{0,40}") {
            for check in [CheckKind::Continuity, CheckKind::WiggleAtNeck, CheckKind::SupplyDrop, CheckKind::SensorOutput, CheckKind::TerminalGrip] {
                let _ = read(&text, check);
            }
        }
    }
}
