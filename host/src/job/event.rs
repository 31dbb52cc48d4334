//! What a job reports while it runs. Whoever started it draws that: a terminal, a page.

use crate::procedure::{FlexCue, Progress};
use crate::quantity::ProcedureKind;
use std::path::PathBuf;

/// Something that happened.
#[derive(Clone, Debug)]
pub enum Event {
    /// A session with a rig begins.
    SessionBegun,
    /// How far a procedure of it is.
    Progress(Progress),
    /// The session is over and the rig unpowered.
    SessionEnded,
    /// The record's folder was made.
    RecordBegun(PathBuf),
    /// A trace is in the record, lasting.
    Kept {
        /// What was recorded.
        procedure: ProcedureKind,
        /// Its file in the record.
        file: String,
    },
    /// A round of a soak is acknowledged.
    Round(Round),
    /// A throttle body is about to be driven: the cautions (`outcome::CAUTIONS`) are to be shown.
    Cautions {
        /// Whether the rig is simulated, so that nothing can move.
        nothing_moves: bool,
    },
    /// Contact is watched from now on: the hand may begin.
    Watching,
    /// Contact was lost.
    Cue(FlexCue),
    /// A sentence for the person at the rig.
    Said(String),
    /// A sentence on what is not as it should be, and does not keep the job from going on.
    Warned(String),
}

/// A round of a soak that is acknowledged.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Round {
    /// From 1.
    pub number: u64,
    /// Rounds that are planned.
    pub planned: u64,
    /// Sure dropouts in it.
    pub dropouts: u64,
    /// Sure dropouts since the program began.
    pub dropouts_since: u64,
}
