//! A seeded wrapper around any link that loses, repeats, delays and damages frames; it knows frames only by their delimiter. For tests alone, of
//! this crate and (by this file's path) of the whole bench: it is not part of the library.

use crate::link::{Link, LinkError};
use std::collections::VecDeque;
use std::time::Duration;
use trackpair_protocol::frame::DELIMITER;

/// How often each fault happens, as a probability per frame, 0..=1. They exclude each other: their sum must not exceed 1.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct FaultRates {
    /// The frame is lost.
    pub drop: f64,
    /// The frame comes twice.
    pub duplicate: f64,
    /// The frame comes late, after frames that were sent later.
    pub delay: f64,
    /// One bit of the frame is flipped.
    pub corrupt: f64,
    /// Some bytes within the frame are lost.
    pub swallow: f64,
    /// Longest delay of a delayed frame.
    pub longest_delay: Duration,
}

impl FaultRates {
    /// Every fault with the same probability, delays up to 80 ms.
    pub fn all(each: f64) -> Self {
        Self {
            drop: each,
            duplicate: each,
            delay: each,
            corrupt: each,
            swallow: each,
            longest_delay: Duration::from_millis(80),
        }
    }
}

/// How many frames met which fault, both directions together.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct FaultCounts {
    /// Untouched.
    pub passed: u64,
    /// Lost.
    pub dropped: u64,
    /// Doubled.
    pub duplicated: u64,
    /// Late.
    pub delayed: u64,
    /// A bit flipped.
    pub corrupted: u64,
    /// Shortened.
    pub swallowed: u64,
}

/// A link with faults in both directions.
#[derive(Debug)]
pub struct FaultyLink<L> {
    inner: L,
    to_rig: FaultRates,
    to_host: FaultRates,
    random: u64,
    counts: FaultCounts,
    /// Bytes of a frame from the rig that has no end yet.
    partial: Vec<u8>,
    /// Bytes for the host, ready.
    ready: VecDeque<u8>,
    late_to_host: Vec<(Duration, Vec<u8>)>,
    late_to_rig: Vec<(Duration, Vec<u8>)>,
}

impl<L: Link> FaultyLink<L> {
    /// Wraps `inner`; the same seed and the same traffic give the same faults.
    pub fn new(inner: L, seed: u64, to_rig: FaultRates, to_host: FaultRates) -> Self {
        Self {
            inner,
            to_rig,
            to_host,
            random: seed,
            counts: FaultCounts::default(),
            partial: Vec::new(),
            ready: VecDeque::new(),
            late_to_host: Vec::new(),
            late_to_rig: Vec::new(),
        }
    }

    /// What has been done so far.
    pub fn counts(&self) -> FaultCounts {
        self.counts
    }

    /// SplitMix64 (Steele, Lea, Flood, "Fast Splittable Pseudorandom Number Generators", OOPSLA 2014).
    fn next(&mut self) -> u64 {
        self.random = self.random.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.random;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    fn below(&mut self, bound: usize) -> usize {
        (self.next() % bound.max(1) as u64) as usize
    }

    /// What becomes of one frame: pieces to pass on now, and perhaps a piece for later.
    fn fate(&mut self, mut frame: Vec<u8>, rates: FaultRates) -> Fate {
        let mut dice = (self.next() >> 11) as f64 / (1u64 << 53) as f64;
        let mut falls_on = |rate: f64| {
            let hit = dice < rate;
            dice -= rate;
            hit
        };
        if falls_on(rates.drop) {
            self.counts.dropped += 1;
            return Fate::Lost;
        }
        if falls_on(rates.duplicate) {
            self.counts.duplicated += 1;
            let twin = frame.clone();
            frame.extend(twin);
            return Fate::Now(frame);
        }
        if falls_on(rates.delay) {
            self.counts.delayed += 1;
            let longest = usize::try_from(rates.longest_delay.as_micros()).unwrap_or(usize::MAX);
            let delay = Duration::from_micros(self.below(longest) as u64);
            return Fate::Later(self.inner.now() + delay, frame);
        }
        if falls_on(rates.corrupt) {
            self.counts.corrupted += 1;
            let bit = self.below(8 * frame.len());
            frame[bit / 8] ^= 1 << (bit % 8);
            return Fate::Now(frame);
        }
        if falls_on(rates.swallow) {
            self.counts.swallowed += 1;
            let from = self.below(frame.len());
            let to = from + 1 + self.below(frame.len() - from);
            frame.drain(from..to.min(frame.len()));
            return Fate::Now(frame);
        }
        self.counts.passed += 1;
        Fate::Now(frame)
    }

    fn send_late(&mut self) -> Result<(), LinkError> {
        let now = self.inner.now();
        for bytes in due(&mut self.late_to_rig, now) {
            self.inner.write(&bytes)?;
        }
        for bytes in due(&mut self.late_to_host, now) {
            self.ready.extend(bytes);
        }
        Ok(())
    }

    fn hand_out(&mut self, out: &mut [u8]) -> usize {
        let count = self.ready.len().min(out.len());
        for (slot, byte) in out.iter_mut().zip(self.ready.drain(..count)) {
            *slot = byte;
        }
        count
    }

    fn receive(&mut self, bytes: &[u8]) {
        for &byte in bytes {
            self.partial.push(byte);
            if byte == DELIMITER {
                let frame = std::mem::take(&mut self.partial);
                match self.fate(frame, self.to_host) {
                    Fate::Lost => {}
                    Fate::Now(frame) => self.ready.extend(frame),
                    Fate::Later(at, frame) => self.late_to_host.push((at, frame)),
                }
            }
        }
    }
}

enum Fate {
    Lost,
    Now(Vec<u8>),
    Later(Duration, Vec<u8>),
}

/// Takes out what is due at `now`, in the order it was put in.
fn due(late: &mut Vec<(Duration, Vec<u8>)>, now: Duration) -> Vec<Vec<u8>> {
    let (due, rest) = std::mem::take(late).into_iter().partition(|(at, _)| *at <= now);
    *late = rest;
    let due: Vec<(Duration, Vec<u8>)> = due;
    due.into_iter().map(|(_, bytes)| bytes).collect()
}

impl<L: Link> Link for FaultyLink<L> {
    fn write(&mut self, bytes: &[u8]) -> Result<(), LinkError> {
        self.send_late()?;
        match self.fate(bytes.to_vec(), self.to_rig) {
            Fate::Lost => Ok(()),
            Fate::Now(frame) => self.inner.write(&frame),
            Fate::Later(at, frame) => {
                self.late_to_rig.push((at, frame));
                Ok(())
            }
        }
    }

