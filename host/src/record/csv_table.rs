//! Another logger's text as columns of numbers: separator, header, unit row, decimal comma, comments. It does not know what
//! the columns mean.

use super::csv_error::CsvError;

/// Records in which separator and header are looked for.
const HEAD_RECORDS: usize = 64;
/// Longest piece of a cell that an error shows, characters.
const SHOWN_CHARS: usize = 40;

/// The layout of a file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Layout {
    /// `,`, `;` or tab.
    pub separator: u8,
    /// Header cells, trimmed; empty when the file has none.
    pub headers: Vec<String>,
    /// Cells of the row of units below the header; empty when there is none.
    pub units: Vec<String>,
    /// Cells of a data row.
    pub width: usize,
    /// Records before the first data row.
    pub skipped: usize,
}

/// Numbers of the wanted columns, row by row, and what was wrong with them.
#[derive(Debug, Default)]
pub struct Numbers {
    /// One per wanted column, equally long; NaN where a cell held no number.
    pub columns: Vec<Vec<f64>>,
    /// Byte at which each row begins (or the comments above it): [`line_of`] makes a line of it.
    pub starts: Vec<usize>,
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
}

/// Most lines that are named of something odd.
const LINES_NAMED: usize = 3;

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
}

/// The text without its byte order mark.
///
/// # Errors
/// Nothing in it, UTF-16, or not text at all.
pub fn text_of(bytes: &[u8]) -> Result<&[u8], CsvError> {
    if bytes.starts_with(&[0xff, 0xfe]) || bytes.starts_with(&[0xfe, 0xff]) {
        return Err(CsvError::Encoding { what: "UTF-16" });
    }
    let text = bytes.strip_prefix(&[0xef, 0xbb, 0xbf]).unwrap_or(bytes);
    if text.iter().take(1 << 16).any(|b| *b == 0) {
        return Err(CsvError::Encoding { what: "binary data" });
    }
    if text.iter().all(u8::is_ascii_whitespace) {
        return Err(CsvError::Empty);
    }
    Ok(text)
}

fn reader(text: &[u8], separator: u8) -> csv::Reader<&[u8]> {
    csv::ReaderBuilder::new()
        .delimiter(separator)
        .has_headers(false)
        .flexible(true)
        .comment(Some(b'#'))
        .trim(csv::Trim::All)
        .from_reader(text)
}

/// The first records with a separator. Cells that are not UTF-8 (a degree sign of an old code page) keep their readable part.
fn head(text: &[u8], separator: u8) -> Vec<Vec<String>> {
    let records = reader(text, separator).into_byte_records().take(HEAD_RECORDS).filter_map(Result::ok);
    records.map(|r| r.iter().map(|cell| String::from_utf8_lossy(cell).into_owned()).collect()).collect()
}

/// Finds out how a file is laid out.
///
/// # Errors
/// No row of numbers within its first records.
pub fn layout(text: &[u8]) -> Result<Layout, CsvError> {
    let separator = separator(text);
    let records = head(text, separator);
    let numeric = |r: &Vec<String>| r.iter().any(|c| matches!(cell(c, separator), Cell::Number(_)));
    let texts = |r: &Vec<String>| r.iter().filter(|c| matches!(cell(c, separator), Cell::Text)).count();
    // A data row holds more numbers than words; a header may hold a number in a name, and a title line one cell.
    let is_data = |r: &Vec<String>| numeric(r) && 2 * texts(r) < r.len().max(2);
    let widest = records.iter().filter(|r| is_data(r)).map(Vec::len).max().unwrap_or(0);
    let first = records.iter().position(|r| is_data(r) && 2 * r.len() > widest).ok_or_else(|| {
        CsvError::NoNumbers { first: clip(&records.first().map(|r| r.join(" ")).unwrap_or_default()) }
    })?;
    let above: Vec<_> = records[..first].iter().collect();
    let (headers, units) = match above.as_slice() {
        [.., names, units] if looks_like_units(units) && names.len() > 1 => {
            ((*names).clone(), (*units).clone())
        }
        [.., names] => ((*names).clone(), Vec::new()),
        [] => (Vec::new(), Vec::new()),
    };
    let width = if headers.is_empty() { records[first].len() } else { headers.len() };
    Ok(Layout { separator, headers, units, width, skipped: first })
}

/// The separator that cuts most lines into equally many cells, more than one.
fn separator(text: &[u8]) -> u8 {
    let score = |separator: u8| {
        let widths: Vec<usize> = head(text, separator).iter().map(Vec::len).filter(|w| *w > 1).collect();
        let most = |w: &usize| widths.iter().filter(|v| *v == w).count();
        widths.iter().map(most).max().unwrap_or(0)
    };
    // With equal scores the earlier wins: where there are semicolons, a comma is a decimal comma.
    let (mut best, mut best_score) = (b',', 0);
    for candidate in [b'\t', b';', b','] {
        let found = score(candidate);
        if found > best_score {
            (best, best_score) = (candidate, found);
        }
    }
    best
}

