//! Blocks of one run put in order by their numbers; what is missing is reported, never papered over. It does not know what
//! the samples mean.

use super::heard::Block;
use crate::trace::GapCause;
use std::collections::btree_map::Entry;
use std::collections::{BTreeMap, BTreeSet};
use std::ops::{AddAssign, Range};
use trackpair_protocol::channel::Encoding;
use trackpair_protocol::samples::SampleBlock;

/// Blocks that wait for an earlier one before that one is given up. At the largest block size it is 16 KB.
const WAITING: usize = 16;

/// Scans that are missing between two times.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Lost {
    /// Time of the last scan before, or of the run's start, rig µs.
    pub from_us: u64,
    /// Time of the first scan after, or of the run's end, rig µs.
    pub to_us: u64,
    /// How many scans.
    pub scans: u64,
    /// Where they were lost.
    pub cause: GapCause,
}

/// One thing in the run's order of time.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Piece {
    /// Samples.
    Scans(Block),
    /// A hole.
    Lost(Lost),
}

/// Blocks that did not go straight through, and scans that were lost, by where.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct Oddities {
    pub(super) duplicate: u64,
    pub(super) reordered: u64,
    pub(super) late: u64,
    pub(super) rejected: u64,
    pub(super) lost_line: u64,
    pub(super) lost_rig: u64,
    pub(super) lost_host: u64,
}

impl AddAssign for Oddities {
    fn add_assign(&mut self, other: Self) {
        self.duplicate += other.duplicate;
        self.reordered += other.reordered;
        self.late += other.late;
        self.rejected += other.rejected;
        self.lost_line += other.lost_line;
        self.lost_rig += other.lost_rig;
        self.lost_host += other.lost_host;
    }
}

impl Oddities {
    fn lose(&mut self, lost: &Lost) {
        *match lost.cause {
            GapCause::Host => &mut self.lost_host,
            GapCause::Rig => &mut self.lost_rig,
            _ => &mut self.lost_line,
        } += lost.scans;
    }
}

/// The order of a run's blocks.
#[derive(Clone, Debug)]
pub(super) struct Sequence {
    run: u32,
    period_us: u32,
    channels: u16,
    scan_bytes: usize,
    /// Time of the run's start; scans before the first block that came are counted from it.
    pub(super) started_us: Option<u64>,
    next: u32,
    last_us: Option<u64>,
    /// Scans of the largest block so far.
    block_scans: u64,
    given_up: Vec<(u32, u32)>,
    /// Blocks that came and that this computer had no room for.
    shed: BTreeSet<u32>,
    waiting: BTreeMap<u32, Block>,
    pub(super) oddities: Oddities,
}

impl Sequence {
    /// Awaits block 0 of a run.
    pub(super) fn new(run: u32, period_us: u32, channels: u16, encodings: &[Encoding]) -> Self {
        let present = encodings.iter().enumerate().filter(|(k, _)| channels >> k & 1 == 1);
        Self {
            run,
            period_us: period_us.max(1),
            channels,
            scan_bytes: present.map(|(_, encoding)| encoding.width()).sum(),
            started_us: None,
            next: 0,
            last_us: None,
            block_scans: 0,
            given_up: Vec::new(),
            shed: BTreeSet::new(),
            waiting: BTreeMap::new(),
            oddities: Oddities::default(),
        }
    }

    /// Time between two scans, µs.
    pub(super) fn period_us(&self) -> u32 {
        self.period_us
    }

    /// Whether every block before `count` has come or has been given up.
    pub(super) fn is_complete(&self, count: u32) -> bool {
        self.next >= count
    }

    /// Takes a block as it comes and hands out what is in order now.
    pub(super) fn take(&mut self, block: Block, out: &mut dyn FnMut(Piece)) {
        let number = block.view().number;
        if !self.fits(&block.view()) {
            self.oddities.rejected += 1;
        } else if number < self.next {
            let given_up = self.given_up.iter().any(|(from, to)| (*from..*to).contains(&number));
            *(if given_up { &mut self.oddities.late } else { &mut self.oddities.duplicate }) += 1;
        } else if number == self.next {
            self.emit(block, None, out);
            self.drain(out);
        } else {
            self.hold(block, out);
        }
    }

