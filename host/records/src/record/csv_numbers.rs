//! The rows of a stretch of text as columns of numbers, and what was odd about them. It does not know what the columns mean, nor where
//! in its file the stretch lies.
//!
//! Lines are cut and numbers read here where nothing special is in them; any other text goes through the CSV reader. Both ways give the same.

use super::csv_error::CsvError;
use super::csv_table::{Cell, Layout, cell, clip, line_of, reader};
use std::ops::RangeInclusive;

/// Most lines that are named of something odd.
const LINES_NAMED: usize = 3;
/// Powers of ten that a double holds exactly, as many as a plain number may have decimals.
const POWERS: [f64; 23] = [
    1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18,
    1e19, 1e20, 1e21, 1e22,
];

/// Powers of ten by which digits are moved up.
const TENS: [u64; 9] = [1, 10, 100, 1_000, 10_000, 100_000, 1_000_000, 10_000_000, 100_000_000];

/// How often something odd was met, and where first.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Odd {
    /// How often.
    pub count: usize,
    /// Lines of the first ones, from 1.
    pub lines: Vec<u64>,
    /// What stood in the first.
    pub content: String,
}

impl Odd {
    /// Line of the first, from 1; 0 when there was none.
    pub fn line(&self) -> u64 {
        self.lines.first().copied().unwrap_or(0)
    }

    fn note(&mut self, (text, start): (&[u8], usize), content: impl FnOnce() -> String) {
        if self.count == 0 {
            self.content = content();
        }
        if self.count < LINES_NAMED {
            self.lines.push(line_of(text, start));
        }
        self.count += 1;
    }

    /// Adds what was odd further on, behind so many lines.
    fn append(&mut self, later: Self, lines_before: u64) {
        if self.count == 0 {
            self.content = later.content;
        }
        let room = LINES_NAMED.saturating_sub(self.lines.len());
        self.lines.extend(later.lines.into_iter().take(room).map(|line| line + lines_before));
        self.count += later.count;
    }
}

/// A column that is wanted, and as what.
#[derive(Clone, Debug, PartialEq)]
pub struct Wanted {
    /// Its place, from 0.
    pub index: usize,
    /// What becomes of its numbers.
    pub taken: Taken,
}

/// What becomes of the numbers of a column.
#[derive(Clone, Debug, PartialEq)]
pub enum Taken {
    /// As they stand.
    Exactly,
    /// Times a factor, as samples; of those outside a range note is taken.
    Times(f64, Option<RangeInclusive<f64>>),
}

/// One value per row; NaN where a cell held no number.
#[derive(Clone, Debug, PartialEq)]
pub enum Values {
    /// As they stand in the file.
    Exact(Vec<f64>),
    /// Samples.
    Samples {
        /// Their values.
        values: Vec<f32>,
        /// Rows, from 0, whose value is outside the range, and the value.
        outside: Vec<(usize, f64)>,
    },
}

impl Values {
    /// Whether no row has a value.
    pub fn are_missing(&self) -> bool {
        match self {
            Self::Exact(values) => values.iter().all(|v| v.is_nan()),
            Self::Samples { values, .. } => values.iter().all(|v| v.is_nan()),
        }
    }

    fn new(taken: &Taken, rows: usize) -> Self {
        match taken {
            Taken::Exactly => Self::Exact(Vec::with_capacity(rows)),
            Taken::Times(..) => Self::Samples { values: Vec::with_capacity(rows), outside: Vec::new() },
        }
    }

    fn push(&mut self, value: f64, taken: &Taken) {
        match (self, taken) {
            (Self::Samples { values, outside }, Taken::Times(factor, range)) => {
                let value = value * factor;
                if value.is_finite() && range.as_ref().is_some_and(|r| !r.contains(&value)) {
                    outside.push((values.len(), value));
                }
                values.push(value as f32);
            }
            (Self::Exact(values), _) => values.push(value),
            (Self::Samples { values, .. }, Taken::Exactly) => values.push(value as f32),
        }
    }

