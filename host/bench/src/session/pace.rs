//! How often a link wakes up while a rig streams: bytes that come in a trickle are fetched in fewer, larger pieces, so
//! that a live stream costs little of a core.

use std::time::Duration;

/// Shortest time between two reads of a stream: what comes is known that much later at most. At 2 Mbaud 400 bytes arrive in it: well within any
/// driver's buffer.
const BETWEEN_READS: Duration = Duration::from_millis(2);

/// Watches the reads and writes of a link.
#[derive(Debug, Default)]
pub(super) struct Pace {
    last_read: Option<Duration>,
    streaming: bool,
}

impl Pace {
    /// Something was sent: its answer must not wait.
    pub(super) fn wrote(&mut self) {
        self.streaming = false;
    }

    /// Bytes came at `now`. Bytes soon after bytes, with nothing asked in between, are a stream.
    pub(super) fn read(&mut self, now: Duration) {
        self.streaming = self.last_read.is_some_and(|last| now.saturating_sub(last) < 4 * BETWEEN_READS);
        self.last_read = Some(now);
    }

    /// How long to let bytes gather before the next read.
    pub(super) fn gather(&self, now: Duration, timeout: Duration) -> Duration {
        match self.last_read {
            Some(last) if self.streaming => {
                BETWEEN_READS.saturating_sub(now.saturating_sub(last)).min(timeout)
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
        let at = Duration::from_millis;
        let timeout = Duration::from_millis(50);
        let mut pace = Pace::default();
        pace.read(at(0));
        assert_eq!(pace.gather(at(0), timeout), Duration::ZERO, "one answer is not a stream");
        pace.read(at(1));
        assert_eq!(pace.gather(at(2), timeout), Duration::from_millis(1));
        assert_eq!(pace.gather(at(1), Duration::from_millis(1)), Duration::from_millis(1));
        assert_eq!(pace.gather(at(9), timeout), Duration::ZERO);
        pace.wrote();
        assert_eq!(pace.gather(at(2), timeout), Duration::ZERO, "an answer is awaited");
    }
}
