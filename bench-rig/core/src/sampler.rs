//! Scans into numbered blocks: packed columns, bounded, with every lost scan counted.
//!
//! It does not take scans (the board does) and does not decide when a run ends (the machine does).

use trackpair_protocol::channel::{ChannelInfo, Encoding, MAX_CHANNELS};
use trackpair_protocol::cobs::max_encoded;
use trackpair_protocol::frame::{HEADER, MAX_ENCODED, MAX_PAYLOAD, TRAILER};
use trackpair_protocol::message::{Message, kind};
use trackpair_protocol::samples::{BLOCK_HEADER, SampleBlock};

use crate::board::Micros;
use crate::queue::{Priority, Queue};

/// Age at which a block is closed even when it is not full, µs: so that slow rates are live.
pub const BLOCK_AGE_US: Micros = 20_000;

/// Room for columns in one block, bytes.
const COLUMN_BYTES: usize = MAX_PAYLOAD - BLOCK_HEADER;

/// One present column: where its counts are staged.
#[derive(Clone, Copy, Debug)]
struct Column {
    index: usize,
    encoding: Encoding,
    offset: usize,
}

const NO_COLUMN: Column = Column { index: 0, encoding: Encoding::I16, offset: 0 };

/// The run's sampling and the block being filled.
#[derive(Clone, Debug)]
pub struct Sampler {
    encodings: [Option<Encoding>; MAX_CHANNELS],
    columns: [Column; MAX_CHANNELS],
    present: usize,
    running: bool,
    run: u32,
    period_us: u32,
    mask: u16,
    next_scan: Micros,
    capacity: usize,
    first_us: Micros,
    scans: usize,
    blocks: u32,
    overrun_before: u32,
    unreported: u32,
    overruns: u32,
    staged: [u8; COLUMN_BYTES],
}

impl Sampler {
    /// Not sampling. `table` gives the channel table's entries.
    pub fn new(table: impl Fn(u8) -> Option<ChannelInfo>) -> Self {
        let mut encodings = [None; MAX_CHANNELS];
        for (index, slot) in encodings.iter_mut().enumerate() {
            *slot = table(index as u8).map(|channel| channel.encoding);
        }
        Self {
            encodings,
            columns: [NO_COLUMN; MAX_CHANNELS],
            present: 0,
            running: false,
            run: 0,
            period_us: 1,
            mask: 0,
            next_scan: 0,
            capacity: 0,
            first_us: 0,
            scans: 0,
            blocks: 0,
            overrun_before: 0,
            unreported: 0,
            overruns: 0,
            staged: [0; COLUMN_BYTES],
        }
    }

    /// Whether `mask` names at least one column and only columns of the table.
    pub fn allows(&self, mask: u16) -> bool {
        let known = self.encodings.iter().enumerate().filter(|(_, encoding)| encoding.is_some());
        mask != 0 && mask & !known.fold(0u16, |bits, (index, _)| bits | 1 << index) == 0
    }

    /// Begins a run at `at`: its scan `k` is due at `at + k × period_us`.
    pub fn start(&mut self, run: u32, period_us: u32, mask: u16, at: Micros) {
        self.present = 0;
        let mut row = 0;
        for (index, encoding) in self.encodings.iter().enumerate() {
            if let Some(encoding) = encoding.filter(|_| mask & 1 << index != 0) {
                self.columns[self.present] = Column { index, encoding, offset: row };
                self.present += 1;
                row += encoding.width();
            }
        }
        self.capacity = COLUMN_BYTES / row.max(1);
        for column in &mut self.columns[..self.present] {
            column.offset *= self.capacity;
        }
        (self.run, self.period_us, self.mask, self.next_scan) = (run, period_us.max(1), mask, at);
        (self.scans, self.blocks, self.overrun_before, self.running) = (0, 0, 0, true);
    }

    /// Columns being sampled.
    pub fn mask(&self) -> u16 {
        self.mask
    }

