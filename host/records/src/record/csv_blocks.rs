//! A file of text read in blocks by as many threads as there are processors: each takes the next block, cut behind a line, and makes numbers
//! of it. No more of the text is held than the blocks that are being read.
//!
//! Text with quotes may hold a line break within a cell, so that no block of it can be read by itself: it is read whole, by one thread.

use super::csv_error::CsvError;
use super::csv_numbers::{Numbers, Plan, Way, is_plain, numbers};
use super::csv_table::{HEAD_RECORDS, Layout, SEPARATORS, layout, reader, text_of};
use std::collections::BTreeMap;
use std::fs::File;
use std::io::{self, Read, Seek, SeekFrom};
use std::sync::Mutex;
use std::sync::atomic::{AtomicBool, Ordering};

/// Bytes of a block: long against a line, short against a processor's cache.
const BLOCK: usize = 1 << 20;
/// Bytes in which separator and header are looked for, unless the file's first records are longer than that.
const HEAD: usize = 1 << 18;

/// Where text comes from.
#[derive(Debug)]
pub enum Source<'a> {
    /// Memory.
    Memory(&'a [u8]),
    /// A file, and its length in bytes.
    File(Mutex<File>, u64),
}

impl Source<'_> {
    /// Its length in bytes.
    fn bytes(&self) -> u64 {
        match self {
            Self::Memory(bytes) => bytes.len() as u64,
            Self::File(_, len) => *len,
        }
    }

    /// Reads up to `most` bytes from a place on behind what `into` holds; fewer only at the end.
    fn read(&self, from: u64, most: usize, into: &mut Vec<u8>) -> io::Result<()> {
        match self {
            Self::Memory(bytes) => {
                let rest = &bytes[(from as usize).min(bytes.len())..];
                into.extend_from_slice(&rest[..most.min(rest.len())]);
                Ok(())
            }
            Self::File(file, _) => {
                let mut file = file.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
                file.seek(SeekFrom::Start(from))?;
                (&mut *file).take(most as u64).read_to_end(into).map(|_| ())
            }
        }
    }
}

/// A text whose layout is known.
#[derive(Debug)]
pub struct Text<'a> {
    source: Source<'a>,
    /// All of it, where it is read whole.
    whole: Option<Vec<u8>>,
    /// How it is laid out.
    pub layout: Layout,
    /// Byte behind the records before the first row.
    begin: u64,
    /// Line breaks before that.
    lines_before: u64,
    /// Where blocks began, in order.
    blocks: Vec<Block>,
}

/// Where a block lies.
#[derive(Clone, Copy, Debug)]
struct Block {
    begin: u64,
    bytes: usize,
    first_row: usize,
    lines_before: u64,
}

fn lost(error: io::Error) -> CsvError {
    CsvError::Lost { what: error.to_string() }
}

impl<'a> Text<'a> {
    /// Looks at the beginning of a text.
    ///
    /// # Errors
    /// It can't be read, is not a text, or has no row of numbers within its first records.
    pub fn open(source: Source<'a>) -> Result<Self, CsvError> {
        let mut head = Vec::new();
        source.read(0, HEAD, &mut head).map_err(lost)?;
        let cut = (head.len() as u64) < source.bytes();
        if cut {
            let last_line = memchr::memrchr(b'\n', &head).map_or(0, |n| n + 1);
            head.truncate(last_line);
        }
        let enough = |text: &[u8]| SEPARATORS.iter().all(|s| holds_head(text, *s));
        if cut && !text_of(&head).is_ok_and(enough) {
            return Self::whole(source);
        }
        let text = text_of(&head)?;
        let layout = layout(text)?;
        let mark = head.len() - text.len();
        let rows = behind_head(text, &layout);
        let lines_before = memchr::memchr_iter(b'\n', &text[..rows]).count() as u64;
        let begin = (mark + rows) as u64;
        Ok(Self { source, whole: None, layout, begin, lines_before, blocks: Vec::new() })
    }

