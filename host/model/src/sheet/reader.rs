//! TOML text into any type that derives `Deserialize`, with errors that point at the offending key or value: part sheets, and the program's
//! configuration. Numbers are held against [`super::bounds::BOUNDS`] by their key. It does not know what the keys mean.
//!
//! The types say what is known: a key that a type does not have is refused, `Option` may be left out, so may a list of tables, and
//! [`Spanned`] keeps the place for what is checked later. `serde` gives the names of a type's keys and an enum's words; errors are made of
//! these, which the errors of the `toml` crate, being text, do not let through.

use super::bounds;
use super::located::{SheetError, Source};
use super::near::did_you_mean;
use serde::Deserialize;
use serde::de::value::StrDeserializer;
use serde::de::{self, DeserializeOwned, DeserializeSeed, IntoDeserializer, MapAccess, SeqAccess, Visitor};
use serde_spanned::Spanned;
use serde_spanned::de::{SpannedDeserializer, is_spanned};
use std::ops::Range;
use toml::de::{DeTable, DeValue};

/// What a list of numbers is called where something else stands; never empty.
const NUMBERS: &str = "a list of numbers";

/// One number or more, each within the range of its key.
#[derive(Deserialize)]
#[serde(rename = "a list of numbers")]
pub struct Numbers(pub Vec<Spanned<f64>>);

impl Numbers {
    /// Without their places.
    pub fn values(&self) -> Vec<f64> {
        self.0.iter().map(|number| *number.get_ref()).collect()
    }
}

/// Texts that are taken as they are, none or more.
#[derive(Deserialize)]
#[serde(rename = "a list of texts in quotes")]
pub struct Texts(pub Vec<Spanned<String>>);

/// Texts of which each must be one of a set; the caller knows which.
#[derive(Deserialize)]
#[serde(rename = "a list of words in quotes")]
pub struct Words(pub Vec<Spanned<String>>);

/// A table that must name where its numbers come from, in `source`, which is not kept.
#[derive(Deserialize)]
#[serde(rename = "sourced")]
pub struct Sourced<T>(pub T);

/// The name by which [`Sourced`] asks for its table.
const SOURCED: &str = "sourced";

/// [`Sourced`] for a field.
pub fn sourced<'de, T: Deserialize<'de>, D: de::Deserializer<'de>>(from: D) -> Result<T, D::Error> {
    Sourced::deserialize(from).map(|Sourced(value)| value)
}

/// [`Numbers`] for a field.
pub fn numbers<'de, D: de::Deserializer<'de>>(from: D) -> Result<Vec<f64>, D::Error> {
    Numbers::deserialize(from).map(|numbers| numbers.values())
}

/// Nothing for a field whose table is read later.
pub fn later<'de, T, D: de::Deserializer<'de>>(from: D) -> Result<Option<T>, D::Error> {
    Later::deserialize(from).map(|_| None)
}

/// A table that is read later, when what else the document says decides whether it may be there.
pub type Later = Option<Spanned<de::IgnoredAny>>;

/// A document that is TOML.
pub struct Document<'a> {
    /// Its text.
    pub source: Source<'a>,
    name: &'static str,
    root: Spanned<DeValue<'a>>,
}

impl<'a> Document<'a> {
    /// Parses a text. `name` is what errors call the document, `shape` says what such a document looks like.
    ///
    /// # Errors
    /// Points at the first place that is not TOML, such as a key given twice.
    pub fn parse(source: Source<'a>, name: &'static str, shape: &str) -> Result<Self, SheetError> {
        let table = DeTable::parse(source.text).map_err(|error| {
            let what = error.message().lines().next().unwrap_or("unreadable");
            source.error(error.span().unwrap_or(0..0), format!("this is not TOML: {what}"), shape)
        })?;
        // What is missing from the document as a whole is missing at its beginning.
        Ok(Self { source, name, root: Spanned::new(0..0, DeValue::Table(table.into_inner())) })
    }

    /// The document as a `T`.
    ///
    /// # Errors
    /// Points at the first key that `T` does not know, else at the first that is missing, of another type, or out of range, in the order of `T`.
    pub fn read<T: DeserializeOwned>(&self) -> Result<T, SheetError> {
        T::deserialize(self.whole())
    }

