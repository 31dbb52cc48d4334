//! Waiting on this computer's clock, where there is no rig whose clock could be gone by.

use std::time::Duration;
use tokio_util::sync::CancellationToken;

/// Waits so long, or until it is cancelled, which is felt at once. Whether the whole time is over.
pub fn wait(time: Duration, stop: &CancellationToken) -> bool {
    // Without a runtime there is nothing to wait with, and what was to be waited for is looked at again at once.
    let Ok(runtime) = tokio::runtime::Builder::new_current_thread().enable_time().build() else {
        return !stop.is_cancelled();
    };
    runtime.block_on(async { tokio::time::timeout(time, stop.cancelled()).await.is_err() })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_wait_ends_with_its_time_or_when_it_is_cancelled() {
        let stop = CancellationToken::new();
        assert!(wait(Duration::from_millis(1), &stop));
        let canceller = stop.clone();
        let waiting = std::thread::spawn(move || wait(Duration::from_secs(600), &stop));
        canceller.cancel();
        assert!(!waiting.join().unwrap());
    }
}
