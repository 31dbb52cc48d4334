//! The protocol of one session without bytes moved and without a clock: what came goes in with the time it came, what is to be sent comes out,
//! and when it wants to be called again. A driver (`line`, `driver`) moves the bytes.
//!
//! It owns ids, repeats, heartbeats and the patience with a silent rig. Times are those of the driver's clock, from any zero, never going back.

use super::error::{SessionError, request_name};
use super::heard::Heard;
use super::inbox::Inbox;
use super::journal::{Journal, LineEvent};
use super::statistics::Statistics;
use std::time::Duration;
use trackpair_protocol::frame::{DELIMITER, Deframer, Drops, MAX_ENCODED};
use trackpair_protocol::message::{Refusal, Reply, Request};

/// Time between heartbeats: a computer that stands still for 200 ms just after one was due is still heard within a rig's 300 ms.
pub const HEARTBEAT_EVERY: Duration = Duration::from_millis(50);
/// Silence after which a rig counts as gone. More than three times the rig's own patience.
const GONE_AFTER: Duration = Duration::from_millis(1_000);
/// A heartbeat that goes out so late is reported: something on this computer held it up. The rig's own patience is 300 ms.
const OVERDUE: Duration = Duration::from_millis(100);

/// How long and how often a request is asked.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Patience {
    /// How long one attempt waits.
    pub(super) timeout: Duration,
    /// How often it is sent.
    pub(super) attempts: u32,
}

/// What became of a request.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Answer {
    /// The rig did it, or said it.
    Reply(Reply),
    /// The rig refused.
    Refused(Refusal),
    /// Nothing came, however often it was asked.
    None { attempts: u32, waited: Duration },
}

/// A request on its way.
#[derive(Clone, Debug)]
struct Asked {
    kind: u8,
    bytes: Vec<u8>,
    patience: Patience,
    attempt: u32,
    until: Duration,
    since: Duration,
}

/// What the endpoint has seen of the line by itself.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct Seen {
    /// Counters.
    pub(super) counts: Statistics,
    /// Protocol version of frames that were not of this program's.
    pub(super) other_version: Option<u8>,
    /// Requests that came: a rig sends none, so they are this program's own.
    pub(super) echoed: u64,
}

/// One session's protocol.
#[derive(Debug)]
pub(super) struct Endpoint {
    deframer: Deframer,
    inbox: Inbox,
    last_id: u16,
    /// Whether heartbeats go out.
    alive: bool,
    last_beat: Option<Duration>,
    asked: Option<Asked>,
    answer: Option<Answer>,
    fault: Option<SessionError>,
    /// When the rig's silence was last reported.
    silence_told: Option<Duration>,
    out: Vec<u8>,
    drops: Drops,
    journal: Journal,
}

impl Endpoint {
    /// To a rig at this address; ids follow on `last_id`. The first byte sent ends whatever the rig has of a frame.
    pub(super) fn new(last_id: u16, address: &str) -> Self {
        Self {
            deframer: Deframer::new(),
            inbox: Inbox::default(),
            last_id,
            alive: false,
            last_beat: None,
            asked: None,
            answer: None,
            fault: None,
            silence_told: None,
            out: vec![DELIMITER],
            drops: Drops::default(),
            journal: Journal::of(address),
        }
    }

    /// From now on heartbeats go out.
    pub(super) fn keep_alive(&mut self) {
        self.alive = true;
    }

    /// Asks: repeated under the same id until the answer comes or patience ends. What was asked before is not waited for any more. False: it
    /// does not fit a frame.
    pub(super) fn ask(&mut self, now: Duration, request: &Request, patience: Patience) -> bool {
        let kind = request.kind();
        let id = self.new_id();
        let mut bytes = [0; MAX_ENCODED];
        let Some(len) = request.encode(id, &mut bytes) else { return false };
        self.inbox.expect(id, kind);
        self.journal.asking(kind, id);
        self.inbox.counts.requests += 1;
        self.answer = None;
        self.out.extend_from_slice(&bytes[..len]);
        let until = now + patience.timeout;
        let bytes = bytes[..len].to_vec();
        self.asked = Some(Asked { kind, bytes, patience, attempt: 1, until, since: now });
        true
    }

    /// Takes bytes that came.
    pub(super) fn received(&mut self, now: Duration, bytes: &[u8]) {
        let Self { deframer, inbox, journal, .. } = self;
        inbox.counts.bytes += bytes.len() as u64;
        deframer.push(bytes, |frame| inbox.accept(&frame, now, journal));
        let drops = self.deframer.drops();
        if drops != self.drops {
            self.journal.damaged(now, &self.drops, &drops);
            self.drops = drops;
        }
        if let Some(fault) = self.inbox.take_fault() {
            self.fail(now, fault);
        }
        if let Some(answer) = self.inbox.take_answer()
            && let Some(asked) = self.asked.take()
        {
            if asked.attempt == 1 {
                self.journal.round_trip(now.saturating_sub(asked.since));
            }
            if let Err(refusal) = &answer {
                self.journal.tell(now, LineEvent::refused(asked.kind, refusal));
            }
            self.journal.asked();
            self.answer = Some(answer.map_or_else(Answer::Refused, Answer::Reply));
        }
    }

