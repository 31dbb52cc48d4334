//! What moves the bytes of a session: a link that is polled where the session waits (simulated rigs on virtual time, lines made bad in tests), or a
//! real port with a thread of its own (`driver`). Either way the protocol is `endpoint`'s.

use super::SessionError;
use super::driver::Driven;
use super::endpoint::{Answer, Endpoint, Patience, Seen};
use super::heard::Heard;
use super::journal::{Journal, LineEvent};
use crate::link::Link;
use std::ops::{Deref, DerefMut};
use std::time::Duration;
use trackpair_protocol::message::Request;

/// A line of either kind.
pub(super) enum Line {
    Polled(Box<Polled>),
    Driven(Box<Driven>),
}

/// A link that is polled.
pub(super) struct Polled {
    link: Box<dyn Link>,
    endpoint: Endpoint,
    buffer: Vec<u8>,
}

impl Polled {
    /// Over this link; request ids follow on `last_id`.
    pub(super) fn new(link: Box<dyn Link>, last_id: u16) -> Self {
        let endpoint = Endpoint::new(last_id, link.address());
        Self { link, endpoint, buffer: vec![0; 16 * 1024] }
    }

    fn flush(&mut self) -> Result<(), SessionError> {
        let out = self.endpoint.take_out();
        if out.is_empty() { Ok(()) } else { Ok(self.link.write(&out)?) }
    }

    fn pump(&mut self, timeout: Duration) -> Result<(), SessionError> {
        let now = self.link.now();
        self.endpoint.tick(now);
        self.flush()?;
        if self.endpoint.has_answer() {
            return Ok(());
        }
        let due = self.endpoint.deadline().map_or(timeout, |at| at.saturating_sub(now));
        let count = self.link.read(&mut self.buffer, timeout.min(due))?;
        let now = self.link.now();
        match &self.buffer[..count] {
            [] => self.endpoint.nothing_came(now),
            bytes => self.endpoint.received(now, bytes),
        }
        self.endpoint.take_fault().map_or(Ok(()), Err)
    }
}

impl Line {
    /// Asks; the answer before it, if there is one, is forgotten. False: the request does not fit a frame.
    pub(super) fn ask(&mut self, request: &Request, patience: Patience) -> bool {
        match self {
            Self::Polled(line) => line.endpoint.ask(line.link.now(), request, patience),
            Self::Driven(line) => line.ask(request, patience),
        }
    }

    /// Waits at most so long for something to come. It may return sooner.
    pub(super) fn pump(&mut self, timeout: Duration) -> Result<(), SessionError> {
        match self {
            Self::Polled(line) => line.pump(timeout),
            Self::Driven(line) => line.pump(timeout),
        }
    }

    /// What the rig sent by itself, one thing after the other.
    pub(super) fn take_heard(&mut self) -> Option<Heard> {
        match self {
            Self::Polled(line) => line.endpoint.take_heard(),
            Self::Driven(line) => line.take_heard(),
        }
    }

    /// What a rig sends while no run is on is nobody's.
    pub(super) fn forget_heard(&mut self) {
        while self.take_heard().is_some() {}
    }

    /// What became of the request asked last, once.
    pub(super) fn take_answer(&mut self) -> Option<Answer> {
        match self {
            Self::Polled(line) => line.endpoint.take_answer(),
            Self::Driven(line) => line.take_answer(),
        }
    }

    /// From now on heartbeats go out.
    fn keep_alive(&mut self) {
        match self {
            Self::Polled(line) => line.endpoint.keep_alive(),
            Self::Driven(line) => line.keep_alive(),
        }
    }

    /// Notes in the link's story what only the session knows.
    pub(super) fn note(&mut self, told: LineEvent) {
        match self {
            Self::Polled(line) => {
                let now = line.link.now();
                line.endpoint.journal().tell(now, told);
            }
            Self::Driven(line) => line.note(told),
        }
    }

    /// The link's story so far.
    pub(super) fn journal(&mut self) -> Journal {
        match self {
            Self::Polled(line) => line.endpoint.journal().clone(),
            Self::Driven(line) => line.journal(),
        }
    }

    /// Stop and supply off on whatever the line still carries; nothing is waited for.
    fn let_go(&mut self) {
        match self {
            Self::Polled(line) => {
                line.endpoint.let_go();
                if line.flush().is_ok() {
                    let _ = line.link.read(&mut line.buffer, Duration::from_millis(20));
                }
            }
            Self::Driven(line) => line.let_go(),
        }
    }

    /// Counters so far, and what else was seen.
    pub(super) fn seen(&self) -> Seen {
        match self {
            Self::Polled(line) => line.endpoint.seen(),
            Self::Driven(line) => line.seen(),
        }
    }

    /// Time on the line's clock.
    pub(super) fn now(&self) -> Duration {
        match self {
            Self::Polled(line) => line.link.now(),
            Self::Driven(line) => line.now(),
        }
    }

    /// The address for messages and provenance.
    pub(super) fn address(&self) -> &str {
        match self {
            Self::Polled(line) => line.link.address(),
            Self::Driven(line) => line.address(),
        }
    }
}

/// The line of a rig that has said who it is: heartbeats go out on it, and it lets go of the rig when it is dropped, unless the rig was left at
/// rest.
pub(super) struct RigLine {
    line: Line,
    at_rest: bool,
}

impl RigLine {
    /// A rig answers at the other end.
    pub(super) fn hold(mut line: Line) -> Self {
        line.keep_alive();
        Self { line, at_rest: false }
    }

    /// Whether the rig has confirmed that it is stopped and its supply off: then nothing more is to be sent.
    pub(super) fn set_at_rest(&mut self, at_rest: bool) {
        self.at_rest = at_rest;
    }
}

impl Deref for RigLine {
    type Target = Line;

    fn deref(&self) -> &Line {
        &self.line
    }
}

impl DerefMut for RigLine {
    fn deref_mut(&mut self) -> &mut Line {
        &mut self.line
    }
}

impl Drop for RigLine {
    fn drop(&mut self) {
        if !self.at_rest {
            self.line.let_go();
        }
    }
}
