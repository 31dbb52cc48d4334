//! A stored trace, a record folder, or another logger's CSV, judged anew.

use super::concluded::{Concluded, conclude};
use super::failure::Failure;
use super::outside::Outside;
use super::population;
use super::question::Question;
use super::recorded::Recorded;
use super::sheets::Shelf;
use crate::record::soak_log::SOAK_LOG;
use crate::record::{CsvOptions, load_traces};
use anyhow::anyhow;
use std::path::Path;

/// What is to be judged, and how it is read.
#[derive(Clone, Copy, Debug)]
pub struct Judge<'a> {
    /// A trace, a record's folder, or a CSV file.
    pub path: &'a Path,
    /// Part sheet, by name or file; none = the shipped one whose topology the data show.
    pub sheet: Option<&'a str>,
    /// Columns of a CSV.
    pub map: Option<&'a str>,
    /// Sensor supply in volts, where none was logged.
    pub supply: Option<f64>,
    /// Scans per second, where no time was logged.
    pub rate: Option<f64>,
    /// Unit of the time column: s, ms, us or ns.
    pub time_unit: Option<&'a str>,
    /// A file of good bodies among which a throttle body is judged, instead of the shipped ones.
    pub population: Option<&'a Path>,
    /// The part in the user's words.
    pub part: Option<&'a str>,
    /// The archive that keeps the judgement, the platform's where none is named; none = nothing is recorded.
    pub keep_in: Option<Option<&'a Path>>,
}

/// Judges it.
///
/// # Errors
/// [`Failure::Usage`] for what can't be read or judged by that sheet.
pub fn judge(asked: Judge<'_>, outside: &Outside<'_>) -> Result<Concluded, Failure> {
    let shelf = Shelf::new(asked.sheet)?;
    let options = CsvOptions {
        map: asked.map.map(str::to_owned),
        supply_volts: asked.supply,
        rate_hz: asked.rate,
        time_unit: asked.time_unit.map(str::to_owned),
        part: asked.part.map(str::to_owned),
        started: outside.now(),
    };
    let population = population::given(asked.population)?;
    if asked.path.join(SOAK_LOG).is_file() {
        return Err(Failure::Usage(anyhow!(
            "{} is a soak: its figures were made round by round and most traces were not recorded, so it can't be judged anew as a whole. Its              outcome and report lie in it; a soak that has not ended is judged by `trackpair soak --resume RECORD --conclude`; a single round by              giving one of its traces (`trackpair records show RECORD` names them)",
            asked.path.display()
        )));
    }
    let loaded = load_traces(asked.path, &options).map_err(|e| Failure::Usage(e.into()))?;
    let keep = asked.keep_in.is_some();
    let mut recorded = if let Some(archive) = asked.keep_in {
        // The part's words stand in its traces; those of a log came from the command line.
        let part = loaded.traces.first().map(|t| t.trace.provenance.part.as_str());
        Recorded::begin(archive, part.unwrap_or_default(), outside)?
    } else {
        Recorded::loose()
    };
    recorded.warn(loaded.warnings.iter().map(ToString::to_string));
    for trace in loaded.traces {
        if keep { recorded.store(trace.trace, outside) } else { recorded.take(trace.trace, trace.file) }
    }
    let question = Question::of_the_part(population);
    let question = if asked.path.is_dir() { question } else { question.of_picked_traces() };
    let (sheet, question) = recorded.choose_sheet(question, &shelf)?;
    question.check_population(sheet)?;
    conclude(recorded, &question, sheet, outside)
}
