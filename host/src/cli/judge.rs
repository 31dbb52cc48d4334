//! `judge`: a stored trace, a record folder, or another logger's CSV, judged anew.

use super::args::Judge;
use super::conclude::{Kept, conclude};
use super::population;
use super::sheets::Shelf;
use super::{Ending, Failure, Surroundings, date};
use crate::record::{CsvOptions, load_traces};

/// Carries out `judge`.
pub fn judge(args: &Judge, surroundings: &Surroundings<'_>) -> Result<Ending, Failure> {
    let shelf = Shelf::new(args.sheet.as_deref())?;
    let options = CsvOptions {
        map: args.map.clone(),
        supply_volts: args.supply,
        rate_hz: args.rate,
        time_unit: args.time_unit.clone(),
        part: args.part.clone(),
        started: date(),
    };
    let among = population::given(args.population.as_deref())?;
    let loaded = load_traces(&args.path, &options).map_err(|e| Failure::Usage(e.into()))?;
    let mut kept = match &args.archive {
        // The part's words stand in its traces; those of a log came from the command line.
        Some(archive) => {
            let part = loaded.traces.first().map(|t| t.trace.provenance.part.as_str());
            Kept::begin(Some(archive), part.unwrap_or_default())?
        }
        None => Kept::loose(),
    };
    kept.warn(loaded.warnings.iter().map(ToString::to_string));
    for trace in loaded.traces {
        match &args.archive {
            Some(_) => kept.store(trace.trace),
            None => kept.take(trace.trace, trace.file),
        }
    }
    let sheet = if kept.is_body() {
        shelf.for_body()?
    } else if kept.is_flex_alone() {
        kept.judge_as_flex(&shelf)
    } else {
        let (sheet, note) = shelf.choose(kept.judged());
        kept.warn(note);
        sheet
    };
    kept.judge_among(among);
    kept.check_population(sheet)?;
    conclude(kept, sheet, args.json, args.report.as_deref(), surroundings)
}
