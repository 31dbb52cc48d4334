//! The file that readings are written into: TOML, made as a template with every line and what is expected of it, filled in later by
//! hand or by the guided prompt. Text in, text out; where it lies is the command's business.

use super::worksheet::Setup;
use super::{
    Accuracy, AccuracyError, Entries, Meter, Range, Reading, ReadingError, Subject, Wire, WireError,
    WireRangeError, WireSize,
};
use super::{run_of, run_word, show, title};
use crate::diagnosis::{CheckKind, Run};
use serde::Deserialize;
use std::collections::BTreeMap;
use std::fmt::Write;

/// What a file holds.
#[derive(Clone, Debug, PartialEq)]
pub struct ReadingsFile {
    /// Kind of part.
    pub kind: Subject,
    /// Part sheets, by name or file; none = shipped ones.
    pub sheets: Vec<String>,
    /// The wires of runs that have none of their own.
    pub wire: Wire,
    /// The wires of single runs.
    pub runs: BTreeMap<Run, Wire>,
    /// The meter.
    pub meter: Meter,
    /// What was entered, by line.
    pub readings: Entries,
}

/// Why a file can't be used.
#[derive(Debug, thiserror::Error)]
pub enum FileError {
    /// No TOML, an unknown key, or a line given twice.
    #[error(
        "{0}\na line is given once; `trackpair vehicle-check form --template FILE.toml` writes a template"
    )]
    Shape(#[from] toml::de::Error),
    /// No such kind.
    #[error("kind = {0:?}: a worksheet is for grip, body or pair")]
    Kind(String),
    /// No such run.
    #[error("[wire.{0}]: a run is grip, motor or feedback")]
    Run(String),
    /// No such wire.
    #[error(transparent)]
    Wire(#[from] WireError),
    /// No such length or temperature.
    #[error(transparent)]
    WireRange(#[from] WireRangeError),
    /// No such accuracy.
    #[error(transparent)]
    Accuracy(#[from] AccuracyError),
    /// The probes, or the end of the range.
    #[error(transparent)]
    Reading(#[from] ReadingError),
    /// Probes that are no probes.
    #[error("leads = {0:?}: probes held together show 0 to 5 ohm; hold them together again")]
    Leads(String),
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Raw {
    kind: String,
    #[serde(default)]
    sheets: Vec<String>,
    #[serde(default)]
    wire: RawWire,
    #[serde(default)]
    meter: RawMeter,
    #[serde(default)]
    readings: BTreeMap<String, String>,
}

#[derive(Default, Deserialize)]
struct RawWire {
    size: Option<String>,
    length_m: Option<f64>,
    temperature_c: Option<f64>,
    #[serde(flatten)]
    runs: BTreeMap<String, RawRun>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RawRun {
    size: Option<String>,
    length_m: Option<f64>,
}

#[derive(Default, Deserialize)]
#[serde(deny_unknown_fields)]
struct RawMeter {
    name: Option<String>,
    leads: Option<String>,
    milliohms: Option<String>,
    ohms: Option<String>,
    megohms: Option<String>,
    megohms_end: Option<String>,
    millivolts: Option<String>,
    volts: Option<String>,
    amps: Option<String>,
}

impl ReadingsFile {
    /// An empty one.
    pub fn empty(kind: Subject) -> Self {
        Self {
            kind,
            sheets: Vec::new(),
            wire: Wire::ASSUMED,
            runs: BTreeMap::new(),
            meter: Meter::default(),
            readings: Entries::new(),
        }
    }

    /// From the text of a file.
    ///
    /// # Errors
    /// [`FileError`]: what was given, what is allowed.
    pub fn parse(text: &str) -> Result<Self, FileError> {
        let raw: Raw = toml::from_str(text)?;
        let kind = Subject::from_name(&raw.kind).ok_or(FileError::Kind(raw.kind))?;
        let stated = wire_of(Wire::ASSUMED, raw.wire.size.as_deref(), raw.wire.length_m)?;
        let temperature_c = raw.wire.temperature_c.unwrap_or(stated.temperature_c);
        let wire = Wire { temperature_c, ..stated }.checked()?;
        let mut runs = BTreeMap::new();
        for (name, run) in &raw.wire.runs {
            let which = run_of(name).ok_or_else(|| FileError::Run(name.clone()))?;
            runs.insert(which, wire_of(wire, run.size.as_deref(), run.length_m)?.checked()?);
        }
        let meter = raw.meter.read()?;
        Ok(Self { kind, sheets: raw.sheets, wire, runs, meter, readings: raw.readings })
    }

    /// The text of its file, every line of the worksheet in it with what is expected.
    pub fn text(&self, setup: &Setup) -> String {
        let mut text = String::from(
            "# Readings of a vehicle check. Fill in between the quotes; leave a line empty to leave it out.\n\
             # Then: trackpair vehicle-check enter --readings THIS_FILE\n",
        );
        let _ = writeln!(text, "kind = {}", quoted(self.kind.name()));
        let sheets: Vec<String> = self.sheets.iter().map(|s| quoted(s)).collect();
        let _ = writeln!(text, "sheets = [{}]", sheets.join(", "));
        let assumed = if self.wire.stated {
            ""
        } else {
            " # assumed: read the size on the insulation, measure the length"
        };
        let _ = writeln!(text, "\n[wire]{assumed}");
        if self.wire.stated {
            let _ = writeln!(
                text,
                "size = {}\nlength_m = {:?}",
                quoted(&self.wire.size.to_string()),
                self.wire.length_m
            );
        } else {
            let _ = writeln!(
                text,
                "# size = {}\n# length_m = {:?}",
                quoted(&self.wire.size.to_string()),
                self.wire.length_m
            );
        }
        let _ = writeln!(text, "temperature_c = {:?}", self.wire.temperature_c);
        for (run, wire) in &self.runs {
            let size = quoted(&wire.size.to_string());
            let _ =
                writeln!(text, "\n[wire.{}]\nsize = {size}\nlength_m = {:?}", run_word(*run), wire.length_m);
        }
        meter_text(&self.meter, &mut text);
        self.readings_text(setup, &mut text);
        text
    }

    fn readings_text(&self, setup: &Setup, text: &mut String) {
        text.push_str("\n[readings]");
        let mut group = None;
        for line in setup.lines().iter().filter(|l| !l.computed) {
            if group != Some((line.run, title(line.check))) {
                group = Some((line.run, title(line.check)));
                let allowed = super::allowed(line.check);
                let _ = writeln!(
                    text,
                    "\n# {}: {}\n#   {allowed}",
                    super::run_words(line.run),
                    title(line.check)
                );
            }
            let entry = self.readings.get(&line.id).map_or("", String::as_str);
            let volts = setup.sheet_of(line.run).map_or(5.0, |s| s.supply_volts);
            let _ =
                writeln!(text, "{} = {} # {}", quoted(&line.id), quoted(entry), show::expected(line, volts));
        }
    }
}

/// A text as TOML has it.
fn quoted(text: &str) -> String {
    toml::Value::from(text).to_string()
}

fn meter_text(meter: &Meter, text: &mut String) {
    // What is not stated stands as a comment: an ordinary hand meter is assumed.
    let mark = if meter.stated { "" } else { "# " };
    let assumed = if meter.stated {
        ""
    } else {
        " # assumed: an ordinary hand meter; write what your meter's data sheet says"
    };
    let _ = writeln!(text, "\n[meter]{assumed}\n{mark}name = {}", quoted(&meter.name));
    let _ = writeln!(
        text,
        "{mark}leads = \"{} ohm\" # what the probes show when held together",
        meter.leads_ohms
    );
    if let Some(milliohms) = meter.milliohms {
        let _ = writeln!(text, "milliohms = \"{}\"", milliohms.words(Range::Milliohms));
    }
    for (range, accuracy) in [
        (Range::Ohms, meter.ohms),
        (Range::Megohms, meter.megohms),
        (Range::Millivolts, meter.millivolts),
        (Range::Volts, meter.volts),
        (Range::Amps, meter.amps),
    ] {
        let _ = writeln!(text, "{mark}{} = \"{}\"", range.name(), accuracy.words(range));
    }
    let _ =
        writeln!(text, "{mark}megohms_end = \"{} Mohm\" # OL means more than this", meter.megohms_end / 1e6);
}

/// A wire with what was stated of it.
///
/// # Errors
/// There is no such size.
pub fn wire_of(otherwise: Wire, size: Option<&str>, length_m: Option<f64>) -> Result<Wire, WireError> {
    let stated = otherwise.stated || size.is_some() || length_m.is_some();
    let size = size.map(WireSize::parse).transpose()?.unwrap_or(otherwise.size);
    Ok(Wire { size, length_m: length_m.unwrap_or(otherwise.length_m), stated, ..otherwise })
}

/// A resistance in Ω that is not a line's.
fn ohms(text: &str, what: &str) -> Result<f64, FileError> {
    match Reading::parse(text, CheckKind::Continuity, what)? {
        Reading::Ohms(typed) => Ok(typed.value),
        _ => Err(FileError::Leads(text.to_owned())),
    }
}

/// What probes held together show, Ω.
///
/// # Errors
/// The text is no resistance of 0 to 5 Ω.
pub fn leads_of(text: &str) -> Result<f64, FileError> {
    let value = ohms(text, "leads")?;
    if (0.0..=5.0).contains(&value) { Ok(value) } else { Err(FileError::Leads(text.to_owned())) }
}

impl RawMeter {
    fn read(&self) -> Result<Meter, FileError> {
        let ordinary = Meter::default();
        let one = |text: &Option<String>, range, otherwise: Accuracy| match text {
            Some(text) => Accuracy::parse(text, range),
            None => Ok(otherwise),
        };
        let all = [
            &self.name,
            &self.leads,
            &self.milliohms,
            &self.ohms,
            &self.megohms,
            &self.megohms_end,
            &self.millivolts,
            &self.volts,
            &self.amps,
        ];
        Ok(Meter {
            name: self.name.clone().unwrap_or_default(),
            milliohms: self.milliohms.as_deref().map(|t| Accuracy::parse(t, Range::Milliohms)).transpose()?,
            ohms: one(&self.ohms, Range::Ohms, ordinary.ohms)?,
            megohms: one(&self.megohms, Range::Megohms, ordinary.megohms)?,
            megohms_end: self
                .megohms_end
                .as_deref()
                .map_or(Ok(ordinary.megohms_end), |t| ohms(t, "megohms_end"))?,
            millivolts: one(&self.millivolts, Range::Millivolts, ordinary.millivolts)?,
            volts: one(&self.volts, Range::Volts, ordinary.volts)?,
            amps: one(&self.amps, Range::Amps, ordinary.amps)?,
            leads_ohms: self.leads.as_deref().map_or(Ok(0.0), leads_of)?,
            stated: all.iter().any(|t| t.is_some()),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::super::fixture::{good, setup};
    use super::*;

    #[test]
    fn a_filled_file_is_read_as_it_was_written() {
        let setup = setup(Subject::Pair);
        let motor = Wire { size: WireSize::Awg(18), length_m: 0.9, ..setup.wire };
        let milliohms = Some(Accuracy::parse("1 % + 2 x 0.1 mohm", Range::Milliohms).unwrap());
        let file = ReadingsFile {
            kind: Subject::Pair,
            sheets: vec!["grip-complementary".to_owned()],
            wire: setup.wire,
            runs: BTreeMap::from([(Run::ControllerToMotor, motor)]),
            meter: Meter {
                name: "a \"meter\"".to_owned(),
                stated: true,
                leads_ohms: 0.2,
                milliohms,
                ..Meter::default()
            },
            readings: good(Subject::Pair),
        };
        assert_eq!(ReadingsFile::parse(&file.text(&setup)).unwrap(), file);
    }

    #[test]
    fn a_template_holds_every_line_and_nothing_in_them() {
        let setup = setup(Subject::Grip);
        let read = ReadingsFile::parse(&ReadingsFile::empty(Subject::Grip).text(&setup)).unwrap();
        assert_eq!(read.readings.len(), setup.lines().iter().filter(|l| !l.computed).count());
        assert!(read.readings.values().all(String::is_empty) && !read.meter.stated && !read.wire.stated);
    }

    #[track_caller]
    fn refused(text: &str, word: &str) {
        let error = ReadingsFile::parse(text).unwrap_err().to_string();
        assert!(error.contains(word), "{word} in {error}");
    }

    #[test]
    fn a_file_that_can_not_be_used_says_what_is_allowed() {
        refused("kind = \"wheel\"", "grip, body or pair");
        refused("kind = \"grip\"\nwires = 3", "unknown field");
        refused("kind = \"grip\"\n[wire]\nsize = \"0.33mm2\"", "0.34mm2");
        refused("kind = \"grip\"\n[wire]\nlength_m = 180", "0.05 to 20 m");
        refused("kind = \"grip\"\n[wire.brake]\nlength_m = 1.0", "grip, motor or feedback");
        refused("kind = \"grip\"\n[meter]\nohms = \"good\"", "1 % + 2 x 0.1 ohm");
        refused("kind = \"grip\"\n[meter]\nleads = \"20 ohm\"", "0 to 5 ohm");
        refused("kind = \"grip\"\n[readings]\n\"a\" = \"open\"\n\"a\" = \"40 mohm\"", "given once");
    }
}
