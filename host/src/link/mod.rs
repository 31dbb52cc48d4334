//! Bytes to and from a rig's address. It does not know what they say.

mod address;

pub use address::{Address, AddressError};

use std::time::Duration;

/// Why a link failed.
#[derive(Debug, thiserror::Error)]
pub enum LinkError {
    /// It could not be opened.
    #[error("can't open {address}: {cause}; {advice}")]
    Open {
        /// The address as given.
        address: String,
        /// What the system said.
        cause: String,
        /// What to do.
        advice: String,
    },
    /// It was open and is gone.
    #[error("the link to {address} was lost: {cause}; check the cable and start again")]
    Lost {
        /// The address as given.
        address: String,
        /// What the system said.
        cause: String,
    },
}

/// A byte link with a clock. A simulated link's clock is virtual: it moves while a read waits.
pub trait Link {
    /// Sends all bytes.
    ///
    /// # Errors
    /// [`LinkError::Lost`] when the other end is gone or takes nothing for a second.
    fn write(&mut self, bytes: &[u8]) -> Result<(), LinkError>;

    /// Waits at most `timeout` for bytes; how many came, 0 on timeout.
    ///
    /// # Errors
    /// [`LinkError::Lost`] when the other end is gone.
    fn read(&mut self, out: &mut [u8], timeout: Duration) -> Result<usize, LinkError>;

    /// Time since the link was opened, on the link's clock.
    fn now(&self) -> Duration;

    /// The address for messages and provenance.
    fn address(&self) -> &str;
}