/// Whether every cell of a row is a unit in the usual spellings, or empty.
fn looks_like_units(row: &[String]) -> bool {
    row.iter().any(|c| !c.is_empty()) && row.iter().all(|c| c.is_empty() || Unit::from_word(c).is_some())
}

/// A unit that a header or unit row may name.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Unit {
    /// Times, in microseconds per unit.
    Time(f64),
    /// Voltages, in volts per unit.
    Volt(f64),
    /// Angles, in degrees per unit.
    Angle(f64),
    /// Anything else that is known to be a unit.
    Other,
}

impl Unit {
    /// From its word, with or without brackets.
    pub fn from_word(word: &str) -> Option<Self> {
        let bare: String = word.chars().filter(|c| !"[](){}\"' ".contains(*c)).collect();
        Some(match bare.to_lowercase().as_str() {
            "s" | "sec" | "secs" | "second" | "seconds" => Self::Time(1e6),
            "ms" | "msec" | "millisecond" | "milliseconds" => Self::Time(1e3),
            "us" | "µs" | "μs" | "usec" | "microsecond" | "microseconds" => Self::Time(1.0),
            "ns" | "nsec" | "nanosecond" | "nanoseconds" => Self::Time(1e-3),
            "v" | "volt" | "volts" => Self::Volt(1.0),
            "mv" | "millivolt" | "millivolts" => Self::Volt(1e-3),
            "deg" | "°" | "degree" | "degrees" | "\u{fffd}" => Self::Angle(1.0),
            "rad" | "radian" | "radians" => Self::Angle(180.0 / std::f64::consts::PI),
            "a" | "ma" | "amp" | "amps" | "degc" | "°c" | "c" | "celsius" | "%" | "hz" | "rpm" | "-" => {
                Self::Other
            }
            _ => return None,
        })
    }

    /// From the end of a header: `time_ms`, `t [s]`, `angle (deg)`, `Time/s`.
    pub fn of_header(header: &str) -> Option<Self> {
        let header = header.trim();
        let at = header.rfind(['_', ' ', '[', '(', '/'])?;
        // The name itself must not be a unit: "second" alone is the second line.
        if header[..at].trim().is_empty() { None } else { Self::from_word(&header[at + 1..]) }
    }
}

/// What a cell holds.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Cell {
    Number(f64),
    Empty,
    Text,
}

fn cell(text: &str, separator: u8) -> Cell {
    let text = text.trim();
    if text.is_empty() {
        return Cell::Empty;
    }
    // `inf` and `nan` would parse: only digits make a number.
    let starts_right = text.starts_with(|c: char| c.is_ascii_digit() || "+-.,".contains(c));
    if starts_right && !text.contains(['i', 'n', 'I', 'N']) {
        if let Ok(number) = text.parse::<f64>() {
            return if number.is_finite() { Cell::Number(number) } else { Cell::Text };
        }
        if separator != b','
            && text.contains(',')
            && !text.contains('.')
            && let Ok(number) = text.replacen(',', ".", 1).parse::<f64>()
        {
            return Cell::Number(number);
        }
    }
    match text.to_ascii_lowercase().as_str() {
        "nan" | "na" | "n/a" | "null" | "none" | "-" | "--" | "---" => Cell::Empty,
        _ => Cell::Text,
    }
}

/// Reads the wanted columns, given from 0.
///
/// # Errors
/// Only what the text reader itself refuses; odd cells and rows are counted and told.
pub fn numbers(text: &[u8], layout: &Layout, wanted: &[usize]) -> Result<Numbers, CsvError> {
    let mut found = Numbers {
        columns: vec![Vec::new(); wanted.len()],
        empty: vec![0; wanted.len()],
        text: vec![Odd::default(); wanted.len()],
        ..Numbers::default()
    };
    let mut reader = reader(text, layout.separator);
    let mut record = csv::ByteRecord::new();
    let mut index = 0;
    loop {
        match reader.read_byte_record(&mut record) {
            Ok(false) => return Ok(found),
            Ok(true) => {}
            Err(error) => return Err(CsvError::Reader { what: error.to_string() }),
        }
        index += 1;
        if index > layout.skipped {
            let start = record.position().map_or(0, |p| p.byte() as usize);
            row(&mut found, &record, (text, start), layout, wanted);
        }
    }
}