    /// A block came for which this computer had no room.
    pub(super) fn shed(&mut self, number: u32) {
        if number >= self.next {
            self.shed.insert(number);
        }
    }

    /// Where the blocks of a stretch were lost.
    fn lost_at(&mut self, blocks: Range<u32>) -> GapCause {
        let here = self.shed.range(blocks.clone()).next().is_some();
        self.shed = self.shed.split_off(&blocks.end);
        if here { GapCause::Host } else { GapCause::Line }
    }

    fn hold(&mut self, block: Block, out: &mut dyn FnMut(Piece)) {
        match self.waiting.entry(block.view().number) {
            Entry::Occupied(_) => self.oddities.duplicate += 1,
            Entry::Vacant(place) => {
                place.insert(block);
                if self.waiting.len() > WAITING {
                    self.skip(out);
                }
            }
        }
    }

    /// Nothing more will come: hands out what waits, with its holes. With `expected` blocks known, a hole when the last
    /// ones are missing: up to `end_us`, or without it as long as so many blocks are.
    pub(super) fn finish(&mut self, expected: Option<u32>, end_us: Option<u64>, out: &mut dyn FnMut(Piece)) {
        while !self.waiting.is_empty() {
            self.skip(out);
        }
        let missing = u64::from(expected.unwrap_or(0).saturating_sub(self.next));
        if missing == 0 {
            return;
        }
        let period = u64::from(self.period_us);
        let from_us = self.last_us.or(self.started_us).or(end_us).unwrap_or(0);
        let scans = match end_us {
            Some(end_us) => end_us.saturating_sub(from_us) / period,
            None => missing * self.block_scans,
        };
        let scans = scans.max(1);
        let cause = self.lost_at(self.next..u32::MAX);
        let lost = Lost { from_us, to_us: from_us + scans * period, scans, cause };
        self.oddities.lose(&lost);
        out(Piece::Lost(lost));
    }

    fn fits(&self, block: &SampleBlock<'_>) -> bool {
        block.run == self.run
            && block.period_us == self.period_us
            && block.channels == self.channels
            && block.columns.len() == self.scan_bytes * usize::from(block.scans)
            && block.first_us.checked_add(self.span(block.scans)).is_some()
    }

    fn span(&self, scans: u16) -> u64 {
        u64::from(self.period_us) * u64::from(scans.saturating_sub(1))
    }

    /// Gives up the blocks before the first one that waits.
    fn skip(&mut self, out: &mut dyn FnMut(Piece)) {
        let Some((&number, _)) = self.waiting.first_key_value() else { return };
        self.given_up.push((self.next, number));
        let cause = self.lost_at(self.next..number);
        self.next = number;
        self.emit_waiting(number, Some(cause), out);
        self.drain(out);
    }

    fn drain(&mut self, out: &mut dyn FnMut(Piece)) {
        while self.waiting.contains_key(&self.next) {
            self.oddities.reordered += 1;
            self.emit_waiting(self.next, None, out);
        }
    }

    fn emit_waiting(&mut self, number: u32, after_loss: Option<GapCause>, out: &mut dyn FnMut(Piece)) {
        if let Some(block) = self.waiting.remove(&number) {
            self.emit(block, after_loss, out);
        }
    }

    fn emit(&mut self, block: Block, after_loss: Option<GapCause>, out: &mut dyn FnMut(Piece)) {
        let seen = block.view();
        self.next = seen.number.wrapping_add(1);
        if self.last_us.is_some_and(|last| seen.first_us <= last) {
            // Time running backwards: not to be believed, and its scans are missing then.
            self.oddities.rejected += 1;
            self.given_up.push((seen.number, self.next));
            return;
        }
        if let Some(lost) = self.hole_before(&seen, after_loss) {
            self.oddities.lose(&lost);
            out(Piece::Lost(lost));
        }
        self.last_us = Some(seen.first_us + self.span(seen.scans));
        self.block_scans = self.block_scans.max(seen.scans.into());
        out(Piece::Scans(block));
    }

