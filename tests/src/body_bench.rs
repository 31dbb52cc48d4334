//! A throttle body's whole plan in one process on virtual time, as the program runs it.

use tokio_util::sync::CancellationToken;
use trackpair::analysis::PartAnalysis;
use trackpair::analysis::body::{BodyTraces, analyse};
use trackpair::link::Link;
use trackpair::procedure::{Bench, HandEnd, Recording, Setup};
use trackpair::quantity::ProcedureKind;
use trackpair::session::{Options, Session};
use trackpair::sheet::PartSheet;
use trackpair::trace::Trace;
use trackpair::verdict::{Judgement, Scope, judge, judge_scope};

/// The plan, in order.
const PLAN: [ProcedureKind; 9] = [
    ProcedureKind::Rest,
    ProcedureKind::Creep,
    ProcedureKind::Step,
    ProcedureKind::Release,
    ProcedureKind::Lash,
    ProcedureKind::ToothMap,
    ProcedureKind::BlipBefore,
    ProcedureKind::Blip,
    ProcedureKind::BlipAfter,
];

/// What one body gave.
#[derive(Debug, Default)]
pub struct BodyRun {
    /// Every trace in the order of recording.
    pub traces: Vec<Trace>,
    /// Why the plan was cut short, if it was.
    pub failure: Option<String>,
    /// Whether the plate moved between its stops.
    pub moved: bool,
}

impl BodyRun {
    /// Analysis and judgement, as the program makes them.
    pub fn judge(&self, sheet: &PartSheet) -> (PartAnalysis, Judgement) {
        let analysis = analyse(BodyTraces::sorted(&self.traces), sheet);
        let judgement = judge(&analysis, sheet).heed(&self.traces.iter().collect::<Vec<_>>());
        (analysis, judgement)
    }

    /// The same for what one procedure, or the leads check, shows.
    pub fn judge_only(&self, sheet: &PartSheet, scope: Scope) -> (PartAnalysis, Judgement) {
        let analysis = analyse(BodyTraces::sorted(&self.traces), sheet);
        let judgement =
            judge_scope(&analysis, sheet, scope, &[]).heed(&self.traces.iter().collect::<Vec<_>>());
        (analysis, judgement)
    }

    /// Keeps a recording; whether the plan may go on.
    fn keep(&mut self, recording: Recording) -> bool {
        // As the program: what the part stopped is kept, and the plan goes on.
        self.failure = recording.failure.filter(|f| !f.is_the_parts()).map(|f| f.to_string());
        self.traces.extend(recording.before.into_iter().chain(recording.trace));
        self.failure.is_none()
    }
}

/// Runs the plan over any link.
///
/// # Panics
/// When no session can be opened.
pub fn run_body_plan(link: Box<dyn Link>, sheet: &PartSheet) -> BodyRun {
    run_body_plan_until(link, sheet, &CancellationToken::new())
}

/// The same until `stop` is set.
///
/// # Panics
/// As [`run_body_plan`].
pub fn run_body_plan_until(link: Box<dyn Link>, sheet: &PartSheet, stop: &CancellationToken) -> BodyRun {
    on_bench(link, sheet, stop, |bench, run| {
        let _ = (!bench.can_check_leads() || run.keep(bench.leads_check()))
            && run.keep(bench.creep())
            && run.keep(bench.steps())
            && run.keep(bench.release())
            && run.keep(bench.lash())
            && run.keep(bench.tooth_map())
            && run.keep(bench.check_before_blips())
            && run.keep(bench.blips())
            && run.keep(bench.check_after_blips());
    })
}

/// Rest and stops, then the procedures of a body that are named, in that order.
///
/// # Panics
/// As [`run_body_plan`]; when one is no driven procedure of a body.
pub fn run_procedures(link: Box<dyn Link>, sheet: &PartSheet, procedures: &[ProcedureKind]) -> BodyRun {
    on_bench(link, sheet, &CancellationToken::new(), |bench, run| {
        bench.plan(procedures.to_vec());
        for procedure in procedures {
            let recording = match procedure {
                ProcedureKind::LeadsCheck => bench.leads_check(),
                ProcedureKind::Creep => bench.creep(),
                ProcedureKind::Step => bench.steps(),
                ProcedureKind::Release => bench.release(),
                ProcedureKind::Lash => bench.lash(),
                ProcedureKind::ToothMap => bench.tooth_map(),
                ProcedureKind::BlipBefore => bench.check_before_blips(),
                ProcedureKind::Blip => bench.blips(),
                ProcedureKind::BlipAfter => bench.check_after_blips(),
                other => panic!("{} is no driven procedure of a body", other.name()),
            };
            if !run.keep(recording) {
                return;
            }
        }
    })
}

/// Rest and stops, then the coasts, then the plate pushed for a time on the rig's clock.
///
/// # Panics
/// As [`run_body_plan`].
pub fn run_guided_push(link: Box<dyn Link>, sheet: &PartSheet, seconds: f64) -> BodyRun {
    on_bench(link, sheet, &CancellationToken::new(), |bench, run| {
        bench.plan(Vec::new());
        let end = HandEnd { after_us: Some((seconds * 1e6) as u64), keys: None };
        let _ = run.keep(bench.creep()) && run.keep(bench.guided_push(end));
    })
}

fn on_bench(
    link: Box<dyn Link>,
    sheet: &PartSheet,
    stop: &CancellationToken,
    work: impl FnOnce(&mut Bench<'_>, &mut BodyRun),
) -> BodyRun {
    let session = Session::open(link, Options::default()).unwrap_or_else(|e| panic!("{e}"));
    let mut silent = |_| {};
    let setup = Setup {
        sheet,
        part: "invented part".to_owned(),
        started: "2026-01-01T00:00:00+00:00".to_owned(),
        stop,
        progress: &mut silent,
    };
    let mut bench = Bench::new(session, setup);
    let mut run = BodyRun::default();
    let leads = bench.can_check_leads().then_some(ProcedureKind::LeadsCheck);
    bench.plan(PLAN[..1].iter().copied().chain(leads).chain(PLAN[1..].iter().copied()).collect());
    let found = bench.rest_and_stops();
    run.moved = found.plate.is_some();
    if found.recordings.into_iter().fold(true, |_, recording| run.keep(recording)) && run.moved {
        work(&mut bench, &mut run);
    }
    let confirmed = bench.finish();
    // A rig that was lost confirms nothing.
    assert!(confirmed.is_ok() || run.failure.is_some(), "the rig did not confirm that it is unpowered");
    run
}
