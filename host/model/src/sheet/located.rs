//! Errors of a part sheet, or of the program's configuration, that point at line and column. Text in, text out; nothing is printed here.

use annotate_snippets::{AnnotationKind, Group, Level, Renderer, Snippet};
use std::ops::Range;

/// Longest source line that is shown whole; longer ones are cut so that a damaged file can't flood a terminal.
const LONGEST_LINE: usize = 400;

/// Why a sheet, or the configuration, can't be used.
#[derive(Clone, Debug, thiserror::Error, PartialEq, Eq)]
#[error("{rendered}")]
pub struct SheetError {
    /// What is wrong and what is allowed, as one fragment.
    pub message: String,
    /// What to do.
    pub help: String,
    /// Line, from 1.
    pub line: usize,
    /// Column in characters, from 1.
    pub column: usize,
    /// All of it with the source line, for a terminal; no colour.
    pub rendered: String,
}

/// For derived readers alone, which ask for nothing that [`super::reader`] does not place.
impl serde::de::Error for SheetError {
    fn custom<T: std::fmt::Display>(message: T) -> Self {
        Source { text: "", origin: "" }.error(0..0, message.to_string(), "correct the file")
    }
}

/// A sheet's text and its name: everything an error needs to point at a place.
#[derive(Clone, Copy, Debug)]
pub struct Source<'a> {
    /// The whole text.
    pub text: &'a str,
    /// Its name in errors.
    pub origin: &'a str,
}

impl Source<'_> {
    /// An error at a byte range of the text.
    pub fn error(
        &self,
        span: Range<usize>,
        message: impl Into<String>,
        help: impl Into<String>,
    ) -> SheetError {
        let (message, help) = (message.into(), help.into());
        let start = self.boundary(span.start);
        let end = self.boundary(span.end).max(start);
        let line_start = self.text[..start].rfind('\n').map_or(0, |at| at + 1);
        let line_end = self.text[start..].find('\n').map_or(self.text.len(), |at| start + at);
        let line = self.text[..line_start].matches('\n').count() + 1;
        let column = self.text[line_start..start].chars().count() + 1;
        let (shown, mark) =
            clip(&self.text[line_start..line_end], start - line_start, end.min(line_end) - line_start);
        let rendered = self.render(&message, &help, (line, column), &shown, mark);
        SheetError { message, help, line, column, rendered }
    }

    /// The nearest character boundary at or before a byte offset.
    fn boundary(&self, at: usize) -> usize {
        let mut at = at.min(self.text.len());
        while !self.text.is_char_boundary(at) {
            at -= 1;
        }
        at
    }

    fn render(
        &self,
        message: &str,
        help: &str,
        at: (usize, usize),
        line: &str,
        mark: Range<usize>,
    ) -> String {
        let (title, help) = (printable(message), printable(help));
        let (number, column) = at;
        if line.trim().is_empty() {
            // Nothing to show: the place alone.
            return format!(
                "error: {title}\n --> {}:{number}:{column}\nhelp: {help}",
                printable(self.origin)
            );
        }
        let snippet = Snippet::source(line)
            .line_start(number)
            .path(printable(self.origin))
            .annotation(AnnotationKind::Primary.span(mark));
        let report = &[
            Level::ERROR.primary_title(title).element(snippet),
            Group::with_title(Level::HELP.secondary_title(help)),
        ];
        Renderer::plain().render(report).to_string()
    }
}

/// One line without control characters, cut to a readable length around the marked bytes.
fn clip(line: &str, start: usize, end: usize) -> (String, Range<usize>) {
    let mut shown = String::new();
    let mut mark = 0..0;
    let from = if start > LONGEST_LINE { start - LONGEST_LINE / 2 } else { 0 };
    for (at, c) in line.char_indices() {
        if at < from {
            continue;
        }
        if shown.len() >= LONGEST_LINE {
            break;
        }
        if at <= start {
            mark = shown.len()..shown.len();
        }
        shown.push(if c.is_control() { ' ' } else { c });
        if at >= start && at < end {
            mark.end = shown.len();
        }
    }
    if start >= line.len() {
        mark = shown.len()..shown.len();
    }
    (shown, mark)
}

/// Text from a file made safe for a terminal: control characters become spaces.
fn printable(text: &str) -> String {
    text.chars().map(|c| if c.is_control() { ' ' } else { c }).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_error_tells_line_and_column_in_characters_and_shows_the_line() {
        let text = "a = 1\nb = \"é\" + x\n";
        let at = text.find('x').unwrap();
        let error = Source { text, origin: "my.toml" }.error(at..at + 1, "wrong", "do this");
        assert_eq!((error.line, error.column), (2, 11));
        assert!(error.rendered.contains("my.toml:2:11"), "{}", error.rendered);
        assert!(error.rendered.contains("b = \"é\" + x"), "{}", error.rendered);
        assert!(error.rendered.contains("do this"), "{}", error.rendered);
        assert!(!error.rendered.contains('\u{1b}'));
    }

    #[test]
    fn a_span_beyond_the_text_points_at_its_end() {
        let error = Source { text: "é", origin: "x" }.error(40..50, "wrong", "do this");
        assert_eq!((error.line, error.column), (1, 2));
    }
}
