//! What a worksheet is made for: kind, sheets, wires and meter, from options, over those of a file.

use crate::case::Case;
use crate::cli::options::archive::open;
use crate::cli::surroundings::Surroundings;
use crate::job::Failure;
use crate::quantity::PartKind;
use crate::record::sheet_file;
use crate::sheet::{PartSheet, shipped_of};
use crate::vehicle::file::{ReadingsFile, leads_of, wire_of};
use crate::vehicle::{Accuracy, Meter, Range, Setup, Subject, Wire};
use anyhow::anyhow;
use clap::Args;
use std::path::{Path, PathBuf};

/// What a worksheet is made for.
#[derive(Args, Debug)]
pub struct Basis {
    /// The part in question: grip, body or pair [else: the file's, or the parts of the case]
    #[arg(long, value_name = "KIND", value_parser = kind)]
    pub kind: Option<Subject>,
    /// Part sheet, by name or file; for a pair it may be given twice [else: the shipped one]
    #[arg(long, value_name = "NAME|FILE")]
    pub sheet: Vec<String>,
    /// Size of the wires, like 0.34mm2 or 22AWG [else: 0.34mm2, assumed]
    #[arg(long, value_name = "SIZE")]
    pub wire: Option<String>,
    /// Length of the wires in metres, one way, from plug to plug [else: 2, assumed]
    #[arg(long, value_name = "M")]
    pub length: Option<f64>,
    /// Temperature of the loom, degrees Celsius [else: 20]
    #[arg(long, value_name = "C", allow_negative_numbers = true)]
    pub temperature: Option<f64>,
    /// Another wire of one run: grip, motor or feedback, like motor=0.75mm2,1.2; may be given more than once
    #[arg(long, value_name = "RUN=SIZE,M")]
    pub run: Vec<String>,
    /// What the probes show when held together, like "0.2 ohm"; it is subtracted
    #[arg(long, value_name = "OHM")]
    pub meter_leads: Option<String>,
    /// Accuracy of a range of your meter, like "ohms=0.8 % + 2 x 0.1 ohm"; ranges: milliohms, ohms, megohms, millivolts, volts, amps; may be given more than once [else: an ordinary hand meter]
    #[arg(long, value_name = "RANGE=ACCURACY")]
    pub meter: Vec<String>,
    /// The case that the checks belong to, by its name or a part of it
    #[arg(long, value_name = "CASE")]
    pub case: Option<String>,
    /// Folder of the archive [else: TRACKPAIR_ARCHIVE, configuration, the platform's place for data]
    #[arg(long, value_name = "DIR")]
    pub archive: Option<PathBuf>,
}

fn kind(name: &str) -> Result<Subject, String> {
    Subject::from_name(name).ok_or_else(|| "a worksheet is for grip, body or pair".to_owned())
}

fn usage(error: impl Into<anyhow::Error>) -> Failure {
    Failure::Usage(error.into())
}

impl Basis {
    /// The case that is meant; none without one.
    ///
    /// # Errors
    /// There is no such case.
    pub fn find_case(&self, surroundings: &Surroundings<'_>) -> Result<Option<Case>, Failure> {
        let Some(name) = &self.case else { return Ok(None) };
        let archive = open(self.archive.as_deref(), surroundings)?;
        archive.case(name).map(Some).map_err(usage)
    }

    /// The kind of part: as typed, or that of the case's parts.
    ///
    /// # Errors
    /// Nothing shows it.
    pub fn subject(&self, case: Option<&Case>) -> Result<Subject, Failure> {
        if let Some(kind) = self.kind {
            return Ok(kind);
        }
        let has =
            |kind| case.is_some_and(|case| case.parts().any(|p| p.kind == kind || p.kind == PartKind::Pair));
        match (has(PartKind::Grip), has(PartKind::Body)) {
            (true, true) => Ok(Subject::Pair),
            (true, false) => Ok(Subject::Grip),
            (false, true) => Ok(Subject::Body),
            (false, false) => Err(Failure::Usage(anyhow!(
                "which part is in question? Give --kind grip, body or pair, or --case CASE of a case that names its parts"
            ))),
        }
    }

