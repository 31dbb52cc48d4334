//! Requests, state, and the order of things in one poll.

use crate::board::{Board, Micros};

/// A rig: protocol and safety around a board.
#[derive(Debug)]
pub struct Rig<B: Board> {
    board: B,
}

impl<B: Board> Rig<B> {
    /// Starts unpowered at `now`: drive off, supply off, loads and pull-downs off.
    pub fn new(board: B, now: Micros) -> Self {
        let _ = now;
        Self { board }
    }

    /// Takes bytes from the link as they come. Work that is due before `now` is done first.
    pub fn handle(&mut self, bytes: &[u8], now: Micros) {
        let _ = (bytes, now);
        unimplemented!()
    }

    /// Does what is due up to `now`: guards, setpoints, scans, blocks.
    pub fn poll(&mut self, now: Micros) {
        let _ = now;
        unimplemented!()
    }

    /// Moves bytes for the link into `out`, whole frames or parts of one, in order; how many. 0 when none wait.
    pub fn transmit(&mut self, out: &mut [u8]) -> usize {
        let _ = out;
        unimplemented!()
    }

    /// When [`Rig::poll`] should be called next at the latest.
    pub fn next_due(&self) -> Micros {
        unimplemented!()
    }

    /// The board.
    pub fn board(&self) -> &B {
        &self.board
    }

    /// The board, for a test or simulator that pokes it.
    pub fn board_mut(&mut self) -> &mut B {
        &mut self.board
    }
}
