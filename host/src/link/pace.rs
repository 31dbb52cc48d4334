//! How often a link wakes up while a rig streams: bytes that come in a trickle are fetched in fewer, larger pieces, so
//! that a live stream costs little of a core.

use std::time::{Duration, Instant};

/// Shortest time between two reads of a stream. At 2 Mbaud 1 KB arrives in it: well within any driver's buffer, and
/// far within the 100 ms of a heartbeat.
const BETWEEN_READS: Duration = Duration::from_millis(5);

/// Watches the reads and writes of a link.
#[derive(Debug, Default)]
pub(super) struct Pace {
    last_read: Option<Instant>,
    streaming: bool,
}

impl Pace {
    /// Something was sent: its answer shall not wait.
    pub(super) fn wrote(&mut self) {
        self.streaming = false;
    }

    /// Bytes came at `now`. Bytes soon after bytes, with nothing asked in between, are a stream.
    pub(super) fn read(&mut self, now: Instant) {
        self.streaming = self.last_read.is_some_and(|last| now.duration_since(last) < 4 * BETWEEN_READS);
        self.last_read = Some(now);
    }

    /// How long to let bytes gather before the next read.
    pub(super) fn gather(&self, now: Instant, timeout: Duration) -> Duration {
        match self.last_read {
            Some(last) if self.streaming => {
                BETWEEN_READS.saturating_sub(now.duration_since(last)).min(timeout)
            }
            _ => Duration::ZERO,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_stream_is_gathered_and_an_answer_is_not() {
        let start = Instant::now();
        let at = |ms| start + Duration::from_millis(ms);
        let timeout = Duration::from_millis(50);
        let mut pace = Pace::default();
        pace.read(at(0));
        assert_eq!(pace.gather(at(0), timeout), Duration::ZERO, "one answer is no stream");
        pace.read(at(1));
        assert_eq!(pace.gather(at(2), timeout), Duration::from_millis(4));
        assert_eq!(pace.gather(at(2), Duration::from_millis(3)), Duration::from_millis(3));
        assert_eq!(pace.gather(at(9), timeout), Duration::ZERO);
        pace.wrote();
        assert_eq!(pace.gather(at(2), timeout), Duration::ZERO, "an answer is awaited");
    }
}
