//! `rejudge`: the archive's records analysed and judged again, on all cores; each gets a new outcome beside its old ones, and what
//! differs is listed. A record at a time is in memory per core.

use super::clock::date;
use super::conclude::{Judged, Kept, documents};
use super::ending::Ending;
use super::options::archive::{Where, open};
use super::options::filter::Filter;
use super::sealing::to_seal_with;
use super::surroundings::Surroundings;
use super::terminal::say::{say, style};
use crate::analysis::body::population::Population;
use crate::compare::rejudged::{Difference, Rejudged, Skipped, differences};
use crate::job::Failure;
use crate::job::population;
use crate::job::sheets::Shelf;
use crate::outcome::Outcome;
use crate::record::seal::ShopKey;
use crate::record::{Archive, ArchiveError, RecordState, RecordSummary, Sealing, StoredRecord};
use crate::report::compare::{self as shown, terminal};
use crate::report::{Paper, ReportInput, Shop};
use crate::sheet::Topology;
use crate::verdict::Scope;
use anyhow::anyhow;
use clap::Args;
use std::path::PathBuf;
use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};

/// `rejudge`.
#[derive(Args, Debug)]
pub struct Rejudge {
    /// Names of records
    #[arg(value_name = "RECORD")]
    pub records: Vec<String>,
    /// Every record of the archive
    #[arg(long, conflicts_with = "records")]
    pub all: bool,
    /// Which records.
    #[command(flatten)]
    pub filter: Filter,
    /// Part sheet to judge by, by name or file; without it, the shipped sheet whose topology the data show
    #[arg(long, value_name = "NAME|FILE")]
    pub sheet: Option<String>,
    /// Good bodies among which throttle bodies are judged (`population learn`), instead of the shipped ones
    #[arg(long, value_name = "FILE")]
    pub population: Option<PathBuf>,
    /// Say what would differ, and keep nothing
    #[arg(long)]
    pub dry_run: bool,
    /// Cores to work on, instead of all
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=1024))]
    pub jobs: Option<u16>,
    /// Which archive.
    #[command(flatten)]
    pub place: Where,
    /// Print what differs as JSON on stdout
    #[arg(long)]
    pub json: bool,
}

/// What all workers share.
struct Work<'a> {
    archive: &'a Archive,
    shelf: &'a Shelf,
    among: Option<&'a Population>,
    key: Option<&'a ShopKey>,
    shop: Option<&'a Shop>,
    paper: Paper,
    dry_run: bool,
    /// The archive takes one outcome at a time: workers wait here, not in the database.
    turn: Mutex<()>,
}

/// Carries out `rejudge`.
///
/// # Errors
/// [`Failure::Usage`] for an unknown record, sheet or archive; [`Failure::Other`] when an outcome can't be kept.
pub fn rejudge(args: &Rejudge, surroundings: &Surroundings<'_>) -> Result<Ending, Failure> {
    if !args.all && args.records.is_empty() && args.filter.is_empty() {
        return Err(Failure::Usage(anyhow!(
            "which records? Name them (RECORD …), or give --all, or what they have in common (`trackpair rejudge --help`)"
        )));
    }
    args.filter.check()?;
    let shelf = Shelf::new(args.sheet.as_deref())?;
    let among = population::given(args.population.as_deref())?;
    let archive = open(args.place.archive.as_deref(), surroundings)?;
    let named = |record: &String| archive.record(record).map(|stored| stored.summary.record);
    let records: Vec<String> =
        args.records.iter().map(named).collect::<Result<_, _>>().map_err(|e| Failure::Usage(e.into()))?;
    let found = archive.find(&args.filter.query(&records)).map_err(|e| Failure::Usage(e.into()))?;
    if found.is_empty() {
        return Err(Failure::Usage(anyhow!("the archive has no such record: ask for less, or for --all")));
    }
    let key = if args.dry_run { None } else { to_seal_with(surroundings) };
    let shop = surroundings.shop();
    let work = Work {
        archive: &archive,
        shelf: &shelf,
        among: among.as_ref(),
        key: key.as_ref(),
        shop: shop.as_ref(),
        paper: surroundings.paper(),
        dry_run: args.dry_run,
        turn: Mutex::new(()),
    };
    let cores = std::thread::available_parallelism().map_or(1, usize::from);
    let workers = args.jobs.map_or(cores, usize::from).min(found.len());
    let done = on_all(&found, workers, |summary| {
        if surroundings.stop.is_cancelled() { None } else { Some(one(&work, summary)) }
    });
    conclude(args, surroundings, &found, done)
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
        // A worker that panicked has said so; what the others did stands.
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
    let mut kept = Kept::loose();
    for trace in traces {
        kept.take(trace.trace, trace.file);
    }
    match again(work, kept, before.as_ref()) {
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
    mut kept: Kept,
    before: Option<&Outcome>,
) -> Result<(Judged, &'s crate::sheet::PartSheet), String> {
    let scope = before.and_then(|o| Scope::from_name(&o.scope)).unwrap_or_default();
    if scope == Scope::Readiness {
        return Err("it is a self-check: no limit of a sheet is looked at".to_owned());
    }
    if scope == Scope::Soak {
        return Err("it is a soak: its figures were made while it ran and stand in its log, and most traces were not kept".to_owned());
    }
    if scope != Scope::Part && !kept.is_flex_alone() {
        let known = [Topology::Complementary, Topology::HalfSlope, Topology::ParallelOffset];
        let shown = before.and_then(|o| o.part.topology_found.as_deref());
        kept.judge_only(scope, known.into_iter().filter(|t| Some(t.name()) == shown).collect());
    }
    let said = |failure: Failure| format!("{:#}", failure.error());
    let sheet = kept.choose_sheet(work.shelf).map_err(said)?;
    if let Some(before) = before {
        kept.recall(before);
    }
    kept.judge_among(work.among.filter(|_| kept.is_body()).cloned());
    kept.check_population(sheet).map_err(said)?;
    let judged = Judged::of(&kept, sheet).ok_or("its traces hold no samples")?;
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
    let _turn = work.turn.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
    let sealing = Sealing { key: work.key, date: &date() };
    let kept = work
        .archive
        .reopen(record)
        .conclude(&judged.outcome, sealing, |stamp| documents(&ReportInput { stamp, ..*input }, work.paper));
    match kept {
        Ok(kept) => Fate::Judged(Box::new(Difference { number: Some(kept.number), ..difference })),
        Err(cause) => Fate::Failed(cause),
    }
}

/// Sums up, prints, and tells how it ended.
fn conclude(
    args: &Rejudge,
    surroundings: &Surroundings<'_>,
    found: &[RecordSummary],
    done: Vec<Option<Fate>>,
) -> Result<Ending, Failure> {
    let mut summary = Rejudged { records: found.len(), dry_run: args.dry_run, ..Rejudged::default() };
    let mut failed = None;
    for fate in done.into_iter().flatten() {
        match fate {
            Fate::Judged(difference) => summary.judged.push(*difference),
            Fate::Skipped(skipped) => summary.skipped.push(skipped),
            Fate::Failed(cause) => failed = Some(cause),
        }
    }
    summary.stopped = surroundings.stop.is_cancelled();
    say(&terminal(&shown::rejudged(&summary), style(surroundings)), &summary.document(), args.json);
    if let Some(cause) = failed {
        return Err(Failure::Other(cause.into()));
    }
    Ok(if summary.skipped.iter().any(|s| s.damaged) {
        Ending::NotAsKept
    } else if summary.stopped {
        Ending::RigFaultOrAborted
    } else {
        Ending::Done
    })
}
