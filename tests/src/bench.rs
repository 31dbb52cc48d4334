//! A whole bench in one process on virtual time: host, real protocol bytes, rig core, simulated part.

use tokio_util::sync::CancellationToken;
use trackpair::analysis::PartAnalysis;
use trackpair::analysis::grip::{GripTraces, analyse};
use trackpair::analysis::self_closing;
use trackpair::link::Link;
use trackpair::procedure::{Bench, Setup};
use trackpair::session::{Options, Session};
use trackpair::sheet::PartSheet;
use trackpair::trace::Trace;
use trackpair::verdict::{Judgement, judge};

/// What one part gave.
#[derive(Debug)]
pub struct Run {
    /// The self-check's trace.
    pub self_check: Option<Trace>,
    /// The sweep's trace.
    pub sweep: Option<Trace>,
    /// The release's trace.
    pub release: Option<Trace>,
    /// The leads check's trace.
    pub leads: Option<Trace>,
    /// Why the plan was cut short, if it was.
    pub failure: Option<String>,
    /// Whether the reference moved in the self-check.
    pub moved: bool,
}

impl Run {
    /// Analysis and judgement, as the program makes them.
    ///
    /// # Panics
    /// When nothing was recorded at all.
    pub fn judge(&self, sheet: &PartSheet) -> (PartAnalysis, Judgement) {
        let sweep = self.sweep.as_ref().or(self.self_check.as_ref()).expect("something was recorded");
        let mut analysis = analyse(GripTraces { sweep, leads: self.leads.as_ref(), flex: None }, sheet);
        self_closing::tell(self.release.as_ref(), sweep.provenance.procedure, &mut analysis);
        let judgement = judge(&analysis, sheet);
        (analysis, judgement)
    }
}

/// The link of a simulated rig, by what stands behind `sim:`.
///
/// # Panics
/// When there is no such part.
pub fn link(part: &str) -> Box<dyn Link> {
    crate::sim_link::open(part).unwrap_or_else(|e| panic!("{e}"))
}

/// Runs what is asked of a bench over any link, and ends unpowered.
///
/// # Panics
/// When no session can be opened, or the rig does not confirm that it is unpowered.
pub fn with_bench<R>(link: Box<dyn Link>, sheet: &PartSheet, run: impl FnOnce(&mut Bench<'_>) -> R) -> R {
    let session = Session::open(link, Options::default()).unwrap_or_else(|e| panic!("{e}"));
    let stop = CancellationToken::new();
    let mut silent = |_| {};
    let setup = Setup {
        sheet,
        part: "invented part".to_owned(),
        started: "2026-01-01T00:00:00+00:00".to_owned(),
        stop: &stop,
        progress: &mut silent,
    };
    let mut bench = Bench::new(session, setup);
    let done = run(&mut bench);
    bench.finish().unwrap_or_else(|e| panic!("the rig did not confirm that it is unpowered: {e}"));
    done
}

/// Runs self-check, sweep, release and leads check over any link.
///
/// # Panics
/// When no session can be opened.
pub fn run_plan(link: Box<dyn Link>, sheet: &PartSheet) -> Run {
    with_bench(link, sheet, plan)
}

fn plan(bench: &mut Bench<'_>) -> Run {
    let check = bench.self_check();
    let mut run = Run {
        self_check: check.recording.trace,
        sweep: None,
        release: None,
        leads: None,
        failure: check.recording.failure.map(|f| f.to_string()),
        moved: check.moved,
    };
    if run.failure.is_none() && run.moved {
        let sweep = bench.sweep();
        run.failure = sweep.failure.map(|f| f.to_string());
        run.sweep = sweep.trace;
        if run.failure.is_none() {
            let release = bench.grip_release();
            run.failure = release.failure.map(|f| f.to_string());
            run.release = release.trace;
        }
        if run.failure.is_none() {
            let leads = bench.leads_check();
            run.failure = leads.failure.map(|f| f.to_string());
            run.leads = leads.trace;
        }
    }
    run
}