    /// The text read whole, to be taken apart by the CSV reader.
    fn whole(source: Source<'a>) -> Result<Self, CsvError> {
        let mut all = Vec::new();
        source.read(0, usize::MAX, &mut all).map_err(lost)?;
        let text = text_of(&all)?;
        let layout = layout(text)?;
        let mark = all.len() - text.len();
        let rows = behind_head(text, &layout);
        let lines_before = memchr::memchr_iter(b'\n', &text[..rows]).count() as u64;
        let begin = (mark + rows) as u64;
        Ok(Self { source, whole: Some(all), layout, begin, lines_before, blocks: Vec::new() })
    }

    /// Reads the wanted columns.
    ///
    /// # Errors
    /// The file can't be read any more, or not as CSV.
    pub fn numbers(&mut self, wanted: &[super::csv_numbers::Wanted]) -> Result<Numbers, CsvError> {
        if self.whole.is_none() {
            let threads = std::thread::available_parallelism().map_or(1, usize::from);
            let layout = self.layout.clone();
            if let Some(found) = self.side_by_side(Plan { layout: &layout, wanted }, threads, BLOCK)? {
                return Ok(found);
            }
            let mut all = Vec::new();
            self.source.read(0, usize::MAX, &mut all).map_err(lost)?;
            self.whole = Some(all);
        }
        let plan = Plan { layout: &self.layout, wanted };
        let rows = &self.whole.as_deref().unwrap_or_default()[self.begin as usize..];
        let mut found = Numbers::none(plan, 0);
        found.append(numbers(rows, Way::Any, plan, usize::MAX)?, self.lines_before);
        let (begin, lines_before) = (self.begin, self.lines_before);
        self.blocks = vec![Block { begin, bytes: rows.len(), first_row: 0, lines_before }];
        Ok(found)
    }

    /// The line, from 1, of a row, from 0.
    ///
    /// # Errors
    /// The file can't be read any more.
    pub fn line_of(&self, row: usize, wanted: &[super::csv_numbers::Wanted]) -> Result<u64, CsvError> {
        let plan = Plan { layout: &self.layout, wanted };
        let after = self.blocks.partition_point(|block| block.first_row <= row);
        let Some(block) = after.checked_sub(1).map(|k| self.blocks[k]) else { return Ok(0) };
        let most = row - block.first_row + 1;
        let (mut read, way) = (Vec::new(), if self.whole.is_some() { Way::Any } else { Way::Plain });
        let text = match &self.whole {
            Some(all) => &all[block.begin as usize..],
            None => {
                self.source.read(block.begin, block.bytes, &mut read).map_err(lost)?;
                &read
            }
        };
        Ok(block.lines_before + numbers(text, way, plan, most)?.last_line(text))
    }

    /// Every block by one of some threads; none where a block can't be read by itself.
    fn side_by_side(
        &mut self,
        plan: Plan<'_>,
        threads: usize,
        block_bytes: usize,
    ) -> Result<Option<Numbers>, CsvError> {
        let next = Mutex::new(Next { begin: self.begin, number: 0 });
        let stop = AtomicBool::new(false);
        let gathered = Mutex::new(Gathered::new(plan, self.lines_before));
        let (source, next, stop, all) = (&self.source, &next, &stop, &gathered);
        let work = move || -> Result<bool, CsvError> {
            let mut text = Vec::new();
            while !stop.load(Ordering::Relaxed) {
                let taken = next.lock().unwrap_or_else(std::sync::PoisonError::into_inner).take(
                    source,
                    block_bytes,
                    &mut text,
                );
                let Some((number, begin)) = taken.map_err(lost)? else { return Ok(true) };
                if !is_plain(&text) {
                    return Ok(false);
                }
                let found = numbers(&text, Way::Plain, plan, usize::MAX)?;
                let breaks = memchr::memchr_iter(b'\n', &text).count() as u64;
                let done = Done { begin, bytes: text.len(), breaks, found };
                all.lock().unwrap_or_else(std::sync::PoisonError::into_inner).add(
                    number,
                    done,
                    source.bytes(),
                );
            }
            Ok(true)
        };
        let guarded = move || {
            let ended = work();
            if !matches!(ended, Ok(true)) {
                stop.store(true, Ordering::Relaxed);
            }
            ended
        };
        let threads = threads.min((source.bytes() / block_bytes as u64) as usize + 1);
        let ended: Vec<Result<bool, CsvError>> = std::thread::scope(|scope| {
            let others: Vec<_> = (1..threads).map(|_| scope.spawn(guarded)).collect();
            let own = guarded();
            let joined =
                others.into_iter().map(|t| t.join().unwrap_or_else(|p| std::panic::resume_unwind(p)));
            std::iter::once(own).chain(joined).collect()
        });
        let gathered = gathered.into_inner().unwrap_or_else(std::sync::PoisonError::into_inner);
        let mut plain = true;
        for end in ended {
            plain &= end?;
        }
        if plain {
            self.blocks = gathered.blocks;
        }
        Ok(plain.then_some(gathered.numbers))
    }
}

