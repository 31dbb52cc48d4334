//! Blocks and events into the samples and marks of a trace, in engineering units. Memory grows with the recording alone.

use super::Session;
use super::opening::host_unit;
use super::sequence::Lost;
use crate::quantity::{Channel, Unit};
use crate::trace::{Column, Gap, Mark, MarkKind, Provenance, Trace, TraceEnd};
use trackpair_protocol::channel::{Encoding, MAX_CHANNELS};
use trackpair_protocol::message::{Event, EventKind};
use trackpair_protocol::samples::SampleBlock;

/// Two tellings of one switching (event and reply) are this close at most, µs.
const SAME_MARK_US: u64 = 2_000;

/// One recorded channel.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RecorderPick {
    /// Which.
    pub channel: Channel,
    /// Its unit.
    pub unit: Unit,
    /// Column number on the wire.
    pub index: u8,
    /// Units per count.
    pub scale: f64,
    /// Value at 0 counts.
    pub offset: f64,
}

/// Turns blocks into engineering units: `offset + scale × count`.
#[derive(Clone, Debug)]
pub struct Decoder {
    picks: Vec<RecorderPick>,
    encodings: [Encoding; MAX_CHANNELS],
}

impl Decoder {
    /// For the known channels of a mask, in the order of the columns.
    pub fn new(session: &Session, mask: u16) -> Self {
        let picks = session
            .picked(mask)
            .map(|(channel, info)| RecorderPick {
                channel,
                unit: host_unit(info.unit),
                index: info.index,
                scale: info.scale,
                offset: info.offset,
            })
            .collect();
        Self { picks, encodings: session.encodings }
    }

    /// The channels, in order.
    pub fn picks(&self) -> &[RecorderPick] {
        &self.picks
    }

    /// Appends the values of pick `k` to `out`; false when the block does not hold it.
    pub fn append(&self, block: &SampleBlock<'_>, k: usize, out: &mut Vec<f32>) -> bool {
        let Some(pick) = self.picks.get(k) else { return false };
        let Some(column) = block.column(pick.index, &self.encodings) else { return false };
        let start = out.len();
        out.resize(start + column.len(), 0.0);
        column.scaled_into(pick.scale, pick.offset, &mut out[start..]).is_some()
    }

    /// The channel of a column on the wire.
    pub fn channel_of(&self, index: u8) -> Option<Channel> {
        self.picks.iter().find(|pick| pick.index == index).map(|pick| pick.channel)
    }
}

/// Collects a whole run.
#[derive(Clone, Debug)]
pub struct Recorder {
    decoder: Decoder,
    time_us: Vec<u64>,
    columns: Vec<Vec<f32>>,
    gaps: Vec<Gap>,
    marks: Vec<Mark>,
}

impl Recorder {
    /// Empty.
    pub fn new(decoder: Decoder) -> Self {
        let columns = vec![Vec::new(); decoder.picks.len()];
        Self { decoder, time_us: Vec::new(), columns, gaps: Vec::new(), marks: Vec::new() }
    }

    /// Appends a block; blocks come in order.
    pub fn scans(&mut self, block: &SampleBlock<'_>) {
        let start = self.time_us.len();
        for (k, column) in self.columns.iter_mut().enumerate() {
            if !self.decoder.append(block, k, column) {
                // Cannot happen for a block of the run: its size was checked. NaN keeps the columns equally long.
                column.resize(start + usize::from(block.scans), f32::NAN);
            }
        }
        let times = (0..u64::from(block.scans)).map(|j| block.first_us + j * u64::from(block.period_us));
        self.time_us.extend(times);
    }

    /// Notes a hole before the next block.
    pub fn lost(&mut self, lost: &Lost) {
        self.gaps.push(Gap {
            index: self.time_us.len(),
            from_us: lost.from_us,
            to_us: lost.to_us,
            scans: lost.scans,
            cause: lost.cause,
        });
    }

    /// Notes an event that is a mark.
    pub fn event(&mut self, event: &Event) {
        let kind = match event.kind {
            EventKind::SegmentReached { segment, pass } => MarkKind::Segment { segment, pass },
            EventKind::SupplySet { millivolts } => MarkKind::Supply { millivolts },
            EventKind::InputSet { channel, load, pull_down } => match self.decoder.channel_of(channel) {
                Some(channel) => MarkKind::Input { channel, load, pull_down },
                None => return,
            },
            EventKind::GuardTripped { guard, value } => MarkKind::Guard { guard: guard as u8, value },
            EventKind::Booted
            | EventKind::RunStarted
            | EventKind::RunEnded { .. }
            | EventKind::Overrun { .. } => return,
        };
        self.mark(Mark { at_us: event.rig_us, kind });
    }

    /// Adds a mark, unless the same was reported already: an event and the reply to the request that caused it say the same.
    pub fn mark(&mut self, mark: Mark) {
        let known =
            self.marks.iter().any(|m| m.kind == mark.kind && m.at_us.abs_diff(mark.at_us) <= SAME_MARK_US);
        if !known {
            self.marks.push(mark);
        }
    }

    /// The values of a channel so far.
    pub fn channel(&self, channel: Channel) -> Option<&[f32]> {
        let k = self.decoder.picks.iter().position(|pick| pick.channel == channel)?;
        self.columns.get(k).map(Vec::as_slice)
    }

    /// The channel of a column on the wire.
    pub fn channel_of(&self, index: u8) -> Option<Channel> {
        self.decoder.channel_of(index)
    }

    /// Times so far, rig µs.
    pub fn time_us(&self) -> &[u64] {
        &self.time_us
    }

    /// Marks so far, in the order they came.
    pub fn marks(&self) -> &[Mark] {
        &self.marks
    }

    /// The trace.
    pub fn finish(mut self, provenance: Provenance, end: TraceEnd) -> Trace {
        self.marks.sort_by_key(|mark| mark.at_us);
        let columns = self
            .decoder
            .picks
            .iter()
            .zip(self.columns)
            .map(|(pick, values)| Column { channel: pick.channel, unit: pick.unit, values })
            .collect();
        Trace { provenance, time_us: self.time_us, columns, gaps: self.gaps, marks: self.marks, end }
    }
}
