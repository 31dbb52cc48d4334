//! Typed access to a TOML table whose errors point at the offending key or value: part sheets, and the program's configuration. It
//! does not know what the keys mean.

use super::bounds::bound;
use super::located::{SheetError, Source};
use std::ops::Range;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// One table of a sheet or of the configuration.
pub struct Fields<'a> {
    source: Source<'a>,
    table: &'a DeTable<'a>,
    /// Where it stands, for what is missing from it.
    span: Range<usize>,
    /// What to call it: `the sheet`, `[monitor]`, `[[limit]]`.
    name: &'static str,
}

/// A value with its place.
pub struct Placed<T> {
    /// The value.
    pub value: T,
    /// Its bytes in the text.
    pub span: Range<usize>,
}

impl<'a> Fields<'a> {
    /// A table that may hold `known` keys only.
    ///
    /// # Errors
    /// Points at the first unknown key and says what is known.
    pub fn new(
        source: Source<'a>,
        table: &'a DeTable<'a>,
        span: Range<usize>,
        name: &'static str,
        known: &[&str],
    ) -> Result<Self, SheetError> {
        let unknown = table.iter().map(|(key, _)| key).filter(|key| !known.contains(&key.get_ref().as_ref()));
        if let Some(key) = unknown.min_by_key(|key| key.span().start) {
            let near =
                nearest(key.get_ref(), known).map(|k| format!("did you mean `{k}`? ")).unwrap_or_default();
            let message = format!("unknown key `{}` in {name}", key.get_ref());
            let help = format!("{near}{name} may hold: {}", known.join(", "));
            return Err(source.error(key.span(), message, help));
        }
        Ok(Self { source, table, span, name })
    }

    /// An error at the table as a whole.
    pub fn error(&self, message: impl Into<String>, help: impl Into<String>) -> SheetError {
        self.source.error(self.span.clone(), message, help)
    }

    fn get(&self, key: &str) -> Option<&'a Spanned<DeValue<'a>>> {
        self.table.get(key)
    }

    /// Whether it has a key.
    pub fn holds(&self, key: &str) -> bool {
        self.get(key).is_some()
    }

    /// Where a key's value stands, if it has it.
    pub fn place(&self, key: &str) -> Option<Range<usize>> {
        self.get(key).map(Spanned::span)
    }

    fn missing(&self, key: &str, example: &str) -> SheetError {
        self.error(format!("{} lacks `{key}`", self.name), format!("add `{key} = {example}`"))
    }

    fn wrong_type(&self, key: &str, found: &Spanned<DeValue<'_>>, wanted: &str) -> SheetError {
        let message = format!("`{key}` must be {wanted}, not {}", describe(found.get_ref()));
        self.source.error(found.span(), message, format!("write {wanted} after `{key} =`"))
    }

