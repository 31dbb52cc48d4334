//! `judge`: a stored trace, a record folder, or another logger's CSV, judged anew.

use super::ending::Ending;
use super::surroundings::Surroundings;
use super::terminal::at_terminal::at_terminal;
use super::terminal::conclusion::{Printed, present};
use crate::job::{Failure, judge as job};
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
    /// Print every figure and finding before the summary
    #[arg(long)]
    pub full: bool,
    /// Print outcome.json on stdout
    #[arg(long)]
    pub json: bool,
}

/// Carries out `judge`.
pub fn judge(args: &Judge, surroundings: &Surroundings<'_>) -> Result<Ending, Failure> {
    let config = surroundings.config()?;
    config.shop().map_err(|e| Failure::Usage(e.into()))?;
    let archive = args.archive.as_deref().or(config.archive.value.as_deref());
    let asked = job::Judge {
        path: &args.path,
        sheet: args.sheet.as_deref().or(config.sheet.value.as_deref()),
        map: args.map.as_deref(),
        supply: args.supply,
        rate: args.rate,
        time_unit: args.time_unit.as_deref(),
        population: args.population.as_deref(),
        part: args.part.as_deref(),
        keep_in: (args.keep || args.archive.is_some()).then_some(archive),
    };
    let concluded = at_terminal(surroundings, |outside| job::judge(asked, outside))?;
    let printed = Printed { json: args.json, full: args.full, report: args.report.as_deref() };
    present(concluded, printed, surroundings)
}
