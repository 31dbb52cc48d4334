//! A session with a rig and the procedures asked for; every trace is kept on disk as soon as it exists.

use super::event::Event;
use super::failure::Failure;
use super::outside::{OpenSimulator, Outside};
use super::recorded::Recorded;
use super::rig_lock::RigLock;
use crate::analysis::usable::unfit;
use crate::link::{self, Address};
use crate::procedure::{Bench, ProcedureError, Progress, Recording, Setup};
use crate::session::{Options, Session, Story};
use crate::sheet::PartSheet;
use tokio_util::sync::CancellationToken;

/// Opens a session at an address as typed.
///
/// # Errors
/// [`Failure::Usage`] for an address that can't be understood or a simulated part that does not exist;
/// [`Failure::Rig`] when nothing answers, something that is not a rig, or `stop` is cancelled.
pub fn open_session(
    rig: &str,
    open_simulator: OpenSimulator<'_>,
    stop: &CancellationToken,
) -> Result<Session, Failure> {
    let address = Address::parse(rig).map_err(|e| Failure::Usage(e.into()))?;
    let options = Options { stop: stop.clone(), ..Options::default() };
    let session = match &address {
        Address::Sim { part } => {
            let link = open_simulator(part).map_err(|e| Failure::Usage(e.into()))?;
            Session::open(link, options)
        }
        _ => {
            let port = link::open(&address).map_err(|e| Failure::Rig(e.into()))?;
            Session::over(port, options)
        }
    };
    session.map_err(|e| Failure::Rig(e.into()))
}

/// A rig for another kind of part than a procedure is for: known before anything is shown, driven or recorded.
pub fn other_part(error: ProcedureError) -> Failure {
    Failure::Usage(error.into())
}

/// Runs `work` on a bench and leaves the rig unpowered, whatever `work` did; what happened on the line comes back too. No other
/// program may have the rig.
///
/// # Errors
/// As [`open_session`]; [`Failure::Rig`] too when another program has the rig.
pub fn with_bench<T>(
    rig: &str,
    part: &str,
    sheet: &PartSheet,
    outside: &Outside<'_>,
    work: impl FnOnce(&mut Bench<'_>) -> T,
) -> Result<(T, Story), Failure> {
    let _ours = RigLock::take(rig, part, outside)?;
    on_own_bench(rig, part, sheet, outside, work)
}

/// The same for a program that has the rig already.
///
/// # Errors
/// As [`open_session`].
pub fn on_own_bench<T>(
    rig: &str,
    part: &str,
    sheet: &PartSheet,
    outside: &Outside<'_>,
    work: impl FnOnce(&mut Bench<'_>) -> T,
) -> Result<(T, Story), Failure> {
    let session = open_session(rig, outside.open_simulator, outside.stop)?;
    outside.tell(Event::SessionBegun);
    let mut show = |progress: Progress| outside.tell(Event::Progress(progress));
    let setup = Setup {
        sheet,
        part: part.to_owned(),
        started: outside.now(),
        stop: outside.stop,
        progress: &mut show,
    };
    let mut bench = Bench::new(session, setup);
    let result = work(&mut bench);
    let (story, ended) = bench.end();
    if let Err(error) = ended {
        outside.say(format!(
            "the rig did not confirm that it is unpowered ({error}); its own guards take the drive off after 300 ms"
        ));
    }
    outside.tell(Event::SessionEnded);
    Ok((result, story))
}

/// Takes over what a procedure recorded: the trace to disk, its warnings and its failure to the record. Whether the plan
/// may go on.
pub fn keep(recorded: &mut Recorded, recording: Recording, outside: &Outside<'_>) -> bool {
    let Recording { before, trace, failure, warnings } = recording;
    before.into_iter().for_each(|trace| recorded.store(trace, outside));
    recorded.warn(warnings.iter().map(ToString::to_string));
    let line_fault = trace.as_ref().filter(|t| t.provenance.link.is_some_and(|l| l.is_bad())).and_then(unfit);
    if let Some(trace) = trace {
        recorded.store(trace, outside);
    }
    match failure {
        // On such a line nothing more can be learnt of the part.
        None if line_fault.is_some() => {
            let fault = line_fault.unwrap_or_default();
            outside.say(fault.clone());
            recorded.fail(fault);
            false
        }
        None => true,
        Some(failure) => {
            outside.say(failure.to_string());
            recorded.fail_by(&failure);
            false
        }
    }
}
