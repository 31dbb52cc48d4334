//! What `--map` says: which column of another logger's file holds which channel. It knows nothing of the file itself.

use crate::quantity::Channel;

/// What a column is mapped to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Target {
    /// The time of the scan.
    Time,
    /// A channel.
    Channel(Channel),
}

impl Target {
    /// Its word in `--map`.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Time => "time",
            Self::Channel(channel) => channel.name(),
        }
    }

    fn from_name(name: &str) -> Option<Self> {
        let name = name.to_ascii_lowercase();
        if name == "time" { Some(Self::Time) } else { Channel::from_name(&name).map(Self::Channel) }
    }
}

/// How a column is named.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum ColumnName {
    /// By its place, from 1.
    Number(usize),
    /// By its header.
    Header(String),
}

impl std::fmt::Display for ColumnName {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Number(number) => write!(f, "number {number}"),
            Self::Header(header) => write!(f, "{header:?}"),
        }
    }
}

/// Why a map can't be used.
#[derive(Debug, thiserror::Error, PartialEq, Eq)]
#[error(
    "the map can't be used: {why}; write it like --map reference=COL,rising=COL,second=COL,supply=COL,time=COL, \
     where COL is a header name or a number from 1, and leave out what was not logged"
)]
pub struct MapError {
    /// What is wrong.
    pub why: String,
}

/// Which column holds what, in the order given.
pub type CsvMap = Vec<(Target, ColumnName)>;

/// Reads `reference=COL,rising=COL,…`. Names with commas or blanks at their ends stand in quotes.
///
/// # Errors
/// An unknown or repeated word, a missing `=` or column, column 0.
pub fn parse_map(text: &str) -> Result<CsvMap, MapError> {
    let mut map: CsvMap = Vec::new();
    for entry in split_outside_quotes(text) {
        let entry = entry.trim();
        if entry.is_empty() {
            continue;
        }
        let wrong = |why: String| MapError { why };
        let (word, column) = entry.split_once('=').ok_or_else(|| wrong(format!("{entry:?} has no `=`")))?;
        let word = word.trim().trim_matches(['"', '\'']);
        let known = || Channel::ALL.map(Channel::name).join(", ");
        let target = Target::from_name(word)
            .ok_or_else(|| wrong(format!("{word:?} is none of time, second, {}", known())))?;
        if map.iter().any(|(t, _)| *t == target) {
            return Err(wrong(format!("{} is given twice", target.name())));
        }
        let name = column_name(column.trim()).map_err(|why| wrong(format!("{word}: {why}")))?;
        if let Some((other, _)) = map.iter().find(|(_, n)| *n == name) {
            return Err(wrong(format!("column {name} is both {} and {}", other.name(), target.name())));
        }
        map.push((target, name));
    }
    if map.is_empty() {
        return Err(MapError { why: "it is empty".to_owned() });
    }
    Ok(map)
}

fn column_name(text: &str) -> Result<ColumnName, &'static str> {
    for quote in ['"', '\''] {
        if let Some(inner) = text.strip_prefix(quote).and_then(|t| t.strip_suffix(quote)) {
            return Ok(ColumnName::Header(inner.to_owned()));
        }
    }
    match text.parse() {
        Ok(0) => Err("columns are numbered from 1"),
        Ok(number) => Ok(ColumnName::Number(number)),
        Err(_) if text.is_empty() => Err("no column is given"),
        Err(_) => Ok(ColumnName::Header(text.to_owned())),
    }
}

fn split_outside_quotes(text: &str) -> Vec<&str> {
    let (mut parts, mut start, mut open) = (Vec::new(), 0, None);
    for (at, c) in text.char_indices() {
        // A quote opens only where a column begins, so that an apostrophe inside a name is a letter.
        let begins = text[start..at].trim_end().ends_with('=');
        match (open, c) {
            (None, '"' | '\'') if begins => open = Some(c),
            (Some(quote), c) if c == quote => open = None,
            (None, ',') => {
                parts.push(&text[start..at]);
                start = at + 1;
            }
            _ => {}
        }
    }
    parts.push(&text[start..]);
    parts
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[track_caller]
    fn refused(text: &str, word: &str) {
        let error = parse_map(text).unwrap_err();
        assert!(error.to_string().contains(word), "{error}");
    }

    #[test]
    fn names_numbers_quotes_and_blanks_are_understood() {
        let map = parse_map(" reference = 1, rising=\"Volts, A\",second=V B ,time='2', supply=it's").unwrap();
        let header = |s: &str| ColumnName::Header(s.to_owned());
        assert_eq!(
            map,
            [
                (Target::Channel(Channel::Reference), ColumnName::Number(1)),
                (Target::Channel(Channel::Rising), header("Volts, A")),
                (Target::Channel(Channel::Falling), header("V B")),
                (Target::Time, header("2")),
                (Target::Channel(Channel::Supply), header("it's")),
            ]
        );
    }

    #[test]
    fn a_map_that_says_nothing_twice_or_nonsense_is_refused() {
        refused("", "empty");
        refused("rising", "no `=`");
        refused("rising=", "no column");
        refused("rising=0", "from 1");
        refused("colour=3", "none of time, second, rising");
        refused("rising=1,rising=2", "twice");
        refused("second=1,falling=2", "falling is given twice");
        refused("rising=1,falling=1", "both rising and falling");
    }

    proptest! {
        #[test]
        fn any_map_never_panics(text in "\\PC{0,60}") {
            let _ = parse_map(&text);
        }
    }
}
