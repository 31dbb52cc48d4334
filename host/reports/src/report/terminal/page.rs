//! Lines of a width, in colour where that is wanted. It does not know what they say.

use super::Style;
use crate::report::document::{Banner, Mark};
use crate::report::text::{ascii, wrap};

/// Text under construction.
pub struct Page {
    /// What the terminal can show.
    pub style: Style,
    /// Whether it is the inside of a section.
    pub inside: bool,
    out: String,
}

impl Page {
    /// An empty page; 40 columns at least are used.
    pub fn new(style: Style) -> Self {
        Self { style: Style { width: style.width.max(40), ..style }, inside: false, out: String::new() }
    }

    /// The inside of a section.
    pub fn section(&self) -> Self {
        Self { inside: true, ..Self::new(self.style) }
    }

    /// Whether nothing is on it.
    pub fn is_empty(&self) -> bool {
        self.out.is_empty()
    }

    /// What is on another page.
    pub fn append(&mut self, other: &Self) {
        self.out.push_str(&other.out);
    }

    /// The text, in ASCII where that is wanted.
    pub fn finish(self) -> String {
        if self.style.ascii { ascii(&self.out) } else { self.out }
    }

    /// One line.
    pub fn line(&mut self, line: &str) {
        self.out.push_str(line.trim_end());
        self.out.push('\n');
    }

    /// A heading after an empty line.
    pub fn heading(&mut self, heading: &str) {
        if !self.out.is_empty() {
            self.line("");
        }
        self.title(heading);
    }

    /// A heading at the top.
    pub fn title(&mut self, title: &str) {
        for line in wrap(title, self.style.width) {
            let bold = self.painted(&line, "1");
            self.line(&bold);
        }
    }

    /// A heading within a section.
    pub fn sub(&mut self, heading: &str) {
        for line in wrap(heading, self.style.width - 1) {
            let underlined = self.painted(&line, "4");
            self.line(&format!(" {underlined}"));
        }
    }

    /// A paragraph: the first line begins with `first`, the others with as many spaces.
    pub fn paragraph(&mut self, first: &str, text: &str) {
        let indent = first.chars().count();
        for (k, line) in wrap(text, self.style.width.saturating_sub(indent)).iter().enumerate() {
            let begin = if k == 0 { first.to_owned() } else { " ".repeat(indent) };
            self.line(&format!("{begin}{line}"));
        }
    }

    /// A verdict's word and what it means, which may take more than its line. The word is found without colour too.
    pub fn verdict(&mut self, word: &str, mark: Mark, meaning: &str) {
        let colour = if mark == Mark::Open { "1" } else { code(mark) };
        for (k, line) in wrap(&format!("{word}: {meaning}"), self.style.width).iter().enumerate() {
            match line.strip_prefix(word).filter(|_| k == 0) {
                Some(rest) => {
                    let painted = self.painted(word, colour);
                    self.line(&format!("{painted}{rest}"));
                }
                None => self.line(line),
            }
        }
    }

    /// Said before everything else, between stripes.
    pub fn stripes(&mut self, banner: &Banner) {
        let text = format!(" {}: {} ", banner.word, banner.text.trim_end_matches('.'));
        let stripes = "=".repeat(self.style.width.saturating_sub(text.chars().count()) / 2);
        let line = self.painted(&format!("{stripes}{text}{stripes}"), "1;7");
        self.line(&line);
    }

    /// Text in a colour, when colours are wanted.
    pub fn painted(&self, text: &str, code: &str) -> String {
        if self.style.colour && !code.is_empty() {
            format!("\u{1b}[{code}m{text}\u{1b}[0m")
        } else {
            text.to_owned()
        }
    }
}

/// Colour code of a mark.
pub const fn code(mark: Mark) -> &'static str {
    match mark {
        Mark::Outside => "1;31",
        Mark::Within => "32",
        Mark::Undecided => "1;33",
        Mark::Open => "",
    }
}
