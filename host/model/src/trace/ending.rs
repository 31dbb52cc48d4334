//! How a recording ended, as far as that matters to whoever judges it: as planned, stopped by the part, or interrupted by something that is
//! not the part.

use super::{Column, MarkKind, Trace, TraceEnd};
use std::borrow::Cow;
use trackpair_protocol::message::Guard;

/// A fault of the line from this share of damaged frames on, %. Below it single frames are lost now and then, as on any cable beside a
/// motor; engineering assumption.
pub const WORST_LINE_PERCENT: f64 = 1.0;
/// So few frames give no share.
const LEAST_FRAMES: u64 = 100;
/// So many damaged frames are no chance.
const LEAST_DAMAGED: u64 = 3;

/// What the line between rig and host did during a recording, both directions.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
pub struct LinkQuality {
    /// Frames that came to the host whole.
    pub frames: u64,
    /// Frames that came to the host damaged and were dropped.
    pub damaged: u64,
    /// Requests that the host sent, repeats included.
    pub requests: u64,
    /// Frames that came to the rig damaged; none where the rig could not be asked.
    pub damaged_at_rig: Option<u64>,
}

impl LinkQuality {
    /// Damaged frames of all that went over the line, the worse of both directions, %. None where too few went to show.
    pub fn damaged_percent(&self) -> Option<f64> {
        let share = |whole: u64, damaged: u64| {
            let all = whole + damaged;
            (all >= LEAST_FRAMES).then(|| 100.0 * damaged as f64 / all as f64)
        };
        let to_host = share(self.frames, self.damaged);
        // What the host sent includes what the rig dropped.
        let at_rig = self.damaged_at_rig.unwrap_or(0);
        let to_rig = share(self.requests.saturating_sub(at_rig), at_rig);
        [to_host, to_rig].into_iter().flatten().reduce(f64::max)
    }

    /// Whether so much was damaged that nothing may be said of the part.
    pub fn is_bad(&self) -> bool {
        let damaged = self.damaged.max(self.damaged_at_rig.unwrap_or(0));
        damaged >= LEAST_DAMAGED && self.damaged_percent().is_some_and(|p| p >= WORST_LINE_PERCENT)
    }
}

impl Trace {
    /// Whether the part stopped it, by drawing current without moving or by not following: that is evidence, no interruption.
    pub fn was_stopped_by_the_part(&self) -> bool {
        let of_the_part = |kind: &MarkKind| {
            matches!(kind, MarkKind::Guard { guard, .. }
                if *guard == Guard::Stall as u8 || *guard == Guard::NotFollowing as u8)
        };
        self.end == TraceEnd::Guard && self.marks.iter().any(|m| of_the_part(&m.kind))
    }

    /// Whether something that is not the part ended it before its end.
    pub fn was_interrupted(&self) -> bool {
        self.end != TraceEnd::Complete && !self.was_stopped_by_the_part()
    }

    /// Its first scans; itself where there are no more.
    pub fn up_to(&self, scans: usize) -> Cow<'_, Self> {
        if scans >= self.len() {
            return Cow::Borrowed(self);
        }
        let columns = self.columns.iter().map(|c| Column { values: c.values[..scans].to_vec(), ..*c });
        Cow::Owned(Self {
            provenance: self.provenance.clone(),
            time_us: self.time_us[..scans].to_vec(),
            columns: columns.collect(),
            gaps: self.gaps.iter().filter(|g| g.index < scans).copied().collect(),
            marks: self.marks.iter().filter(|m| m.at_us <= self.time_us[scans]).copied().collect(),
            end: self.end,
        })
    }

    /// When a guard took the drive off, rig µs.
    pub fn guarded_at_us(&self) -> Option<u64> {
        self.marks.iter().find(|m| matches!(m.kind, MarkKind::Guard { .. })).map(|m| m.at_us)
    }

    /// When the last segment of the rig's program began that did begin, rig µs.
    pub fn last_segment_us(&self) -> Option<u64> {
        self.segments_begun().last().map(|(at, _)| *at)
    }
}

impl TraceEnd {
    /// Why it ended before its end, for a sentence that names the procedure first; none when it did not.
    pub const fn words(self) -> Option<&'static str> {
        match self {
            Self::Complete => None,
            Self::Aborted => Some("was stopped before its end"),
            Self::Guard => Some("was ended by a guard of the rig"),
            Self::LinkLost => Some("ended when the link was lost"),
            Self::EndedEarly => Some("was ended by the rig before its time"),
        }
    }
}
