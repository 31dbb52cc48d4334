//! What the rig does in a round, and whether the part moved. It keeps nothing and judges nothing.

use crate::analysis::rounds::{body_moved, grip_moved};
use crate::procedure::{Bench, ProcedureError, Recording};
use crate::sheet::PartSheet;
use crate::trace::Trace;

/// What a round came to.
#[derive(Debug)]
pub enum Try {
    /// It was done.
    Done(Vec<Trace>),
    /// The part did not move, or a guard of its motor tripped: the recordings, and why.
    Still(Vec<Trace>, String),
    /// The rig went away.
    Away(String),
    /// The user stops it.
    Stopped,
    /// Something else of the rig.
    Fault(String),
}

/// One round of a grip: a sweep; of a body: rest, stops and a creep.
pub fn round(bench: &mut Bench<'_>, sheet: &PartSheet) -> Try {
    if bench.drives_body() { body(bench, sheet) } else { grip(bench, sheet) }
}

/// Whether it moves after all: gently, once.
pub fn moves(bench: &mut Bench<'_>, sheet: &PartSheet) -> Try {
    if bench.drives_body() {
        return match rest(bench) {
            Ok(rest) if body_moved(&rest, sheet) => Try::Done(vec![rest]),
            Ok(rest) => still(vec![rest]),
            Err(ended) => ended,
        };
    }
    let check = bench.self_check();
    match taken(check.recording) {
        Ok(trace) if check.moved => Try::Done(vec![trace]),
        Ok(trace) => still(vec![trace]),
        Err(ended) => ended,
    }
}

fn grip(bench: &mut Bench<'_>, sheet: &PartSheet) -> Try {
    let travel = bench.stops().map_or(sheet.travel_deg, |s| s.open_deg - s.closed_deg);
    match taken(bench.sweep()) {
        Ok(sweep) if grip_moved(&sweep, travel) => Try::Done(vec![sweep]),
        Ok(sweep) => still(vec![sweep]),
        Err(ended) => ended,
    }
}

fn body(bench: &mut Bench<'_>, sheet: &PartSheet) -> Try {
    let rest = match rest(bench) {
        Ok(rest) => rest,
        Err(ended) => return ended,
    };
    if !body_moved(&rest, sheet) {
        return still(vec![rest]);
    }
    match taken(bench.creep()) {
        Ok(creep) if body_moved(&creep, sheet) => Try::Done(vec![rest, creep]),
        Ok(creep) => still(vec![rest, creep]),
        Err(Try::Still(traces, why)) => Try::Still([vec![rest], traces].concat(), why),
        Err(ended) => ended,
    }
}

/// The last recording of rest and stops, or how it ended.
fn rest(bench: &mut Bench<'_>) -> Result<Trace, Try> {
    taken(bench.rest_and_stops().recordings.pop().unwrap_or_default())
}

fn still(traces: Vec<Trace>) -> Try {
    Try::Still(traces, "it did not go through half of its travel while it was driven".to_owned())
}

/// A whole recording, or how it ended.
fn taken(recording: Recording) -> Result<Trace, Try> {
    let Recording { trace, failure, .. } = recording;
    match (failure, trace) {
        (None, Some(trace)) if !trace.is_empty() => Ok(trace),
        (None, _) => Err(Try::Fault("the rig sent no samples".to_owned())),
        (Some(failure), trace) => Err(ended(&failure, trace)),
    }
}

fn ended(failure: &ProcedureError, trace: Option<Trace>) -> Try {
    if failure.is_the_users() {
        Try::Stopped
    } else if failure.is_an_absence() {
        Try::Away(failure.to_string())
    } else if failure.is_the_parts() {
        Try::Still(trace.into_iter().collect(), failure.to_string())
    } else {
        Try::Fault(failure.to_string())
    }
}
