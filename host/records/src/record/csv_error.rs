//! What can be wrong with another logger's file, and what the reader should know of one that was read.

use super::csv_map::{ColumnName, MapError};
use crate::quantity::Channel;

/// Why a file can't be read as a trace.
#[derive(Debug, thiserror::Error, PartialEq)]
pub enum CsvError {
    /// Nothing in it.
    #[error("the file is empty; export it again")]
    Empty,
    /// Not the text that is expected.
    #[error("the file is {what}, not plain text; save it as CSV in UTF-8")]
    Encoding {
        /// What it looks like.
        what: &'static str,
    },
    /// No row of numbers.
    #[error(
        "no row of numbers was found near the beginning (it begins with {first:?}); the separator must be a comma, a semicolon or a tab"
    )]
    NoNumbers {
        /// The first line, shortened.
        first: String,
    },
    /// The text reader gave up.
    #[error("the file can't be read as CSV: {what}; look for an unclosed quote")]
    Reader {
        /// Its words.
        what: String,
    },
    /// The file went away while it was read.
    #[error(
        "the file can't be read to its end ({what}); copy it to a disk of this computer and judge the copy"
    )]
    Lost {
        /// The system's message.
        what: String,
    },
    /// The map itself.
    #[error(transparent)]
    Map(#[from] MapError),
    /// No map, and the headers say nothing.
    #[error(
        "none of the columns names a channel ({columns}); say which is which with --map rising=COL,second=COL,…"
    )]
    NoMap {
        /// The columns seen.
        columns: String,
    },
    /// A mapped column is not there.
    #[error(
        "there is no column {given}: the file, cut at each {separator}, has {columns}; correct the name in --map or give its number{instead}"
    )]
    NoColumn {
        /// As mapped.
        given: ColumnName,
        /// In words.
        separator: &'static str,
        /// The columns seen.
        columns: String,
        /// What else may have been meant; empty where nothing suggests itself.
        instead: String,
    },
    /// Two columns of that name.
    #[error("two columns are named {given}; give the column's number in --map")]
    Ambiguous {
        /// As mapped.
        given: ColumnName,
    },
    /// One column for two things.
    #[error("column {column} is mapped to both {first} and {second}; each needs its own in --map")]
    SameColumn {
        /// From 1.
        column: usize,
        /// One word of the map.
        first: &'static str,
        /// The other.
        second: &'static str,
    },
    /// No sensor line.
    #[error("neither the first nor the second line is mapped; add rising=COL or second=COL to --map")]
    NoSensor,
    /// No supply.
    #[error("the sensor supply is not known: add supply=COL to --map, or give it with --supply VOLTS")]
    NoSupply,
    /// An unlikely supply.
    #[error("--supply {given} V is outside 1 to 16 V; give the sensor supply in volts")]
    SupplyRange {
        /// As given.
        given: f64,
    },
    /// An unlikely rate.
    #[error("--rate {given} is outside 1 to 1000000 scans per second; give the logger's rate in Hz")]
    RateRange {
        /// As given.
        given: f64,
    },
    /// No such unit of time.
    #[error("{given:?} is not a unit of time; --time-unit takes s, ms, us or ns")]
    TimeUnit {
        /// As given.
        given: String,
    },
    /// The unit of the time column can't be known.
    #[error(
        "the unit of the time column {column:?} is not known (a step is {step}); give it with --time-unit s, ms, us or ns"
    )]
    TimeUnitUnclear {
        /// Its header.
        column: String,
        /// Median step in the file's own unit.
        step: f64,
    },
    /// Too many cells that are no numbers.
    #[error(
        "line {line}: {column} holds {content:?}, which is not a number, and so do {count} of {rows} rows; export numbers only, or map another column"
    )]
    Text {
        /// Line of the first, from 1.
        line: u64,
        /// Word of the map.
        column: &'static str,
        /// What stands there.
        content: String,
        /// How many.
        count: usize,
        /// Of how many.
        rows: usize,
    },
    /// A column with a value in few rows only: channels logged at different rates.
    #[error(
        "{column} holds a value in {} of {rows} rows only: the columns were logged at different rates; export them at one rate",
        rows - count
    )]
    Sparse {
        /// Word of the map.
        column: &'static str,
        /// Rows without a value.
        count: usize,
        /// Of how many.
        rows: usize,
    },
    /// Too many rows of another width.
    #[error(
        "line {line} has {found} where the rows before have {expected}, and so have {count} rows; {hint}"
    )]
    Ragged {
        /// Line of the first, from 1.
        line: u64,
        /// What it has.
        found: String,
        /// Cells expected.
        expected: usize,
        /// How many rows.
        count: usize,
        /// What to do.
        hint: &'static str,
    },
    /// Time goes back.
    #[error(
        "line {line}: time goes back from {before} to {after}; cut the file where the logger was restarted, or leave its time out with --rate HZ"
    )]
    Backwards {
        /// From 1.
        line: u64,
        /// Time before, file's unit.
        before: f64,
        /// Time there.
        after: f64,
    },
    /// Time stands still.
    #[error(
        "line {line}: the same time as the line before, and so in {count} of {rows} rows: the time column is coarser than the scans; give --rate HZ instead"
    )]
    Repeats {
        /// First, from 1.
        line: u64,
        /// How many.
        count: usize,
        /// Of how many.
        rows: usize,
    },
    /// Faster than the clock of a trace.
    #[error(
        "the scans are {period_us} us apart, a trace holds whole microseconds; export fewer scans per second"
    )]
    TooFast {
        /// Median, us.
        period_us: f64,
    },
    /// Too few rows.
    #[error("the file has {} of numbers; a sweep needs at least 2", counted(*.rows, "row", "rows"))]
    TooFew {
        /// Rows.
        rows: usize,
    },
    /// No number at all in a column.
    #[error("the column of {column} holds no number; map another one or leave it out")]
    NoValues {
        /// Word of the map.
        column: &'static str,
    },
    /// Not volts.
    #[error(
        "line {line}: {channel} is {value}, outside -1 to 16 V, and so in {count} of {rows} rows: these may be millivolts or counts; export volts, or name the unit in the header like `{channel} [mV]`"
    )]
    NotVolts {
        /// First, from 1.
        line: u64,
        /// Which.
        channel: Channel,
        /// What stands there.
        value: f64,
        /// How many.
        count: usize,
        /// Of how many.
        rows: usize,
    },
}