    /// What stands behind these keys, each inside the one before.
    ///
    /// # Errors
    /// As [`Self::read`].
    pub fn read_at<T: DeserializeOwned>(&self, keys: &[&'static str]) -> Result<T, SheetError> {
        T::deserialize(self.at(keys))
    }

    /// An error at what stands there, or at the table that lacks it.
    pub fn error_at(
        &self,
        keys: &[&'static str],
        message: impl Into<String>,
        help: impl Into<String>,
    ) -> SheetError {
        self.at(keys).error(message, help)
    }

    fn at(&self, keys: &[&'static str]) -> Place<'_> {
        keys.iter().fold(self.whole(), |place, key| {
            let table = place.found.and_then(|found| found.get_ref().as_table());
            place.inside(key, table.and_then(|table| table.get(*key)), false)
        })
    }

    fn whole(&self) -> Place<'_> {
        let (name, path, outer) = (self.name.to_owned(), String::new(), (String::new(), 0..0));
        Place {
            source: self.source,
            key: "",
            path,
            name,
            outer,
            found: Some(&self.root),
            in_list: false,
            sourced: false,
        }
    }
}

/// One of a set of words, by a function that knows them.
///
/// # Errors
/// Points at another word and says what is known.
pub fn word<T>(
    source: Source<'_>,
    key: &str,
    given: &Spanned<String>,
    from_name: impl Fn(&str) -> Option<T>,
    known: &[&str],
) -> Result<T, SheetError> {
    from_name(given.get_ref()).ok_or_else(|| not_known(source, key, given.get_ref(), given.span(), known))
}

fn not_known(source: Source<'_>, key: &str, given: &str, span: Range<usize>, known: &[&str]) -> SheetError {
    let help = format!("{}known: {}", did_you_mean(given, known), known.join(", "));
    source.error(span, format!("`{given}` is not a {key}"), help)
}

/// A place in the document and what stands there, which `serde` asks to be one type or another.
#[derive(Clone)]
struct Place<'a> {
    source: Source<'a>,
    /// The key it stands behind; empty for the whole.
    key: &'a str,
    /// This key and those around it, as a table's header has them.
    path: String,
    /// What to call it if it is a table: `the sheet`, `[monitor]`, `[[limit]]`.
    name: String,
    /// What the table around it is called, and where that stands.
    outer: (String, Range<usize>),
    /// None: nothing stands there.
    found: Option<&'a Spanned<DeValue<'a>>>,
    /// Whether it is an entry of the list at its key.
    in_list: bool,
    /// Whether it is a table that must have a `source` beside the keys of its type.
    sourced: bool,
}

impl<'a> Place<'a> {
    /// A place in this table, or an entry of this list.
    fn inside(&self, key: &'a str, found: Option<&'a Spanned<DeValue<'a>>>, in_list: bool) -> Self {
        let outer = if in_list { self.outer.clone() } else { (self.name.clone(), self.span()) };
        let path = match self.path.as_str() {
            "" => key.to_owned(),
            path if in_list => path.to_owned(),
            path => format!("{path}.{key}"),
        };
        let inline = found.is_some_and(|value| !self.source.text[value.span()].starts_with('['));
        let name = match in_list {
            true => format!("[[{path}]]"),
            false if inline && !self.path.is_empty() => format!("`{key}` of {}", outer.0),
            false => format!("[{path}]"),
        };
        Self { source: self.source, key, path, name, outer, found, in_list, sourced: false }
    }

    fn span(&self) -> Range<usize> {
        self.found.map_or_else(|| self.outer.1.clone(), Spanned::span)
    }

    fn error(&self, message: impl Into<String>, help: impl Into<String>) -> SheetError {
        self.source.error(self.span(), message, help)
    }

    /// What stands there.
    fn value(&self, example: impl Fn() -> String) -> Result<&'a DeValue<'a>, SheetError> {
        let key = self.key;
        let missing = || match key {
            "source" => self.error(
                format!("{} lacks its `source`", self.outer.0),
                "name the service manual, drawing or standard, or write \
                 `source = \"common practice, no source; use the maker's service data\"`",
            ),
            _ => {
                self.error(format!("{} lacks `{key}`", self.outer.0), format!("add `{key} = {}`", example()))
            }
        };
        self.found.map(Spanned::get_ref).ok_or_else(missing)
    }

    fn wrong_type(&self, wanted: &str) -> SheetError {
        let (key, entry) = (self.key, if self.in_list { "an entry of " } else { "" });
        let is = self.found.map_or("nothing", |value| describe(value.get_ref()));
        let after = if self.in_list { "in the list after" } else { "after" };
        self.error(
            format!("{entry}`{key}` must be {wanted}, not {is}"),
            format!("write {wanted} {after} `{key} =`"),
        )
    }

    fn text(&self, example: impl Fn() -> String) -> Result<&'a str, SheetError> {
        let DeValue::String(text) = self.value(example)? else {
            return Err(self.wrong_type("a text in quotes"));
        };
        if text.trim().is_empty() && !self.in_list {
            return Err(self.error(format!("`{}` is empty", self.key), format!("write the {}", self.key)));
        }
        Ok(text)
    }

    /// A finite number within the range of its key, if it has one.
    fn number(&self) -> Result<f64, SheetError> {
        let (key, range) = (self.key, bounds::bound(self.key));
        let value = match self.value(|| range.map_or(2.5, |b| b.min).to_string())? {
            DeValue::Float(number) => number.as_str().parse().ok(),
            DeValue::Integer(number) => {
                i64::from_str_radix(number.as_str(), number.radix()).ok().map(|n| n as f64)
            }
            _ => return Err(self.wrong_type("a number")),
        };
        let Some(value) = value.filter(|value| f64::is_finite(*value)) else {
            return Err(self.error(format!("`{key}` is not a finite number"), "write a number such as 2.5"));
        };
        match range {
            Some(bounds::Bound { unit, min, max, .. }) if value < min || value > max => Err(self.error(
                format!("`{key}` is {value}, outside {min} to {max} {unit}"),
                format!("give `{key}` in {unit}, between {min} and {max}"),
            )),
            _ => Ok(value),
        }
    }

    fn entries(
        &self,
        wanted: &str,
        example: impl Fn() -> String,
    ) -> Result<&'a [Spanned<DeValue<'a>>], SheetError> {
        match self.value(example)? {
            DeValue::Array(entries) => Ok(entries),
            _ => Err(self.wrong_type(wanted)),
        }
    }

