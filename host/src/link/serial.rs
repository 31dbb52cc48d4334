//! Serial ports and ptys: blocking, exclusive, with timeouts; and the list of ports that exist.

use super::pace::Pace;
use super::{Address, Link, LinkError, WRITE_PATIENCE};
use serialport::SerialPort;
use std::io::{ErrorKind, Read, Write};
use std::time::{Duration, Instant};

/// A rig on a serial port.
pub struct SerialLink {
    port: Box<dyn SerialPort>,
    address: String,
    opened: Instant,
    timeout: Duration,
    pace: Pace,
}

impl SerialLink {
    /// Opens a port for this program alone; none = [`trackpair_protocol::DEFAULT_BAUD`].
    ///
    /// # Errors
    /// [`LinkError::Open`] with advice by cause: no such port, no permission, in use, baud rate not possible.
    pub fn open(path: &str, baud: Option<u32>) -> Result<Self, LinkError> {
        let address = Address::Serial { path: path.to_owned(), baud }.to_string();
        let rate = baud.unwrap_or(trackpair_protocol::DEFAULT_BAUD);
        let port = open_port(path, rate).map_err(|error| LinkError::Open {
            address: address.clone(),
            cause: error.to_string(),
            advice: advice(path, rate, &error),
        })?;
        Ok(Self { port, address, opened: Instant::now(), timeout: WRITE_PATIENCE, pace: Pace::default() })
    }

    fn set_timeout(&mut self, timeout: Duration) -> Result<(), LinkError> {
        if self.timeout == timeout {
            return Ok(());
        }
        self.port.set_timeout(timeout).map_err(|error| self.lost(&error))?;
        self.timeout = timeout;
        Ok(())
    }

    fn lost(&self, cause: &dyn std::fmt::Display) -> LinkError {
        LinkError::Lost { address: self.address.clone(), cause: cause.to_string() }
    }
}

impl Link for SerialLink {
    fn write(&mut self, bytes: &[u8]) -> Result<(), LinkError> {
        self.set_timeout(WRITE_PATIENCE)?;
        self.pace.wrote();
        self.port.write_all(bytes).map_err(|error| self.lost(&error))
    }

