//! What the line between rig and computer did in the sessions of a record, counted; and, where it was bad, one sentence on what to check.

use super::Outcome;
use crate::session::{Counts, RoundTrips, Story, many};
use serde::{Deserialize, Serialize};

/// From this share of damaged frames on a line is called bad. Engineering judgement, no source: a sound cable damages none in hours.
const DAMAGED_SHARE: f64 = 1e-3;
/// The same for repeats among requests; a single one may be a busy moment.
const REPEATED_SHARE: f64 = 0.01;
const FEW_REPEATS: u64 = 3;
/// From this time between two heartbeats on this computer is called too busy, ms: 50 are meant, a rig takes the drive off at 300.
const HELD_UP_MS: u64 = 200;

/// What the line did.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct OutcomeLine {
    /// Addresses of the rig, each once.
    pub rigs: Vec<String>,
    /// Sessions counted together.
    #[cfg_attr(feature = "schemas", schemars(range(min = 1)))]
    pub sessions: u64,
    /// Counters. None of them is an error by itself.
    pub counts: Counts,
    /// Answers that came at the first attempt, µs: of several sessions the slowest; null when none did.
    pub round_trip_us: Option<RoundTrips>,
    /// Longest time without anything whole of the rig, ms.
    pub longest_rig_silence_ms: u64,
    /// Longest time between two heartbeats of this computer, ms.
    pub longest_heartbeat_gap_ms: u64,
}

impl OutcomeLine {
    /// Of the sessions of a record; none where there was none, or none was recorded to its end.
    pub fn of(stories: &[Story]) -> Option<Self> {
        let mut line: Option<Self> = None;
        for story in stories {
            let Some(summary) = &story.summary else { continue };
            let one = Self {
                rigs: vec![story.rig.clone()],
                sessions: 1,
                counts: summary.counts,
                round_trip_us: summary.round_trip_us,
                longest_rig_silence_ms: summary.longest_rig_silence_ms,
                longest_heartbeat_gap_ms: summary.longest_heartbeat_gap_ms,
            };
            line = Some(match line {
                None => one,
                Some(before) => before.and(one),
            });
        }
        line
    }

    fn and(mut self, other: Self) -> Self {
        self.rigs.extend(other.rigs);
        self.rigs.dedup();
        self.sessions += other.sessions;
        self.counts = self.counts.and(&other.counts);
        let times = [self.round_trip_us, other.round_trip_us];
        self.round_trip_us = times.into_iter().flatten().max_by_key(|times| times.p99);
        self.longest_rig_silence_ms = self.longest_rig_silence_ms.max(other.longest_rig_silence_ms);
        self.longest_heartbeat_gap_ms = self.longest_heartbeat_gap_ms.max(other.longest_heartbeat_gap_ms);
        self
    }

    /// What was wrong with it and what to check next, in one sentence each; none where it was sound.
    pub fn trouble(&self) -> Option<String> {
        let what = self.what_was_wrong();
        (!what.is_empty()).then(|| {
            format!("The line between rig and computer was bad: {}. {}.", what.join(", "), self.next_check())
        })
    }

    fn what_was_wrong(&self) -> Vec<String> {
        let counts = &self.counts;
        let (damaged, all) = (counts.damaged(), counts.damaged() + counts.frames);
        let mut what = Vec::new();
        if damaged as f64 >= DAMAGED_SHARE * all as f64 && damaged > 0 {
            what.push(format!("{damaged} of {all} frames came damaged"));
        }
        let repeats = counts.repeats;
        if repeats >= FEW_REPEATS && repeats as f64 >= REPEATED_SHARE * counts.requests as f64 {
            what.push(format!("{repeats} of {} requests had to be repeated", counts.requests));
        }
        for (scans, words) in [
            (counts.scans_lost_line, "on the way"),
            (counts.scans_lost_rig, "in the rig"),
            (counts.scans_lost_host, "on this computer"),
        ] {
            if scans > 0 {
                what.push(format!("{} lost {words}", many(scans, "scan")));
            }
        }
        if self.longest_heartbeat_gap_ms >= HELD_UP_MS {
            what.push(format!("this computer was held up for {} ms", self.longest_heartbeat_gap_ms));
        }
        what
    }

