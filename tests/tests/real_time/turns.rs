//! How many rigs run in real time at once: their hosts mostly wait, but a machine that is asked too much loses rigs, as it should.

use std::sync::{Condvar, Mutex, PoisonError};

/// So many turns at once.
pub struct Turns {
    free: Mutex<usize>,
    given_back: Condvar,
}

/// One turn, until it is dropped.
pub struct Turn(&'static Turns);

impl Turns {
    pub const fn new(most: usize) -> Self {
        Self { free: Mutex::new(most), given_back: Condvar::new() }
    }

    /// Waits for a turn.
    pub fn take(&'static self) -> Turn {
        let free = self.free.lock().unwrap_or_else(PoisonError::into_inner);
        let mut free =
            self.given_back.wait_while(free, |free| *free == 0).unwrap_or_else(PoisonError::into_inner);
        *free -= 1;
        Turn(self)
    }
}

impl Drop for Turn {
    fn drop(&mut self) {
        *self.0.free.lock().unwrap_or_else(PoisonError::into_inner) += 1;
        self.0.given_back.notify_one();
    }
}
