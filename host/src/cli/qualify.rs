//! `qualify`, and the single procedures of a grip.

use super::ending::Ending;
use super::options::driven::BodyProcedure;
use super::options::mounted::Common;
use super::surroundings::Surroundings;
use super::terminal::at_terminal::at_terminal;
use super::terminal::conclusion::present;
use super::terminal::enter_key::enter;
use crate::job::watched::Seconds;
use crate::job::{Failure, qualify as job};
use crate::verdict::MOST_MORE_SWEEPS;
use clap::Args;
use std::path::PathBuf;

/// `qualify`.
#[derive(Args, Debug)]
pub struct Qualify {
    /// Rig, part, record.
    #[command(flatten)]
    pub common: Common,
    /// Full cycles, instead of the sheet's
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(1..=200))]
    pub cycles: Option<u32>,
    /// Speed in degrees per second, instead of the sheet's
    #[arg(long, value_name = "DEG_S")]
    pub speed: Option<f64>,
    /// Scans per second, instead of the sheet's
    #[arg(long, value_name = "HZ")]
    pub rate: Option<u32>,
    /// A grip that is undecided is swept again as its verdict advises, so often at most [1]; within and outside then need more than 95 %
    #[arg(long, value_name = "SWEEPS", num_args = 0..=1, require_equals = true, default_missing_value = "1", value_parser = clap::value_parser!(u32).range(1..=i64::from(MOST_MORE_SWEEPS)))]
    pub settle: Option<u32>,
    /// Leave the leads check out
    #[arg(long)]
    pub skip_leads: bool,
    /// Accept the cautions that are shown before a throttle body is driven
    #[arg(long)]
    pub i_have_read_the_cautions: bool,
    /// Good bodies among which a throttle body is judged (`population learn`), instead of the shipped ones
    #[arg(long, value_name = "FILE")]
    pub population: Option<PathBuf>,
}

/// A single procedure.
#[derive(Args, Debug)]
pub struct OneProcedure {
    /// Rig, part, record.
    #[command(flatten)]
    pub common: Common,
}

/// `hand-sweep`.
#[derive(Args, Debug)]
pub struct HandSweep {
    /// Rig, part, record.
    #[command(flatten)]
    pub common: Common,
    /// How long to record; Enter or Ctrl-C ends it sooner
    #[arg(long, value_name = "S", default_value_t = 30.0)]
    pub seconds: f64,
    /// Turn the grip without the rig's reference coupled: lines are compared with each other only
    #[arg(long)]
    pub no_reference: bool,
}

/// Carries out `qualify`.
pub fn qualify(args: &Qualify, surroundings: &Surroundings<'_>) -> Result<Ending, Failure> {
    let plan = job::Qualify {
        mounted: args.common.settled(surroundings)?,
        cycles: args.cycles,
        speed: args.speed,
        rate: args.rate,
        settle: args.settle,
        leads: !args.skip_leads,
        cautions_read: args.i_have_read_the_cautions,
        population: args.population.as_deref(),
    };
    let concluded = at_terminal(surroundings, |outside| job::qualify(&plan, outside))?;
    present(concluded, args.common.json, None, surroundings)
}

/// Carries out `self-check`.
pub fn self_check(args: &OneProcedure, surroundings: &Surroundings<'_>) -> Result<Ending, Failure> {
    let mounted = args.common.settled(surroundings)?;
    let concluded = at_terminal(surroundings, |outside| job::self_check(mounted, outside))?;
    present(concluded, args.common.json, None, surroundings)
}

/// Carries out `leads-check`.
pub fn leads_check(args: &BodyProcedure, surroundings: &Surroundings<'_>) -> Result<Ending, Failure> {
    let mounted = args.common.settled(surroundings)?;
    let concluded = at_terminal(surroundings, |outside| {
        job::leads_check(mounted, args.i_have_read_the_cautions, outside)
    })?;
    present(concluded, args.common.json, None, surroundings)
}

/// Carries out `hand-sweep`.
pub fn hand_sweep(args: &HandSweep, surroundings: &Surroundings<'_>) -> Result<Ending, Failure> {
    let seconds = Seconds::new(args.seconds)?;
    let mounted = args.common.settled(surroundings)?;
    let plan = job::HandSweep { mounted, seconds, keys: &enter, no_reference: args.no_reference };
    let concluded = at_terminal(surroundings, |outside| job::hand_sweep(plan, outside))?;
    present(concluded, args.common.json, None, surroundings)
}