fn row(
    found: &mut Numbers,
    record: &csv::ByteRecord,
    place: (&[u8], usize),
    layout: &Layout,
    wanted: &[usize],
) {
    if record.iter().all(<[u8]>::is_empty) {
        return;
    }
    let cells = record.len();
    // A separator at the end of each line makes one empty cell too many, or one too few in the header.
    let extra = (layout.width..cells).any(|k| record.get(k).is_some_and(|c| !c.is_empty()));
    let short = wanted.iter().any(|w| *w >= cells);
    if extra || short {
        let what = if cells == 1 { "1 cell".to_owned() } else { format!("{cells} cells") };
        found.ragged.note(place, || what);
        found.ragged_before.push(found.starts.len());
        return;
    }
    let row = found.starts.len();
    found.starts.push(place.1);
    for (k, column) in wanted.iter().enumerate() {
        let bytes = record.get(*column).unwrap_or_default();
        let value = match std::str::from_utf8(bytes).map_or(Cell::Text, |text| cell(text, layout.separator)) {
            Cell::Number(value) => value,
            Cell::Empty => {
                found.empty[k] += 1;
                f64::NAN
            }
            Cell::Text => {
                found.text[k].note(place, || clip(&String::from_utf8_lossy(bytes)));
                if found.text_rows.last() != Some(&row) {
                    found.text_rows.push(row);
                }
                f64::NAN
            }
        };
        found.columns[k].push(value);
    }
}

/// The line, from 1, of a row that begins at a byte of the text; comments and blank lines before it are not its own.
pub fn line_of(text: &[u8], start: usize) -> u64 {
    let mut at = start.min(text.len());
    loop {
        match text.get(at) {
            Some(b'\r' | b'\n') => at += 1,
            Some(b'#') => at += text[at..].iter().position(|b| *b == b'\n').unwrap_or(text.len() - at),
            _ => break,
        }
    }
    1 + text[..at].iter().filter(|b| **b == b'\n').count() as u64
}

/// A piece of the file made short and safe to show.
pub fn clip(text: &str) -> String {
    let mut shown: String =
        text.chars().take(SHOWN_CHARS).map(|c| if c.is_control() { ' ' } else { c }).collect();
    if text.chars().count() > SHOWN_CHARS {
        shown.push('…');
    }
    shown
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check(text: &str, separator: u8, headers: &[&str], units: &[&str], skipped: usize) {
        let found = layout(text.as_bytes()).unwrap();
        assert_eq!((found.separator as char, found.skipped), (separator as char, skipped), "{found:?}");
        assert_eq!(
            (found.headers, found.units),
            (
                headers.iter().map(|s| (*s).to_owned()).collect::<Vec<_>>(),
                units.iter().map(|s| (*s).to_owned()).collect::<Vec<_>>(),
            )
        );
    }

    #[test]
    fn comma_semicolon_and_tab_are_told_apart_even_with_decimal_commas() {
        check("a,b\n1.5,2\n2.5,3\n", b',', &["a", "b"], &[], 1);
        check("a;b\n1,5;2,25\n2,5;3,25\n", b';', &["a", "b"], &[], 1);
        check("a\tb\n1,5\t2,25\n2,5\t3,25\n", b'\t', &["a", "b"], &[], 1);
        check("1.5,2\n2.5,3\n", b',', &[], &[], 0);
    }

    #[test]
    fn titles_comments_and_a_row_of_units_are_seen_for_what_they_are() {
        check(
            "# by a logger\nLogger 3000\ntime,V1\ns,V\n0,1\n1,2\n2,3\n",
            b',',
            &["time", "V1"],
            &["s", "V"],
            3,
        );
        check("time [ms];\"Kanal, 1\"\n0;1,5\n1;1,6\n", b';', &["time [ms]", "Kanal, 1"], &[], 1);
    }

    #[test]
    fn cells_are_numbers_nothing_or_text() {
        assert_eq!(cell(" -1.5e-3 ", b','), Cell::Number(-0.0015));
        assert_eq!(cell("1,5", b';'), Cell::Number(1.5));
        assert_eq!(cell("1,5", b','), Cell::Text);
        assert_eq!(cell("1.234,5", b';'), Cell::Text);
        assert_eq!(cell("", b','), Cell::Empty);
        assert_eq!(cell("NaN", b','), Cell::Empty);
        assert_eq!(cell("inf", b','), Cell::Text);
        assert_eq!(cell("1e999", b','), Cell::Text);
        assert_eq!(cell("open", b','), Cell::Text);
    }

    #[test]
    fn units_are_read_from_headers_but_a_name_is_not_a_unit() {
        assert_eq!(Unit::of_header("time_ms"), Some(Unit::Time(1e3)));
        assert_eq!(Unit::of_header("t [s]"), Some(Unit::Time(1e6)));
        assert_eq!(Unit::of_header("Time/µs"), Some(Unit::Time(1.0)));
        assert_eq!(Unit::of_header("grip (deg)"), Some(Unit::Angle(1.0)));
        assert_eq!(Unit::of_header("second"), None);
        assert_eq!(Unit::of_header("rising_mV"), Some(Unit::Volt(1e-3)));
        assert_eq!(Unit::of_header("V1"), None);
    }
}
