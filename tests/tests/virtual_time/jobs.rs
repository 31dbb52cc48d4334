//! Jobs as another program than the command line starts them: a plan in, events and a conclusion out. Nothing of it needs a terminal, and the
//! clock is the one that is given.

use super::bench_session::Shared;
use std::cell::{Cell, RefCell};
use std::path::Path;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::Duration;
use tempfile::tempdir;
use tokio_util::sync::CancellationToken;
use trackpair::job::body::one_procedure;
use trackpair::job::flex::{Watch, watch};
use trackpair::job::judge::{Judge, judge};
use trackpair::job::qualify::{Qualify, qualify};
use trackpair::job::soak::{Soak, soak};
use trackpair::job::watched::Seconds;
use trackpair::job::{
    Answer, Clock, Concluded, Event, Failure, Mounted, OpenSimulator, Outside, Question, Workshop,
};
use trackpair::procedure::Typed;
use trackpair::quantity::ProcedureKind;
use trackpair::report::Paper;
use trackpair::verdict::Verdict;
use trackpair_tests::bench::link;

/// What the given clock says.
const NOW: &str = "2026-01-02T03:04:05+00:00";

/// A clock on which time passes when it is waited for, and no other.
#[derive(Default)]
struct Still(AtomicU64);

impl Clock for Still {
    fn now(&self) -> String {
        NOW.to_owned()
    }

    fn passed(&self) -> Duration {
        Duration::from_millis(self.0.load(Ordering::Relaxed))
    }

    fn wait(&self, time: Duration, stop: &CancellationToken) -> bool {
        self.0.fetch_add(time.as_millis() as u64, Ordering::Relaxed);
        !stop.is_cancelled()
    }
}

