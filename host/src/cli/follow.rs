//! `follow`: grip and throttle body together.

use super::ending::Ending;
use super::options::driven::BodyProcedure;
use super::surroundings::Surroundings;
use super::terminal::at_terminal::at_terminal;
use super::terminal::conclusion::present;
use crate::job::{Failure, follow as job};

/// Carries out `follow`.
///
/// # Errors
/// As every procedure of a throttle body; [`Failure::Usage`] for a sheet of one part alone.
pub fn follow(args: &BodyProcedure, surroundings: &Surroundings<'_>) -> Result<Ending, Failure> {
    let mounted = args.common.settled(surroundings)?;
    let cautions_read = args.i_have_read_the_cautions;
    let concluded = at_terminal(surroundings, |outside| job::follow(mounted, cautions_read, outside))?;
    present(concluded, args.common.printed(), surroundings)
}
