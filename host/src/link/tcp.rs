//! A rig behind a TCP port: blocking, no delay, with timeouts.

use super::pace::Pace;
use super::{Link, LinkError, WRITE_PATIENCE};
use std::io::{ErrorKind, Read, Write};
use std::net::{TcpStream, ToSocketAddrs};
use std::time::{Duration, Instant};

/// Longest wait for one address to answer.
const CONNECT_PATIENCE: Duration = Duration::from_secs(3);

/// A rig on a TCP port.
#[derive(Debug)]
pub struct TcpLink {
    stream: TcpStream,
    address: String,
    opened: Instant,
    timeout: Option<Duration>,
    pace: Pace,
}

impl TcpLink {
    /// Connects to `HOST:PORT`.
    ///
    /// # Errors
    /// [`LinkError::Open`] with advice by cause: unknown host, nothing listens, no answer.
    pub fn open(endpoint: &str) -> Result<Self, LinkError> {
        let address = format!("tcp:{endpoint}");
        let stream = connect(endpoint).map_err(|error| LinkError::Open {
            address: address.clone(),
            cause: error.to_string(),
            advice: advice(error.kind()).to_owned(),
        })?;
        Ok(Self { stream, address, opened: Instant::now(), timeout: None, pace: Pace::default() })
    }

    fn lost(&self, cause: &dyn std::fmt::Display) -> LinkError {
        LinkError::Lost { address: self.address.clone(), cause: cause.to_string() }
    }
}

impl Link for TcpLink {
    fn write(&mut self, bytes: &[u8]) -> Result<(), LinkError> {
        self.pace.wrote();
        self.stream.write_all(bytes).map_err(|error| self.lost(&error))
    }

    fn read(&mut self, out: &mut [u8], timeout: Duration) -> Result<usize, LinkError> {
        let gather = self.pace.gather(Instant::now(), timeout);
        if !gather.is_zero() {
            std::thread::sleep(gather);
        }
        let timeout = Some(timeout.max(Duration::from_millis(1)));
        if self.timeout != timeout {
            self.stream.set_read_timeout(timeout).map_err(|error| self.lost(&error))?;
            self.timeout = timeout;
        }
        match self.stream.read(out) {
            Ok(0) => Err(self.lost(&"the rig closed the connection")),
            Ok(count) => {
                self.pace.read(Instant::now());
                Ok(count)
            }
            Err(error)
                if matches!(
                    error.kind(),
                    ErrorKind::TimedOut | ErrorKind::WouldBlock | ErrorKind::Interrupted
                ) =>
            {
                Ok(0)
            }
            Err(error) => Err(self.lost(&error)),
        }
    }

    fn now(&self) -> Duration {
        self.opened.elapsed()
    }

    fn address(&self) -> &str {
        &self.address
    }
}

fn connect(endpoint: &str) -> std::io::Result<TcpStream> {
    let mut failure = std::io::Error::new(ErrorKind::NotFound, "the host has no address");
    for address in endpoint.to_socket_addrs()? {
        match TcpStream::connect_timeout(&address, CONNECT_PATIENCE) {
            Ok(stream) => {
                stream.set_nodelay(true)?;
                stream.set_write_timeout(Some(WRITE_PATIENCE))?;
                return Ok(stream);
            }
            Err(error) => failure = error,
        }
    }
    Err(failure)
}

fn advice(kind: ErrorKind) -> &'static str {
    match kind {
        ErrorKind::ConnectionRefused => {
            "nothing listens there: start the rig, or check the port number it printed"
        }
        ErrorKind::TimedOut | ErrorKind::WouldBlock => "no answer: check that the rig is on and reachable",
        _ => "check the host's name and the network",
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::net::TcpListener;

    #[test]
    fn bytes_pass_both_ways_and_a_close_is_a_lost_link() {
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        let mut link = TcpLink::open(&listener.local_addr().unwrap().to_string()).unwrap();
        let (mut far, _) = listener.accept().unwrap();
        link.write(&[0, 7]).unwrap();
        let mut bytes = [0; 2];
        far.read_exact(&mut bytes).unwrap();
        assert_eq!(bytes, [0, 7]);
        assert_eq!(link.read(&mut bytes, Duration::from_millis(2)).unwrap(), 0, "a timeout is no error");
        far.write_all(&[9]).unwrap();
        assert_eq!(link.read(&mut bytes, Duration::from_millis(500)).unwrap(), 1);
        drop(far);
        assert!(matches!(link.read(&mut bytes, Duration::from_millis(500)), Err(LinkError::Lost { .. })));
    }

    #[test]
    fn a_port_where_nothing_listens_is_answered_with_advice() {
        let free = TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap();
        let error = TcpLink::open(&free.to_string()).unwrap_err().to_string();
        assert!(error.contains("start the rig"), "{error}");
    }
}