    fn hole_before(&self, block: &SampleBlock<'_>, after_loss: Option<GapCause>) -> Option<Lost> {
        let period = u64::from(self.period_us);
        let cause = after_loss.unwrap_or(GapCause::Rig);
        let (from_us, due_us) = match (self.last_us, self.started_us) {
            (Some(last), _) => (last, last + period),
            (None, Some(started)) => (started, started),
            (None, None) => (block.first_us, block.first_us),
        };
        let late = block.first_us.saturating_sub(due_us);
        let scans = (late + period / 2) / period;
        let told = u64::from(block.overrun_before);
        let first_of_run = self.last_us.is_none();
        if after_loss.is_none() && told == 0 && (scans == 0 || first_of_run) {
            return None;
        }
        let from_us = from_us.min(block.first_us.saturating_sub(1));
        Some(Lost { from_us, to_us: block.first_us, scans: scans.max(told).max(1), cause })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const SCANS: u16 = 4;
    const PERIOD: u32 = 100;

    /// Block `number` of a run that lost nothing in the rig: 4 scans of one 16-bit column.
    fn block(number: u32, columns: &[u8]) -> SampleBlock<'_> {
        SampleBlock {
            run: 9,
            number,
            first_us: 5_000 + u64::from(number) * u64::from(SCANS) * u64::from(PERIOD),
            period_us: PERIOD,
            scans: SCANS,
            channels: 1,
            overrun_before: 0,
            columns,
        }
    }

    /// Block numbers as they come out, and the holes.
    fn through(arrivals: &[u32], expected: Option<u32>) -> (Vec<u32>, Vec<Lost>, Oddities) {
        let mut sequence = Sequence::new(9, PERIOD, 1, &[Encoding::I16]);
        sequence.started_us = Some(5_000);
        let (mut numbers, mut holes) = (Vec::new(), Vec::new());
        let mut out = |piece: Piece| match piece {
            Piece::Scans(block) => numbers.push(block.view().number),
            Piece::Lost(lost) => holes.push(lost),
        };
        for number in arrivals {
            sequence.take(block(*number, &[0; 8]).into(), &mut out);
        }
        sequence.finish(expected, expected.map(|count| 5_000 + 400 * u64::from(count)), &mut out);
        (numbers, holes, sequence.oddities)
    }

    #[test]
    fn blocks_in_order_pass_without_a_hole() {
        let (numbers, holes, oddities) = through(&[0, 1, 2], Some(3));
        assert_eq!((numbers, holes, oddities), (vec![0, 1, 2], vec![], Oddities::default()));
    }

    #[test]
    fn a_block_that_this_computer_had_no_room_for_is_no_fault_of_the_line() {
        let mut sequence = Sequence::new(9, PERIOD, 1, &[Encoding::I16]);
        sequence.started_us = Some(5_000);
        let mut causes = Vec::new();
        let mut out = |piece: Piece| {
            if let Piece::Lost(lost) = piece {
                causes.push(lost.cause);
            }
        };
        // 1 and 2 had no room, 5 was lost on the line, and so were the last ones but for 9.
        sequence.take(block(0, &[0; 8]).into(), &mut out);
        sequence.shed(1);
        sequence.shed(2);
        for number in [3, 4, 6] {
            sequence.take(block(number, &[0; 8]).into(), &mut out);
        }
        sequence.shed(9);
        sequence.finish(Some(10), Some(5_000 + 4_000), &mut out);
        assert_eq!(causes, [GapCause::Host, GapCause::Line, GapCause::Host]);
    }

