//! What happened on the line of one session, in order: the newest events, how long answers took, how long either side was silent. It is kept with
//! the record (`session.jsonl`) and reported to `tracing` as it happens.

use super::error::{explain, guard_name, request_name};
use super::statistics::Statistics;
use crate::trace::GapCause;
use hdrhistogram::Histogram;
use serde::{Deserialize, Serialize};
use std::collections::VecDeque;
use std::time::Duration;
use tracing::{Span, debug, debug_span, info, info_span, warn};
use trackpair_protocol::frame::Drops;
use trackpair_protocol::message::{Guard, Refusal};

/// So many events are kept; older ones are counted.
pub const KEPT: usize = 2_000;
/// Round trips that are distinguished, µs.
const ROUND_TRIP_US: (u64, u64) = (1, 10_000_000);
/// Significant decimal digits of the histogram.
const DIGITS: u8 = 2;

/// One thing that happened.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case", tag = "what")]
pub enum LineEvent {
    /// The rig has answered to who it is.
    Opened {
        /// Model.
        model: String,
        /// Serial number.
        serial: String,
        /// Firmware.
        firmware: String,
        /// How often it has started.
        boot: u32,
        /// The session's number; 0 where an earlier program did not record it.
        #[serde(default)]
        session: u32,
    },
    /// A run began.
    RunStarted {
        /// Its number.
        run: u32,
        /// Whether the drive is on.
        drive: bool,
        /// Scan period, µs.
        period_us: u32,
    },
    /// A run is over.
    RunEnded {
        /// Its number.
        run: u32,
        /// Why, in words.
        cause: String,
    },
    /// A request was sent again.
    Repeated {
        /// Which.
        request: String,
        /// How often it has been sent now.
        attempt: u32,
    },
    /// A request was given up.
    GivenUp {
        /// Which.
        request: String,
        /// How often it was sent.
        attempts: u32,
    },
    /// The rig refused a request.
    Refused {
        /// Which.
        request: String,
        /// Why, in words.
        reason: String,
        /// The refusal's detail.
        detail: u32,
    },
    /// An answer came after its request was given up or answered.
    AnswerLate {
        /// To which request.
        request: String,
    },
    /// Frames came damaged and were dropped.
    Damaged {
        /// How many.
        frames: u32,
        /// In what way.
        cause: String,
    },
    /// Events of the rig are missing, by their numbers.
    EventsLost {
        /// How many.
        events: u64,
    },
    /// Scans are missing.
    Gap {
        /// In which run.
        run: u32,
        /// Time before, rig µs.
        from_us: u64,
        /// Time behind, rig µs.
        to_us: u64,
        /// How many.
        scans: u64,
        /// Where they were lost.
        cause: GapCause,
    },
    /// A guard of the rig took the drive off.
    GuardTripped {
        /// Which.
        guard: String,
        /// The value it saw, in the guard's own unit.
        value: i32,
    },
    /// A heartbeat went out late: something on this computer held it up.
    HeartbeatLate {
        /// By how much, ms.
        late_ms: u64,
    },
    /// The session can't go on.
    Fault {
        /// Why, in words.
        why: String,
    },
    /// The rig was left unpowered.
    Closed,
}

impl LineEvent {
    /// A refusal.
    pub(super) fn refused(request: u8, refusal: &Refusal) -> Self {
        let reason = explain(refusal);
        Self::Refused { request: request_name(request).to_owned(), reason, detail: refusal.detail }
    }

    /// A guard that tripped.
    pub(super) fn guard(guard: Guard, value: i32) -> Self {
        Self::GuardTripped { guard: guard_name(guard).to_owned(), value }
    }

