//! Text of a document: stretches that mean something, harmless whatever they came from. How a stretch looks is the medium's business.

use crate::report::text::harmless;

/// What a stretch of text is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Tone {
    /// Nothing special.
    Plain,
    /// What the eye is to find first.
    Strong,
    /// Said by the way.
    Faint,
    /// The number of a source, raised.
    Raised,
}

/// A stretch of text.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Span {
    /// What it is.
    pub tone: Tone,
    /// Its letters, harmless.
    pub letters: String,
}

/// Text in stretches. However it is made, it holds neither control characters nor marks that turn the reading direction round; how
/// long it may be is decided by whoever makes it.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Text(Vec<Span>);

impl Text {
    /// A stretch of a tone.
    pub fn new(letters: impl AsRef<str>, tone: Tone) -> Self {
        Self::default().and(letters, tone)
    }

    /// Strong text.
    pub fn strong(letters: impl AsRef<str>) -> Self {
        Self::new(letters, Tone::Strong)
    }

    /// Faint text.
    pub fn faint(letters: impl AsRef<str>) -> Self {
        Self::new(letters, Tone::Faint)
    }

    /// "name: text", the name strong.
    pub fn named(name: impl AsRef<str>, text: impl AsRef<str>) -> Self {
        Self::strong(format!("{}:", name.as_ref())).and(format!(" {}", text.as_ref()), Tone::Plain)
    }

    /// With a stretch after it; nothing is added for no letters.
    #[must_use]
    pub fn and(mut self, letters: impl AsRef<str>, tone: Tone) -> Self {
        let letters: String = letters.as_ref().chars().map(harmless).collect();
        if !letters.is_empty() {
            self.0.push(Span { tone, letters });
        }
        self
    }

    /// Its stretches in order.
    pub fn spans(&self) -> &[Span] {
        &self.0
    }

    /// Whether it has no letters.
    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    /// Its letters alone. Raised numbers are left out: without being raised they would be read as part of what is before them.
    pub fn letters(&self) -> String {
        self.0.iter().filter(|s| s.tone != Tone::Raised).map(|s| s.letters.as_str()).collect()
    }
}

impl<T: AsRef<str>> From<T> for Text {
    fn from(letters: T) -> Self {
        Self::new(letters, Tone::Plain)
    }
}

/// Each as text.
pub fn texts<T: AsRef<str>>(all: impl IntoIterator<Item = T>) -> Vec<Text> {
    all.into_iter().map(Text::from).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn text_is_harmless_however_it_is_made() {
        let hostile = "a\u{202e}b\u{1b}[31m\u{0}\nc";
        let all = [Text::from(hostile), Text::strong(hostile), Text::named(hostile, hostile)];
        for text in all.iter().map(Text::letters) {
            assert!(text.chars().all(|c| !c.is_control() && c != '\u{202e}'), "{text:?}");
        }
    }

    #[test]
    fn a_raised_number_is_no_part_of_the_letters() {
        let text = Text::from("≤ 2 %").and("3", Tone::Raised);
        assert_eq!((text.letters().as_str(), text.spans().len()), ("≤ 2 %", 2));
    }
}
