//! The clock of this computer, which dates records and nothing else.

use crate::job::Clock;
use crate::procedure::wait;
use std::time::{Duration, Instant};
use tokio_util::sync::CancellationToken;

/// Now, RFC 3339 with the local offset.
pub fn date() -> String {
    jiff::ZonedDateTime::now().strftime("%Y-%m-%dT%H:%M:%S%:z").to_string()
}

/// The clock for a job.
#[derive(Clone, Copy, Debug)]
pub struct HostClock {
    begun: Instant,
}

impl HostClock {
    /// From now on.
    pub fn new() -> Self {
        Self { begun: Instant::now() }
    }
}

impl Clock for HostClock {
    fn now(&self) -> String {
        date()
    }

    fn passed(&self) -> Duration {
        self.begun.elapsed()
    }

    fn wait(&self, time: Duration, stop: &CancellationToken) -> bool {
        wait(time, stop)
    }
}