    /// Writes to the program's log.
    fn log(&self, span: &Span, at_us: u64) {
        match self {
            Self::Opened { model, serial, firmware, boot, .. } => {
                info!(parent: span, at_us, model, serial, firmware, boot, "session opened");
            }
            Self::RunStarted { run, drive, period_us } => {
                info!(parent: span, at_us, run, drive, period_us, "run started")
            }
            Self::RunEnded { run, cause } => info!(parent: span, at_us, run, cause, "run ended"),
            Self::Repeated { request, attempt } => {
                debug!(parent: span, at_us, request, attempt, "request repeated")
            }
            Self::GivenUp { request, attempts } => {
                warn!(parent: span, at_us, request, attempts, "request given up")
            }
            Self::Refused { request, reason, detail } => {
                info!(parent: span, at_us, request, reason, detail, "request refused");
            }
            Self::AnswerLate { request } => debug!(parent: span, at_us, request, "late answer"),
            Self::Damaged { frames, cause } => {
                debug!(parent: span, at_us, frames, cause, "damaged frames dropped")
            }
            Self::EventsLost { events } => debug!(parent: span, at_us, events, "events lost"),
            Self::Gap { run, from_us, to_us, scans, cause } => {
                debug!(parent: span, at_us, run, from_us, to_us, scans, cause = cause.words(), "samples missing");
            }
            Self::GuardTripped { guard, value } => warn!(parent: span, at_us, guard, value, "guard tripped"),
            Self::HeartbeatLate { late_ms } => warn!(parent: span, at_us, late_ms, "heartbeat late"),
            Self::Fault { why } => warn!(parent: span, at_us, why, "session fault"),
            Self::Closed => info!(parent: span, at_us, "session closed"),
        }
    }
}

/// One event with its time.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Entry {
    /// Time on the link's clock, µs since the link was opened.
    pub at_us: u64,
    /// What happened.
    #[serde(flatten)]
    pub told: LineEvent,
}

/// Where in the program's log something belongs: at which rig, in which session, run and request.
#[derive(Clone, Debug)]
struct Spans {
    rig: Span,
    session: Span,
    run: Span,
    request: Span,
}

impl Spans {
    fn of(address: &str) -> Self {
        let rig = info_span!(parent: None, "rig", address);
        Self { rig, session: Span::none(), run: Span::none(), request: Span::none() }
    }

    /// The innermost that is logged.
    fn here(&self) -> Span {
        if self.request.is_disabled() { self.around_requests() } else { self.request.clone() }
    }

    fn around_requests(&self) -> Span {
        let all = [&self.run, &self.session, &self.rig];
        all.into_iter().find(|span| !span.is_disabled()).cloned().unwrap_or_else(Span::none)
    }

    /// What begins with it.
    fn begin(&mut self, told: &LineEvent) {
        match told {
            LineEvent::Opened { session, .. } => {
                self.session = info_span!(parent: &self.rig, "session", number = session);
            }
            LineEvent::RunStarted { run, .. } => {
                self.run = info_span!(parent: &self.session, "run", number = run);
            }
            _ => {}
        }
    }

    /// What ends with it.
    fn end(&mut self, told: &LineEvent) {
        match told {
            LineEvent::RunEnded { .. } => self.run = Span::none(),
            LineEvent::Closed => self.session = Span::none(),
            _ => {}
        }
    }
}

/// The story of a session.
#[derive(Clone, Debug)]
pub struct Journal {
    spans: Spans,
    entries: VecDeque<Entry>,
    forgotten: u64,
    round_trip_us: Histogram<u64>,
    last_heard: Option<Duration>,
    rig_silence: Duration,
    host_silence: Duration,
}

impl Journal {
    /// Of a rig at this address; nothing has happened yet.
    pub(super) fn of(address: &str) -> Self {
        let (low, high) = ROUND_TRIP_US;
        let histogram = Histogram::new_with_bounds(low, high, DIGITS);
        Self {
            spans: Spans::of(address),
            entries: VecDeque::new(),
            forgotten: 0,
            round_trip_us: histogram.expect("the bounds are in order"),
            last_heard: None,
            rig_silence: Duration::ZERO,
            host_silence: Duration::ZERO,
        }
    }

    /// A request goes out.
    pub(super) fn asking(&mut self, request: u8, id: u16) {
        let around = self.spans.around_requests();
        self.spans.request = debug_span!(parent: &around, "request", kind = request_name(request), id);
    }