    #[test]
    fn a_lost_block_is_a_hole_of_its_scans() {
        let (numbers, holes, _) = through(&[0, 2, 3], Some(4));
        assert_eq!(numbers, [0, 2, 3]);
        assert_eq!(holes, [Lost { from_us: 5_300, to_us: 5_800, scans: 4, cause: GapCause::Line }]);
    }

    #[test]
    fn lost_first_and_last_blocks_are_holes_too() {
        let (numbers, holes, _) = through(&[1], Some(3));
        assert_eq!(numbers, [1]);
        assert_eq!(holes[0], Lost { from_us: 5_000, to_us: 5_400, scans: 4, cause: GapCause::Line });
        assert_eq!(holes[1], Lost { from_us: 5_700, to_us: 6_200, scans: 5, cause: GapCause::Line });
    }

    #[test]
    fn a_jump_in_time_without_a_missing_block_was_lost_in_the_rig() {
        let mut sequence = Sequence::new(9, PERIOD, 1, &[Encoding::I16]);
        let mut holes = Vec::new();
        let mut out = |piece: Piece| {
            if let Piece::Lost(lost) = piece {
                holes.push(lost);
            }
        };
        sequence.take(block(0, &[0; 8]).into(), &mut out);
        let late = SampleBlock { first_us: 5_900, overrun_before: 5, ..block(1, &[0; 8]) };
        sequence.take(late.into(), &mut out);
        assert_eq!(holes, [Lost { from_us: 5_300, to_us: 5_900, scans: 5, cause: GapCause::Rig }]);
    }

    #[test]
    fn a_block_that_contradicts_its_run_is_rejected() {
        let mut sequence = Sequence::new(9, PERIOD, 1, &[Encoding::I16]);
        let mut out = |piece: Piece| panic!("{piece:?}");
        sequence.take(SampleBlock { run: 8, ..block(0, &[0; 8]) }.into(), &mut out);
        sequence.take(SampleBlock { channels: 3, ..block(0, &[0; 8]) }.into(), &mut out);
        sequence.take(block(0, &[0; 6]).into(), &mut out);
        sequence.take(SampleBlock { first_us: u64::MAX, ..block(0, &[0; 8]) }.into(), &mut out);
        assert_eq!(sequence.oddities.rejected, 4);
    }

    #[test]
    fn a_block_that_runs_backwards_in_time_is_a_hole() {
        let mut sequence = Sequence::new(9, PERIOD, 1, &[Encoding::I16]);
        let mut holes = Vec::new();
        let mut out = |piece: Piece| {
            if let Piece::Lost(lost) = piece {
                holes.push(lost);
            }
        };
        sequence.take(block(0, &[0; 8]).into(), &mut out);
        sequence.take(SampleBlock { first_us: 5_300, ..block(1, &[0; 8]) }.into(), &mut out);
        sequence.take(block(2, &[0; 8]).into(), &mut out);
        assert_eq!(holes, [Lost { from_us: 5_300, to_us: 5_800, scans: 4, cause: GapCause::Rig }]);
    }

    proptest! {
        /// Whatever is lost, doubled or swapped: blocks come out once each, in order, and scans plus holes are the run.
        #[test]
        fn scans_and_holes_together_are_the_run(
            picks in prop::collection::vec((0u32..60, 0usize..8), 1..120),
        ) {
            let mut arrivals: Vec<u32> = picks.iter().map(|(n, _)| *n).collect();
            arrivals.sort_unstable();
            for (k, (_, shift)) in picks.iter().enumerate() {
                let to = (k + shift).min(arrivals.len() - 1);
                arrivals.swap(k, to);
            }
            let (numbers, holes, _) = through(&arrivals, Some(60));
            prop_assert!(numbers.is_sorted_by(|a, b| a < b));
            let lost: u64 = holes.iter().map(|h| h.scans).sum();
            let tail = u64::from(numbers.last() != Some(&59));
            prop_assert_eq!(numbers.len() as u64 * u64::from(SCANS) + lost, 240 + tail);
        }
    }
}