    fn read(&mut self, out: &mut [u8], timeout: Duration) -> Result<usize, LinkError> {
        let gather = self.pace.gather(Instant::now(), timeout);
        if !gather.is_zero() {
            std::thread::sleep(gather);
        }
        // The port counts whole milliseconds; 0 would not wait at all.
        self.set_timeout(timeout.max(Duration::from_millis(1)))?;
        match self.port.read(out) {
            Ok(0) => Err(self.lost(&"the port was closed")),
            Ok(count) => {
                self.pace.read(Instant::now());
                Ok(count)
            }
            Err(error) if is_timeout(error.kind()) => Ok(0),
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

/// Names of the serial ports that exist, in order. Ptys are never among them.
pub fn serial_ports() -> Vec<String> {
    // Without libudev the list is read from here, and a missing folder would be a panic.
    if cfg!(target_os = "linux") && !std::path::Path::new("/sys/class/tty").is_dir() {
        return Vec::new();
    }
    let mut names: Vec<String> =
        serialport::available_ports().unwrap_or_default().into_iter().map(|port| port.port_name).collect();
    names.sort();
    names.dedup();
    names
}

fn is_timeout(kind: ErrorKind) -> bool {
    matches!(kind, ErrorKind::TimedOut | ErrorKind::WouldBlock | ErrorKind::Interrupted)
}

fn open_port(path: &str, baud: u32) -> Result<Box<dyn SerialPort>, serialport::Error> {
    let open = |baud| serialport::new(path, baud).timeout(WRITE_PATIENCE).open();
    match open(baud) {
        // A pty has no baud rate, and some refuse an unusual one; they take a usual one and ignore it.
        Err(error) if is_pty(path) && is_setting(&error) => open(115_200),
        opened => opened,
    }
}

fn is_pty(path: &str) -> bool {
    std::fs::canonicalize(path).is_ok_and(|real| real.starts_with("/dev/pts"))
}

fn is_setting(error: &serialport::Error) -> bool {
    match error.kind {
        serialport::ErrorKind::InvalidInput | serialport::ErrorKind::Io(ErrorKind::InvalidInput) => true,
        serialport::ErrorKind::Io(ErrorKind::Other) | serialport::ErrorKind::Unknown => {
            !error.description.contains("busy")
        }
        _ => false,
    }
}

fn advice(path: &str, baud: u32, error: &serialport::Error) -> String {
    let words = error.description.to_lowercase();
    if words.contains("busy") || words.contains("lock") || words.contains("resource temporarily") {
        return "another program holds it: close that program and try again".to_owned();
    }
    if words.contains("denied") || error.kind == serialport::ErrorKind::Io(ErrorKind::PermissionDenied) {
        return if cfg!(windows) {
            "another program holds it: close that program and try again".to_owned()
        } else {
            "this user may not use serial ports: join the port's group, usually `sudo usermod -aG dialout $USER`, \
             and log in again"
                .to_owned()
        };
    }
    if is_setting(error) {
        return format!("the port may not manage {baud} baud: give another with serial:{path}?baud=N");
    }
    match serial_ports().as_slice() {
        [] => "no serial port exists here: plug the rig in".to_owned(),
        ports => format!("ports that exist: {}", ports.join(", ")),
    }
}

#[cfg(all(test, unix))]
mod tests {
    use super::*;
    use serialport::TTYPort;

    /// A pty: its far end, and the path of the near one. The near handle is let go, so that the path can be opened.
    fn pty() -> (TTYPort, String, std::fs::File) {
        let (mut far, near) = TTYPort::pair().unwrap();
        far.set_timeout(Duration::from_millis(500)).unwrap();
        let path = near.name().unwrap();
        let kept = std::fs::OpenOptions::new().read(true).write(true).open(&path).unwrap();
        drop(near);
        (far, path, kept)
    }

    #[test]
    fn bytes_pass_both_ways_through_a_pty() {
        let (mut far, path, _kept) = pty();
        let mut link = SerialLink::open(&path, None).unwrap();
        link.write(&[0, 1, 2, 255]).unwrap();
        let mut bytes = [0; 4];
        far.read_exact(&mut bytes).unwrap();
        assert_eq!(bytes, [0, 1, 2, 255]);
        far.write_all(&[13, 10, 0, 3]).unwrap();
        let count = link.read(&mut bytes, Duration::from_millis(500)).unwrap();
        assert_eq!(&bytes[..count], &[13, 10, 0, 3]);
        assert_eq!(link.read(&mut bytes, Duration::from_millis(2)).unwrap(), 0, "a timeout is no error");
        assert_eq!(link.address(), format!("serial:{path}"));
    }

    #[test]
    fn a_port_that_another_program_holds_is_said_to_be_held() {
        let (_far, path, _kept) = pty();
        let _first = SerialLink::open(&path, None).unwrap();
        let error = SerialLink::open(&path, None).err().unwrap();
        assert!(error.to_string().contains("another program holds it"), "{error}");
    }

    #[test]
    fn a_missing_port_is_answered_with_the_ports_that_exist() {
        let error = SerialLink::open("/dev/trackpair-no-such-port", Some(115_200)).err().unwrap().to_string();
        assert!(error.contains("can't open serial:/dev/trackpair-no-such-port?baud=115200"), "{error}");
        assert!(
            error.contains("ports that exist") || error.contains("no serial port exists here"),
            "{error}"
        );
    }

    #[test]
    fn a_port_whose_far_end_is_gone_is_a_lost_link() {
        let (far, path, kept) = pty();
        let mut link = SerialLink::open(&path, None).unwrap();
        drop((far, kept));
        let mut bytes = [0; 4];
        assert!(matches!(link.read(&mut bytes, Duration::from_millis(20)), Err(LinkError::Lost { .. })));
    }
}
