//! How a command ended. The program turns it into an exit code.

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

/// Why a command could not do its work.
#[derive(Debug)]
pub enum Failure {
    /// What was typed can't be carried out: address, sheet, map, file name.
    Usage(anyhow::Error),
    /// The rig or the link.
    Rig(anyhow::Error),
    /// Anything else.
    Other(anyhow::Error),
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

impl Failure {
    /// The documented exit code.
    pub const fn code(&self) -> u8 {
        match self {
            Self::Usage(_) => 2,
            Self::Rig(_) => 20,
            Self::Other(_) => 1,
        }
    }

    /// What to tell the user.
    pub const fn error(&self) -> &anyhow::Error {
        match self {
            Self::Usage(e) | Self::Rig(e) | Self::Other(e) => e,
        }
    }
}
