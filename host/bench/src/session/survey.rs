//! Who answers at an address, quickly: for a list of rigs.

use super::{Options, Session, SessionError};
use crate::link::{self, Address, LinkError};
use std::time::Duration;
use trackpair_protocol::message::Identity;

/// What was found at one address.
#[derive(Debug)]
pub struct Answerer {
    /// Where.
    pub address: Address,
    /// The rig, or why there is none.
    pub found: Result<Identity, SessionError>,
}

/// Asks each address who it is, at most 0.4 s each. A rig that is found is left at rest: asking opens a session, which ends
/// a run that another program may have on it; a port that another program holds is not asked.
pub fn survey(addresses: impl IntoIterator<Item = Address>) -> Vec<Answerer> {
    addresses
        .into_iter()
        .map(|address| {
            let found = ask(&address);
            Answerer { address, found }
        })
        .collect()
}

fn ask(address: &Address) -> Result<Identity, SessionError> {
    let port = link::open(address).map_err(|error: LinkError| SessionError::Link(error))?;
    let options =
        Options { identify_timeout: Duration::from_millis(200), identify_attempts: 2, ..Options::default() };
    let session = Session::over(port, options)?;
    let identity = *session.identity();
    session.close()?;
    Ok(identity)
}
