//! How another logger's text is laid out: separator, header, unit row, decimal comma, comments; and what a cell holds. It does not know
//! what the columns mean.

use super::csv_error::CsvError;

/// Records in which separator and header are looked for.
pub const HEAD_RECORDS: usize = 64;
/// What may separate cells. With equal scores the earlier wins: where there are semicolons, a comma is a decimal comma.
pub const SEPARATORS: [u8; 3] = [b'\t', b';', b','];
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

/// A reader of records as they stand: comments are passed over, cells trimmed.
pub fn reader(text: &[u8], separator: u8) -> csv::Reader<&[u8]> {
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
    let (mut best, mut best_score) = (b',', 0);
    for candidate in SEPARATORS {
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
pub enum Cell {
    /// A finite number.
    Number(f64),
    /// Nothing, or a word for it.
    Empty,
    /// Anything else.
    Text,
}

/// Reads a cell.
pub fn cell(text: &str, separator: u8) -> Cell {
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