    /// What was typed, over what a file holds.
    ///
    /// # Errors
    /// A wire, a meter or a range that does not exist, or a kind that is not the file's.
    pub fn over(&self, mut file: ReadingsFile) -> Result<ReadingsFile, Failure> {
        if let Some(kind) = self.kind.filter(|k| *k != file.kind) {
            return Err(Failure::Usage(anyhow!(
                "--kind is {} and the readings are of a worksheet for {}; leave --kind out, or give the other file",
                kind.name(),
                file.kind.name()
            )));
        }
        if !self.sheet.is_empty() {
            file.sheets = self.sheet.clone();
        }
        let wire = wire_of(file.wire, self.wire.as_deref(), self.length).map_err(usage)?;
        let temperature_c = self.temperature.unwrap_or(wire.temperature_c);
        file.wire = Wire { temperature_c, ..wire }.checked().map_err(usage)?;
        for run in file.runs.values_mut() {
            run.temperature_c = temperature_c;
        }
        for text in &self.run {
            let (run, wire) = run_wire(text, file.wire)?;
            file.runs.insert(run, wire);
        }
        self.meter_over(&mut file.meter)?;
        Ok(file)
    }

    fn meter_over(&self, meter: &mut Meter) -> Result<(), Failure> {
        meter.stated |= self.meter_leads.is_some() || !self.meter.is_empty();
        if let Some(leads) = &self.meter_leads {
            meter.leads_ohms = leads_of(leads).map_err(usage)?;
        }
        for text in &self.meter {
            let found = text.split_once('=').and_then(|(name, accuracy)| {
                Some((Range::ALL.into_iter().find(|r| r.name() == name.trim())?, accuracy))
            });
            let Some((range, accuracy)) = found else {
                let ranges = Range::ALL.map(Range::name).join(", ");
                return Err(Failure::Usage(anyhow!(
                    "--meter {text:?} names no range; write RANGE=ACCURACY with one of {ranges}, like \"ohms=0.8 % + 2 x 0.1 ohm\""
                )));
            };
            let accuracy = Accuracy::parse(accuracy.trim(), range).map_err(usage)?;
            match range {
                Range::Milliohms => meter.milliohms = Some(accuracy),
                Range::Ohms => meter.ohms = accuracy,
                Range::Megohms => meter.megohms = accuracy,
                Range::Millivolts => meter.millivolts = accuracy,
                Range::Volts => meter.volts = accuracy,
                Range::Amps => meter.amps = accuracy,
            }
        }
        Ok(())
    }
}

fn run_wire(text: &str, otherwise: Wire) -> Result<(crate::diagnosis::Run, Wire), Failure> {
    let bad = || {
        Failure::Usage(anyhow!(
            "--run {text:?}: write RUN=SIZE,METRES with grip, motor or feedback, like motor=0.75mm2,1.2"
        ))
    };
    let (name, rest) = text.split_once('=').ok_or_else(bad)?;
    let (size, length) = rest.split_once(',').ok_or_else(bad)?;
    let run = crate::vehicle::run_of(name.trim()).ok_or_else(bad)?;
    let length = length.trim().parse().map_err(|_| bad())?;
    let wire = wire_of(otherwise, Some(size), Some(length)).map_err(usage)?;
    Ok((run, wire.checked().map_err(usage)?))
}

/// The worksheet that a file is for.
///
/// # Errors
/// A sheet is unknown, or of a part that is not in question.
pub fn setup(file: &ReadingsFile) -> Result<Setup, Failure> {
    let mut grip = None;
    let mut body = None;
    for name in &file.sheets {
        let sheet = sheet_file::load(name).map_err(usage)?;
        let (place, in_question) = match sheet.kind {
            PartKind::Grip => (&mut grip, file.kind != Subject::Body),
            PartKind::Body => (&mut body, file.kind != Subject::Grip),
            // A pair is made of a grip and a body, each with its own sheet.
            PartKind::Pair => (&mut grip, false),
        };
        if !in_question || place.is_some() {
            return Err(Failure::Usage(anyhow!(
                "the sheet {} is for a {}, and the worksheet for {} takes one sheet for each part in question",
                sheet.name,
                sheet.kind.name(),
                file.kind.name()
            )));
        }
        *place = Some(sheet);
    }
    let shipped = |kind, given: Option<PartSheet>| {
        given.or_else(|| shipped_of(kind).next()).ok_or_else(|| {
            Failure::Other(anyhow!("the program brings no sheet of that kind; build or install it anew"))
        })
    };
    Ok(Setup {
        subject: file.kind,
        wire: file.wire,
        runs: file.runs.clone(),
        grip: shipped(PartKind::Grip, grip)?,
        body: shipped(PartKind::Body, body)?,
    })
}

/// A readings file.
///
/// # Errors
/// It can't be read, or not be used.
pub fn read_file(path: &Path) -> Result<ReadingsFile, Failure> {
    let text = std::fs::read_to_string(path).map_err(|cause| {
        Failure::Usage(anyhow!(
            "can't read the readings {}: {cause}; `trackpair vehicle-check form --template FILE.toml` writes a template",
            path.display()
        ))
    })?;
    ReadingsFile::parse(&text)
        .map_err(|e| Failure::Usage(anyhow::Error::from(e).context(path.display().to_string())))
}