    /// A text that is not empty.
    pub fn text(&self, key: &str) -> Result<Placed<&'a str>, SheetError> {
        let found = self.get(key).ok_or_else(|| self.missing(key, "\"…\""))?;
        match found.get_ref() {
            DeValue::String(text) if !text.trim().is_empty() => {
                Ok(Placed { value: text.as_ref(), span: found.span() })
            }
            DeValue::String(_) => {
                Err(self.source.error(found.span(), format!("`{key}` is empty"), format!("write the {key}")))
            }
            _ => Err(self.wrong_type(key, found, "a text in quotes")),
        }
    }

    /// A text that may be left out.
    pub fn optional_text(&self, key: &str) -> Result<Option<Placed<&'a str>>, SheetError> {
        self.get(key).map(|_| self.text(key)).transpose()
    }

    /// A list of texts that may be left out; empty then.
    pub fn texts(&self, key: &str) -> Result<Vec<Placed<&'a str>>, SheetError> {
        let Some(found) = self.get(key) else { return Ok(Vec::new()) };
        let wanted = "a list of texts in quotes";
        let DeValue::Array(array) = found.get_ref() else {
            return Err(self.wrong_type(key, found, wanted));
        };
        let one = |entry: &'a Spanned<DeValue<'a>>| match entry.get_ref() {
            DeValue::String(text) => Ok(Placed { value: text.as_ref(), span: entry.span() }),
            _ => Err(self.wrong_type(key, entry, wanted)),
        };
        array.iter().map(one).collect()
    }

    /// The source of a rule: never optional.
    pub fn provenance(&self) -> Result<String, SheetError> {
        if self.get("source").is_none() {
            let help = "name the service manual, drawing or standard, or write \
                        `source = \"common practice, no source; use the maker's service data\"`";
            return Err(self.error(format!("{} lacks its `source`", self.name), help));
        }
        Ok(self.text("source")?.value.to_owned())
    }

    /// True or false.
    pub fn boolean(&self, key: &str) -> Result<bool, SheetError> {
        let found = self.get(key).ok_or_else(|| self.missing(key, "true"))?;
        match found.get_ref() {
            DeValue::Boolean(value) => Ok(*value),
            _ => Err(self.wrong_type(key, found, "true or false")),
        }
    }

    /// A finite number that may be left out.
    pub fn optional_number(&self, key: &str) -> Result<Option<Placed<f64>>, SheetError> {
        self.get(key).map(|found| self.number(key, found)).transpose()
    }

    /// A finite number that was found at a key.
    fn number(&self, key: &str, found: &Spanned<DeValue<'_>>) -> Result<Placed<f64>, SheetError> {
        let value = match found.get_ref() {
            DeValue::Float(number) => number.as_str().parse().ok(),
            DeValue::Integer(number) => {
                i64::from_str_radix(number.as_str(), number.radix()).ok().map(|n| n as f64)
            }
            _ => return Err(self.wrong_type(key, found, "a number")),
        };
        match value {
            Some(value) if f64::is_finite(value) => Ok(Placed { value, span: found.span() }),
            _ => {
                let message = format!("`{key}` is not a finite number");
                Err(self.source.error(found.span(), message, "write a number such as 2.5"))
            }
        }
    }

    /// A number within its range in [`super::bounds::BOUNDS`].
    pub fn bounded(&self, key: &'static str) -> Result<Placed<f64>, SheetError> {
        let number =
            self.optional_number(key)?.ok_or_else(|| self.missing(key, &format!("{}", bound(key).min)))?;
        self.in_bounds(key, number)
    }

    /// A list of one number or more, each within the key's range in [`super::bounds::BOUNDS`].
    pub fn numbers(&self, key: &'static str) -> Result<Vec<Placed<f64>>, SheetError> {
        let found = self.get(key).ok_or_else(|| self.missing(key, "[60.0, 20.0]"))?;
        let DeValue::Array(array) = found.get_ref() else {
            return Err(self.wrong_type(key, found, "a list of numbers"));
        };
        if array.is_empty() {
            let message = format!("`{key}` is an empty list");
            return Err(self.source.error(found.span(), message, "write one number at least"));
        }
        array.iter().map(|entry| self.in_bounds(key, self.number(key, entry)?)).collect()
    }

    fn in_bounds(&self, key: &'static str, number: Placed<f64>) -> Result<Placed<f64>, SheetError> {
        let range = bound(key);
        if number.value < range.min || number.value > range.max {
            let message =
                format!("`{key}` is {}, outside {} to {} {}", number.value, range.min, range.max, range.unit);
            let help = format!("give `{key}` in {}, between {} and {}", range.unit, range.min, range.max);
            return Err(self.source.error(number.span, message, help));
        }
        Ok(number)
    }

    /// A whole number within its range in [`super::bounds::BOUNDS`].
    pub fn count(&self, key: &'static str) -> Result<u32, SheetError> {
        let number = self.bounded(key)?;
        if number.value.fract() != 0.0 {
            let message = format!("`{key}` must be a whole number, not {}", number.value);
            return Err(self.source.error(
                number.span,
                message,
                format!("write `{key} = {}`", number.value.round()),
            ));
        }
        Ok(number.value as u32)
    }

    /// A table inside this one.
    pub fn table(&self, key: &'static str, name: &'static str, known: &[&str]) -> Result<Self, SheetError> {
        let Some(found) = self.get(key) else {
            return Err(self.error(
                format!("{} lacks {name}", self.name),
                format!("add {name} with: {}", known.join(", ")),
            ));
        };
        match found.get_ref() {
            DeValue::Table(table) => Self::new(self.source, table, found.span(), name, known),
            _ => Err(self.wrong_type(key, found, "a table")),
        }
    }

    /// A list of tables inside this one; empty when there is none.
    pub fn tables(
        &self,
        key: &'static str,
        name: &'static str,
        known: &[&str],
    ) -> Result<Vec<Self>, SheetError> {
        let Some(found) = self.get(key) else { return Ok(Vec::new()) };
        let DeValue::Array(array) = found.get_ref() else {
            return Err(self.wrong_type(key, found, &format!("a list of tables, each begun by {name}")));
        };
        let mut tables = Vec::new();
        for entry in array.iter() {
            match entry.get_ref() {
                DeValue::Table(table) => {
                    tables.push(Self::new(self.source, table, entry.span(), name, known)?)
                }
                _ => return Err(self.wrong_type(key, entry, "a table")),
            }
        }
        Ok(tables)
    }

    /// One of a set of words, by a function that knows them.
    pub fn word<T>(
        &self,
        key: &'static str,
        from_name: impl Fn(&str) -> Option<T>,
        known: &[&str],
    ) -> Result<Placed<T>, SheetError> {
        let text = self.text(key)?;
        self.known_word(key, text, from_name, known)
    }

    fn known_word<T>(
        &self,
        key: &'static str,
        text: Placed<&str>,
        from_name: impl Fn(&str) -> Option<T>,
        known: &[&str],
    ) -> Result<Placed<T>, SheetError> {
        match from_name(text.value) {
            Some(value) => Ok(Placed { value, span: text.span }),
            None => {
                let near =
                    nearest(text.value, known).map(|k| format!("did you mean `{k}`? ")).unwrap_or_default();
                let message = format!("`{}` is not a {key}", text.value);
                Err(self.source.error(text.span, message, format!("{near}known: {}", known.join(", "))))
            }
        }
    }

    /// A list of one word or more of a set.
    pub(super) fn list_of_words<T>(
        &self,
        key: &'static str,
        from_name: impl Fn(&str) -> Option<T>,
        known: &[&str],
    ) -> Result<Vec<Placed<T>>, SheetError> {
        let found = self.get(key).ok_or_else(|| self.missing(key, &format!("[\"{}\"]", known[0])))?;
        let DeValue::Array(array) = found.get_ref() else {
            return Err(self.wrong_type(key, found, "a list of words in quotes"));
        };
        if array.is_empty() {
            let message = format!("`{key}` is an empty list");
            let help = format!("write one at least: {}", known.join(", "));
            return Err(self.source.error(found.span(), message, help));
        }
        let one = |entry: &Spanned<DeValue<'_>>| match entry.get_ref() {
            DeValue::String(text) => {
                self.known_word(key, Placed { value: text.as_ref(), span: entry.span() }, &from_name, known)
            }
            _ => Err(self.wrong_type(key, entry, "a word in quotes")),
        };
        array.iter().map(one).collect()
    }

    /// The same for a word that may be left out.
    pub fn optional_word<T>(
        &self,
        key: &'static str,
        from_name: impl Fn(&str) -> Option<T>,
        known: &[&str],
    ) -> Result<Option<T>, SheetError> {
        self.get(key).map(|_| self.word(key, from_name, known).map(|placed| placed.value)).transpose()
    }

    /// An error at a place in this table.
    pub fn error_at(
        &self,
        span: Range<usize>,
        message: impl Into<String>,
        help: impl Into<String>,
    ) -> SheetError {
        self.source.error(span, message, help)
    }
}

