//! `population learn`, `population show`, and the file behind `--population`: a shop's own good bodies, among which a body is judged.
//! What a population is and how it is learned is the analysis's business.

use super::shown::{PopulationShown, print};
use crate::analysis::body::BodyTraces;
use crate::analysis::body::figures::no_map;
use crate::analysis::body::measured::{Measured, Recordings, UNKNOWN_PITCH_DEG};
use crate::analysis::body::population::{LEAST_BODIES, Origin, Population};
use crate::analysis::body::tooth_map::ToothMap;
use crate::cli::clock::date;
use crate::cli::ending::Ending;
use crate::job::Failure;
use crate::quantity::PartKind;
use crate::record::{CsvOptions, load_traces, sheet_file};
use crate::sheet::{PartSheet, shipped_of};
use crate::trace::Trace;
use anyhow::{Context, anyhow};
use clap::Args;
use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

/// `population learn`.
#[derive(Args, Debug)]
pub struct LearnPopulation {
    /// Part sheet of the bodies, by name or file; its name is their kind
    #[arg(long, value_name = "NAME|FILE")]
    pub sheet: String,
    /// Where the population is written
    #[arg(long, value_name = "FILE")]
    pub out: PathBuf,
    /// Record folders, one per body, each with a tooth map
    #[arg(required = true, value_name = "RECORD_FOLDER")]
    pub records: Vec<PathBuf>,
}

/// At most so many names of parts and rigs are stored in words.
const NAMED: usize = 40;

fn usage(message: String) -> Failure {
    Failure::Usage(anyhow!(message))
}

/// One record's map and where it came from.
struct Body {
    folder: PathBuf,
    map: ToothMap,
    simulated: bool,
    part: String,
    rig: String,
    recorded_by: String,
}

/// What the records gave.
#[derive(Default)]
struct Sorted {
    bodies: Vec<Body>,
    /// Folder and reason.
    left_out: Vec<(PathBuf, String)>,
}

impl Sorted {
    /// Takes a body, unless the same recording was taken before: copies show no spread.
    fn take(&mut self, body: Body) {
        match self.bodies.iter().find(|b| b.map.lost_deg == body.map.lost_deg) {
            Some(same) => {
                let why = format!("the same recording as {}", same.folder.display());
                self.left_out.push((body.folder, why));
            }
            None => self.bodies.push(body),
        }
    }

    /// Whether the bodies were simulated; not some of them.
    fn simulated(&self) -> Result<bool, Failure> {
        let first = |simulated| self.bodies.iter().find(|b| b.simulated == simulated);
        match (first(true), first(false)) {
            (Some(simulated), Some(real)) => Err(usage(format!(
                "{} is a record of a simulated body and {} of a real one; a population is of one kind: leave the one or the other out",
                simulated.folder.display(),
                real.folder.display()
            ))),
            (simulated, _) => Ok(simulated.is_some()),
        }
    }
}

pub fn learn(args: &LearnPopulation) -> Result<Ending, Failure> {
    let sheet = sheet_file::load(&args.sheet).map_err(|e| Failure::Usage(e.into()))?;
    if sheet.kind != PartKind::Body {
        return Err(usage(format!(
            "--sheet {} is the sheet of a {}; give that of a throttle body: {}",
            args.sheet,
            sheet.kind.name(),
            shipped_of(PartKind::Body).map(|s| s.name).collect::<Vec<_>>().join(", ")
        )));
    }
    let mut sorted = Sorted::default();
    for folder in &args.records {
        match body(folder, &sheet) {
            Ok(body) => sorted.take(body),
            Err(why) => sorted.left_out.push((folder.clone(), why)),
        }
    }
    tell_of_records(&sorted, args.records.len());
    let population = learned(&sorted, &sheet)?;
    tell_of_short_maps(&sorted, &population);
    std::fs::write(&args.out, population.write())
        .with_context(|| {
            format!("can't write the population to {}; choose another --out FILE", args.out.display())
        })
        .map_err(Failure::Other)?;
    print(vec![PopulationShown::of(&population)?], false);
    println!("Written to {}. To judge with it: --population {0}", args.out.display());
    Ok(Ending::Done)
}

