//! Rigs and lines that go wrong, for tests of the host: bytes damaged on the line, events stamped late, programs that are not carried out to
//! their end, supplies and channel tables without sense. A wrapper around the simulated rig that changes frames on their way.

use std::time::Duration;
use trackpair::link::{Link, LinkError};
use trackpair_protocol::frame::{DELIMITER, Deframer, MAX_ENCODED};
use trackpair_protocol::message::{EventKind, Message, Reply, Request, capability, kind};
use trackpair_protocol::program::Program;
use trackpair_rig_sim::{SimRig, part_address};

/// What goes wrong.
#[derive(Clone, Copy, Debug, Default)]
pub struct Oddity {
    /// Every byte is replaced with this probability, both ways.
    pub damage: f64,
    /// Segments are reported this much late, µs.
    pub late_us: u64,
    /// Only so many segments of a program are carried out; 0 = all.
    pub segments: usize,
    /// Loads and pull-downs are refused, though the channel table says that they are there.
    pub refuse_inputs: bool,
    /// Its identity says that it has no loads, and so it refuses to switch any.
    pub no_loads: bool,
    /// Seed of the damage.
    pub seed: u64,
}

/// A simulated rig behind a line on which frames are changed.
pub struct OddLink {
    rig: SimRig,
    odd: Oddity,
    to_rig: Vec<u8>,
    to_host: Vec<u8>,
    ready: Vec<u8>,
    random: u64,
}

impl OddLink {
    /// A rig with a part on it.
    ///
    /// # Panics
    /// When there is no such part.
    pub fn new(part: &str, odd: Oddity) -> Self {
        let rig = part_address(part).unwrap_or_else(|e| panic!("{e}")).rig();
        Self { rig, odd, to_rig: Vec::new(), to_host: Vec::new(), ready: Vec::new(), random: odd.seed }
    }

    /// SplitMix64 (Steele, Lea, Flood, "Fast Splittable Pseudorandom Number Generators", OOPSLA 2014).
    fn next(&mut self) -> u64 {
        self.random = self.random.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.random;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    fn damaged(&mut self, mut bytes: Vec<u8>) -> Vec<u8> {
        if self.odd.damage > 0.0 {
            for byte in &mut bytes {
                let dice = self.next();
                if ((dice >> 11) as f64 / (1u64 << 53) as f64) < self.odd.damage {
                    *byte ^= (dice & 0xFF) as u8 | 1;
                }
            }
        }
        bytes
    }

    /// One frame from the rig, changed.
    fn host_bound(&self, frame: Vec<u8>) -> Vec<u8> {
        let (late_us, no_loads) = (self.odd.late_us, self.odd.no_loads);
        rewritten(&frame, |id, message, out| match message {
            Message::Reply(Reply::Identity(mut identity)) if no_loads => {
                identity.capabilities &= !capability::LOADS;
                Message::Reply(Reply::Identity(identity)).encode(kind::IDENTIFY, id, out)
            }
            Message::Event(mut event)
                if matches!(event.kind, EventKind::SegmentReached { .. }) && late_us > 0 =>
            {
                event.rig_us += late_us;
                Message::Event(event).encode(0, 0, out)
            }
            _ => None,
        })
        .unwrap_or(frame)
    }

    /// One frame from the host, changed.
    fn rig_bound(&self, frame: Vec<u8>) -> Vec<u8> {
        let (segments, refuse, no_loads) = (self.odd.segments, self.odd.refuse_inputs, self.odd.no_loads);
        rewritten(&frame, |id, message, out| match message {
            Message::Request(Request::LoadProgram(program)) if segments > 0 => {
                let first = program.segments().get(..segments)?;
                Request::LoadProgram(Program::from_slice(first)?).encode(id, out)
            }
            // No rig has a channel of that number.
            Message::Request(Request::SetInput { load, pull_down, .. })
                if no_loads || refuse && (load || pull_down) =>
            {
                Request::SetInput { channel: 200, load, pull_down }.encode(id, out)
            }
            _ => None,
        })
        .unwrap_or(frame)
    }
}

/// A frame decoded and written anew, from its id and its message; none where it is left as it is.
fn rewritten(
    frame: &[u8],
    change: impl FnOnce(u16, Message<'_>, &mut [u8; MAX_ENCODED]) -> Option<usize>,
) -> Option<Vec<u8>> {
    let mut bytes = [0; MAX_ENCODED];
    let (mut change, mut len) = (Some(change), None);
    Deframer::new().push(frame, |whole| {
        if let (Ok(message), Some(change)) = (Message::decode(&whole), change.take()) {
            len = change(whole.id, message, &mut bytes);
        }
    });
    len.map(|len| bytes[..len].to_vec())
}

/// Takes whole frames, delimiter included, off the front.
fn whole_frames(bytes: &mut Vec<u8>) -> Vec<Vec<u8>> {
    let mut all = Vec::new();
    while let Some(end) = bytes.iter().position(|b| *b == DELIMITER) {
        all.push(bytes.drain(..=end).collect());
    }
    all
}

impl Link for OddLink {
    fn write(&mut self, bytes: &[u8]) -> Result<(), LinkError> {
        self.to_rig.extend(bytes);
        for frame in whole_frames(&mut self.to_rig) {
            let frame = self.rig_bound(frame);
            let frame = self.damaged(frame);
            self.rig.write(&frame);
        }
        Ok(())
    }

    fn read(&mut self, out: &mut [u8], timeout: Duration) -> Result<usize, LinkError> {
        if self.ready.is_empty() {
            let mut buffer = vec![0; 16 * 1024];
            let count = self.rig.read(&mut buffer, timeout.as_micros() as u64);
            self.to_host.extend(&buffer[..count]);
            for frame in whole_frames(&mut self.to_host) {
                let frame = self.host_bound(frame);
                let frame = self.damaged(frame);
                self.ready.extend(frame);
            }
        }
        let count = self.ready.len().min(out.len());
        out[..count].copy_from_slice(&self.ready[..count]);
        self.ready.drain(..count);
        Ok(count)
    }

    fn now(&self) -> Duration {
        Duration::from_micros(self.rig.now_us())
    }

    fn address(&self) -> &'static str {
        "sim:odd"
    }
}
