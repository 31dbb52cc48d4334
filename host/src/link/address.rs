//! Addresses of rigs: `serial:PATH[?baud=N]`, `tcp:HOST:PORT`, `sim:PART[?seed=N]`.

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
#[error("{given:?} is no rig address: {problem}; write serial:PATH, tcp:HOST:PORT or sim:PART")]
pub struct AddressError {
    /// As given.
    pub given: String,
    /// What is wrong with it.
    pub problem: String,
}
