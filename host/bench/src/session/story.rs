//! A session's journal as a file beside the record (`session.jsonl`, a JSON object a line: head, events, summary) and in plain words.

use super::journal::{Counts, Entry, Journal, LineEvent, Summary};
use super::statistics::Statistics;
use serde::{Deserialize, Serialize};
use std::fmt::Write;

/// Version of the file.
pub const STORY_SCHEMA: u32 = 1;

/// First line of a session in the file.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Head {
    /// `session`.
    pub document: String,
    /// [`STORY_SCHEMA`].
    pub schema: u32,
    /// Address of the rig.
    pub rig: String,
}

/// What happened in one session.
#[derive(Clone, Debug, PartialEq)]
pub struct Story {
    /// Address of the rig.
    pub rig: String,
    /// Newest events, oldest first.
    pub entries: Vec<Entry>,
    /// What it came to; none where the file was cut off.
    pub summary: Option<Summary>,
}

/// Last line of a session.
#[derive(Clone, Debug, Serialize, Deserialize)]
struct Last {
    summary: Summary,
}

/// Why a file is no story.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum StoryError {
    /// A line that can't be understood.
    #[error(
        "line {line} is not an event of a session: {cause}; the file was altered, or a newer trackpair wrote it"
    )]
    Line {
        /// Which, from 1.
        line: usize,
        /// Why.
        cause: String,
    },
    /// It does not begin as a session.
    #[error("line {line} begins no session of schema {STORY_SCHEMA}; a newer trackpair may have written it")]
    Head {
        /// Which, from 1.
        line: usize,
    },
}

impl Story {
    /// Of a session that is over, or goes on.
    pub fn of(rig: &str, journal: &Journal, statistics: &Statistics) -> Self {
        let entries = journal.entries().cloned().collect();
        Self { rig: rig.to_owned(), entries, summary: Some(journal.summary(statistics)) }
    }

    /// As lines of JSON.
    pub fn to_jsonl(&self) -> String {
        let mut text = String::new();
        let mut line = |json: serde_json::Result<String>| {
            // Plain data under text keys: it can't fail.
            text += &json.unwrap_or_default();
            text.push('\n');
        };
        let head = Head { document: "session".to_owned(), schema: STORY_SCHEMA, rig: self.rig.clone() };
        line(serde_json::to_string(&head));
        for entry in &self.entries {
            line(serde_json::to_string(entry));
        }
        if let Some(summary) = &self.summary {
            line(serde_json::to_string(&Last { summary: summary.clone() }));
        }
        text
    }

    /// Reads the sessions of a file.
    ///
    /// # Errors
    /// [`StoryError`] names the line.
    pub fn read(text: &str) -> Result<Vec<Self>, StoryError> {
        let mut sessions: Vec<Self> = Vec::new();
        for (k, text) in text.lines().enumerate() {
            let line = k + 1;
            if let Ok(head) = serde_json::from_str::<Head>(text) {
                if head.document != "session" || head.schema != STORY_SCHEMA {
                    return Err(StoryError::Head { line });
                }
                sessions.push(Self { rig: head.rig, entries: Vec::new(), summary: None });
                continue;
            }
            let session = sessions.last_mut().ok_or(StoryError::Head { line })?;
            match serde_json::from_str::<Last>(text) {
                Ok(Last { summary }) => session.summary = Some(summary),
                Err(_) => session.entries.push(
                    serde_json::from_str(text)
                        .map_err(|cause| StoryError::Line { line, cause: cause.to_string() })?,
                ),
            }
        }
        Ok(sessions)
    }

