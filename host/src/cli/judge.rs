//! `judge`: a stored trace, a record folder, or another logger's CSV, judged anew.

use super::clock::date;
use super::conclude::{Kept, conclude};
use super::ending::Ending;
use super::surroundings::Surroundings;
use crate::job::Failure;
use crate::job::population;
use crate::job::sheets::Shelf;
use crate::record::soak_log::SOAK_LOG;
use crate::record::{CsvOptions, load_traces};
use anyhow::anyhow;
use clap::Args;
use std::path::PathBuf;

/// `judge`.
#[derive(Args, Debug)]
pub struct Judge {
    /// A .parquet trace, a record folder, or a CSV file
    pub path: PathBuf,
    /// Part sheet, by name or file [else: TRACKPAIR_SHEET, configuration, the shipped sheet whose topology the data show]
    #[arg(long, value_name = "NAME|FILE")]
    pub sheet: Option<String>,
    /// Columns of a CSV: reference=COL,rising=COL,falling=COL,supply=COL,time=COL; COL is a header name or a 1-based number
    #[arg(long, value_name = "MAP")]
    pub map: Option<String>,
    /// Sensor supply in volts, where none was logged
    #[arg(long, value_name = "VOLTS")]
    pub supply: Option<f64>,
    /// Scans per second, where no time was logged
    #[arg(long, value_name = "HZ")]
    pub rate: Option<f64>,
    /// Unit of the time column, where its header does not say: s, ms, us or ns
    #[arg(long, value_name = "UNIT")]
    pub time_unit: Option<String>,
    /// Good bodies among which a throttle body is judged (`population learn`), instead of the shipped ones
    #[arg(long, value_name = "FILE")]
    pub population: Option<PathBuf>,
    /// The part in your words
    #[arg(long, value_name = "TEXT")]
    pub part: Option<String>,
    /// Keep the judgement as a record in the archive: TRACKPAIR_ARCHIVE, configuration, the platform's place for data
    #[arg(long)]
    pub keep: bool,
    /// Keep the judgement as a record in this folder
    #[arg(long, value_name = "DIR")]
    pub archive: Option<PathBuf>,
    /// Write the report to this file
    #[arg(long, value_name = "FILE")]
    pub report: Option<PathBuf>,
    /// Print outcome.json on stdout
    #[arg(long)]
    pub json: bool,
}

/// Carries out `judge`.
pub fn judge(args: &Judge, surroundings: &Surroundings<'_>) -> Result<Ending, Failure> {
    let config = surroundings.config()?;
    config.shop().map_err(|e| Failure::Usage(e.into()))?;
    let shelf = Shelf::new(args.sheet.as_deref().or(config.sheet.value.as_deref()))?;
    let options = CsvOptions {
        map: args.map.clone(),
        supply_volts: args.supply,
        rate_hz: args.rate,
        time_unit: args.time_unit.clone(),
        part: args.part.clone(),
        started: date(),
    };
    let among = population::given(args.population.as_deref())?;
    if args.path.join(SOAK_LOG).is_file() {
        return Err(Failure::Usage(anyhow!(
            "{} is a soak: its figures were made round by round and most traces were not kept, so it can't be judged anew as a whole. Its              outcome and report lie in it; a soak that has not ended is judged by `trackpair soak --resume RECORD --conclude`; a single round by              giving one of its traces (`trackpair records show RECORD` names them)",
            args.path.display()
        )));
    }
    let loaded = load_traces(&args.path, &options).map_err(|e| Failure::Usage(e.into()))?;
    let keep = args.keep || args.archive.is_some();
    let mut kept = if keep {
        let archive = args.archive.as_deref().or(config.archive.value.as_deref());
        // The part's words stand in its traces; those of a log came from the command line.
        let part = loaded.traces.first().map(|t| t.trace.provenance.part.as_str());
        Kept::begin(archive, part.unwrap_or_default())?
    } else {
        Kept::loose()
    };
    kept.warn(loaded.warnings.iter().map(ToString::to_string));
    for trace in loaded.traces {
        if keep { kept.store(trace.trace) } else { kept.take(trace.trace, trace.file) }
    }
    if !args.path.is_dir() {
        kept.judge_alone();
    }
    let sheet = kept.choose_sheet(&shelf)?;
    kept.judge_among(among);
    kept.check_population(sheet)?;
    conclude(kept, sheet, args.json, args.report.as_deref(), surroundings)
}
