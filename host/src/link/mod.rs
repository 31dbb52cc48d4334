//! Bytes to and from a rig's address. It does not know what they say.

mod address;
mod faulty;
mod pace;
mod serial;
mod tcp;

pub use address::{Address, AddressError, BAUD_RANGE};
pub use faulty::{FaultCounts, FaultRates, FaultyLink};
pub use serial::{SerialLink, serial_ports};
pub use tcp::TcpLink;

use std::time::Duration;

/// Why a link failed.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
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

impl<L: Link + ?Sized> Link for Box<L> {
    fn write(&mut self, bytes: &[u8]) -> Result<(), LinkError> {
        (**self).write(bytes)
    }

    fn read(&mut self, out: &mut [u8], timeout: Duration) -> Result<usize, LinkError> {
        (**self).read(out, timeout)
    }

    fn now(&self) -> Duration {
        (**self).now()
    }

    fn address(&self) -> &str {
        (**self).address()
    }
}

/// Longest that a write may make no headway.
const WRITE_PATIENCE: Duration = Duration::from_secs(1);

/// Opens a serial port or a TCP port.
///
/// # Errors
/// [`LinkError::Open`] with the system's reason and what to do; also for `sim:`, which only the program can open.
pub fn open(address: &Address) -> Result<Box<dyn Link>, LinkError> {
    match address {
        Address::Serial { path, baud } => Ok(Box::new(SerialLink::open(path, *baud)?)),
        Address::Tcp { endpoint } => Ok(Box::new(TcpLink::open(endpoint)?)),
        Address::Sim { .. } => Err(LinkError::Open {
            address: address.to_string(),
            cause: "this library holds no simulator".to_owned(),
            advice: "use the trackpair program, or trackpair-rig and its serial: or tcp: address".to_owned(),
        }),
    }
}
