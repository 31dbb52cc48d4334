//! The times of another logger's rows: its time column, a stated rate, or neither.

use super::csv_error::{CsvError, CsvWarning};
use super::csv_table::{Unit, line_of};
use crate::trace::{Gap, GapCause};

/// Steps longer than this many median steps are holes.
const HOLE_STEPS: f64 = 3.0;
/// What a scan counts as when nothing tells the time, us.
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
    /// Which rows are kept.
    pub rows: Vec<usize>,
    /// Which were left out because they have no time.
    pub timeless: Vec<usize>,
    /// Holes.
    pub gaps: Vec<Gap>,
    /// Median step, us; 0 when the steps differ.
    pub period_us: u32,
    /// Whether anything told the time.
    pub known: bool,
}

/// A time column as it stands in the file.
#[derive(Clone, Copy, Debug)]
pub struct TimeColumn<'a> {
    /// Its header, for messages.
    pub header: &'a str,
    /// One value per row; NaN where there was none.
    pub values: &'a [f64],
    /// Unit named by header or option, us per unit.
    pub unit_us: Option<f64>,
    /// The file's text and where its rows begin in it.
    pub place: (&'a [u8], &'a [usize]),
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
    Ok(Times { time_us, rows: (0..rows).collect(), timeless: vec![], gaps: vec![], period_us, known: true })
}

/// Rows counted, because nothing tells the time.
pub fn unknown(rows: usize) -> Times {
    let time_us = (0..rows as u64).map(|k| k * u64::from(UNKNOWN_PERIOD_US)).collect();
    Times {
        time_us,
        rows: (0..rows).collect(),
        timeless: vec![],
        gaps: vec![],
        period_us: UNKNOWN_PERIOD_US,
        known: false,
    }
}

/// Times from a column.
///
/// # Errors
/// Times that go back, stand still in many rows, are closer than a microsecond, or whose unit can't be told.
pub fn from_column(column: TimeColumn<'_>, warnings: &mut Vec<CsvWarning>) -> Result<Times, CsvError> {
    let (rows, timeless) = rising_rows(column, warnings)?;
    if rows.len() < 2 {
        return Err(CsvError::TooFew { rows: rows.len() });
    }
    let value = |row: usize| column.values[row];
    let mut steps: Vec<f64> = rows.windows(2).map(|w| value(w[1]) - value(w[0])).collect();
    steps.sort_by(f64::total_cmp);
    let median = steps[steps.len() / 2];
    let unit_us = match column.unit_us {
        Some(unit) => unit,
        None => take_unit(column.header, median, value(rows[rows.len() - 1]) - value(rows[0]), warnings)?,
    };
    let period_us = median * unit_us;
    // The allowance: 1 us steps in a float are not exactly 1.
    if period_us < 0.999 {
        return Err(CsvError::TooFast { period_us });
    }
    let first = value(rows[0]);
    let mut times = Times { known: true, timeless, ..Times::default() };
    for row in rows {
        let at = ((value(row) - first) * unit_us).round() as u64;
        // Two rows within one microsecond of an uneven file: the later one has no time of its own.
        if times.time_us.last().is_none_or(|last| at > *last) {
            times.time_us.push(at);
            times.rows.push(row);
        }
    }
    times.gaps = holes(&times.time_us, period_us);
    let even = steps.iter().filter(|s| (*s * unit_us - period_us).abs() <= 0.1 * period_us).count();
    times.period_us = if 10 * even >= 9 * steps.len() { period_us.round().min(4e9) as u32 } else { 0 };
    Ok(times)
}

/// Rows that have a time later than the row before, and those that have none.
fn rising_rows(
    column: TimeColumn<'_>,
    warnings: &mut Vec<CsvWarning>,
) -> Result<(Vec<usize>, Vec<usize>), CsvError> {
    let line = |row: usize| line_of(column.place.0, column.place.1[row]);
    let (mut rows, mut timeless, mut repeats): (Vec<usize>, Vec<usize>, Vec<usize>) = Default::default();
    for (row, value) in column.values.iter().enumerate() {
        let Some(last) = rows.last().map(|r: &usize| column.values[*r]).filter(|_| value.is_finite()) else {
            if value.is_finite() {
                rows.push(row)
            } else {
                timeless.push(row)
            }
            continue;
        };
        if *value < last {
            return Err(CsvError::Backwards { line: line(row), before: last, after: *value });
        }
        if *value == last { repeats.push(row) } else { rows.push(row) }
    }
    if let Some(first) = repeats.first() {
        let (line, count, rows) = (line(*first), repeats.len(), column.values.len());
        if !few(count, rows) {
            return Err(CsvError::Repeats { line, count, rows });
        }
        warnings.push(CsvWarning::Repeats { count, line });
    }
    if !timeless.is_empty() {
        warnings.push(CsvWarning::NoTime { count: timeless.len() });
    }
    Ok((rows, timeless))
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