/// Whether the records in which a header is looked for lie whole in a text that was cut.
fn holds_head(text: &[u8], separator: u8) -> bool {
    let mut reader = reader(text, separator);
    let mut record = csv::ByteRecord::new();
    for _ in 0..HEAD_RECORDS {
        if !reader.read_byte_record(&mut record).unwrap_or(false) {
            return false;
        }
    }
    (reader.position().byte() as usize) < text.len()
}

/// Bytes of the records before the first row.
fn behind_head(text: &[u8], layout: &Layout) -> usize {
    let mut reader = reader(text, layout.separator);
    let mut record = csv::ByteRecord::new();
    for _ in 0..layout.skipped {
        if !reader.read_byte_record(&mut record).unwrap_or(false) {
            break;
        }
    }
    reader.position().byte() as usize
}

/// The block that is read next.
struct Next {
    begin: u64,
    number: usize,
}

impl Next {
    /// Reads it; its number and where it begins, none behind the last one.
    fn take(
        &mut self,
        source: &Source<'_>,
        block_bytes: usize,
        text: &mut Vec<u8>,
    ) -> io::Result<Option<(usize, u64)>> {
        text.clear();
        let mut most = block_bytes;
        loop {
            let asked = most - text.len();
            let held = text.len();
            source.read(self.begin + held as u64, asked, text)?;
            if text.len() < most {
                break;
            }
            if let Some(last) = memchr::memrchr(b'\n', text) {
                text.truncate(last + 1);
                break;
            }
            // A line longer than a block.
            most *= 2;
        }
        if text.is_empty() {
            return Ok(None);
        }
        let taken = (self.number, self.begin);
        self.number += 1;
        self.begin += text.len() as u64;
        Ok(Some(taken))
    }
}

/// A block that was read.
struct Done {
    begin: u64,
    bytes: usize,
    /// Line breaks in it.
    breaks: u64,
    found: Numbers,
}

/// Blocks put together in their order.
struct Gathered<'p> {
    plan: Plan<'p>,
    numbers: Numbers,
    blocks: Vec<Block>,
    lines: u64,
    /// Those that wait for one before them, by number.
    waiting: BTreeMap<usize, Done>,
}

impl<'p> Gathered<'p> {
    fn new(plan: Plan<'p>, lines_before: u64) -> Self {
        let numbers = Numbers::none(plan, 0);
        Self { plan, numbers, blocks: Vec::new(), lines: lines_before, waiting: BTreeMap::new() }
    }

    fn add(&mut self, number: usize, done: Done, all_bytes: u64) {
        self.waiting.insert(number, done);
        while let Some(done) = self.waiting.remove(&self.blocks.len()) {
            if self.blocks.is_empty() {
                // Room for all of them at once, by the first one's lines and a little more: what is not used is not taken either.
                let share = all_bytes as f64 / done.bytes.max(1) as f64;
                self.numbers = Numbers::none(self.plan, (1.02 * share * done.found.rows as f64) as usize);
            }
            let (begin, bytes, first_row, lines_before) =
                (done.begin, done.bytes, self.numbers.rows, self.lines);
            self.blocks.push(Block { begin, bytes, first_row, lines_before });
            self.lines += done.breaks;
            self.numbers.append(done.found, lines_before);
        }
    }
}

#[cfg(test)]
#[path = "csv_blocks_tests.rs"]
mod tests;