/// Does a job in a workshop whose key and locks lie in a folder; `hear` hears of every event.
fn work(
    folder: &Path,
    open_simulator: OpenSimulator<'_>,
    stop: &CancellationToken,
    hear: &dyn Fn(Event),
    answer: Answer,
    job: impl FnOnce(&Outside<'_>) -> Result<Concluded, Failure>,
) -> Result<Concluded, Failure> {
    let workshop = Workshop {
        shop: None,
        paper: Paper::A4,
        key_file: Ok(folder.join("shop.key")),
        lead_fitted: None,
        locks: Some(folder.join("locks")),
    };
    let ask = |Question::CautionsRead: Question| answer;
    let (clock, ask) = (Still::default(), &ask);
    job(&Outside { open_simulator, stop, clock: &clock, workshop: &workshop, tell: hear, ask })
}

/// The same on a simulated part, nobody to ask; its events too.
fn heard(
    folder: &Path,
    job: impl FnOnce(&Outside<'_>) -> Result<Concluded, Failure>,
) -> (Result<Concluded, Failure>, Vec<Event>) {
    let events = RefCell::new(Vec::new());
    let stop = CancellationToken::new();
    let hear = |event| events.borrow_mut().push(event);
    let done = work(folder, &|part| Ok(link(part)), &stop, &hear, Answer::Nobody, job);
    (done, events.into_inner())
}

fn mounted<'a>(rig: &'a str, archive: &'a Path) -> Mounted<'a> {
    Mounted {
        rig,
        sheet: None,
        part: "an invented part",
        case: None,
        still_plugged: false,
        archive: Some(archive),
    }
}

fn whole_plan(mounted: Mounted<'_>) -> Qualify<'_> {
    Qualify {
        mounted,
        cycles: None,
        speed: None,
        rate: None,
        settle: None,
        leads: true,
        cautions_read: false,
        population: None,
    }
}

/// The procedures whose traces were reported as kept, in order.
fn kept(events: &[Event]) -> Vec<ProcedureKind> {
    let kept = events.iter().filter_map(|e| match e {
        Event::Kept { procedure, .. } => Some(*procedure),
        _ => None,
    });
    kept.collect()
}

/// That a procedure's progress never goes back and reaches more than half of it.
#[track_caller]
fn check_progress(events: &[Event], procedure: ProcedureKind) {
    let told = events.iter().filter_map(|e| match e {
        Event::Progress(p) if p.procedure == procedure => Some(p.done_fraction),
        _ => None,
    });
    let told: Vec<f64> = told.collect();
    assert!(told.len() > 2, "{procedure:?}: {told:?}");
    assert!(told.windows(2).all(|w| w[0] <= w[1]), "{procedure:?}: {told:?}");
    assert!(told.last().is_some_and(|last| *last > 0.5), "{procedure:?}: {told:?}");
}

#[test]
fn a_good_grip_is_qualified_and_everything_is_told_as_it_comes() {
    use ProcedureKind::{LeadsCheck, Release, SelfCheck, Sweep};
    let folder = tempdir().unwrap();
    let archive = folder.path().join("archive");
    let plan = whole_plan(mounted("sim:good-grip?seed=5", &archive));
    let (done, events) = heard(folder.path(), |outside| qualify(&plan, outside));
    let concluded = done.unwrap_or_else(|e| panic!("{:#}", e.error()));

    assert_eq!(concluded.outcome().verdict, Verdict::Within);
    assert_eq!(concluded.outcome().recorded, NOW, "the given clock dates it");
    assert!(concluded.whole && concluded.failures.is_empty() && concluded.not_stored.is_none());
    assert!(matches!(concluded.filed, Ok(None)), "it belongs to no case");
    let record = concluded.record.as_deref().expect("it is kept");
    assert!(record.starts_with(&archive) && record.join("outcome.json").is_file());
    assert_eq!(concluded.report.as_deref(), Some(record.join("report.html").as_path()));

    assert!(matches!(&events[0], Event::RecordBegun(begun) if begun == record), "{:?}", events[0]);
    let at = |wanted: fn(&Event) -> bool| events.iter().position(wanted).expect("it is told");
    let begun = at(|e| matches!(e, Event::SessionBegun));
    let ended = at(|e| matches!(e, Event::SessionEnded));
    let of_session = |e: &Event| matches!(e, Event::Progress(_) | Event::Kept { .. });
    assert!(events.iter().enumerate().all(|(k, e)| !of_session(e) || (begun..ended).contains(&k)));
    assert_eq!(kept(&events), [SelfCheck, Sweep, Release, LeadsCheck]);
    for procedure in [SelfCheck, Sweep, LeadsCheck] {
        check_progress(&events, procedure);
    }
    // Only that the key was made is to be warned of.
    let warned = events.iter().filter(|e| matches!(e, Event::Warned(_))).count();
    assert_eq!(warned, 1, "{events:?}");
}

#[test]
fn a_job_that_is_called_off_ends_with_the_rig_unpowered_and_keeps_what_was_recorded() {
    let folder = tempdir().unwrap();
    let archive = folder.path().join("archive");
    let plan = whole_plan(mounted("sim:good-grip", &archive));
    let (rig, stop) = (Shared::with("good-grip?seed=5"), CancellationToken::new());
    let powered = Cell::new(false);
    let hear = |event| {
        if let Event::Progress(p) = event
            && p.procedure == ProcedureKind::Sweep
            && p.done_fraction > 0.4
        {
            powered.set(powered.get() || rig.supply_volts() > 4.5);
            stop.cancel();
        }
    };
    let open = |_: &str| Ok(Box::new(rig.clone()) as Box<_>);
    let done = work(folder.path(), &open, &stop, &hear, Answer::Nobody, |outside| qualify(&plan, outside));
    let concluded = done.unwrap_or_else(|e| panic!("{:#}", e.error()));
    assert!(powered.get(), "it was at work when it was called off");
    rig.leave_alone(50_000);
    assert!(rig.supply_volts() < 0.5 && !rig.0.borrow().board().drive_is_on());
    assert!(!concluded.whole && concluded.outcome().aborted);
    assert!(concluded.failures.iter().any(|why| why.contains("stopped")), "{:?}", concluded.failures);
    assert!(concluded.record.is_some_and(|record| record.join("outcome.json").is_file()));
}

#[test]
fn a_throttle_body_on_a_real_rig_is_not_driven_before_the_cautions_are_answered() {
    let folder = tempdir().unwrap();
    let archive = folder.path().join("archive");
    let rig = "sim:good-body";
    let shown = |events: &[Event]| {
        events.iter().filter(|e| matches!(e, Event::Cautions { nothing_moves: true })).count()
    };
    let (done, events) = heard(folder.path(), |outside| {
        one_procedure(ProcedureKind::Rest, mounted(rig, &archive), false, outside)
    });
    assert!(done.is_ok(), "nothing can move: nobody is asked");
    assert_eq!((shown(&events), kept(&events).first()), (1, Some(&ProcedureKind::Rest)));

    for (answer, words) in [(Answer::Nobody, "not accepted"), (Answer::No, "was not yes")] {
        let stop = CancellationToken::new();
        let refused = work(folder.path(), &|part| Ok(link(part)), &stop, &|_| {}, answer, |outside| {
            let missing = trackpair::job::cautions::Consent::of("serial:/dev/ttyACM0", false);
            trackpair::job::cautions::show(missing, outside)?;
            qualify(&whole_plan(mounted(rig, &archive)), outside)
        });
        assert!(
            matches!(&refused, Err(Failure::Usage(why)) if why.to_string().contains(words)),
            "{answer:?}"
        );
    }
}

#[test]
fn lost_contact_is_told_as_it_comes_and_a_round_of_a_soak_as_it_is_kept() {
    let folder = tempdir().unwrap();
    let archive = folder.path().join("archive");
    let asked = Watch {
        mounted: mounted("sim:cracked-wire-grip?seed=1&operator=flex", &archive),
        seconds: Seconds::new(20.0).unwrap(),
        at: None,
        sweep: true,
        places: None,
        keys: &|| Typed::Nothing,
    };
    let (done, events) = heard(folder.path(), |outside| watch(&asked, outside));
    assert_eq!(done.map(|c| c.outcome().verdict).ok(), Some(Verdict::Outside));
    let watching = events.iter().position(|e| matches!(e, Event::Watching)).expect("it is told");
    assert!(events[watching..].iter().any(|e| matches!(e, Event::Cue(_))), "no cue");

    let plan = Soak {
        mounted: mounted("sim:good-grip?seed=3", &archive),
        hours: 0.05,
        every_s: 60.0,
        cycles: None,
        disk: 500_000_000,
        patience_s: 60.0,
        resume: None,
        conclude: false,
        new: false,
        cautions_read: false,
    };
    let (done, events) = heard(folder.path(), |outside| soak(&plan, outside));
    let rounds = events.iter().filter_map(|e| match e {
        Event::Round(round) => Some((round.number, round.planned)),
        _ => None,
    });
    assert_eq!(rounds.collect::<Vec<_>>(), [(1, 3), (2, 3), (3, 3)]);
    assert!(done.is_ok_and(|c| c.outcome().soak.is_some() && c.record.is_some()));
}

#[test]
fn a_kept_trace_is_judged_again_without_a_record() {
    let folder = tempdir().unwrap();
    let archive = folder.path().join("archive");
    let plan = whole_plan(mounted("sim:good-grip?seed=5", &archive));
    let (done, _) = heard(folder.path(), |outside| qualify(&plan, outside));
    let record = done.ok().and_then(|c| c.record).expect("it is kept");
    let asked = Judge {
        path: &record,
        sheet: None,
        map: None,
        supply: None,
        rate: None,
        time_unit: None,
        population: None,
        part: None,
        keep_in: None,
    };
    let (done, events) = heard(folder.path(), |outside| judge(asked, outside));
    let concluded = done.unwrap_or_else(|e| panic!("{:#}", e.error()));
    assert_eq!(concluded.outcome().verdict, Verdict::Within);
    assert!(concluded.record.is_none() && concluded.page().starts_with(b"<!DOCTYPE html>"));
    assert!(kept(&events).is_empty(), "{events:?}");
}
