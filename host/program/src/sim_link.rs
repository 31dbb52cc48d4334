//! The address `sim:`: a simulated rig in this process, on virtual time, behind the same link as a real one.

use std::time::Duration;
use trackpair::link::{Link, LinkError};
use trackpair_rig_sim::SimRig;

struct SimLink {
    rig: SimRig,
    address: String,
}

impl Link for SimLink {
    fn write(&mut self, bytes: &[u8]) -> Result<(), LinkError> {
        self.rig.write(bytes);
        Ok(())
    }

    fn read(&mut self, out: &mut [u8], timeout: Duration) -> Result<usize, LinkError> {
        Ok(self.rig.read(out, u64::try_from(timeout.as_micros()).unwrap_or(u64::MAX)))
    }

    fn now(&self) -> Duration {
        Duration::from_micros(self.rig.now_us())
    }

    fn address(&self) -> &str {
        &self.address
    }
}

/// The link of a rig that is there already.
pub fn over(rig: SimRig, address: String) -> Box<dyn Link> {
    Box::new(SimLink { rig, address })
}

/// Opens the simulated rig with the part that stands behind `sim:`.
///
/// # Errors
/// [`LinkError::Open`] for an unknown part or an unusable part file, with what is wrong.
pub fn open(part: &str) -> Result<Box<dyn Link>, LinkError> {
    let address = format!("sim:{part}");
    match trackpair_rig_sim::part_address(part) {
        Ok(known) => Ok(over(known.rig(), address)),
        Err(error) => Err(LinkError::Open {
            address,
            cause: error.to_string(),
            advice: "`trackpair-rig parts` lists the parts".to_owned(),
        }),
    }
}
