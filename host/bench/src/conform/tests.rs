//! What makes a point broken, on a link whose rig does nothing right. Rigs that do are asked in the workspace's own tests.

use super::{ConformError, conform};
use crate::link::{Link, LinkError};
use std::time::Duration;

/// A line on which nothing ever comes.
struct Mute(Duration);

impl Link for Mute {
    fn write(&mut self, _bytes: &[u8]) -> Result<(), LinkError> {
        Ok(())
    }

    fn read(&mut self, _out: &mut [u8], timeout: Duration) -> Result<usize, LinkError> {
        self.0 += timeout;
        Ok(0)
    }

    fn now(&self) -> Duration {
        self.0
    }

    fn address(&self) -> &str {
        "mute"
    }
}

#[test]
fn where_nothing_answers_it_is_said_that_there_is_no_rig() {
    let error = conform(Box::new(Mute(Duration::ZERO)), |_| {}).expect_err("no rig");
    assert!(matches!(error, ConformError::NoRig { .. }), "{error}");
    assert!(error.to_string().contains("not answered"), "{error}");
}
