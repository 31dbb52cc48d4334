//! What waits for the link: a ring of bytes that holds whole frames, with room kept for what matters more than samples.

/// Size of the ring, bytes.
pub const RING: usize = 8192;

/// Who asks for room. Each later one may fill what the one before must leave free.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Priority {
    /// A sample block: leaves room for events and answers.
    Samples,
    /// An event: leaves room for answers.
    Event,
    /// An answer to a request: may fill the ring.
    Answer,
}

impl Priority {
    /// Bytes that must stay free after a frame of this priority is in.
    const fn leaves_free(self) -> usize {
        match self {
            Self::Samples => 2048,
            Self::Event => 512,
            Self::Answer => 0,
        }
    }
}

/// The ring. A frame goes in whole or not at all; bytes come out in any portions.
#[derive(Clone, Debug)]
pub struct Queue {
    bytes: [u8; RING],
    head: usize,
    len: usize,
}

impl Queue {
    /// An empty ring.
    pub const fn new() -> Self {
        Self { bytes: [0; RING], head: 0, len: 0 }
    }

    /// Whether a frame of `size` bytes would go in.
    pub fn has_room(&self, size: usize, priority: Priority) -> bool {
        self.len + size + priority.leaves_free() <= RING
    }

    /// Puts a whole frame in; `false`, and nothing in, when there is no room for it.
    pub fn push(&mut self, frame: &[u8], priority: Priority) -> bool {
        if !self.has_room(frame.len(), priority) {
            return false;
        }
        let tail = (self.head + self.len) % RING;
        let first = frame.len().min(RING - tail);
        self.bytes[tail..tail + first].copy_from_slice(&frame[..first]);
        self.bytes[..frame.len() - first].copy_from_slice(&frame[first..]);
        self.len += frame.len();
        true
    }

    /// Moves the oldest bytes into `out`; how many.
    pub fn pop(&mut self, out: &mut [u8]) -> usize {
        let count = out.len().min(self.len);
        let first = count.min(RING - self.head);
        out[..first].copy_from_slice(&self.bytes[self.head..self.head + first]);
        out[first..count].copy_from_slice(&self.bytes[..count - first]);
        self.head = (self.head + count) % RING;
        self.len -= count;
        count
    }
}

#[cfg(test)]
mod tests {
    extern crate std;
    use super::*;
    use std::collections::VecDeque;
    use std::vec;
    use std::vec::Vec;

    #[test]
    fn bytes_come_out_in_order_across_many_turns_of_the_ring() {
        let (mut queue, mut model, mut next) = (Queue::new(), VecDeque::new(), 0u8);
        for turn in 0..2000usize {
            let frame: Vec<u8> = (0..(turn * 37) % 900)
                .map(|_| {
                    next = next.wrapping_add(1);
                    next
                })
                .collect();
            if queue.push(&frame, Priority::Answer) {
                model.extend(&frame);
            }
            let mut out = vec![0; (turn * 53) % 800];
            let count = queue.pop(&mut out);
            let expected: Vec<u8> = model.drain(..count).collect();
            assert_eq!(&out[..count], &expected[..]);
        }
        assert!(next > 0 && queue.len == model.len());
    }

    #[test]
    fn samples_leave_room_for_events_and_events_for_answers() {
        let mut queue = Queue::new();
        while queue.push(&[1; 100], Priority::Samples) {}
        assert!(RING - queue.len >= 2048 && RING - queue.len < 2148);
        while queue.push(&[2; 30], Priority::Event) {}
        assert!(RING - queue.len >= 512 && RING - queue.len < 542);
        assert!(queue.push(&vec![3; RING - queue.len], Priority::Answer));
        assert!(!queue.push(&[4], Priority::Answer));
    }
}
