//! An archive's records analysed and judged again, on all cores; each gets a new outcome beside its old ones, and what differs is listed. A
//! record at a time is in memory per core.

use super::concluded::documents;
use super::failure::Failure;
use super::judged::Judged;
use super::outside::{Clock, Outside};
use super::population;
use super::question::Question;
use super::recorded::Recorded;
use super::sealing::to_seal_with;
use super::sheets::Shelf;
use crate::analysis::body::population::Population;
use crate::compare::rejudged::{Difference, Rejudged, Skipped, differences};
use crate::outcome::Outcome;
use crate::record::seal::ShopKey;
use crate::record::{Archive, ArchiveError, Query, RecordState, RecordSummary, Sealing, StoredRecord};
use crate::report::{Paper, ReportInput, Shop};
use crate::verdict::Scope;
use anyhow::anyhow;
use std::path::Path;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Mutex, PoisonError};

/// Which records, and by what they are judged.
#[derive(Clone, Debug)]
pub struct Rejudge<'a> {
    /// Folder of the archive.
    pub archive: &'a Path,
    /// Names of records, or parts of them; empty = all.
    pub records: &'a [String],
    /// What they have in common.
    pub query: Query,
    /// Part sheet, by name or file; none = the shipped one whose topology the data show.
    pub sheet: Option<&'a str>,
    /// A file of good bodies among which throttle bodies are judged, instead of the shipped ones.
    pub population: Option<&'a Path>,
    /// Whether nothing is recorded.
    pub dry_run: bool,
    /// Cores to work on; none = all.
    pub cores: Option<u16>,
}

/// What came of it.
#[derive(Debug)]
pub struct JudgedAgain {
    /// Which records were judged, what differs, which were skipped.
    pub summary: Rejudged,
    /// Why an outcome could not be recorded.
    pub not_kept: Option<ArchiveError>,
}

/// What all workers share.
struct Work<'a> {
    archive: &'a Archive,
    shelf: &'a Shelf,
    population: Option<&'a Population>,
    key: Option<&'a ShopKey>,
    shop: Option<&'a Shop>,
    paper: Paper,
    dry_run: bool,
    clock: &'a dyn Clock,
    /// The archive takes one outcome at a time: workers wait here, not in the database.
    turn: Mutex<()>,
    /// Why a document could not be made.
    missing: Mutex<Vec<String>>,
}

/// Judges them again.
///
/// # Errors
/// [`Failure::Usage`] for an unknown record, sheet or archive.
pub fn rejudge(asked: &Rejudge<'_>, outside: &Outside<'_>) -> Result<JudgedAgain, Failure> {
    let shelf = Shelf::new(asked.sheet)?;
    let population = population::given(asked.population)?;
    let archive = Archive::open_to_read(asked.archive).map_err(|e| Failure::Usage(e.into()))?;
    let named = |record: &String| archive.record(record).map(|stored| stored.summary.record);
    let records: Vec<String> =
        asked.records.iter().map(named).collect::<Result<_, _>>().map_err(|e| Failure::Usage(e.into()))?;
    let found =
        archive.find(&Query { records, ..asked.query.clone() }).map_err(|e| Failure::Usage(e.into()))?;
    if found.is_empty() {
        return Err(Failure::Usage(anyhow!("No record of the archive fits: ask for less, or give --all")));
    }
    let key = if asked.dry_run {
        None
    } else {
        to_seal_with(&outside.workshop.key_file, &mut |warning| outside.warn(warning))
    };
    let work = Work {
        archive: &archive,
        shelf: &shelf,
        population: population.as_ref(),
        key: key.as_ref(),
        shop: outside.letterhead(),
        paper: outside.workshop.paper,
        dry_run: asked.dry_run,
        clock: outside.clock,
        turn: Mutex::new(()),
        missing: Mutex::default(),
    };
    let cores = std::thread::available_parallelism().map_or(1, usize::from);
    let workers = asked.cores.map_or(cores, usize::from).min(found.len());
    let stop = outside.stop;
    let done =
        on_all(&found, workers, |summary| if stop.is_cancelled() { None } else { Some(one(&work, summary)) });
    for why in work.missing.into_inner().unwrap_or_else(PoisonError::into_inner) {
        outside.warn(why);
    }
    Ok(summed(asked.dry_run, stop.is_cancelled(), &found, done))
}

/// Does `work` on every item, so many at a time; the answers in the order of the items. None: not begun.
fn on_all<T: Sync, R: Send>(
    items: &[T],
    workers: usize,
    work: impl Fn(&T) -> Option<R> + Sync,
) -> Vec<Option<R>> {
    let next = AtomicUsize::new(0);
    let worker = || {
        let mut own = Vec::new();
        while let Some((k, item)) =
            Some(next.fetch_add(1, Ordering::Relaxed)).and_then(|k| Some((k, items.get(k)?)))
        {
            own.push((k, work(item)));
        }
        own
    };
    let mut all: Vec<(usize, Option<R>)> = std::thread::scope(|scope| {
        let handles: Vec<_> = (0..workers.max(1)).map(|_| scope.spawn(worker)).collect();
        // A worker that panicked has printed its message; what the others did stands.
        handles.into_iter().filter_map(|h| h.join().ok()).flatten().collect()
    });
    all.sort_unstable_by_key(|(k, _)| *k);
    all.into_iter().map(|(_, answer)| answer).collect()
}

