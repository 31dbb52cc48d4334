//! Addresses of rigs: `serial:PATH[?baud=N]`, `tcp:HOST:PORT`, `sim:PART[?seed=N]`. It opens nothing.

use std::fmt;

/// Slowest and fastest baud rate that an address may ask for. Common practice, no source: below, no sweep fits the line;
/// above, no adapter follows.
pub const BAUD_RANGE: (u32, u32) = (1_200, 12_000_000);

/// Where a rig is.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Address {
    /// A serial port or pty.
    Serial {
        /// Device path or port name.
        path: String,
        /// Baud rate; none = [`trackpair_protocol::DEFAULT_BAUD`].
        baud: Option<u32>,
    },
    /// A TCP port.
    Tcp {
        /// Host and port.
        endpoint: String,
    },
    /// The simulator: everything after `sim:`, which the program hands to it.
    Sim {
        /// Part name or part file, with options.
        part: String,
    },
}

/// Why an address can't be understood.
#[derive(Debug, thiserror::Error, PartialEq, Eq)]
#[error("{given:?} is not a rig address: {problem}; write serial:PATH, tcp:HOST:PORT or sim:PART")]
pub struct AddressError {
    /// As given.
    pub given: String,
    /// What is wrong with it.
    pub problem: String,
}

impl Address {
    /// Reads an address as a user types it.
    ///
    /// # Errors
    /// Says what is wrong and how an address is written.
    pub fn parse(given: &str) -> Result<Self, AddressError> {
        let fault = |problem: String| AddressError { given: given.to_owned(), problem };
        let Some((scheme, rest)) = given.split_once(':') else {
            return Err(fault(missing_scheme(given)));
        };
        match scheme {
            "serial" => parse_serial(rest).map_err(fault),
            "tcp" => parse_tcp(rest).map_err(fault),
            "sim" if rest.is_empty() => Err(fault("no part is named after sim:".to_owned())),
            "sim" => Ok(Self::Sim { part: rest.to_owned() }),
            _ => Err(fault(format!("{scheme:?} is not a kind of link"))),
        }
    }
}

impl fmt::Display for Address {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Serial { path, baud: None } => write!(f, "serial:{path}"),
            Self::Serial { path, baud: Some(baud) } => write!(f, "serial:{path}?baud={baud}"),
            Self::Tcp { endpoint } => write!(f, "tcp:{endpoint}"),
            Self::Sim { part } => write!(f, "sim:{part}"),
        }
    }
}

impl std::str::FromStr for Address {
    type Err = AddressError;

    fn from_str(given: &str) -> Result<Self, AddressError> {
        Self::parse(given)
    }
}

fn missing_scheme(given: &str) -> String {
    if given.is_empty() {
        "it is empty".to_owned()
    } else if given.starts_with('/') || given.to_ascii_uppercase().starts_with("COM") {
        format!("the kind of link is missing, perhaps serial:{given} is meant")
    } else {
        "the kind of link is missing".to_owned()
    }
}

fn parse_serial(rest: &str) -> Result<Address, String> {
    let (path, options) = rest.split_once('?').map_or((rest, None), |(path, options)| (path, Some(options)));
    if path.is_empty() {
        return Err("no port is named after serial:".to_owned());
    }
    let baud = options.map(parse_baud).transpose()?;
    Ok(Address::Serial { path: path.to_owned(), baud })
}

fn parse_baud(option: &str) -> Result<u32, String> {
    let Some(text) = option.strip_prefix("baud=") else {
        return Err(format!("{option:?} is not an option of a serial port; the only one is baud=N"));
    };
    let (low, high) = BAUD_RANGE;
    text.parse()
        .ok()
        .filter(|baud| (low..=high).contains(baud))
        .ok_or_else(|| format!("the baud rate {text:?} must be a whole number from {low} to {high}"))
}

fn parse_tcp(endpoint: &str) -> Result<Address, String> {
    let Some((host, port)) = endpoint.rsplit_once(':') else {
        return Err("the port is missing after the host".to_owned());
    };
    if host.is_empty() {
        return Err("the host is missing before the port".to_owned());
    }
    if host.contains(':') && !(host.starts_with('[') && host.ends_with(']')) {
        return Err(format!("an IPv6 host stands in brackets: tcp:[{host}]:{port}"));
    }
    match port.parse::<u16>() {
        Ok(number) if number > 0 => Ok(Address::Tcp { endpoint: endpoint.to_owned() }),
        _ => Err(format!("the port {port:?} must be a whole number from 1 to 65535")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[track_caller]
    fn check_refused(given: &str, problem: &str) {
        let error = Address::parse(given).unwrap_err();
        assert!(error.problem.contains(problem), "{error}");
        assert!(error.to_string().contains("serial:PATH"), "{error}");
    }

    #[test]
    fn each_kind_of_address_is_understood() {
        let serial = |path: &str, baud| Address::Serial { path: path.to_owned(), baud };
        assert_eq!(Address::parse("serial:/dev/ttyUSB0"), Ok(serial("/dev/ttyUSB0", None)));
        assert_eq!(Address::parse("serial:COM3?baud=115200"), Ok(serial("COM3", Some(115_200))));
        assert_eq!(
            Address::parse("tcp:127.0.0.1:7000"),
            Ok(Address::Tcp { endpoint: "127.0.0.1:7000".to_owned() })
        );
        assert_eq!(Address::parse("tcp:[::1]:7000"), Ok(Address::Tcp { endpoint: "[::1]:7000".to_owned() }));
        assert_eq!(
            Address::parse("sim:worn-grip?seed=7"),
            Ok(Address::Sim { part: "worn-grip?seed=7".to_owned() })
        );
    }

    #[test]
    fn a_wrong_address_says_what_is_wrong_with_it() {
        check_refused("", "empty");
        check_refused("/dev/ttyUSB0", "perhaps serial:/dev/ttyUSB0");
        check_refused("com3", "perhaps serial:com3");
        check_refused("usb:1", "\"usb\" is not a kind of link");
        check_refused("serial:", "no port is named");
        check_refused("serial:COM3?baud=fast", "from 1200 to 12000000");
        check_refused("serial:COM3?baud=300", "from 1200 to 12000000");
        check_refused("serial:COM3?parity=even", "the only one is baud=N");
        check_refused("tcp:bench", "port is missing");
        check_refused("tcp::7000", "host is missing");
        check_refused("tcp:bench:0", "from 1 to 65535");
        check_refused("tcp:::1:7000", "in brackets");
        check_refused("sim:", "no part is named");
    }

    proptest! {
        #[test]
        fn an_address_that_was_understood_is_written_as_it_was_read(text in "(serial|tcp|sim):[ -~]{0,24}") {
            if let Ok(address) = Address::parse(&text) {
                prop_assert_eq!(Address::parse(&address.to_string()), Ok(address));
            }
        }
    }
}
