//! Names in documents: one that this program knows, or another program's.

use serde::{Deserialize, Deserializer, Serialize, Serializer};
use std::cmp::Ordering;
use std::fmt;
use std::hash::{Hash, Hasher};
use std::ops::Deref;

/// A closed set of names that documents use.
pub trait Name: Copy + 'static {
    /// Every one.
    const ALL: &'static [Self];

    /// The name in files.
    fn name(self) -> &'static str;

    /// The name in the words of the trade, for people.
    fn title(self) -> String {
        self.name().replace('_', " ")
    }

    /// From its name in files; none for a name that this program does not know.
    fn from_name(name: &str) -> Option<Self> {
        Self::ALL.iter().copied().find(|one| one.name() == name)
    }
}

/// A name as a document holds it. It reads, compares, sorts and is stored as its text: a document of a newer program keeps what this one does
/// not know.
#[derive(Clone, Debug)]
pub enum Written<T> {
    /// One that this program knows.
    Known(T),
    /// Any other text.
    Other(String),
}

impl<T: Name> Written<T> {
    /// From the text of a document.
    pub fn of(text: &str) -> Self {
        T::from_name(text).map_or_else(|| Self::Other(text.to_owned()), Self::Known)
    }

    /// What this program knows by it; none for another's name.
    pub fn known(&self) -> Option<T> {
        match self {
            Self::Known(name) => Some(*name),
            Self::Other(_) => None,
        }
    }

    /// The text of the document.
    pub fn as_str(&self) -> &str {
        match self {
            Self::Known(name) => name.name(),
            Self::Other(text) => text,
        }
    }

    /// For people; another program's name with spaces.
    pub fn title(&self) -> String {
        match self {
            Self::Known(name) => name.title(),
            Self::Other(text) => text.replace('_', " "),
        }
    }
}

impl<T: Name> Deref for Written<T> {
    type Target = str;

    fn deref(&self) -> &str {
        self.as_str()
    }
}

impl<T: Name> From<T> for Written<T> {
    fn from(name: T) -> Self {
        Self::Known(name)
    }
}

impl<T: Name> fmt::Display for Written<T> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.as_str())
    }
}

impl<T: Name> PartialEq for Written<T> {
    fn eq(&self, other: &Self) -> bool {
        self.as_str() == other.as_str()
    }
}

impl<T: Name> Eq for Written<T> {}

impl<T: Name> PartialEq<T> for Written<T> {
    fn eq(&self, other: &T) -> bool {
        self.as_str() == other.name()
    }
}

impl<T: Name> PartialEq<str> for Written<T> {
    fn eq(&self, other: &str) -> bool {
        self.as_str() == other
    }
}

impl<T: Name> PartialEq<&str> for Written<T> {
    fn eq(&self, other: &&str) -> bool {
        self.as_str() == *other
    }
}

impl<T: Name> PartialOrd for Written<T> {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl<T: Name> Ord for Written<T> {
    fn cmp(&self, other: &Self) -> Ordering {
        self.as_str().cmp(other.as_str())
    }
}

impl<T: Name> Hash for Written<T> {
    fn hash<H: Hasher>(&self, state: &mut H) {
        self.as_str().hash(state);
    }
}

impl<T: Name> Serialize for Written<T> {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        to.serialize_str(self.as_str())
    }
}

impl<'de, T: Name> Deserialize<'de> for Written<T> {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        String::deserialize(from).map(|text| Self::of(&text))
    }
}

/// The known names, or any other text.
#[cfg(feature = "schemas")]
impl<T: Name> schemars::JsonSchema for Written<T> {
    fn schema_name() -> std::borrow::Cow<'static, str> {
        let name = std::any::type_name::<T>();
        format!("Written{}", name.rsplit("::").next().unwrap_or(name)).into()
    }

    fn schema_id() -> std::borrow::Cow<'static, str> {
        std::any::type_name::<Self>().into()
    }

    fn json_schema(_: &mut schemars::SchemaGenerator) -> schemars::Schema {
        let known: Vec<&str> = T::ALL.iter().map(|one| one.name()).collect();
        schemars::json_schema!({
            "description": "A name that this program knows, or one that another program wrote.",
            "anyOf": [{ "type": "string", "enum": known }, { "type": "string" }],
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::{Channel, FigureName};

    #[test]
    fn a_known_name_is_its_value_and_another_programs_is_kept_word_for_word() {
        let span: Written<FigureName> = serde_json::from_str("\"span\"").unwrap();
        assert_eq!(span.known(), Some(FigureName::Span));
        assert!(span == FigureName::Span);
        let newer: Written<FigureName> = serde_json::from_str("\"torque_ripple\"").unwrap();
        assert_eq!(
            (newer.known(), newer.as_str(), newer.title()),
            (None, "torque_ripple", "torque ripple".to_owned())
        );
        assert_eq!(serde_json::to_string(&newer).unwrap(), "\"torque_ripple\"");
        assert!(serde_json::from_str::<Written<FigureName>>("7").is_err());
    }

    #[test]
    fn a_name_that_merely_reads_like_a_known_one_is_not_lost() {
        // `second` is understood as `falling`, and written as the program calls it.
        let second: Written<Channel> = Written::of("second");
        assert_eq!(second.as_str(), "falling");
        assert_eq!(Written::<Channel>::of("Falling").as_str(), "Falling");
    }
}
