//! Bytes to and from a rig's address: ports that a session's own thread serves, and links that are polled. It does not know what they say.

mod address;
#[cfg(test)]
mod faulty;
mod serial;
mod tcp;

pub use address::{Address, AddressError, BAUD_RANGE};
#[cfg(test)]
pub use faulty::{FaultCounts, FaultRates, FaultyLink};
pub use serial::serial_ports;

use std::io::ErrorKind;
use std::time::{Duration, Instant};
use tokio::io::{AsyncRead, AsyncReadExt, AsyncWrite, AsyncWriteExt};
use tokio::runtime::Runtime;

/// Why a link failed.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum LinkError {
    /// It could not be opened.
    #[error("can't open {address}: {cause}; {advice}")]
    Open {
        /// The address as given.
        address: String,
        /// The system's message.
        cause: String,
        /// What to do.
        advice: String,
    },
    /// It was open and is gone.
    #[error("the link to {address} was lost: {cause}; check the cable and start again")]
    Lost {
        /// The address as given.
        address: String,
        /// The system's message.
        cause: String,
    },
}

/// A byte link that is polled, with a clock of its own. A simulated link's clock is virtual: it moves while a read waits. Real ports are no such
/// links: a session gives them a thread ([`Port`]).
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

/// A serial or a TCP port that is open, with the runtime that serves it.
pub struct Port {
    pub(crate) runtime: Runtime,
    pub(crate) stream: Box<dyn Stream>,
    pub(crate) address: String,
}

impl Port {
    /// The port as a link that is polled, for who asks one thing after the other and keeps nothing alive meanwhile.
    pub fn polled(self) -> Box<dyn Link> {
        Box::new(PolledPort { port: self, opened: Instant::now() })
    }
}

struct PolledPort {
    port: Port,
    opened: Instant,
}

impl PolledPort {
    fn lost(&self, cause: &dyn std::fmt::Display) -> LinkError {
        LinkError::Lost { address: self.port.address.clone(), cause: cause.to_string() }
    }
}

impl Link for PolledPort {
    fn write(&mut self, bytes: &[u8]) -> Result<(), LinkError> {
        let Port { runtime, stream, .. } = &mut self.port;
        match runtime.block_on(async { tokio::time::timeout(WRITE_PATIENCE, stream.write_all(bytes)).await })
        {
            Ok(Ok(())) => Ok(()),
            Ok(Err(error)) => Err(self.lost(&error)),
            Err(_) => Err(self.lost(&"it takes no bytes any more")),
        }
    }

    fn read(&mut self, out: &mut [u8], timeout: Duration) -> Result<usize, LinkError> {
        let Port { runtime, stream, .. } = &mut self.port;
        match runtime.block_on(async { tokio::time::timeout(timeout, stream.read(out)).await }) {
            Err(_) => Ok(0),
            Ok(Ok(0)) => Err(self.lost(&"the other end was closed")),
            Ok(Ok(count)) => Ok(count),
            Ok(Err(error)) if passes(error.kind()) => Ok(0),
            Ok(Err(error)) => Err(self.lost(&error)),
        }
    }

    fn now(&self) -> Duration {
        self.opened.elapsed()
    }

    fn address(&self) -> &str {
        &self.port.address
    }
}

/// Longest that a write may make no headway.
pub(crate) const WRITE_PATIENCE: Duration = Duration::from_secs(1);

/// A port's message that is not a loss.
pub(crate) fn passes(kind: ErrorKind) -> bool {
    matches!(kind, ErrorKind::TimedOut | ErrorKind::WouldBlock | ErrorKind::Interrupted)
}

/// The bytes of a port, both ways.
pub(crate) trait Stream: AsyncRead + AsyncWrite + Send + Unpin {}

impl<S: AsyncRead + AsyncWrite + Send + Unpin> Stream for S {}

/// Opens a serial port or a TCP port.
///
/// # Errors
/// [`LinkError::Open`] with the system's reason and what to do; also for `sim:`, which only the program can open.
pub fn open(address: &Address) -> Result<Port, LinkError> {
    let failed = |cause: String, advice: &str| LinkError::Open {
        address: address.to_string(),
        cause,
        advice: advice.to_owned(),
    };
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_io()
        .enable_time()
        .build()
        .map_err(|error| failed(error.to_string(), "close other programs and try again"))?;
    let entered = runtime.enter();
    let stream: Box<dyn Stream> = match address {
        Address::Serial { path, baud } => Box::new(serial::open(path, *baud)?),
        Address::Tcp { endpoint } => Box::new(tcp::open(endpoint)?),
        Address::Sim { .. } => {
            let advice = "use the trackpair program, or trackpair-rig and its serial: or tcp: address";
            return Err(failed("this library holds no simulator".to_owned(), advice));
        }
    };
    drop(entered);
    Ok(Port { runtime, stream, address: address.to_string() })
}
