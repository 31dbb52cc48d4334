//! Serial ports and ptys: exclusive; and the list of ports that exist.

use super::{Address, LinkError};
use std::io::ErrorKind;
use tokio_serial::{SerialPortBuilderExt, SerialStream};

/// Opens a port for this program alone; none = [`trackpair_protocol::DEFAULT_BAUD`]. A runtime must be entered.
///
/// # Errors
/// [`LinkError::Open`] with advice by cause: no such port, no permission, in use, baud rate not possible.
pub(super) fn open(path: &str, baud: Option<u32>) -> Result<SerialStream, LinkError> {
    let address = Address::Serial { path: path.to_owned(), baud }.to_string();
    let rate = baud.unwrap_or(trackpair_protocol::DEFAULT_BAUD);
    open_port(path, rate).map_err(|error| LinkError::Open {
        address,
        cause: error.to_string(),
        advice: advice(path, rate, &error),
    })
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

fn open_port(path: &str, baud: u32) -> Result<SerialStream, serialport::Error> {
    let open = |baud| serialport::new(path, baud).open_native_async();
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
        ports => format!("plug the rig in, or give one of the ports that exist: {}", ports.join(", ")),
    }
}

#[cfg(all(test, unix))]
mod tests {
    use crate::link::{Address, open};
    use serialport::{SerialPort, TTYPort};

    /// A pty: its far end, and the path of the near one. The near handle is let go, so that the path can be opened.
    fn pty() -> (TTYPort, String, std::fs::File) {
        let (far, near) = TTYPort::pair().unwrap();
        let path = near.name().unwrap();
        let kept = std::fs::OpenOptions::new().read(true).write(true).open(&path).unwrap();
        drop(near);
        (far, path, kept)
    }

    fn at(path: &str, baud: Option<u32>) -> Address {
        Address::Serial { path: path.to_owned(), baud }
    }

    #[test]
    fn a_port_that_another_program_holds_is_said_to_be_held() {
        let (_far, path, _kept) = pty();
        let _first = open(&at(&path, None)).unwrap();
        let error = open(&at(&path, None)).err().unwrap();
        assert!(error.to_string().contains("another program holds it"), "{error}");
    }

    #[test]
    fn a_missing_port_is_answered_with_the_ports_that_exist() {
        let error = open(&at("/dev/trackpair-no-such-port", Some(115_200))).err().unwrap().to_string();
        assert!(error.contains("can't open serial:/dev/trackpair-no-such-port?baud=115200"), "{error}");
        assert!(
            error.contains("ports that exist") || error.contains("no serial port exists here"),
            "{error}"
        );
    }
}
