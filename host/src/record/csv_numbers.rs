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
/// Only what the text reader itself refuses; odd cells and rows are counted and told.
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
        let end = memchr::memchr(b'\n', &text[start..]).map_or(text.len(), |n| start + n);
        let line = &text[start..end];
        let line = line.strip_suffix(b"\r").unwrap_or(line);
        if !line.is_empty() && line[0] != b'#' {
            if whole && plain_row(line, separator, &slots, &mut values) {
                found.last_start = start;
                found.rows += 1;
                for ((column, wanted), value) in found.columns.iter_mut().zip(plan.wanted).zip(&values) {
                    column.push(*value, &wanted.taken);
                }
            } else {
                let cells: Vec<&[u8]> = line.split(|b| *b == separator).map(<[u8]>::trim_ascii).collect();
                found.row(cells.len(), |k| cells.get(k).copied(), (text, start), plan);
            }
        }
        start = end + 1;
    }
}

/// Reads a line whose wanted cells are all plain numbers and that has as many cells as the header; false when it is another one.
fn plain_row(line: &[u8], separator: u8, slots: &[Option<usize>], values: &mut [f64]) -> bool {
    let mut at = 0;
    for (column, slot) in slots.iter().enumerate() {
        match slot {
            Some(slot) => match plain_number(line, at, separator) {
                Some((value, end)) => (values[*slot], at) = (value, end),
                None => return false,
            },
            None => at += line[at..].iter().position(|b| *b == separator).unwrap_or(line.len() - at),
        }
        match line.get(at) {
            Some(b) if *b == separator && column + 1 < slots.len() => at += 1,
            None if column + 1 == slots.len() => {}
            _ => return false,
        }
    }
    true
}

/// A number of digits and at most one decimal sign, spaces around it, and where its cell ends; none for every other cell. Its digits as a
/// whole number and the power of ten below it are exact, so that their quotient is the double nearest to what stands there (W. D. Clinger,
/// "How to read floating point numbers accurately", PLDI 1990).
#[inline]
fn plain_number(line: &[u8], from: usize, separator: u8) -> Option<(f64, usize)> {
    let spaces = |at: usize| line[at..].iter().take_while(|b| **b == b' ').count();
    let mut at = from + spaces(from);
    let negative = line.get(at) == Some(&b'-');
    at += usize::from(negative || line.get(at) == Some(&b'+'));
    let mut whole = 0u64;
    let mut digits = |at: &mut usize| {
        let start = *at;
        while let Some(digit) = line.get(*at).map(|b| b.wrapping_sub(b'0')).filter(|d| *d < 10) {
            whole = whole.wrapping_mul(10).wrapping_add(u64::from(digit));
            *at += 1;
        }
        *at - start
    };
    let before = digits(&mut at);
    let mut decimals = 0;
    if line.get(at).is_some_and(|b| *b == b'.' || (*b == b',' && separator != b',')) {
        at += 1;
        decimals = digits(&mut at);
    }
    // 19 digits do not overflow.
    if !(1..=19).contains(&(before + decimals)) || whole > 1 << 53 {
        return None;
    }
    at += spaces(at);
    if line.get(at).is_some_and(|b| *b != separator) {
        return None;
    }
    let value = whole as f64 / POWERS[decimals];
    Some((if negative { -value } else { value }, at))
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