    fn append(&mut self, later: &Self) {
        match (self, later) {
            (Self::Exact(values), Self::Exact(more)) => values.extend_from_slice(more),
            (Self::Samples { values, outside }, Self::Samples { values: more, outside: further }) => {
                outside.extend(further.iter().map(|(row, value)| (row + values.len(), *value)));
                values.extend_from_slice(more);
            }
            _ => unreachable!("the same columns are wanted of every stretch"),
        }
    }
}

/// Numbers of the wanted columns, row by row, and what was wrong with them.
#[derive(Clone, Debug)]
pub struct Numbers {
    /// How many rows.
    pub rows: usize,
    /// One per wanted column, equally long.
    pub columns: Vec<Values>,
    /// Cells that were empty or said "no value", per wanted column.
    pub empty: Vec<usize>,
    /// Cells that held text, per wanted column: how many and the first one.
    pub text: Vec<Odd>,
    /// Rows that hold text in a wanted column, from 0, in order.
    pub text_rows: Vec<usize>,
    /// Rows with another number of cells than the header, which were left out.
    pub ragged: Odd,
    /// For each of those the row that comes after it, from 0, in order.
    pub ragged_before: Vec<usize>,
    /// Byte at which the last row begins (or the comments above it).
    last_start: usize,
}

/// What is read, and of what layout.
#[derive(Clone, Copy, Debug)]
pub struct Plan<'a> {
    /// The layout.
    pub layout: &'a Layout,
    /// The columns.
    pub wanted: &'a [Wanted],
}

/// How a stretch of text is read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Way {
    /// Line by line; only for text without quotes and without lone carriage returns ([`is_plain`]).
    Plain,
    /// By the CSV reader.
    Any,
}

/// Whether every line of a text is a record of its own and every cell stands as it is: no quotes, no carriage return within a line.
pub fn is_plain(text: &[u8]) -> bool {
    use memchr::{memchr, memchr_iter};
    let ends = |at: usize| text.get(at + 1).is_none_or(|next| *next == b'\n');
    memchr(b'"', text).is_none() && memchr_iter(b'\r', text).all(ends)
}

/// Reads a stretch of text that begins and ends with a record, no more than `most` rows of it.
///
/// # Errors
/// Only what the text reader itself refuses; odd cells and rows are counted and reported.
pub fn numbers(text: &[u8], way: Way, plan: Plan<'_>, most: usize) -> Result<Numbers, CsvError> {
    let mut found = Numbers::none(plan, 0);
    match way {
        Way::Plain => lines(&mut found, text, plan, most),
        Way::Any => records(&mut found, text, plan, most)?,
    }
    Ok(found)
}

fn records(found: &mut Numbers, text: &[u8], plan: Plan<'_>, most: usize) -> Result<(), CsvError> {
    let mut reader = reader(text, plan.layout.separator);
    let mut record = csv::ByteRecord::new();
    while found.rows < most {
        match reader.read_byte_record(&mut record) {
            Ok(false) => break,
            Ok(true) => {}
            Err(error) => return Err(CsvError::Reader { what: error.to_string() }),
        }
        let start = record.position().map_or(0, |p| p.byte() as usize);
        found.row(record.len(), |k| record.get(k), (text, start), plan);
    }
    Ok(())
}

fn lines(found: &mut Numbers, text: &[u8], plan: Plan<'_>, most: usize) {
    let separator = plan.layout.separator;
    let mut slots = vec![None; plan.layout.width];
    for (slot, wanted) in plan.wanted.iter().enumerate() {
        slots.get_mut(wanted.index).into_iter().for_each(|place| *place = Some(slot));
    }
    // A column beyond the header's is in longer rows alone.
    let whole = plan.wanted.iter().all(|w| w.index < slots.len());
    let mut values = vec![f64::NAN; plan.wanted.len()];
    let mut start = 0;
    while start < text.len() && found.rows < most {
        if let Some(next) = plain_row(text, start, separator, &slots, &mut values).filter(|_| whole) {
            found.last_start = start;
            found.rows += 1;
            for ((column, wanted), value) in found.columns.iter_mut().zip(plan.wanted).zip(&values) {
                column.push(*value, &wanted.taken);
            }
            start = next;
            continue;
        }
        let end = memchr::memchr(b'\n', &text[start..]).map_or(text.len(), |n| start + n);
        let line = &text[start..end];
        let line = line.strip_suffix(b"\r").unwrap_or(line);
        if !line.is_empty() && line[0] != b'#' {
            let cells: Vec<&[u8]> = line.split(|b| *b == separator).map(<[u8]>::trim_ascii).collect();
            found.row(cells.len(), |k| cells.get(k).copied(), (text, start), plan);
        }
        start = end + 1;
    }
}

