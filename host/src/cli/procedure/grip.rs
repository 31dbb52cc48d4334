//! The procedures that a grip has, alone.

use crate::cli::ending::Ending;
use crate::cli::options::amounts::seconds;
use crate::cli::options::driven::BodyProcedure;
use crate::cli::options::mounted::Common;
use crate::cli::surroundings::Surroundings;
use crate::cli::terminal::at_terminal::at_terminal;
use crate::cli::terminal::conclusion::present;
use crate::cli::terminal::enter_key::enter;
use crate::job::watched::Seconds;
use crate::job::{Failure, qualify as job};
use clap::Args;

/// `hand-sweep`.
#[derive(Args, Debug)]
pub struct HandSweep {
    /// Rig, part, record.
    #[command(flatten)]
    pub common: Common,
    /// How long to record; Enter or Ctrl-C ends it sooner
    #[arg(long = "for", value_name = "TIME", default_value = "30s", value_parser = seconds)]
    pub length: f64,
    /// Turn the grip without the rig's reference coupled: lines are compared with each other only
    #[arg(long)]
    pub no_reference: bool,
}

/// Carries out `self-check`.
pub fn self_check(common: &Common, surroundings: &Surroundings<'_>) -> Result<Ending, Failure> {
    let mounted = common.settled(surroundings)?;
    let concluded = at_terminal(surroundings, |outside| job::self_check(mounted, outside))?;
    present(concluded, common.printed(), surroundings)
}

/// Carries out `leads-check`.
pub fn leads_check(args: &BodyProcedure, surroundings: &Surroundings<'_>) -> Result<Ending, Failure> {
    let mounted = args.common.settled(surroundings)?;
    let concluded = at_terminal(surroundings, |outside| {
        job::leads_check(mounted, args.i_have_read_the_cautions, outside)
    })?;
    present(concluded, args.common.printed(), surroundings)
}

/// Carries out `hand-sweep`.
pub fn hand_sweep(args: &HandSweep, surroundings: &Surroundings<'_>) -> Result<Ending, Failure> {
    let seconds = Seconds::new(args.length)?;
    let mounted = args.common.settled(surroundings)?;
    let plan = job::HandSweep { mounted, seconds, keys: &enter, no_reference: args.no_reference };
    let concluded = at_terminal(surroundings, |outside| job::hand_sweep(plan, outside))?;
    present(concluded, args.common.printed(), surroundings)
}
