//! `qualify`: the whole plan of a part.

use super::ending::Ending;
use super::options::mounted::Common;
use super::surroundings::Surroundings;
use super::terminal::at_terminal::at_terminal;
use super::terminal::conclusion::present;
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

/// Carries out `qualify`.
pub fn qualify(args: &Qualify, surroundings: &Surroundings<'_>) -> Result<Ending, Failure> {
    args.common.ask_for_part(surroundings)?;
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
    present(concluded, args.common.printed(), surroundings)
}
