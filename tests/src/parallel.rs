//! Work for many seeds on all cores: for studies.

use std::sync::atomic::{AtomicU64, Ordering};

/// Answers to 0 up to `count`, worked out on all cores, in order.
///
/// # Panics
/// When `work` panics.
pub fn on_all_cores<T: Send>(count: u64, work: impl Fn(u64) -> T + Sync) -> Vec<T> {
    let next = AtomicU64::new(0);
    let threads = std::thread::available_parallelism().map_or(1, usize::from);
    let worker = || {
        let mut own = Vec::new();
        loop {
            let k = next.fetch_add(1, Ordering::Relaxed);
            if k >= count {
                return own;
            }
            own.push((k, work(k)));
        }
    };
    let mut all: Vec<(u64, T)> = std::thread::scope(|scope| {
        let handles: Vec<_> = (0..threads).map(|_| scope.spawn(worker)).collect();
        handles.into_iter().flat_map(|h| h.join().expect("a worker does not panic")).collect()
    });
    all.sort_unstable_by_key(|a| a.0);
    all.into_iter().map(|a| a.1).collect()
}