    /// A table that has no keys but these.
    fn table(&self, known: &[&str]) -> Result<&'a DeTable<'a>, SheetError> {
        let Some(found) = self.found else {
            let help = format!("add {} with: {}", self.name, known.join(", "));
            return Err(self.error(format!("{} lacks {}", self.outer.0, self.name), help));
        };
        let DeValue::Table(table) = found.get_ref() else { return Err(self.wrong_type("a table")) };
        let unknown = table.keys().filter(|key| !known.contains(&key.get_ref().as_ref()));
        if let Some(key) = unknown.min_by_key(|key| key.span().start) {
            let message = format!("unknown key `{}` in {}", key.get_ref(), self.name);
            let near = did_you_mean(key.get_ref(), known);
            let help = format!("{near}{} may hold: {}", self.name, known.join(", "));
            return Err(self.source.error(key.span(), message, help));
        }
        Ok(table)
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

impl<'de> de::Deserializer<'de> for Place<'_> {
    type Error = SheetError;

    fn deserialize_any<V: Visitor<'de>>(self, _: V) -> Result<V::Value, SheetError> {
        Err(de::Error::custom("this reader asks for numbers, texts, words, lists and tables"))
    }

    fn deserialize_ignored_any<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, SheetError> {
        visitor.visit_unit()
    }

    fn deserialize_option<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, SheetError> {
        if self.found.is_some() { visitor.visit_some(self) } else { visitor.visit_none() }
    }

    fn deserialize_bool<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, SheetError> {
        match self.value(|| "true".to_owned())? {
            DeValue::Boolean(value) => visitor.visit_bool(*value),
            _ => Err(self.wrong_type("true or false")),
        }
    }

    fn deserialize_f64<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, SheetError> {
        visitor.visit_f64(self.number()?)
    }

    fn deserialize_u32<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, SheetError> {
        let value = self.number()?;
        if value.fract() != 0.0 {
            let message = format!("`{}` must be a whole number, not {value}", self.key);
            return Err(self.error(message, format!("write `{} = {}`", self.key, value.round())));
        }
        visitor.visit_u32(value as u32)
    }