    /// It is known what became of the request.
    pub(super) fn asked(&mut self) {
        self.spans.request = Span::none();
    }

    /// Reports.
    pub(super) fn tell(&mut self, now: Duration, told: LineEvent) {
        let at_us = now.as_micros() as u64;
        self.spans.begin(&told);
        told.log(&self.spans.here(), at_us);
        self.spans.end(&told);
        if self.entries.len() >= KEPT {
            self.entries.pop_front();
            self.forgotten += 1;
        }
        self.entries.push_back(Entry { at_us, told });
    }

    /// A request was answered at its first attempt.
    pub(super) fn round_trip(&mut self, took: Duration) {
        let (low, high) = ROUND_TRIP_US;
        self.round_trip_us.saturating_record((took.as_micros() as u64).clamp(low, high));
    }

    /// Frames were dropped since.
    pub(super) fn damaged(&mut self, now: Duration, before: &Drops, after: &Drops) {
        let causes = [
            ("checksum", before.crc, after.crc),
            ("byte stuffing", before.stuffing, after.stuffing),
            ("too short", before.too_short, after.too_short),
            ("too long", before.too_long, after.too_long),
        ];
        for (cause, before, after) in causes {
            if after > before {
                self.tell(now, LineEvent::Damaged { frames: after - before, cause: cause.to_owned() });
            }
        }
    }

    /// Something whole of the rig came.
    pub(super) fn heard(&mut self, now: Duration) {
        if let Some(last) = self.last_heard.replace(now) {
            self.rig_silence = self.rig_silence.max(now.saturating_sub(last));
        }
    }

    /// A heartbeat went out so long after the one before.
    pub(super) fn beat_gap(&mut self, gap: Duration) {
        self.host_silence = self.host_silence.max(gap);
    }

    /// What is kept, oldest first.
    pub fn entries(&self) -> impl Iterator<Item = &Entry> {
        self.entries.iter()
    }

    /// What it all came to.
    pub fn summary(&self, counts: &Statistics) -> Summary {
        let at = |quantile| self.round_trip_us.value_at_quantile(quantile);
        let answered = self.round_trip_us.len();
        let round_trip_us = (answered > 0).then(|| RoundTrips {
            p50: at(0.5),
            p90: at(0.9),
            p99: at(0.99),
            max: self.round_trip_us.max(),
        });
        Summary {
            forgotten: self.forgotten,
            answered,
            round_trip_us,
            longest_rig_silence_ms: self.rig_silence.as_millis() as u64,
            longest_heartbeat_gap_ms: self.host_silence.as_millis() as u64,
            counts: Counts::of(counts),
        }
    }
}

/// How long answers took that came at the first attempt, µs.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct RoundTrips {
    /// Half of them no longer.
    pub p50: u64,
    /// 9 of 10 no longer.
    pub p90: u64,
    /// 99 of 100 no longer.
    pub p99: u64,
    /// The longest.
    pub max: u64,
}

/// What a session's line came to.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Summary {
    /// Older events that were not kept.
    pub forgotten: u64,
    /// Requests answered at the first attempt.
    pub answered: u64,
    /// How long those took, µs; none without one.
    pub round_trip_us: Option<RoundTrips>,
    /// Longest time without anything whole of the rig, ms.
    pub longest_rig_silence_ms: u64,
    /// Longest time between two heartbeats, ms: 50 are meant, the rig takes the drive off at 300.
    pub longest_heartbeat_gap_ms: u64,
    /// Counters.
    pub counts: Counts,
}

