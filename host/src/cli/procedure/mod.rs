//! `procedure`: one procedure of a plan, alone. `grip`: those that a grip has; `body`: those of a throttle body.

mod body;
mod grip;

use super::ending::Ending;
use super::options::driven::BodyProcedure;
use super::options::mounted::Common;
use super::surroundings::Surroundings;
use crate::job::Failure;
use crate::quantity::ProcedureKind;
use body::{GuidedPush, ToothMap, guided_push, one_procedure, tooth_map};
use clap::Subcommand;
use grip::{HandSweep, hand_sweep, leads_check, self_check};

/// The procedures that can be run alone.
#[derive(Debug, Subcommand)]
pub enum ProcedureCommand {
    /// Supply, noise, reference, stops: are rig and part ready?
    SelfCheck(Common),
    /// Step the supply and load the lines: which lead is bad?
    LeadsCheck(BodyProcedure),
    /// Grip: turned by hand, without a drive
    HandSweep(HandSweep),
    /// Body: where the plate rests, where it stops
    Rest(BodyProcedure),
    /// Body: slow ramps; springs, friction, feedback lines
    Creep(BodyProcedure),
    /// Body: latency, rise time, overshoot, settling
    Step(BodyProcedure),
    /// Body: let go from several openings; time to rest
    Release(BodyProcedure),
    /// Body: free travel of the gears at rest
    Lash(BodyProcedure),
    /// Body: motion lost along the travel; bad teeth
    ToothMap(ToothMap),
    /// Body: snap openings, with a check before and after
    Blip(BodyProcedure),
    /// Body: lash at any place, pushed by hand with a probe
    ///
    /// The plate is moved by a soft probe through the bore. It ends on Enter, on Ctrl-C, or when its time is over.
    GuidedPush(GuidedPush),
}

/// Carries out one procedure.
///
/// # Errors
/// [`Failure`] when nothing could be judged; it says why and what to do.
pub fn procedure(command: &ProcedureCommand, surroundings: &Surroundings<'_>) -> Result<Ending, Failure> {
    match command {
        ProcedureCommand::SelfCheck(common) => self_check(common, surroundings),
        ProcedureCommand::LeadsCheck(args) => leads_check(args, surroundings),
        ProcedureCommand::HandSweep(args) => hand_sweep(args, surroundings),
        ProcedureCommand::Rest(args) => one_procedure(ProcedureKind::Rest, args, surroundings),
        ProcedureCommand::Creep(args) => one_procedure(ProcedureKind::Creep, args, surroundings),
        ProcedureCommand::Step(args) => one_procedure(ProcedureKind::Step, args, surroundings),
        ProcedureCommand::Release(args) => one_procedure(ProcedureKind::Release, args, surroundings),
        ProcedureCommand::Lash(args) => one_procedure(ProcedureKind::Lash, args, surroundings),
        ProcedureCommand::ToothMap(args) => tooth_map(args, surroundings),
        ProcedureCommand::Blip(args) => one_procedure(ProcedureKind::Blip, args, surroundings),
        ProcedureCommand::GuidedPush(args) => guided_push(args, surroundings),
    }
}
