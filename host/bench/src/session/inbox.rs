//! Sorts what comes from a rig: the awaited answer, answers to heartbeats, events, blocks. It sends nothing and waits for
//! nothing.

use super::error::{SessionError, request_name};
use super::heard::Heard;
use super::journal::{Journal, LineEvent};
use super::statistics::Statistics;
use std::collections::VecDeque;
use std::ops::Range;
use std::time::Duration;
use trackpair_protocol::frame::Frame;
use trackpair_protocol::message::{DecodeError, Event, EventKind, Message, Reason, Refusal, Reply, kind};

/// Answers whose ids are remembered, to distinguish a second answer from a late one.
const REMEMBERED: usize = 32;
/// Stretches of missing events that are remembered, to take one that comes late for what it is. A rig that jumps about fills no memory.
const STRETCHES: usize = 64;
/// A jump by more events than this is a rig that counts anew, not a lost stretch.
const LONGEST_STRETCH: u32 = 10_000;

/// The request whose answer is awaited.
#[derive(Clone, Copy, Debug)]
struct Awaited {
    id: u16,
    kind: u8,
}

/// A heartbeat without an answer yet.
#[derive(Clone, Copy, Debug)]
struct Beat {
    id: u16,
    sent: Duration,
}

/// What has come and not been fetched, and what is being waited for.
#[derive(Debug, Default)]
pub(super) struct Inbox {
    awaited: Option<Awaited>,
    answer: Option<Result<Reply, Refusal>>,
    answered: VecDeque<u16>,
    beats: VecDeque<Beat>,
    /// Newest answered heartbeat: id and rig clock.
    last_beat: Option<(u16, u64)>,
    /// When anything of the rig last came, link time.
    last_heard: Duration,
    next_event: Option<u32>,
    missing_events: VecDeque<Range<u32>>,
    /// Protocol version of frames that were not of this program's.
    pub(super) other_version: Option<u8>,
    /// Requests that came: a rig sends none, so they are this program's own.
    pub(super) echoed: u64,
    /// A `Booted` event came: to be checked by a heartbeat at once.
    pub(super) boot_suspected: bool,
    fault: Option<SessionError>,
    /// What the rig sent by itself.
    heard: VecDeque<Heard>,
    pub(super) counts: Statistics,
}

impl Inbox {
    /// From now on the answer to this request is awaited.
    pub(super) fn expect(&mut self, id: u16, kind: u8) {
        self.awaited = Some(Awaited { id, kind });
        self.answer = None;
    }

    /// The awaited answer, if it has come.
    pub(super) fn take_answer(&mut self) -> Option<Result<Reply, Refusal>> {
        self.answer.take()
    }

    /// The awaited answer is not waited for any more.
    pub(super) fn give_up(&mut self) {
        self.awaited = None;
    }

    /// A heartbeat went out.
    pub(super) fn beat_sent(&mut self, id: u16, sent: Duration) {
        let forgotten = push_bounded(&mut self.beats, REMEMBERED, Beat { id, sent });
        self.counts.heartbeats_unanswered += u64::from(forgotten.is_some());
    }

    /// Since when the rig owes any sign of life: the oldest heartbeat after which nothing has come.
    pub(super) fn silent_since(&self) -> Option<Duration> {
        self.beats.iter().map(|beat| beat.sent).find(|sent| *sent > self.last_heard)
    }

    /// What makes the session impossible to go on with.
    pub(super) fn take_fault(&mut self) -> Option<SessionError> {
        self.fault.take()
    }

    /// What the rig sent by itself, one thing after the other.
    pub(super) fn take_heard(&mut self) -> Option<Heard> {
        self.heard.pop_front()
    }

    /// Sorts one frame that came at `now`.
    pub(super) fn accept(&mut self, frame: &Frame<'_>, now: Duration, journal: &mut Journal) {
        self.counts.frames += 1;
        match Message::decode(frame) {
            Ok(message) => {
                self.last_heard = now;
                journal.heard(now);
                match message {
                    Message::Samples(block) => self.heard.push_back(Heard::Block(block.into())),
                    Message::Event(event) => {
                        let lost = self.counts.events_lost;
                        self.take_event(&event);
                        if self.counts.events_lost > lost {
                            journal
                                .tell(now, LineEvent::EventsLost { events: self.counts.events_lost - lost });
                        }
                        if let EventKind::GuardTripped { guard, value } = event.kind {
                            journal.tell(now, LineEvent::guard(guard, value));
                        }
                    }
                    Message::Reply(reply) => self.take_reply(frame, Ok(reply), now, journal),
                    Message::Refusal(refusal) => self.take_reply(frame, Err(refusal), now, journal),
                    Message::Request(_) => {
                        self.counts.not_understood += 1;
                        self.echoed += 1;
                    }
                }
            }
            Err(DecodeError::Version(version)) => {
                self.counts.other_version += 1;
                self.other_version = Some(version);
            }
            Err(_) => {
                self.counts.not_understood += 1;
                self.check_awaited(frame);
            }
        }
    }

