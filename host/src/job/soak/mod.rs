//! Hours or days of cycling, with figures over time; killed or unplugged at any moment it goes on and says what it missed.
//!
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
mod running;

use super::{Concluded, Failure, Mounted, Outside};

/// A soak, as asked for.
#[derive(Clone, Copy, Debug)]
pub struct Soak<'a> {
    /// Part and rig; of one that goes on only the archive is looked at.
    pub mounted: Mounted<'a>,
    /// How long, hours of soaking.
    pub hours: f64,
    /// From the start of one round to the start of the next, s.
    pub every_s: f64,
    /// Full cycles of a grip in each round, instead of 2.
    pub cycles: Option<u32>,
    /// Most that log and traces may take, bytes.
    pub disk: u64,
    /// How long a rig that went away is waited for, s.
    pub patience_s: f64,
    /// The record that goes on, by its name or folder.
    pub resume: Option<&'a str>,
    /// With `resume`: nothing more is driven, and what there is is judged.
    pub conclude: bool,
    /// Whether another one is begun where an unfinished one on the same part would be gone on with.
    pub new: bool,
    /// Whether the cautions before a throttle body is driven were accepted beforehand.
    pub cautions_read: bool,
}

/// Soaks a part.
///
/// # Errors
/// [`Failure::Usage`] for settings out of range, a record that is no soak, or no room; [`Failure::Rig`] when the rig is in use by another
/// program, or went away and did not come back: then the soak can go on later.
pub fn soak(plan: &Soak<'_>, outside: &Outside<'_>) -> Result<Concluded, Failure> {
    course::run(plan, outside)
}
