//! Work on the pieces of a long recording by as many threads as there are processors. What comes out does not depend on how many there are.

use std::sync::{Mutex, PoisonError};

/// Scans of a piece: enough that a thread is worth its start.
pub(super) const PIECE: usize = 1 << 17;

/// What `work` makes of each task, in their order. One task is done by the caller itself.
pub(super) fn each<T: Send, R: Send>(tasks: Vec<T>, work: impl Fn(T) -> R + Sync) -> Vec<R> {
    let threads = std::thread::available_parallelism().map_or(1, usize::from).min(tasks.len());
    if threads < 2 {
        return tasks.into_iter().map(work).collect();
    }
    let waiting = Mutex::new(tasks.into_iter().enumerate());
    let (waiting, work) = (&waiting, &work);
    let worker = move || {
        let mut done = Vec::new();
        loop {
            let next = waiting.lock().unwrap_or_else(PoisonError::into_inner).next();
            let Some((number, task)) = next else { return done };
            done.push((number, work(task)));
        }
    };
    let mut all: Vec<(usize, R)> = std::thread::scope(|scope| {
        let others: Vec<_> = (1..threads).map(|_| scope.spawn(worker)).collect();
        let own = worker();
        let joined =
            others.into_iter().flat_map(|t| t.join().unwrap_or_else(|p| std::panic::resume_unwind(p)));
        own.into_iter().chain(joined).collect()
    });
    all.sort_unstable_by_key(|(number, _)| *number);
    all.into_iter().map(|(_, result)| result).collect()
}

/// Both of two different pieces of work.
pub(super) fn both<A: Send, B>(first: impl FnOnce() -> A + Send, second: impl FnOnce() -> B) -> (A, B) {
    std::thread::scope(|scope| {
        let first = scope.spawn(first);
        let second = second();
        (first.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic)), second)
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn results_come_in_the_order_of_the_tasks() {
        let expected: Vec<u64> = (0..1000).map(|k| k * k).collect();
        assert_eq!(each((0..1000u64).collect(), |k| k * k), expected);
        assert_eq!(each(vec![3], |k| k + 1), [4]);
        assert!(each(Vec::<u8>::new(), |k| k).is_empty());
        assert_eq!(both(|| 1, || "two"), (1, "two"));
    }
}
