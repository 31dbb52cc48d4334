//! A part on a rig: which part, which rig, and where what is recorded is kept.

use std::path::Path;

/// What every job on a rig is about.
#[derive(Clone, Copy, Debug)]
pub struct Mounted<'a> {
    /// Address of the rig.
    pub rig: &'a str,
    /// Part sheet, by name or file; none = the shipped one whose topology the part shows.
    pub sheet: Option<&'a str>,
    /// The part in the user's words.
    pub part: &'a str,
    /// The case that the record belongs to, by its full name.
    pub case: Option<&'a str>,
    /// Whether the part has been left plugged in since the last session.
    pub still_plugged: bool,
    /// Folder of the records; none = the platform's.
    pub archive: Option<&'a Path>,
}
