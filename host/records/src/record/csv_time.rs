//! The times of another logger's rows: its time column, a stated rate, or neither.

use super::csv_error::{CsvError, CsvWarning};
use super::csv_table::Unit;
use crate::trace::{Gap, GapCause};

/// Steps longer than this many median steps are holes.
const HOLE_STEPS: f64 = 3.0;
/// What a scan counts as when nothing shows the time, us.
const UNKNOWN_PERIOD_US: u32 = 1000;
/// Share of rows that may be odd before the file as a whole is refused.
const FEW: f64 = 0.01;

/// Whether so many odd rows are few enough to go on without them: 1 %, and one in any file of 10 rows or more.
pub fn few(count: usize, rows: usize) -> bool {
    count as f64 <= FEW * rows as f64 || (count == 1 && rows >= 10)
}

/// Times of the rows that are kept.
#[derive(Debug, Default, PartialEq)]
pub struct Times {
    /// Microseconds from the first row, strictly rising.
    pub time_us: Vec<u64>,
    /// Rows that are not kept, from 0, in order.
    pub left_out: Vec<usize>,
    /// Those of them that have no time.
    pub timeless: Vec<usize>,
    /// Holes.
    pub gaps: Vec<Gap>,
    /// Median step, us; 0 when the steps differ.
    pub period_us: u32,
    /// Whether anything gave the time.
    pub known: bool,
}

impl Times {
    /// The place of a row among those that are kept, from 0; of one that is not kept the next one's.
    pub fn place(&self, row: usize) -> usize {
        row - self.left_out.partition_point(|out| *out < row)
    }

    /// Takes out of a column what the rows that are not kept hold.
    pub fn keep<T>(&self, values: &mut Vec<T>) {
        if self.left_out.is_empty() {
            return;
        }
        let (mut row, mut out) = (0, self.left_out.iter().peekable());
        values.retain(|_| {
            row += 1;
            out.next_if(|out| **out + 1 == row).is_none()
        });
    }
}

/// The line, from 1, of a row, from 0.
pub type LineOf<'a> = dyn Fn(usize) -> Result<u64, CsvError> + 'a;

/// A time column as it stands in the file.
pub struct TimeColumn<'a> {
    /// Its header, for messages.
    pub header: &'a str,
    /// One value per row; NaN where there was none.
    pub values: Vec<f64>,
    /// Unit named by header or option, us per unit.
    pub unit_us: Option<f64>,
    /// Lines of rows, for messages.
    pub line: &'a LineOf<'a>,
}

/// Evenly spaced times at a stated rate, Hz.
///
/// # Errors
/// A rate outside 1 to 1,000,000 Hz.
pub fn at_rate(rows: usize, rate_hz: f64) -> Result<Times, CsvError> {
    if !(1.0..=1e6).contains(&rate_hz) {
        return Err(CsvError::RateRange { given: rate_hz });
    }
    let time_us = (0..rows).map(|k| (k as f64 * 1e6 / rate_hz).round() as u64).collect();
    let period_us = (1e6 / rate_hz).round() as u32;
    Ok(Times { time_us, left_out: vec![], timeless: vec![], gaps: vec![], period_us, known: true })
}

/// Rows counted, because nothing shows the time.
pub fn unknown(rows: usize) -> Times {
    let time_us = (0..rows as u64).map(|k| k * u64::from(UNKNOWN_PERIOD_US)).collect();
    Times {
        time_us,
        left_out: vec![],
        timeless: vec![],
        gaps: vec![],
        period_us: UNKNOWN_PERIOD_US,
        known: false,
    }
}