    /// What to look at, the likeliest cause first.
    fn next_check(&self) -> &'static str {
        let counts = &self.counts;
        let on_the_way = counts.damaged() + counts.scans_lost_line > 0;
        if counts.scans_lost_host > 0 || (!on_the_way && self.longest_heartbeat_gap_ms >= HELD_UP_MS) {
            return "This computer was too busy: close other programs, then repeat";
        }
        if counts.scans_lost_rig > 0 && !on_the_way {
            return "The rig could not keep up: choose a lower rate in the part sheet, then repeat";
        }
        if !self.rigs.iter().any(|rig| rig.starts_with("serial:")) {
            return "Check the network between rig and computer, then repeat";
        }
        // A changed byte breaks the checksum alone; a byte that is missing breaks the byte stuffing too.
        let missing = counts.damaged_stuffing + counts.damaged_short + counts.damaged_long;
        if missing > counts.damaged_checksum {
            "Bytes went missing: check plug and cable, try another USB port and a lower baud rate (?baud= in the address), then repeat"
        } else {
            "Bytes were changed: check the cable, the ground between rig and computer, and keep both away from the motor's leads, then repeat"
        }
    }
}

impl Outcome {
    /// Takes over what the line did in the sessions of the record.
    pub fn heed_line(&mut self, line: OutcomeLine) {
        self.warnings.extend(line.trouble().filter(|trouble| !self.warnings.contains(trouble)));
        self.line = Some(line);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::session::Summary;

    fn line(rig: &str, counts: Counts, longest_heartbeat_gap_ms: u64) -> OutcomeLine {
        let round_trip_us = Some(RoundTrips { p50: 40, p90: 50, p99: 60, max: 900 });
        let summary = Summary {
            forgotten: 0,
            answered: 50,
            round_trip_us,
            longest_rig_silence_ms: 20,
            longest_heartbeat_gap_ms,
            counts: Counts { requests: 400, ..counts },
        };
        let story = Story { rig: rig.to_owned(), entries: Vec::new(), summary: Some(summary) };
        OutcomeLine::of(&[story]).unwrap()
    }

    #[test]
    fn a_sound_line_is_not_talked_about() {
        let one_in_a_million =
            Counts { frames: 1_000_000, damaged_checksum: 1, repeats: 1, ..Counts::default() };
        assert_eq!(line("serial:/dev/x", one_in_a_million, 130).trouble(), None);
        assert_eq!(OutcomeLine::of(&[]), None);
    }

    #[test]
    fn what_was_wrong_is_told_with_the_check_that_fits() {
        let told = |rig, counts, gap| line(rig, Counts { frames: 10_000, ..counts }, gap).trouble().unwrap();
        let changed = Counts { damaged_checksum: 90, damaged_stuffing: 10, repeats: 6, ..Counts::default() };
        let said = told("serial:/dev/x", changed, 100);
        assert!(
            said.contains("100 of 10100 frames came damaged, 6 of 400 requests had to be repeated"),
            "{said}"
        );
        assert!(said.contains("Bytes were changed") && said.contains("ground"), "{said}");
        assert!(told("tcp:bench:7000", changed, 100).contains("Check the network"));
        let missing = Counts { damaged_checksum: 10, damaged_stuffing: 90, ..Counts::default() };
        assert!(told("serial:/dev/x", missing, 100).contains("baud"));
        assert!(
            told("serial:/dev/x", Counts::default(), 260)
                .contains("held up for 260 ms. This computer was too busy")
        );
        let shed = Counts { scans_lost_host: 1, ..Counts::default() };
        let said = told("serial:/dev/x", shed, 100);
        assert!(said.contains("1 scan lost on this computer. This computer was too busy"), "{said}");
        let overrun = Counts { scans_lost_rig: 40, ..Counts::default() };
        assert!(told("serial:/dev/x", overrun, 100).contains("lower rate"));
    }

    #[test]
    fn sessions_of_one_record_are_counted_together() {
        let counts = Counts { frames: 7, scans_lost_line: 2, ..Counts::default() };
        let both = line("serial:/dev/x", counts, 100).and(line("serial:/dev/x", counts, 140));
        assert_eq!((both.sessions, both.counts.frames, both.counts.scans_lost_line), (2, 14, 4));
        assert_eq!((both.longest_heartbeat_gap_ms, both.rigs.len()), (140, 1));
    }
}
