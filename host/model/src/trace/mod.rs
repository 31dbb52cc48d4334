//! The immutable samples of one procedure, with where they came from. It does not know how they came or what they mean.

mod ending;
mod filled;
mod provenance;
mod timeline;

pub use ending::{LinkQuality, WORST_LINE_PERCENT};
pub use provenance::{ChannelProvenance, PlateScale, Provenance, RigProvenance, Stimulus, SweepConditions};
pub use timeline::{Begun, begun, contradiction, duration_us, ended_early, follows, last_segment};

use crate::quantity::{Channel, Unit};
use serde::{Deserialize, Serialize};

/// One column of samples in engineering units.
#[derive(Clone, Debug, PartialEq)]
pub struct Column {
    /// Which channel.
    pub channel: Channel,
    /// Unit of the values: [`Unit::Volt`], [`Unit::Degree`], [`Unit::Ampere`] or [`Unit::Celsius`].
    pub unit: Unit,
    /// One value per scan. Finite where the sample exists; NaN where an imported file had none.
    pub values: Vec<f32>,
}

/// Scans that are missing: the trace jumps from `from_us` to `to_us`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct Gap {
    /// Index of the first scan after the gap (= scan count when the trace ends in one).
    pub index: usize,
    /// Time of the last scan before, rig µs.
    pub from_us: u64,
    /// Time of the first scan after, rig µs.
    pub to_us: u64,
    /// How many scans are missing.
    pub scans: u64,
    /// Where they were lost.
    pub cause: GapCause,
}

/// Where scans were lost.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
#[serde(rename_all = "snake_case")]
pub enum GapCause {
    /// Blocks lost or damaged between rig and host.
    Line,
    /// They came, and this computer did not get round to taking them.
    Host,
    /// The rig could not take or send them, and said so.
    Rig,
    /// The imported file has a hole.
    File,
    /// Recorded, but the rig's sensor supply was off or out of its band: what was read then is left out.
    Supply,
}

impl GapCause {
    /// Whether they were lost on the way from a rig: what it did not take, the line lost, or this computer had no room for.
    pub const fn is_on_the_way(self) -> bool {
        matches!(self, Self::Line | Self::Host | Self::Rig)
    }

    /// Where the scans were lost, in words.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Line => "lost between rig and host",
            Self::Host => "not taken by this computer in time",
            Self::Rig => "not taken by the rig",
            Self::File => "missing in the file",
            Self::Supply => "left out: the rig's sensor supply was out of its band",
        }
    }
}

/// Something that happened during the procedure, on the rig's clock.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Mark {
    /// When, rig µs.
    pub at_us: u64,
    /// What.
    pub kind: MarkKind,
}

/// Kinds of mark.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case", tag = "mark")]
pub enum MarkKind {
    /// The motion program reached a segment.
    Segment {
        /// Segment number.
        segment: u8,
        /// How many times its repeat had gone back.
        pass: u16,
    },
    /// The sensor supply was set.
    Supply {
        /// mV; 0 = off.
        millivolts: u16,
    },
    /// A load or pull-down was switched.
    Input {
        /// Which line.
        channel: Channel,
        /// 10 kΩ load on.
        load: bool,
        /// Pull-down on.
        pull_down: bool,
    },
    /// The hand that flexes the pigtail went to a place.
    Place {
        /// Its number among [`Provenance::places`], from 1; 0 = hands off.
        place: u8,
    },
    /// A guard took the drive off; value in the guard's own unit.
    Guard {
        /// Guard code of the protocol.
        guard: u8,
        /// Offending value.
        value: i32,
    },
}

/// How the recording ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
#[serde(rename_all = "snake_case")]
pub enum TraceEnd {
    /// As planned.
    Complete,
    /// The user or the host stopped it.
    Aborted,
    /// A guard stopped it.
    Guard,
    /// The link was lost.
    LinkLost,
    /// The rig ended it before its program or its time was over.
    EndedEarly,
}

impl TraceEnd {
    /// The name in files and outcomes.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Complete => "complete",
            Self::Aborted => "aborted",
            Self::Guard => "guard",
            Self::LinkLost => "link_lost",
            Self::EndedEarly => "ended_early",
        }
    }
}

impl crate::quantity::Name for TraceEnd {
    const ALL: &'static [Self] =
        &[Self::Complete, Self::Aborted, Self::Guard, Self::LinkLost, Self::EndedEarly];

    fn name(self) -> &'static str {
        Self::name(self)
    }
}

/// The samples of one procedure. Built once, never changed.
#[derive(Clone, Debug, PartialEq)]
pub struct Trace {
    /// Where it came from.
    pub provenance: Provenance,
    /// Rig clock of each scan, µs, strictly rising.
    pub time_us: Vec<u64>,
    /// The columns, all as long as `time_us`.
    pub columns: Vec<Column>,
    /// Missing scans in order.
    pub gaps: Vec<Gap>,
    /// Marks in order of time.
    pub marks: Vec<Mark>,
    /// How it ended.
    pub end: TraceEnd,
}

impl Trace {
    /// Number of scans.
    pub fn len(&self) -> usize {
        self.time_us.len()
    }

    /// Whether it holds no scan.
    pub fn is_empty(&self) -> bool {
        self.time_us.is_empty()
    }

    /// The first scans of it as a trace of their own, with the gaps and marks among them.
    pub fn beginning(&self, scans: usize) -> Self {
        let scans = scans.min(self.len());
        let until = self.time_us.get(scans).copied().unwrap_or(u64::MAX);
        let cut = |c: &Column| Column { values: c.values[..scans].to_vec(), ..*c };
        Self {
            provenance: self.provenance.clone(),
            time_us: self.time_us[..scans].to_vec(),
            columns: self.columns.iter().map(cut).collect(),
            gaps: self.gaps.iter().filter(|g| g.index < scans).copied().collect(),
            marks: self.marks.iter().filter(|m| m.at_us < until).copied().collect(),
            end: TraceEnd::Complete,
        }
    }

    /// Beginnings of the segments of a motion program: rig µs and number, in order of time.
    pub fn segments_begun(&self) -> Vec<(u64, u8)> {
        let begun = self.marks.iter().filter_map(|m| match m.kind {
            MarkKind::Segment { segment, .. } => Some((m.at_us, segment)),
            _ => None,
        });
        begun.collect()
    }

    /// The values of a channel, if it was recorded.
    pub fn channel(&self, channel: Channel) -> Option<&[f32]> {
        self.columns.iter().find(|c| c.channel == channel).map(|c| c.values.as_slice())
    }
}