/// Reads a line whose wanted cells are all plain numbers and that has as many cells as the header; where the next one begins, none when it
/// is another one.
fn plain_row(
    text: &[u8],
    start: usize,
    separator: u8,
    slots: &[Option<usize>],
    values: &mut [f64],
) -> Option<usize> {
    let mut at = start;
    if text[start] == b'#' {
        return None;
    }
    for (column, slot) in slots.iter().enumerate() {
        match slot {
            Some(slot) => (values[*slot], at) = plain_number(text, at, separator)?,
            None => {
                let rest = &text[at..];
                at += rest.iter().position(|b| *b == separator || *b == b'\n').unwrap_or(rest.len());
            }
        }
        match text.get(at) {
            Some(b) if *b == separator && column + 1 < slots.len() => at += 1,
            _ if column + 1 == slots.len() => {}
            _ => return None,
        }
    }
    at += usize::from(text.get(at) == Some(&b'\r'));
    match text.get(at) {
        Some(b'\n') => Some(at + 1),
        None => Some(at),
        Some(_) => None,
    }
}

/// A number of digits and at most one decimal sign, spaces around it, and where its cell ends; none for every other cell. Its digits as a
/// whole number and the power of ten below it are exact, so that their quotient is the double nearest to what stands there (W. D. Clinger,
/// "How to read floating point numbers accurately", PLDI 1990).
#[inline]
fn plain_number(text: &[u8], from: usize, separator: u8) -> Option<(f64, usize)> {
    let mut at = behind_spaces(text, from);
    let negative = text.get(at) == Some(&b'-');
    at += usize::from(negative || text.get(at) == Some(&b'+'));
    let (mut whole, before) = digits(text, at, 0);
    at += before;
    let mut decimals = 0;
    if text.get(at).is_some_and(|b| *b == b'.' || (*b == b',' && separator != b',')) {
        (whole, decimals) = digits(text, at + 1, whole);
        at += 1 + decimals;
    }
    // 19 digits do not overflow.
    if !(1..=19).contains(&(before + decimals)) || whole > 1 << 53 {
        return None;
    }
    at = behind_spaces(text, at);
    if text.get(at).is_some_and(|b| *b != separator && *b != b'\n' && *b != b'\r') {
        return None;
    }
    let value = whole as f64 / POWERS[decimals];
    Some((if negative { -value } else { value }, at))
}

#[inline]
fn behind_spaces(text: &[u8], mut at: usize) -> usize {
    while text.get(at) == Some(&b' ') {
        at += 1;
    }
    at
}