/// Counters of a session as they are kept. None of them is an error by itself.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
#[serde(default)]
pub struct Counts {
    /// Requests sent, repeats not counted.
    pub requests: u64,
    /// Repeats.
    pub repeats: u64,
    /// Answers that came late.
    pub late: u64,
    /// Answers that came again.
    pub duplicate: u64,
    /// Heartbeats that were never answered.
    pub heartbeats_unanswered: u64,
    /// Events that never came.
    pub events_lost: u64,
    /// Events that came again.
    pub events_duplicate: u64,
    /// Bytes received.
    pub bytes: u64,
    /// Frames received whole.
    pub frames: u64,
    /// Frames of another protocol version.
    pub other_version: u64,
    /// Whole frames that are no message.
    pub not_understood: u64,
    /// Frames dropped: checksum.
    pub damaged_checksum: u64,
    /// Frames dropped: byte stuffing.
    pub damaged_stuffing: u64,
    /// Frames dropped: too short.
    pub damaged_short: u64,
    /// Frames dropped: too long.
    pub damaged_long: u64,
    /// Blocks that came again.
    pub blocks_duplicate: u64,
    /// Blocks put in order.
    pub blocks_reordered: u64,
    /// Blocks that came after they were given up.
    pub blocks_late: u64,
    /// Blocks that belong to no run.
    pub blocks_rejected: u64,
    /// Blocks that this computer had no room for.
    pub blocks_shed: u64,
    /// Scans lost on the way.
    pub scans_lost_line: u64,
    /// Scans that the rig did not send.
    pub scans_lost_rig: u64,
    /// Scans that this computer had no room for.
    pub scans_lost_host: u64,
}

impl Counts {
    /// Frames that came damaged.
    pub const fn damaged(&self) -> u64 {
        self.damaged_checksum + self.damaged_stuffing + self.damaged_short + self.damaged_long
    }

    /// Of two sessions together.
    pub const fn and(&self, other: &Self) -> Self {
        Self {
            requests: self.requests + other.requests,
            repeats: self.repeats + other.repeats,
            late: self.late + other.late,
            duplicate: self.duplicate + other.duplicate,
            heartbeats_unanswered: self.heartbeats_unanswered + other.heartbeats_unanswered,
            events_lost: self.events_lost + other.events_lost,
            events_duplicate: self.events_duplicate + other.events_duplicate,
            bytes: self.bytes + other.bytes,
            frames: self.frames + other.frames,
            other_version: self.other_version + other.other_version,
            not_understood: self.not_understood + other.not_understood,
            damaged_checksum: self.damaged_checksum + other.damaged_checksum,
            damaged_stuffing: self.damaged_stuffing + other.damaged_stuffing,
            damaged_short: self.damaged_short + other.damaged_short,
            damaged_long: self.damaged_long + other.damaged_long,
            blocks_duplicate: self.blocks_duplicate + other.blocks_duplicate,
            blocks_reordered: self.blocks_reordered + other.blocks_reordered,
            blocks_late: self.blocks_late + other.blocks_late,
            blocks_rejected: self.blocks_rejected + other.blocks_rejected,
            blocks_shed: self.blocks_shed + other.blocks_shed,
            scans_lost_line: self.scans_lost_line + other.scans_lost_line,
            scans_lost_rig: self.scans_lost_rig + other.scans_lost_rig,
            scans_lost_host: self.scans_lost_host + other.scans_lost_host,
        }
    }

    fn of(s: &Statistics) -> Self {
        Self {
            requests: s.requests,
            repeats: s.retries,
            late: s.late,
            duplicate: s.duplicate,
            heartbeats_unanswered: s.heartbeats_unanswered,
            events_lost: s.events_lost,
            events_duplicate: s.events_duplicate,
            bytes: s.bytes,
            frames: s.frames,
            other_version: s.other_version,
            not_understood: s.not_understood,
            damaged_checksum: s.drops.crc.into(),
            damaged_stuffing: s.drops.stuffing.into(),
            damaged_short: s.drops.too_short.into(),
            damaged_long: s.drops.too_long.into(),
            blocks_duplicate: s.blocks_duplicate,
            blocks_reordered: s.blocks_reordered,
            blocks_late: s.blocks_late,
            blocks_rejected: s.blocks_rejected,
            blocks_shed: s.blocks_shed,
            scans_lost_line: s.scans_lost_line,
            scans_lost_rig: s.scans_lost_rig,
            scans_lost_host: s.scans_lost_host,
        }
    }
}
