//! A rig behind a TCP port: no delay.

use super::LinkError;
use std::io::ErrorKind;
use std::net::ToSocketAddrs;
use std::time::Duration;
use tokio::net::TcpStream;

/// Longest wait for one address to answer.
const CONNECT_PATIENCE: Duration = Duration::from_secs(3);

/// Connects to `HOST:PORT`. A runtime must be entered.
///
/// # Errors
/// [`LinkError::Open`] with advice by cause: unknown host, nothing listens, no answer.
pub(super) fn open(endpoint: &str) -> Result<TcpStream, LinkError> {
    connect(endpoint).map_err(|error| LinkError::Open {
        address: format!("tcp:{endpoint}"),
        cause: error.to_string(),
        advice: advice(error.kind()).to_owned(),
    })
}

fn connect(endpoint: &str) -> std::io::Result<TcpStream> {
    let mut failure = std::io::Error::new(ErrorKind::NotFound, "the host has no address");
    for address in endpoint.to_socket_addrs()? {
        match std::net::TcpStream::connect_timeout(&address, CONNECT_PATIENCE) {
            Ok(stream) => {
                stream.set_nodelay(true)?;
                stream.set_nonblocking(true)?;
                return TcpStream::from_std(stream);
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
    use crate::link::{Address, open};
    use std::net::TcpListener;

    #[test]
    fn a_port_where_nothing_listens_is_answered_with_advice() {
        let free = TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap();
        let error = open(&Address::Tcp { endpoint: free.to_string() }).err().unwrap().to_string();
        assert!(error.contains("start the rig"), "{error}");
    }
}