    /// The awaited answer itself, whole by its checksum, with content that breaks the protocol's rules: asking again would
    /// bring the same.
    fn check_awaited(&mut self, frame: &Frame<'_>) {
        let awaited = self.awaited.filter(|a| a.id == frame.id && a.kind | kind::REPLY == frame.kind);
        if let Some(awaited) = awaited {
            self.fault = Some(SessionError::Nonsense {
                request: request_name(awaited.kind),
                problem: "a number in it is not finite or out of range".to_owned(),
            });
        }
    }

    fn take_reply(
        &mut self,
        frame: &Frame<'_>,
        answer: Result<Reply, Refusal>,
        now: Duration,
        journal: &mut Journal,
    ) {
        let kind = match &answer {
            Ok(_) => frame.kind & !kind::REPLY,
            Err(refusal) => refusal.request,
        };
        if let Err(Refusal { reason: Reason::Version, detail, .. }) = answer {
            self.other_version = Some(detail as u8);
        }
        if kind == kind::HEARTBEAT {
            self.take_beat(frame.id, &answer);
        } else if self.awaited.is_some_and(|awaited| awaited.id == frame.id && awaited.kind == kind) {
            self.awaited = None;
            self.answer = Some(answer);
            self.remember(frame.id);
        } else if self.answered.contains(&frame.id) {
            self.counts.duplicate += 1;
        } else {
            self.counts.late += 1;
            journal.tell(now, LineEvent::AnswerLate { request: request_name(kind).to_owned() });
        }
    }

    fn remember(&mut self, id: u16) {
        push_bounded(&mut self.answered, REMEMBERED, id);
    }

    fn take_beat(&mut self, id: u16, answer: &Result<Reply, Refusal>) {
        let Some(at) = self.beats.iter().position(|beat| beat.id == id) else {
            if self.answered.contains(&id) {
                self.counts.duplicate += 1;
            } else {
                self.counts.late += 1;
            }
            return;
        };
        self.beats.remove(at);
        self.remember(id);
        match answer {
            Ok(Reply::Done { rig_us }) => self.check_clock(id, *rig_us),
            Err(Refusal { reason: Reason::NoSession, .. }) => self.fault = Some(SessionError::Rebooted),
            _ => {}
        }
    }

    /// A later heartbeat's answer with an earlier time means that the rig's clock has begun anew.
    fn check_clock(&mut self, id: u16, rig_us: u64) {
        match self.last_beat {
            Some((last, _)) if (id.wrapping_sub(last) as i16) < 0 => {}
            Some((_, last_us)) if rig_us < last_us => self.fault = Some(SessionError::Rebooted),
            _ => self.last_beat = Some((id, rig_us)),
        }
    }

    /// Whether an event was missing; it is no more.
    fn find_missing(&mut self, number: u32) -> bool {
        let Some(at) = self.missing_events.iter().position(|stretch| stretch.contains(&number)) else {
            return false;
        };
        let Some(stretch) = self.missing_events.remove(at) else { return false };
        for rest in [number + 1..stretch.end, stretch.start..number] {
            if !rest.is_empty() {
                push_bounded(&mut self.missing_events, STRETCHES, rest);
            }
        }
        true
    }

    fn take_event(&mut self, event: &Event) {
        if event.kind == EventKind::Booted && self.next_event.is_some() {
            self.boot_suspected = true;
        }
        let next = self.next_event.unwrap_or(event.number);
        if event.number >= next {
            let lost = event.number - next;
            if (1..LONGEST_STRETCH).contains(&lost) {
                push_bounded(&mut self.missing_events, STRETCHES, next..event.number);
                self.counts.events_lost += u64::from(lost);
            }
            self.next_event = Some(event.number.wrapping_add(1));
        } else if self.find_missing(event.number) {
            self.counts.events_lost -= 1;
        } else {
            self.counts.events_duplicate += 1;
            return;
        }
        self.heard.push_back(Heard::Event(*event));
    }
}

/// Puts a thing last into a queue of at most so many; the first is forgotten and returned when there is no room.
fn push_bounded<T>(queue: &mut VecDeque<T>, most: usize, last: T) -> Option<T> {
    let forgotten = if queue.len() >= most { queue.pop_front() } else { None };
    queue.push_back(last);
    forgotten
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The counts of lost and of repeated events after these numbers came.
    fn after(numbers: impl IntoIterator<Item = u32>) -> (Inbox, u64, u64) {
        let mut inbox = Inbox::default();
        for number in numbers {
            inbox.take_event(&Event { number, rig_us: 0, run: 0, kind: EventKind::RunStarted });
        }
        let (lost, again) = (inbox.counts.events_lost, inbox.counts.events_duplicate);
        (inbox, lost, again)
    }

    #[test]
    fn events_that_come_late_are_no_longer_lost_and_come_once() {
        assert_eq!(after([5, 9]).1, 3);
        let (inbox, lost, again) = after([5, 9, 7, 6, 8, 7, 9]);
        assert_eq!((lost, again, inbox.missing_events.len()), (0, 2, 0));
    }

    #[test]
    fn a_rig_whose_events_jump_about_fills_no_memory() {
        let (inbox, lost, _) = after((0..400_000).map(|k| k * 9_999));
        assert_eq!(inbox.missing_events.len(), STRETCHES);
        assert_eq!(lost, 399_999 * 9_998);
    }
}
