//! Why a job could not be done, by who can do something about it. Whoever started it says so in its own way.

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

impl Failure {
    /// The message for the user.
    pub const fn error(&self) -> &anyhow::Error {
        match self {
            Self::Usage(e) | Self::Rig(e) | Self::Other(e) => e,
        }
    }
}