/// What became of one record.
enum Fate {
    Judged(Box<Difference>),
    Skipped(Skipped),
    /// The archive can't keep it.
    Failed(ArchiveError),
}

fn one(work: &Work<'_>, summary: &RecordSummary) -> Fate {
    let skipped =
        |why: String, damaged| Fate::Skipped(Skipped { record: summary.record.clone(), why, damaged });
    let record = match work.archive.record(&summary.record) {
        Ok(record) => record,
        Err(why) => return skipped(why.to_string(), true),
    };
    let before = match summary.state {
        RecordState::Unfinished => None,
        _ => match work.archive.outcome(&record, None) {
            Ok(outcome) => Some(outcome),
            Err(why) => return skipped(why.to_string(), true),
        },
    };
    let traces = match work.archive.traces(&record) {
        Ok(traces) => traces,
        Err(why) => return skipped(why.to_string(), true),
    };
    let mut recorded = Recorded::loose();
    for trace in traces {
        recorded.take(trace.trace, trace.file);
    }
    match again(work, recorded, before.as_ref()) {
        Err(why) => skipped(why, false),
        Ok((judged, sheet)) => keep(
            work,
            &record,
            &judged,
            &ReportInput { shop: work.shop, ..judged.report(sheet) },
            before.as_ref(),
        ),
    }
}

/// Analysis and verdict, about what the last outcome was about.
fn again<'s>(
    work: &'s Work<'_>,
    mut recorded: Recorded,
    before: Option<&Outcome>,
) -> Result<(Judged, &'s crate::sheet::PartSheet), String> {
    let scope = before.and_then(|o| o.scope.known()).unwrap_or_default();
    if scope == Scope::Readiness {
        return Err("it is a self-check: no limit of a sheet is looked at".to_owned());
    }
    if scope == Scope::Soak {
        return Err("it is a soak: its figures were made while it ran and stand in its log, and most traces were not kept".to_owned());
    }
    let mut question =
        Question::of_the_part(work.population.filter(|_| recorded.is_body()).cloned()).after(before);
    if scope != Scope::Part && !recorded.is_flex_alone() {
        let shown = before.and_then(|o| o.part.topology_found.as_ref()?.known());
        question = Question { scope: Some(scope), ..question }.where_lines_are(shown.into_iter().collect());
    }
    let said = |failure: Failure| format!("{:#}", failure.error());
    let (sheet, question) = recorded.choose_sheet(question, work.shelf).map_err(said)?;
    question.check_population(sheet).map_err(said)?;
    let judged =
        Judged::of(&recorded, &question, sheet, &work.clock.now()).ok_or("its traces hold no samples")?;
    match judged.outcome.part.topology_found.as_deref() {
        // A sheet for other parts says nothing of this one, as a sheet for another kind does not.
        Some(found) if work.shelf.is_given() && found != sheet.topology.name() => Err(format!(
            "its lines are those of a {found} pair, and the sheet {} is for a {} pair; give a sheet for that, or leave --sheet out",
            sheet.name,
            sheet.topology.name()
        )),
        _ => Ok((judged, sheet)),
    }
}

/// The new outcome beside the old ones.
fn keep(
    work: &Work<'_>,
    record: &StoredRecord,
    judged: &Judged,
    input: &ReportInput<'_>,
    before: Option<&Outcome>,
) -> Fate {
    let samples = record.traces.iter().map(|t| t.scans).sum();
    let difference = differences(&record.summary.record, before, &judged.outcome, samples);
    if work.dry_run {
        return Fate::Judged(Box::new(difference));
    }
    let _turn = work.turn.lock().unwrap_or_else(PoisonError::into_inner);
    let sealing = Sealing { key: work.key, date: &work.clock.now() };
    let filed = work.archive.reopen(record).conclude(&judged.outcome, sealing, |stamp| {
        let (documents, missing) = documents(&ReportInput { stamp, ..*input }, work.paper);
        work.missing.lock().unwrap_or_else(PoisonError::into_inner).extend(missing);
        documents
    });
    match filed {
        Ok(filed) => Fate::Judged(Box::new(Difference { number: Some(filed.number), ..difference })),
        Err(cause) => Fate::Failed(cause),
    }
}

fn summed(dry_run: bool, stopped: bool, found: &[RecordSummary], done: Vec<Option<Fate>>) -> JudgedAgain {
    let mut summary = Rejudged { records: found.len(), dry_run, stopped, ..Rejudged::default() };
    let mut not_kept = None;
    for fate in done.into_iter().flatten() {
        match fate {
            Fate::Judged(difference) => summary.judged.push(*difference),
            Fate::Skipped(skipped) => summary.skipped.push(skipped),
            Fate::Failed(cause) => not_kept = Some(cause),
        }
    }
    JudgedAgain { summary, not_kept }
}
