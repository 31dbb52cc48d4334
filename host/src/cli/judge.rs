//! `judge`: a stored trace, a record folder, or another logger's CSV, judged anew.

use super::args::Judge;
use super::conclude::{Kept, conclude};
use super::population;
use super::sheets::Shelf;
use super::{Ending, Failure, Surroundings, date};
use crate::record::soak_log::SOAK_LOG;
use crate::record::{CsvOptions, load_traces};
use anyhow::anyhow;

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
