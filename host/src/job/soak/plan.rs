//! A soak, as it is asked for.

use crate::job::mounted::Mounted;

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