/// Digits put behind those of a whole number, which wraps beyond 19 of them; and how many there were. Eight at a time: each step joins
/// neighbours to numbers of two, four and eight digits.
#[inline]
fn digits(text: &[u8], from: usize, mut whole: u64) -> (u64, usize) {
    const ZEROS: u64 = u64::from_le_bytes([b'0'; 8]);
    let mut count = 0;
    loop {
        let word = match text.get(from + count..).and_then(<[u8]>::first_chunk) {
            Some(word) => u64::from_le_bytes(*word) ^ ZEROS,
            None => {
                let rest = text.get(from + count..).unwrap_or_default();
                let mut word = [0; 8];
                word[..rest.len()].copy_from_slice(rest);
                u64::from_le_bytes(word) ^ ZEROS
            }
        };
        // The highest bit of every byte that is no digit; what it carries over reaches only those behind it.
        let other = (word.wrapping_add(0x7676_7676_7676_7676) | word) & 0x8080_8080_8080_8080;
        let found = other.trailing_zeros() as usize / 8;
        if found == 0 {
            return (whole, count);
        }
        let word = word << (64 - 8 * found);
        let pairs = word.wrapping_mul(10).wrapping_add(word >> 8);
        let fours = (pairs & 0x0000_00FF_0000_00FF).wrapping_mul(0x000F_4240_0000_0064);
        let rest = (pairs >> 16 & 0x0000_00FF_0000_00FF).wrapping_mul(0x0000_2710_0000_0001);
        let value = fours.wrapping_add(rest) >> 32;
        whole = whole.wrapping_mul(TENS[found]).wrapping_add(value);
        count += found;
        if found < 8 {
            return (whole, count);
        }
    }
}

impl Numbers {
    /// None yet, with room for so many rows.
    pub fn none(plan: Plan<'_>, rows: usize) -> Self {
        let columns = plan.wanted.len();
        Self {
            rows: 0,
            columns: plan.wanted.iter().map(|w| Values::new(&w.taken, rows)).collect(),
            empty: vec![0; columns],
            text: vec![Odd::default(); columns],
            text_rows: Vec::new(),
            ragged: Odd::default(),
            ragged_before: Vec::new(),
            last_start: 0,
        }
    }

    /// Adds the rows of a stretch further on, behind so many lines.
    pub fn append(&mut self, later: Self, lines_before: u64) {
        for (column, more) in self.columns.iter_mut().zip(&later.columns) {
            column.append(more);
        }
        for (count, more) in self.empty.iter_mut().zip(later.empty) {
            *count += more;
        }
        for (odd, more) in self.text.iter_mut().zip(later.text) {
            odd.append(more, lines_before);
        }
        self.ragged.append(later.ragged, lines_before);
        self.text_rows.extend(later.text_rows.iter().map(|row| row + self.rows));
        self.ragged_before.extend(later.ragged_before.iter().map(|row| row + self.rows));
        self.rows += later.rows;
    }

    /// The line, from 1, of the last row of the text that was read.
    pub fn last_line(&self, text: &[u8]) -> u64 {
        line_of(text, self.last_start)
    }

    /// Takes a row of so many cells, trimmed, that begins at a place of the text.
    fn row<'c>(
        &mut self,
        cells: usize,
        get: impl Fn(usize) -> Option<&'c [u8]>,
        place: (&[u8], usize),
        Plan { layout, wanted }: Plan<'_>,
    ) {
        let held = |k: usize| get(k).is_some_and(|cell| !cell.is_empty());
        if !(0..cells).any(held) {
            return;
        }
        // A separator at the end of each line makes one empty cell too many, or one too few in the header.
        let extra = (layout.width..cells).any(held);
        let short = wanted.iter().any(|w| w.index >= cells);
        if extra || short {
            let what = if cells == 1 { "1 cell".to_owned() } else { format!("{cells} cells") };
            self.ragged.note(place, || what);
            self.ragged_before.push(self.rows);
            return;
        }
        for (k, wanted) in wanted.iter().enumerate() {
            let bytes = get(wanted.index).unwrap_or_default();
            let found = std::str::from_utf8(bytes).map_or(Cell::Text, |text| cell(text, layout.separator));
            let value = match found {
                Cell::Number(value) => value,
                Cell::Empty => {
                    self.empty[k] += 1;
                    f64::NAN
                }
                Cell::Text => {
                    self.text[k].note(place, || clip(&String::from_utf8_lossy(bytes)));
                    if self.text_rows.last() != Some(&self.rows) {
                        self.text_rows.push(self.rows);
                    }
                    f64::NAN
                }
            };
            self.columns[k].push(value, &wanted.taken);
        }
        self.last_start = place.1;
        self.rows += 1;
    }
}