    /// In plain words, for a terminal.
    pub fn words(&self) -> String {
        let mut text = format!("Session with the rig at {}\n", self.rig);
        if let Some(forgotten) = self.summary.as_ref().map(|s| s.forgotten).filter(|n| *n > 0) {
            let _ = writeln!(text, "  {forgotten} older events were not kept");
        }
        for Entry { at_us, told } in &self.entries {
            let _ = writeln!(text, "  {:>9.3} s  {}", *at_us as f64 / 1e6, sentence(told));
        }
        text += "Line\n";
        match &self.summary {
            Some(summary) => told_of(summary).iter().for_each(|line| {
                let _ = writeln!(text, "  {line}");
            }),
            None => text += "  the file ends before the session's summary\n",
        }
        text
    }
}

/// A number with its thing: `1 frame`, `2 frames`.
pub fn many(count: u64, thing: &str) -> String {
    let s = if count == 1 { "" } else { "s" };
    format!("{count} {thing}{s}")
}

fn sentence(told: &LineEvent) -> String {
    match told {
        LineEvent::Opened { model, serial, firmware, boot, .. } => {
            format!(
                "opened: {model}, serial {serial}, firmware {firmware}, started {} so far",
                many(u64::from(*boot), "time")
            )
        }
        LineEvent::RunStarted { run, drive, period_us } => {
            let how = if *drive { "driving" } else { "watching" };
            format!("run {run} begins, {how}, a scan every {period_us} µs")
        }
        LineEvent::RunEnded { run, cause } => format!("run {run} ends: {cause}"),
        LineEvent::Repeated { request, attempt } => {
            format!("no answer to {request}: sent again, attempt {attempt}")
        }
        LineEvent::GivenUp { request, attempts } => {
            format!("{request} given up after {}", many(u64::from(*attempts), "attempt"))
        }
        LineEvent::Refused { request, reason, .. } => format!("{request} refused: {reason}"),
        LineEvent::AnswerLate { request } => format!("an answer to {request} came late"),
        LineEvent::Damaged { frames, cause } => {
            format!("{} came damaged ({cause})", many(u64::from(*frames), "frame"))
        }
        LineEvent::EventsLost { events } => format!("{} of the rig never came", many(*events, "event")),
        LineEvent::Gap { run, scans, cause, from_us, to_us } => format!(
            "run {run}: {} {}, {:.3} to {:.3} s on the rig's clock",
            many(*scans, "scan"),
            cause.words(),
            *from_us as f64 / 1e6,
            *to_us as f64 / 1e6
        ),
        LineEvent::GuardTripped { guard, value } => format!("the rig's guard tripped: {guard} (at {value})"),
        LineEvent::HeartbeatLate { late_ms } => {
            format!("a heartbeat went out {late_ms} ms late: this computer was held up")
        }
        LineEvent::Fault { why } => format!("fault: {why}"),
        LineEvent::Closed => "closed: the rig is unpowered".to_owned(),
    }
}

/// What was counted at all, each with its words; none where nothing was.
fn some_of(counts: &[(u64, &str)]) -> Option<String> {
    let told: Vec<String> =
        counts.iter().filter(|(n, _)| *n > 0).map(|(n, words)| format!("{n} {words}")).collect();
    (!told.is_empty()).then(|| told.join(", "))
}