/// What a value is, in words.
fn describe(value: &DeValue<'_>) -> &'static str {
    match value {
        DeValue::String(_) => "a text",
        DeValue::Integer(_) | DeValue::Float(_) => "a number",
        DeValue::Boolean(_) => "true or false",
        DeValue::Datetime(_) => "a date",
        DeValue::Array(_) => "a list",
        DeValue::Table(_) => "a table",
    }
}

/// The known word that shares the most letters with the given one, if it is close.
fn nearest<'k>(given: &str, known: &[&'k str]) -> Option<&'k str> {
    // More than this is no slip of the finger, and the table below would grow with hostile input.
    if given.len() > 40 {
        return None;
    }
    let best = known.iter().map(|k| (edits(given, k), *k)).min()?;
    (best.0 <= 1 + given.len() / 4).then_some(best.1)
}

/// Insertions, deletions and replacements between two words (Levenshtein distance).
fn edits(a: &str, b: &str) -> usize {
    let b: Vec<char> = b.chars().collect();
    let mut row: Vec<usize> = (0..=b.len()).collect();
    for (i, ca) in a.chars().enumerate() {
        let mut diagonal = row[0];
        row[0] = i + 1;
        for (j, cb) in b.iter().enumerate() {
            let replaced = diagonal + usize::from(ca != *cb);
            diagonal = row[j + 1];
            row[j + 1] = replaced.min(diagonal + 1).min(row[j] + 1);
        }
    }
    row[b.len()]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_slip_of_the_finger_is_recognised_and_nonsense_is_not() {
        assert_eq!(nearest("travel_degs", &["travel_deg", "title"]), Some("travel_deg"));
        assert_eq!(nearest("zzzzzz", &["travel_deg", "title"]), None);
        assert_eq!(edits("kitten", "sitting"), 3);
    }
}