/// Times from a column.
///
/// # Errors
/// Times that go back, stand still in many rows, are closer than a microsecond, or whose unit can't be known.
pub fn from_column(mut column: TimeColumn<'_>, warnings: &mut Vec<CsvWarning>) -> Result<Times, CsvError> {
    let timeless = leave_rising(&mut column, warnings)?;
    let known = || column.values.iter().copied().filter(|v| v.is_finite());
    let (Some(first), Some(last)) = (known().next(), known().next_back()) else {
        return Err(CsvError::TooFew { rows: 0 });
    };
    let mut steps: Vec<f64> = known().zip(known().skip(1)).map(|(a, b)| b - a).collect();
    if steps.is_empty() {
        return Err(CsvError::TooFew { rows: 1 });
    }
    let middle = steps.len() / 2;
    let median = *steps.select_nth_unstable_by(middle, f64::total_cmp).1;
    let unit_us = match column.unit_us {
        Some(unit) => unit,
        None => take_unit(column.header, median, last - first, warnings)?,
    };
    let period_us = median * unit_us;
    // The allowance: 1 us steps in a float are not exactly 1.
    if period_us < 0.999 {
        return Err(CsvError::TooFast { period_us });
    }
    let even = steps.iter().filter(|s| (*s * unit_us - period_us).abs() <= 0.1 * period_us).count();
    let mostly_even = 10 * even >= 9 * steps.len();
    drop(steps);
    let (mut left_out, mut before) = (Vec::new(), None);
    let time_of = |(row, value): (usize, f64)| {
        let at = ((value - first) * unit_us).round() as u64;
        // Two rows within one microsecond of an uneven file: the later one has no time of its own.
        if value.is_finite() && before.is_none_or(|before| at > before) {
            before = Some(at);
            return before;
        }
        left_out.push(row);
        None
    };
    let time_us: Vec<u64> = column.values.into_iter().enumerate().filter_map(time_of).collect();
    let gaps = holes(&time_us, period_us);
    let period_us = if mostly_even { period_us.round().min(4e9) as u32 } else { 0 };
    Ok(Times { time_us, left_out, timeless, gaps, period_us, known: true })
}

/// Leaves times in those rows alone that have one later than the row before. Returns the rows that had none.
fn leave_rising(column: &mut TimeColumn<'_>, warnings: &mut Vec<CsvWarning>) -> Result<Vec<usize>, CsvError> {
    let (mut timeless, mut repeats, mut last): (Vec<usize>, Vec<usize>, Option<f64>) = Default::default();
    for (row, value) in column.values.iter().enumerate() {
        match last {
            _ if !value.is_finite() => timeless.push(row),
            Some(before) if *value < before => {
                return Err(CsvError::Backwards { line: (column.line)(row)?, before, after: *value });
            }
            Some(before) if *value == before => repeats.push(row),
            _ => last = Some(*value),
        }
    }
    if let Some(first) = repeats.first() {
        let (line, count, rows) = ((column.line)(*first)?, repeats.len(), column.values.len());
        if !few(count, rows) {
            return Err(CsvError::Repeats { line, count, rows });
        }
        warnings.push(CsvWarning::Repeats { count, line });
    }
    if !timeless.is_empty() {
        warnings.push(CsvWarning::NoTime { count: timeless.len() });
    }
    repeats.iter().for_each(|row| column.values[*row] = f64::NAN);
    Ok(timeless)
}

/// The one unit that makes sense of a time column that names none: scans between 20 and 50,000 a second, over a second to a
/// day. Told to the reader; when more than one makes sense, none is taken.
fn take_unit(header: &str, step: f64, span: f64, warnings: &mut Vec<CsvWarning>) -> Result<f64, CsvError> {
    let units = [("s", 1e6), ("ms", 1e3), ("us", 1.0), ("ns", 1e-3)];
    let sensible =
        |unit: f64| (20.0..=50_000.0).contains(&(step * unit)) && (1e6..=86.4e9).contains(&(span * unit));
    let mut fitting = units.into_iter().filter(|(_, unit)| sensible(*unit));
    match (fitting.next(), fitting.next()) {
        (Some((unit, us)), None) => {
            let rate_hz = 1e6 / (step * us);
            warnings.push(CsvWarning::TimeUnitTaken { column: header.to_owned(), unit, rate_hz });
            Ok(us)
        }
        _ => Err(CsvError::TimeUnitUnclear { column: header.to_owned(), step }),
    }
}

/// Microseconds per unit of a stated unit of time.
///
/// # Errors
/// An unknown word.
pub fn unit_us(word: &str) -> Result<f64, CsvError> {
    match Unit::from_word(word) {
        Some(Unit::Time(us)) => Ok(us),
        _ => Err(CsvError::TimeUnit { given: word.to_owned() }),
    }
}

fn holes(time_us: &[u64], period_us: f64) -> Vec<Gap> {
    let hole = |(k, w): (usize, &[u64])| {
        let steps = (w[1] - w[0]) as f64 / period_us;
        (steps > HOLE_STEPS).then(|| Gap {
            index: k + 1,
            from_us: w[0],
            to_us: w[1],
            scans: (steps.round() as u64).saturating_sub(1),
            cause: GapCause::File,
        })
    };
    time_us.windows(2).enumerate().filter_map(hole).collect()
}
