//! Sessions that something interrupts: a whole bench in one process on virtual time, whose rig or line is cut at a given moment, and the
//! judgement of what is left as the program makes it.

use crate::body_bench::run_body_plan_until;
use std::cell::RefCell;
use std::rc::Rc;
use std::time::Duration;
use tokio_util::sync::CancellationToken;
use trackpair::analysis::PartAnalysis;
use trackpair::analysis::body::{self, BodyTraces};
use trackpair::analysis::grip::{self, GripTraces};
use trackpair::link::{Link, LinkError};
use trackpair::procedure::{Bench, ProcedureError, Recording, Setup};
use trackpair::quantity::{PartKind, ProcedureKind};
use trackpair::session::{Options, Session};
use trackpair::sheet::PartSheet;
use trackpair::trace::Trace;
use trackpair::verdict::{Judgement, judge, not_done};
use trackpair_rig_sim::{SimRig, part_address};

/// What interrupts a session.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Cut {
    /// Somebody presses the E-stop.
    EmergencyStop,
    /// A guard: the lid is opened.
    Lid,
    /// Ctrl-C at the computer.
    CtrlC,
    /// The cable is pulled.
    LostLink,
    /// The rig's sensor supply sags to 3 V and stays there.
    Sag,
}

impl Cut {
    /// The four ways in which a session ends, and the supply that gives way.
    pub const ALL: [Self; 5] = [Self::EmergencyStop, Self::Lid, Self::CtrlC, Self::LostLink, Self::Sag];
}

/// A simulated rig that is cut at a moment of its own clock.
struct CutLink {
    rig: Rc<RefCell<SimRig>>,
    cut: Cut,
    at_us: u64,
    stop: CancellationToken,
}

impl CutLink {
    /// Does what is due; whether the line still carries.
    fn apply(&mut self) -> Result<(), LinkError> {
        let mut rig = self.rig.borrow_mut();
        if rig.now_us() < self.at_us {
            return Ok(());
        }
        match self.cut {
            Cut::EmergencyStop => rig.board_mut().set_emergency_stop(true),
            Cut::Lid => rig.board_mut().set_lid_open(true),
            Cut::CtrlC => self.stop.cancel(),
            Cut::Sag => rig.board_mut().set_supply_fault(Some(3.0)),
            Cut::LostLink => {
                return Err(LinkError::Lost {
                    address: "sim:cut".into(),
                    cause: "the cable was pulled".into(),
                });
            }
        }
        Ok(())
    }
}

impl Link for CutLink {
    fn write(&mut self, bytes: &[u8]) -> Result<(), LinkError> {
        self.apply()?;
        self.rig.borrow_mut().write(bytes);
        Ok(())
    }

    fn read(&mut self, out: &mut [u8], timeout: Duration) -> Result<usize, LinkError> {
        self.apply()?;
        // Never far beyond the moment of the cut.
        let timeout = timeout.min(Duration::from_millis(5));
        Ok(self.rig.borrow_mut().read(out, timeout.as_micros() as u64))
    }

    fn now(&self) -> Duration {
        Duration::from_micros(self.rig.borrow().now_us())
    }

    fn address(&self) -> &'static str {
        "sim:cut"
    }
}

/// Runs a grip's plan, as `qualify` does, until it is cut at a moment of the rig's clock.
///
/// # Panics
/// When there is no such part, or no session can be opened.
pub fn grip(part: &str, sheet: &PartSheet, cut: Cut, at_us: u64) -> Vec<Trace> {
    let stop = CancellationToken::new();
    let rig = part_address(part).unwrap_or_else(|e| panic!("{e}")).rig();
    let link = CutLink { rig: Rc::new(RefCell::new(rig)), cut, at_us, stop: stop.clone() };
    let session = Session::open(Box::new(link), Options::default()).unwrap_or_else(|e| panic!("{e}"));
    run_grip(session, sheet, &stop).0
}

/// Runs a grip's plan, as `qualify` does; what was recorded, and why it ended where it did.
pub fn run_grip(
    session: Session,
    sheet: &PartSheet,
    stop: &CancellationToken,
) -> (Vec<Trace>, Vec<ProcedureError>) {
    let mut silent = |_| {};
    let setup = Setup {
        sheet,
        part: "invented part".to_owned(),
        started: "2026-01-01T00:00:00+00:00".to_owned(),
        stop,
        progress: &mut silent,
    };
    let mut bench = Bench::new(session, setup);
    bench.plan(vec![ProcedureKind::SelfCheck, ProcedureKind::Sweep, ProcedureKind::LeadsCheck]);
    let (mut traces, mut failures) = (Vec::new(), Vec::new());
    let mut keep = |recording: Recording| {
        let go_on = recording.failure.is_none();
        traces.extend(recording.trace);
        failures.extend(recording.failure);
        go_on
    };
    let check = bench.self_check();
    let moved = check.moved;
    let _ = keep(check.recording) && moved && keep(bench.sweep()) && keep(bench.leads_check());
    // The rig may be gone: then nobody confirms.
    let _ = bench.finish();
    (traces, failures)
}

/// Runs a body's plan until it is cut.
///
/// # Panics
/// As [`grip()`].
pub fn throttle_body(part: &str, sheet: &PartSheet, cut: Cut, at_us: u64) -> Vec<Trace> {
    let rig = part_address(part).unwrap_or_else(|e| panic!("{e}")).rig();
    let stop = CancellationToken::new();
    let link = CutLink { rig: Rc::new(RefCell::new(rig)), cut, at_us, stop: stop.clone() };
    run_body_plan_until(Box::new(link), sheet, &stop).traces
}

/// What the traces show, and what can be said of them, as the program does both; none without a scan.
pub fn judged(traces: &[Trace], sheet: &PartSheet) -> Option<(PartAnalysis, Judgement)> {
    let all: Vec<&Trace> = traces.iter().collect();
    let last = |kind| traces.iter().rev().find(|t| t.provenance.procedure == kind && !t.is_empty());
    let analysis = if sheet.kind == PartKind::Body {
        traces.iter().find(|t| !t.is_empty())?;
        body::analyse(BodyTraces::sorted(traces), sheet)
    } else {
        let sweep = last(ProcedureKind::Sweep)
            .or_else(|| last(ProcedureKind::SelfCheck))
            .or_else(|| last(ProcedureKind::LeadsCheck))?;
        grip::analyse(GripTraces { sweep, leads: last(ProcedureKind::LeadsCheck), flex: None }, sheet)
    };
    let judgement = judge(&analysis, sheet).lacking(&not_done(&all, false)).heed(&all);
    Some((analysis, judgement))
}