fn told_of(summary: &Summary) -> Vec<String> {
    let Counts { requests, repeats, frames, bytes, late, duplicate, .. } = summary.counts;
    let counts = &summary.counts;
    let mut lines = vec![format!(
        "{} and {} received; {} sent, {} of them again",
        many(frames, "frame"),
        many(bytes, "byte"),
        many(requests + repeats, "request"),
        repeats
    )];
    let damaged = [
        (counts.damaged_checksum, "checksum"),
        (counts.damaged_stuffing, "byte stuffing"),
        (counts.damaged_short, "too short"),
        (counts.damaged_long, "too long"),
        (counts.other_version, "another protocol version"),
        (counts.not_understood, "not understood"),
    ];
    lines.push(match some_of(&damaged) {
        Some(told) => format!("frames not taken: {told}"),
        None => "no frame was damaged".to_owned(),
    });
    if let Some(r) = summary.round_trip_us {
        let ms = |us: u64| us as f64 / 1e3;
        lines.push(format!(
            "answers: half within {:.2} ms, 9 of 10 within {:.2} ms, 99 of 100 within {:.2} ms, the longest {:.2} ms ({} at the first attempt)",
            ms(r.p50),
            ms(r.p90),
            ms(r.p99),
            ms(r.max),
            summary.answered
        ));
    }
    if late + duplicate > 0 {
        lines.push(format!("{} late, {duplicate} twice", many(late, "answer")));
    }
    lines.push(format!(
        "longest silence of the rig {} ms; longest time between two heartbeats of this computer {} ms (50 are meant; at 300 the rig takes the drive off)",
        summary.longest_rig_silence_ms, summary.longest_heartbeat_gap_ms
    ));
    let blocks = [
        (counts.blocks_reordered, "put in order"),
        (counts.blocks_duplicate, "came twice"),
        (counts.blocks_late, "came too late"),
        (counts.blocks_rejected, "contradicted their run"),
        (counts.blocks_shed, "had no room on this computer"),
    ];
    lines.extend(some_of(&blocks).map(|told| format!("sample blocks: {told}")));
    if counts.events_lost > 0 {
        lines.push(format!("{} of the rig never came", many(counts.events_lost, "event")));
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::trace::GapCause;
    use std::time::Duration;

    fn story() -> Story {
        let mut journal = Journal::of("serial:/dev/x");
        let at = Duration::from_millis;
        let [model, serial, firmware] = ["bench", "7", "1.0"].map(str::to_owned);
        journal.tell(at(2), LineEvent::Opened { model, serial, firmware, boot: 3, session: 41 });
        journal.tell(at(5), LineEvent::Repeated { request: "start".to_owned(), attempt: 2 });
        let gap = LineEvent::Gap { run: 4, from_us: 1, to_us: 900, scans: 8, cause: GapCause::Host };
        journal.tell(at(9), gap);
        journal.tell(at(10), LineEvent::Fault { why: "it is gone".to_owned() });
        journal.round_trip(Duration::from_micros(300));
        Story::of("serial:/dev/x", &journal, &Statistics { frames: 12, retries: 1, ..Statistics::default() })
    }

    #[test]
    fn a_story_comes_back_from_its_file_and_two_in_one_file_stay_two() {
        let story = story();
        let text = story.to_jsonl();
        assert_eq!(Story::read(&text), Ok(vec![story.clone()]));
        assert_eq!(Story::read(&(text.clone() + &text)), Ok(vec![story.clone(), story]));
        assert_eq!(text.lines().count(), 6);
    }

    #[test]
    fn a_file_that_was_altered_is_named_with_its_line() {
        let text = story().to_jsonl().replace("\"attempt\":2", "\"attempt\":\"two\"");
        assert!(
            matches!(Story::read(&text), Err(StoryError::Line { line: 3, .. })),
            "{:?}",
            Story::read(&text)
        );
        let newer = story().to_jsonl().replace("\"schema\":1", "\"schema\":2");
        assert_eq!(Story::read(&newer), Err(StoryError::Head { line: 1 }));
        let cut: String = story().to_jsonl().lines().take(3).flat_map(|l| [l, "\n"]).collect();
        let sessions = Story::read(&cut).unwrap();
        assert_eq!((sessions[0].entries.len(), &sessions[0].summary), (2, &None));
        assert!(sessions[0].words().contains("ends before the session's summary"));
    }

    #[test]
    fn its_words_tell_what_was_repeated_lost_and_how_long_answers_took() {
        let words = story().words();
        for part in [
            "Session with the rig at serial:/dev/x",
            "0.005 s  no answer to start: sent again, attempt 2",
            "8 scans not taken by this computer in time",
            "no frame was damaged",
            "(1 at the first attempt)",
            "fault: it is gone",
        ] {
            assert!(words.contains(part), "{part}: {words}");
        }
    }
}
