//! The procedures that a throttle body has, alone.

use crate::cli::ending::Ending;
use crate::cli::options::amounts::seconds;
use crate::cli::options::driven::BodyProcedure;
use crate::cli::options::mounted::Common;
use crate::cli::surroundings::Surroundings;
use crate::cli::terminal::at_terminal::at_terminal;
use crate::cli::terminal::conclusion::present;
use crate::cli::terminal::enter_key::enter;
use crate::job::watched::Seconds;
use crate::job::{Failure, body as job};
use crate::quantity::ProcedureKind;
use clap::Args;
use std::path::PathBuf;

/// `tooth-map`.
#[derive(Args, Debug)]
pub struct ToothMap {
    /// Rig, part, record, cautions.
    #[command(flatten)]
    pub procedure: BodyProcedure,
    /// Good bodies among which the body is judged (`population learn`), instead of the shipped ones
    #[arg(long, value_name = "FILE")]
    pub population: Option<PathBuf>,
}

/// `guided-push`.
#[derive(Args, Debug)]
pub struct GuidedPush {
    /// Rig, part, record.
    #[command(flatten)]
    pub common: Common,
    /// How long to record; Enter or Ctrl-C ends it sooner
    #[arg(long = "for", value_name = "TIME", default_value = "60s", value_parser = seconds)]
    pub length: f64,
    /// Accept the cautions that are shown before a throttle body is driven
    #[arg(long)]
    pub i_have_read_the_cautions: bool,
}

/// Carries out a command that is one procedure.
pub fn one_procedure(
    kind: ProcedureKind,
    args: &BodyProcedure,
    surroundings: &Surroundings<'_>,
) -> Result<Ending, Failure> {
    let mounted = args.common.settled(surroundings)?;
    let cautions_read = args.i_have_read_the_cautions;
    let concluded =
        at_terminal(surroundings, |outside| job::one_procedure(kind, mounted, cautions_read, outside))?;
    present(concluded, args.common.printed(), surroundings)
}

/// Carries out `tooth-map`.
pub fn tooth_map(args: &ToothMap, surroundings: &Surroundings<'_>) -> Result<Ending, Failure> {
    let BodyProcedure { common, i_have_read_the_cautions } = &args.procedure;
    let mounted = common.settled(surroundings)?;
    let among = args.population.as_deref();
    let concluded = at_terminal(surroundings, |outside| {
        job::tooth_map(mounted, *i_have_read_the_cautions, among, outside)
    })?;
    present(concluded, common.printed(), surroundings)
}

/// Carries out `guided-push`.
pub fn guided_push(args: &GuidedPush, surroundings: &Surroundings<'_>) -> Result<Ending, Failure> {
    let seconds = Seconds::new(args.length)?;
    let push = job::GuidedPush {
        mounted: args.common.settled(surroundings)?,
        cautions_read: args.i_have_read_the_cautions,
        seconds,
        keys: &enter,
    };
    let concluded = at_terminal(surroundings, |outside| job::guided_push(push, outside))?;
    present(concluded, args.common.printed(), surroundings)
}
