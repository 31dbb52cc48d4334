//! A whole rig on virtual time: bytes in, bytes out, and time that passes only while somebody waits for an answer.

use trackpair_rig_core::rig::Rig;

use crate::board::SimBoard;

/// A byte takes this long from the host to the rig, µs: the latency of a USB frame.
pub const LINK_US: u64 = 125;

/// The rig core around a simulated board, with its own clock.
#[derive(Debug)]
pub struct SimRig {
    rig: Rig<SimBoard>,
    now_us: u64,
}

impl SimRig {
    /// Switched on at time 0.
    pub fn new(board: SimBoard) -> Self {
        Self { rig: Rig::new(board, 0), now_us: 0 }
    }

    /// The rig's clock, µs.
    pub fn now_us(&self) -> u64 {
        self.now_us
    }

    /// Bytes from the host. They arrive [`LINK_US`] later.
    pub fn write(&mut self, bytes: &[u8]) {
        self.run_until(self.now_us + LINK_US);
        self.rig.handle(bytes, self.now_us);
    }

    /// Bytes for the host: at once when there are any, otherwise time passes until there are, or `timeout_us` is over (0 bytes).
    pub fn read(&mut self, out: &mut [u8], timeout_us: u64) -> usize {
        let deadline = self.now_us.saturating_add(timeout_us);
        loop {
            let n = self.rig.transmit(out);
            if n > 0 || self.now_us >= deadline || out.is_empty() {
                return n;
            }
            self.step(deadline);
        }
    }

    /// Lets time pass without reading: what the rig sends meanwhile waits in its bounded buffers.
    pub fn run_until(&mut self, at_us: u64) {
        while self.now_us < at_us {
            self.step(at_us);
        }
    }

    /// The board, to look at.
    pub fn board(&self) -> &SimBoard {
        self.rig.board()
    }

    /// The board, to press its E-stop or meet it with a hand.
    pub fn board_mut(&mut self) -> &mut SimBoard {
        self.rig.board_mut()
    }

    fn step(&mut self, deadline: u64) {
        self.now_us = self.rig.next_due().clamp(self.now_us + 1, deadline.max(self.now_us + 1));
        self.rig.poll(self.now_us);
    }
}