    /// Does what is due: heartbeat, repeat, giving up.
    pub(super) fn tick(&mut self, now: Duration) {
        self.beat(now);
        if let Some(asked) = self.asked.take_if(|asked| now >= asked.until) {
            self.repeat(now, asked);
        }
    }

    /// A look at the line has just found nothing: whether the rig has been silent for too long. After this computer itself was held up, what waits on
    /// the line must be taken first.
    pub(super) fn nothing_came(&mut self, now: Duration) {
        let told = self.silence_told;
        if let Some(since) = self.inbox.silent_since()
            && now.saturating_sub(since) >= GONE_AFTER
            && told.is_none_or(|told| now >= told + HEARTBEAT_EVERY)
        {
            self.silence_told = Some(now);
            self.fail(
                now,
                SessionError::WentSilent { silent_ms: now.saturating_sub(since).as_millis() as u64 },
            );
        }
    }

    /// When [`Endpoint::tick`] and a look at the line are due at the latest.
    pub(super) fn deadline(&self) -> Option<Duration> {
        let beat = self.alive.then(|| self.next_beat());
        let asked = self.asked.as_ref().map(|asked| asked.until);
        let silence = self.inbox.silent_since().map(|since| {
            let again = self.silence_told.map_or(Duration::ZERO, |told| told + HEARTBEAT_EVERY);
            again.max(since + GONE_AFTER)
        });
        [beat, asked, silence].into_iter().flatten().min()
    }

    /// What is to be sent now, taken out.
    pub(super) fn take_out(&mut self) -> Vec<u8> {
        std::mem::take(&mut self.out)
    }

    /// What the rig sent by itself, one thing after the other.
    pub(super) fn take_heard(&mut self) -> Option<Heard> {
        self.inbox.take_heard()
    }

    /// Whether it is known what became of the request.
    pub(super) fn has_answer(&self) -> bool {
        self.answer.is_some()
    }

    /// What became of the request, once.
    pub(super) fn take_answer(&mut self) -> Option<Answer> {
        self.answer.take()
    }

    /// What makes the session impossible to go on with, once each.
    pub(super) fn take_fault(&mut self) -> Option<SessionError> {
        self.fault.take()
    }

    /// Counters so far, and what else was seen.
    pub(super) fn seen(&self) -> Seen {
        let Inbox { other_version, echoed, counts, .. } = &self.inbox;
        let counts = Statistics { drops: self.deframer.drops(), ..*counts };
        Seen { counts, other_version: *other_version, echoed: *echoed }
    }

    /// The link's story.
    pub(super) fn journal(&mut self) -> &mut Journal {
        &mut self.journal
    }

    /// Stop and supply off, each twice against a lost frame; their answers are not waited for.
    pub(super) fn let_go(&mut self) {
        for request in [Request::Stop, Request::SetSupply { millivolts: 0 }] {
            let id = self.new_id();
            let mut bytes = [0; MAX_ENCODED];
            if let Some(len) = request.encode(id, &mut bytes) {
                self.out.extend_from_slice(&bytes[..len]);
                self.out.extend_from_slice(&bytes[..len]);
            }
        }
    }

    fn fail(&mut self, now: Duration, fault: SessionError) {
        self.journal.tell(now, LineEvent::Fault { why: fault.to_string() });
        self.fault.get_or_insert(fault);
    }

    /// The next request id; never 0, which is for what a rig sends unasked.
    fn new_id(&mut self) -> u16 {
        self.last_id = self.last_id.wrapping_add(1).max(1);
        self.last_id
    }

    fn next_beat(&self) -> Duration {
        let due = self.last_beat.map_or(Duration::ZERO, |last| last + HEARTBEAT_EVERY);
        if self.inbox.boot_suspected { Duration::ZERO } else { due }
    }

    fn beat(&mut self, now: Duration) {
        if !self.alive || now < self.next_beat() {
            return;
        }
        if let Some(last) = self.last_beat
            && now.saturating_sub(last) >= HEARTBEAT_EVERY + OVERDUE
        {
            let late_ms = (now - last - HEARTBEAT_EVERY).as_millis() as u64;
            self.journal.tell(now, LineEvent::HeartbeatLate { late_ms });
        }
        self.inbox.boot_suspected = false;
        if let Some(last) = self.last_beat.replace(now) {
            self.journal.beat_gap(now.saturating_sub(last));
        }
        let id = self.new_id();
        let mut bytes = [0; MAX_ENCODED];
        if let Some(len) = Request::Heartbeat.encode(id, &mut bytes) {
            self.inbox.counts.requests += 1;
            self.inbox.beat_sent(id, now);
            self.out.extend_from_slice(&bytes[..len]);
        }
    }

    fn repeat(&mut self, now: Duration, mut asked: Asked) {
        let request = request_name(asked.kind).to_owned();
        if asked.attempt >= asked.patience.attempts {
            let (attempts, waited) = (asked.attempt, now.saturating_sub(asked.since));
            self.inbox.give_up();
            self.journal.tell(now, LineEvent::GivenUp { request, attempts });
            self.journal.asked();
            self.answer = Some(Answer::None { attempts, waited });
            return;
        }
        asked.attempt += 1;
        asked.until = now + asked.patience.timeout;
        self.inbox.counts.retries += 1;
        self.journal.tell(now, LineEvent::Repeated { request, attempt: asked.attempt });
        self.out.extend_from_slice(&asked.bytes);
        self.asked = Some(asked);
    }
}