    fn deserialize_string<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, SheetError> {
        visitor.visit_str(self.text(|| "\"…\"".to_owned())?)
    }

    fn deserialize_enum<V: Visitor<'de>>(
        self,
        _: &'static str,
        known: &'static [&'static str],
        visitor: V,
    ) -> Result<V::Value, SheetError> {
        let given = self.text(|| format!("\"{}\"", known.first().unwrap_or(&"…")))?;
        if !known.contains(&given) {
            return Err(not_known(self.source, self.key, given, self.span(), known));
        }
        let word: StrDeserializer<'_, SheetError> = given.into_deserializer();
        visitor.visit_enum(word)
    }

    /// A table with its source, or one of the named lists.
    fn deserialize_newtype_struct<V: Visitor<'de>>(
        self,
        wanted: &'static str,
        visitor: V,
    ) -> Result<V::Value, SheetError> {
        if wanted == SOURCED {
            return visitor.visit_newtype_struct(Self { sourced: true, ..self });
        }
        let (key, numbers) = (self.key, wanted == NUMBERS);
        let example = if numbers { "[60.0, 20.0]" } else { "[\"…\"]" };
        if self.entries(wanted, || example.to_owned())?.is_empty() && numbers {
            return Err(self.error(format!("`{key}` is an empty list"), "write one number at least"));
        }
        visitor.visit_newtype_struct(self)
    }

    /// A named list, or tables, of which there may be none.
    fn deserialize_seq<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, SheetError> {
        let wanted = format!("a list of tables, each begun by [[{}]]", self.path);
        let entries = if self.found.is_some() { self.entries(&wanted, String::new)? } else { &[] };
        visitor.visit_seq(Entries { list: &self, entries: entries.iter() })
    }

    fn deserialize_struct<V: Visitor<'de>>(
        self,
        name: &'static str,
        fields: &'static [&'static str],
        visitor: V,
    ) -> Result<V::Value, SheetError> {
        if is_spanned(name) {
            let span = self.span();
            return visitor.visit_map(SpannedDeserializer::new(self, span));
        }
        let source = if self.sourced { &["source"][..] } else { &[] };
        let held = self.table(&[fields, source].concat())?;
        if self.sourced {
            self.inside("source", held.get("source"), false).text(String::new)?;
        }
        visitor.visit_map(Keys { table: &self, held, fields: fields.iter() })
    }

    serde::forward_to_deserialize_any! {
        i8 i16 i32 i64 u8 u16 u64 f32 char str bytes byte_buf unit unit_struct tuple tuple_struct map identifier
    }
}

impl<'de> IntoDeserializer<'de, SheetError> for Place<'_> {
    type Deserializer = Self;

    fn into_deserializer(self) -> Self {
        self
    }
}

/// The keys of a table, in the order of the type, those that are missing too: their type says what to add.
struct Keys<'p, 'a> {
    table: &'p Place<'a>,
    held: &'a DeTable<'a>,
    fields: std::slice::Iter<'static, &'static str>,
}

impl<'de> MapAccess<'de> for Keys<'_, '_> {
    type Error = SheetError;

    fn next_key_seed<K: DeserializeSeed<'de>>(&mut self, seed: K) -> Result<Option<K::Value>, SheetError> {
        let key = self.fields.as_slice().first();
        key.map(|key| seed.deserialize(StrDeserializer::new(key))).transpose()
    }

    fn next_value_seed<V: DeserializeSeed<'de>>(&mut self, seed: V) -> Result<V::Value, SheetError> {
        let key = self.fields.next().copied().unwrap_or_default();
        seed.deserialize(self.table.inside(key, self.held.get(key), false))
    }
}

/// The entries of a list.
struct Entries<'p, 'a> {
    list: &'p Place<'a>,
    entries: std::slice::Iter<'a, Spanned<DeValue<'a>>>,
}

impl<'de> SeqAccess<'de> for Entries<'_, '_> {
    type Error = SheetError;

    fn next_element_seed<T: DeserializeSeed<'de>>(
        &mut self,
        seed: T,
    ) -> Result<Option<T::Value>, SheetError> {
        let entry = self.entries.next();
        entry.map(|entry| seed.deserialize(self.list.inside(self.list.key, Some(entry), true))).transpose()
    }
}