    fn read(&mut self, out: &mut [u8], timeout: Duration) -> Result<usize, LinkError> {
        let deadline = self.inner.now() + timeout;
        loop {
            self.send_late()?;
            let count = self.hand_out(out);
            let now = self.inner.now();
            if count > 0 || now >= deadline {
                return Ok(count);
            }
            let next_late = self.late_to_host.iter().chain(&self.late_to_rig).map(|(at, _)| *at).min();
            let until = next_late.map_or(deadline, |at| at.clamp(now + Duration::from_micros(1), deadline));
            let mut bytes = [0; 4096];
            let count = self.inner.read(&mut bytes, until - now)?;
            self.receive(&bytes[..count]);
        }
    }

    fn now(&self) -> Duration {
        self.inner.now()
    }

    fn address(&self) -> &str {
        self.inner.address()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Sends every byte back, on a clock that moves while a read waits.
    #[derive(Default)]
    struct Echo {
        held: VecDeque<u8>,
        now: Duration,
    }

    impl Link for Echo {
        fn write(&mut self, bytes: &[u8]) -> Result<(), LinkError> {
            self.held.extend(bytes);
            Ok(())
        }

        fn read(&mut self, out: &mut [u8], timeout: Duration) -> Result<usize, LinkError> {
            let count = self.held.len().min(out.len());
            for (slot, byte) in out.iter_mut().zip(self.held.drain(..count)) {
                *slot = byte;
            }
            if count == 0 {
                self.now += timeout;
            }
            Ok(count)
        }

        fn now(&self) -> Duration {
            self.now
        }

        fn address(&self) -> &str {
            "echo"
        }
    }

    fn traffic(seed: u64, rates: FaultRates) -> (Vec<u8>, FaultCounts) {
        let mut link = FaultyLink::new(Echo::default(), seed, FaultRates::default(), rates);
        let (mut bytes, mut out) = (Vec::new(), [0; 256]);
        for k in 0..1_000u32 {
            link.write(&[1 + (k % 255) as u8, 7, 7, 7, DELIMITER]).unwrap();
            let count = link.read(&mut out, Duration::from_millis(1)).unwrap();
            bytes.extend_from_slice(&out[..count]);
        }
        (bytes, link.counts())
    }

    #[test]
    fn without_faults_every_byte_passes() {
        let (bytes, counts) = traffic(1, FaultRates::default());
        assert_eq!(bytes.len(), 5_000);
        assert_eq!(counts, FaultCounts { passed: 2_000, ..FaultCounts::default() });
    }

    #[test]
    fn the_same_seed_gives_the_same_faults_and_each_kind_happens() {
        let (bytes, counts) = traffic(2, FaultRates::all(0.1));
        assert_eq!((bytes.clone(), counts), traffic(2, FaultRates::all(0.1)));
        assert_ne!(bytes, traffic(3, FaultRates::all(0.1)).0);
        for count in [counts.dropped, counts.duplicated, counts.delayed, counts.corrupted, counts.swallowed] {
            assert!((50..200).contains(&count), "{counts:?}");
        }
    }
}