/// "1 cell is", "3 cells are".
fn counted(count: usize, one: &str, many: &str) -> String {
    format!("{count} {}", ending(count, one, many))
}

const fn ending<'a>(count: usize, one: &'a str, many: &'a str) -> &'a str {
    if count == 1 { one } else { many }
}

/// " 12", "s 12, 14", "s 12, 14, 20 and more".
fn lines_named(lines: &[u64], count: usize) -> String {
    let named = lines.iter().map(u64::to_string).collect::<Vec<_>>().join(", ");
    let more = if count > lines.len() { " and more" } else { "" };
    format!("{} {named}{more}", ending(count, "", "s"))
}

/// What the reader should know of a file that was read.
#[derive(Clone, Debug, thiserror::Error, PartialEq)]
pub enum CsvWarning {
    /// Always: nothing is known of the logger.
    #[error(
        "the logger's calibration is not known: the uncertainties hold for what it wrote, not for its own error"
    )]
    NotCalibrated,
    /// Cells of text count as missing.
    #[error(
        "{column}: {} not {} and count{} as missing data, in line{}: {content:?}",
        counted(*.count, "cell is", "cells are"), ending(*.count, "a number", "numbers"), ending(*.count, "s", ""), lines_named(.lines, *.count)
    )]
    Text {
        /// Word of the map.
        column: &'static str,
        /// How many.
        count: usize,
        /// The first ones, from 1.
        lines: Vec<u64>,
        /// What stood there.
        content: String,
    },
    /// Cells were empty.
    #[error("{column}: {count} of {rows} cells {} empty", ending(*.count, "is", "are"))]
    Empty {
        /// Word of the map.
        column: &'static str,
        /// How many.
        count: usize,
        /// Of how many.
        rows: usize,
    },
    /// Rows were left out.
    #[error(
        "{} another number of cells and count{} as missing data, in line{}: {found}",
        counted(*.count, "row has", "rows have"), ending(*.count, "s", ""), lines_named(.lines, *.count)
    )]
    Ragged {
        /// How many.
        count: usize,
        /// First, from 1.
        lines: Vec<u64>,
        /// What it has.
        found: String,
    },
    /// Rows with the time of the row before were left out.
    #[error(
        "{} the time of the row before and {} left out, the first is line {line}",
        counted(*.count, "row repeats", "rows repeat"), ending(*.count, "was", "were")
    )]
    Repeats {
        /// How many.
        count: usize,
        /// First, from 1.
        line: u64,
    },
    /// Rows without a time were left out.
    #[error(
        "{} no time and count{} as missing data",
        counted(*.count, "row has", "rows have"), ending(*.count, "s", "")
    )]
    NoTime {
        /// How many.
        count: usize,
    },
    /// The unit of time was found by what makes sense.
    #[error(
        "the unit of the time column {column:?} is not named: it was taken as {unit}, which makes {rate_hz:.0} scans per second; --time-unit fixes it"
    )]
    TimeUnitTaken {
        /// Its header.
        column: String,
        /// `s`, `ms`, `us` or `ns`.
        unit: &'static str,
        /// What follows.
        rate_hz: f64,
    },
    /// Nothing shows the time.
    #[error(
        "no time was logged and no rate given: rates, lengths and lags can't be had; give --rate HZ or add time=COL to --map"
    )]
    TimeUnknown,
    /// A time column was passed over for a stated rate.
    #[error("--rate was given, so the time column {column:?} is not used")]
    RateOverTime {
        /// Its header.
        column: String,
    },
    /// A stated supply was passed over for a logged one.
    #[error("the supply was logged, so --supply is not used")]
    SupplyLogged,
    /// The header named another unit.
    #[error("{column}: converted, because its header names another unit (times {factor})")]
    Converted {
        /// Word of the map.
        column: &'static str,
        /// What it was multiplied by.
        factor: f64,
    },
    /// A few values that no sensor gives.
    #[error(
        "{channel}: {} outside -1 to 16 V, which no sensor gives, and count{} as missing data, the first in line {line}",
        counted(*.count, "value lies", "values lie"), ending(*.count, "s", "")
    )]
    NotVolts {
        /// Which.
        channel: Channel,
        /// How many.
        count: usize,
        /// First, from 1.
        line: u64,
    },
    /// Missing data: holes in time, cells and rows without numbers.
    #[error(
        "{}, {} missing: figures over {} can't be within",
        counted(*.count, "gap", "gaps"), counted(*.scans as usize, "scan", "scans"), ending(*.count, "it", "them")
    )]
    Gaps {
        /// How many.
        count: usize,
        /// Scans missing in all.
        scans: u64,
    },
}
