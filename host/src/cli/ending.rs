//! How a command ended. The program turns it into an exit code.

use crate::job::Failure;
use crate::verdict::Verdict;

/// How a command ended when nothing went wrong on the way to it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Ending {
    /// A part was judged.
    Judged(Verdict),
    /// Done, nothing to judge.
    Done,
    /// An integrity check found something altered, missing, reordered, or signed by another key.
    NotAsKept,
    /// The rig had a fault, a guard tripped, the link was lost, or the user stopped it; what was recorded is kept.
    RigFaultOrAborted,
}

impl Ending {
    /// The documented exit code.
    pub const fn code(self) -> u8 {
        match self {
            Self::Judged(Verdict::Within) | Self::Done => 0,
            Self::Judged(Verdict::Outside) => 10,
            Self::Judged(Verdict::Undecided) => 11,
            Self::NotAsKept => 12,
            Self::RigFaultOrAborted => 20,
        }
    }
}

/// The documented exit code of a failure.
pub const fn code_of(failure: &Failure) -> u8 {
    match failure {
        Failure::Usage(_) => 2,
        Failure::Rig(_) => 20,
        Failure::Other(_) => 1,
    }
}
