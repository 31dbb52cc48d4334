//! Hours or days of cycling, with figures over time; killed or unplugged at any moment it goes on and says what it missed.
//!
//! - [`Soak`]: the plan.
//! - `asked`: what is asked for, by a plan or by a log that goes on; whether it fits the disk.
//! - `keeping`: of which rounds the traces are kept.
//! - `running`: one stretch on a rig, round by round.
//! - `driving`: what the rig does in a round, and whether the part moved.
//! - `logged`: a round as a line of the log.
//! - `course`: stretch after stretch, with the rig away in between.
//! - `concluding`: from the log to the outcome.
//! - `amounts`: times for people.

mod amounts;
mod asked;
mod concluding;
mod course;
mod driving;
mod keeping;
mod logged;
mod plan;
mod running;

pub use plan::Soak;

use super::concluded::Concluded;
use super::failure::Failure;
use super::outside::Outside;

/// Soaks a part.
///
/// # Errors
/// [`Failure::Usage`] for settings out of range, a record that is not a soak, or no room; [`Failure::Rig`] when the rig is in use by another
/// program, or went away and did not come back: then the soak can go on later.
pub fn soak(plan: &Soak<'_>, outside: &Outside<'_>) -> Result<Concluded, Failure> {
    course::run(plan, outside)
}