/// The map of a record, or why there is none.
fn body(folder: &Path, sheet: &PartSheet) -> Result<Body, String> {
    let loaded = load_traces(folder, &CsvOptions::default()).map_err(|e| e.to_string())?;
    let traces: Vec<&Trace> = loaded.traces.iter().map(|t| &t.trace).collect();
    let sorted = BodyTraces::sorted(traces.iter().copied());
    let Some(stroked) = sorted.tooth_map else {
        return Err("no tooth map was recorded: run qualify or tooth-map on that body".to_owned());
    };
    let map = Measured::new(&Recordings::new(&sorted, sheet), &sorted, sheet, &Population::assumed()).map;
    let provenance = &stroked.provenance;
    Ok(Body {
        folder: folder.to_path_buf(),
        map: map.map_err(|why| no_map(why).to_owned())?,
        simulated: traces.iter().any(|t| t.provenance.simulated),
        part: provenance.part.clone(),
        rig: provenance.rig.as_ref().map_or("unknown".to_owned(), |r| format!("{} {}", r.model, r.serial)),
        recorded_by: provenance.recorded_by.clone(),
    })
}

/// Which records gave a map and which did not; and those that were not judged well, which are taken on the user's word.
fn tell_of_records(sorted: &Sorted, given: usize) {
    println!("{} of {given} records gave a map of lost motion", sorted.bodies.len());
    for (folder, why) in &sorted.left_out {
        println!("  left out: {}: {why}", folder.display());
    }
    let outside = |b: &&Body| was_outside(&b.folder);
    for body in sorted.bodies.iter().filter(outside) {
        println!(
            "  used, but its outcome says outside: {}; leave it out unless you know why it is a good body",
            body.folder.display()
        );
    }
}

/// Which maps end short of the population's and were not used.
fn tell_of_short_maps(sorted: &Sorted, population: &Population) {
    let bins = population.layout.bins;
    for body in sorted.bodies.iter().filter(|b| b.map.lost_deg.len() < bins) {
        println!(
            "  not used: {}: its map ends {:.1} deg above rest, those of the others {:.1} deg: its strokes fell short",
            body.folder.display(),
            population.layout.end_deg(body.map.lost_deg.len()),
            population.layout.end_deg(bins)
        );
    }
}

/// Whether a record's stored outcome says `outside`; a record without one says nothing.
fn was_outside(folder: &Path) -> bool {
    let outcome = std::fs::read(folder.join("outcome.json")).ok();
    let outcome = outcome.and_then(|bytes| serde_json::from_slice::<serde_json::Value>(&bytes).ok());
    outcome.is_some_and(|o| o["verdict"] == "outside")
}

fn learned(sorted: &Sorted, sheet: &PartSheet) -> Result<Population, Failure> {
    let simulated = sorted.simulated()?;
    let bodies = &sorted.bodies;
    if bodies.len() < LEAST_BODIES {
        return Err(usage(format!(
            "{} bodies with a map were given; at least {LEAST_BODIES} are needed, better 100: record more good bodies with `trackpair \
             tooth-map --archive DIR` and give their folders too",
            bodies.len()
        )));
    }
    let named = |of: fn(&Body) -> &str| listed(bodies.iter().map(of));
    let origin = Origin {
        simulated,
        kind: sheet.name.clone(),
        seeds: named(|b| &b.part),
        rig: named(|b| &b.rig),
        program: format!(
            "recorded by {}; learned by trackpair {}",
            named(|b| &b.recorded_by),
            env!("CARGO_PKG_VERSION")
        ),
        note: format!("learned {}; records left out: {}", date(), sorted.left_out.len()),
    };
    let maps: Vec<ToothMap> = bodies.iter().map(|b| b.map.clone()).collect();
    let pitch = sheet.body.as_ref().and_then(|b| b.gears).map_or(UNKNOWN_PITCH_DEG, |g| g.tooth_pitch_deg());
    Population::learn(&maps, pitch, origin).map_err(|e| Failure::Usage(e.into()))
}

/// Names, each once, as words; of many only the first.
fn listed<'a>(names: impl Iterator<Item = &'a str>) -> String {
    let names: BTreeSet<&str> = names.filter(|n| !n.is_empty()).collect();
    let more = names.len().saturating_sub(NAMED);
    let mut words = names.into_iter().take(NAMED).collect::<Vec<_>>().join(", ");
    if words.is_empty() {
        words.push_str("without a name");
    }
    if more > 0 {
        words.push_str(&format!(" and {more} more"));
    }
    words
}

#[cfg(test)]
#[path = "learn_tests.rs"]
mod tests;