    /// When the next scan is due, while running.
    pub fn next_scan(&self) -> Option<Micros> {
        self.running.then_some(self.next_scan)
    }

    /// When the block being filled is old enough to be closed, if there is one.
    pub fn block_due(&self) -> Option<Micros> {
        (self.running && self.scans > 0).then_some(self.first_us + BLOCK_AGE_US)
    }

    /// Takes the due scan's counts by column number; they saturate at their encoding's range. Closes a full block.
    pub fn push(&mut self, counts: &[i32; MAX_CHANNELS], queue: &mut Queue) {
        if self.scans == 0 {
            self.first_us = self.next_scan;
        }
        for column in &self.columns[..self.present] {
            let (low, high) = column.encoding.range();
            let count = counts[column.index].clamp(low, high);
            let width = column.encoding.width();
            let place = column.offset + self.scans * width;
            self.staged[place..place + width].copy_from_slice(&count.to_le_bytes()[..width]);
        }
        self.scans += 1;
        self.next_scan += Micros::from(self.period_us);
        if self.scans == self.capacity {
            self.close_block(queue);
        }
    }

    /// The due scan could not be taken: the block ends before it, because a block has no holes.
    pub fn miss(&mut self, queue: &mut Queue) {
        self.close_block(queue);
        self.lose(1);
        self.next_scan += Micros::from(self.period_us);
    }

    /// Sends the block being filled, or counts its scans as lost when there is no room for it.
    pub fn close_block(&mut self, queue: &mut Queue) {
        let scans = core::mem::take(&mut self.scans);
        if scans == 0 {
            return;
        }
        let size = self.pack(scans);
        if !self.send(scans, size, queue) {
            self.lose(scans as u32);
        }
    }

    /// Ends the run with its last block.
    pub fn stop(&mut self, queue: &mut Queue) {
        self.close_block(queue);
        self.running = false;
    }

    /// Blocks sent in the current or last run.
    pub fn blocks(&self) -> u32 {
        self.blocks
    }

    /// Scans lost since boot. Saturates.
    pub fn overruns(&self) -> u32 {
        self.overruns
    }

    /// Run number of the current or last run; 0 before the first.
    pub fn run(&self) -> u32 {
        self.run
    }

    /// Lost scans that no event has reported yet.
    pub fn unreported(&self) -> u32 {
        self.unreported
    }

    /// An event has reported them.
    pub fn mark_reported(&mut self) {
        self.unreported = 0;
    }

    /// Moves the columns together; their size in bytes.
    fn pack(&mut self, scans: usize) -> usize {
        let mut end = 0;
        for column in &self.columns[..self.present] {
            let size = scans * column.encoding.width();
            self.staged.copy_within(column.offset..column.offset + size, end);
            end += size;
        }
        end
    }

    fn send(&mut self, scans: usize, size: usize, queue: &mut Queue) -> bool {
        if !queue.has_room(max_encoded(HEADER + BLOCK_HEADER + size + TRAILER) + 1, Priority::Samples) {
            return false;
        }
        let block = SampleBlock {
            run: self.run,
            number: self.blocks,
            first_us: self.first_us,
            period_us: self.period_us,
            scans: scans as u16,
            channels: self.mask,
            overrun_before: self.overrun_before,
            columns: &self.staged[..size],
        };
        let mut out = [0; MAX_ENCODED];
        let sent = Message::Samples(block)
            .encode(kind::SAMPLES, 0, &mut out)
            .is_some_and(|len| queue.push(&out[..len], Priority::Samples));
        if sent {
            self.blocks += 1;
            self.overrun_before = 0;
        }
        sent
    }

    fn lose(&mut self, scans: u32) {
        for counter in [&mut self.overrun_before, &mut self.unreported, &mut self.overruns] {
            *counter = counter.saturating_add(scans);
        }
    }
}
