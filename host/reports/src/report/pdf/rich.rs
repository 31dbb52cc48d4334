//! Text in several styles, broken into lines of a width. It does not know where lines go.

use super::colour::{Colour, INK};
use super::fonts::{BASELINE, Fonts, LINE};
use super::piece::Item;
use crate::report::text::capital;

/// How a stretch of text looks.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Style {
    /// Size of the font, points.
    pub size: f32,
    /// Bold.
    pub bold: bool,
    /// Colour.
    pub colour: Colour,
    /// How far above the baseline, points.
    pub rise: f32,
}

impl Style {
    /// Plain ink of a size.
    pub const fn new(size: f32) -> Self {
        Self { size, bold: false, colour: INK, rise: 0.0 }
    }

    /// The same, bold.
    pub const fn bold(self) -> Self {
        Self { bold: true, ..self }
    }

    /// The same in a colour.
    pub const fn colour(self, colour: Colour) -> Self {
        Self { colour, ..self }
    }
}

/// Text in one style or several.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Rich {
    spans: Vec<(String, Style)>,
}

impl Rich {
    /// Text in one style.
    pub fn new(text: impl Into<String>, style: Style) -> Self {
        Self::default().and(text, style)
    }

    /// With more text after it, in its own style.
    pub fn and(mut self, text: impl Into<String>, style: Style) -> Self {
        self.spans.push((text.into(), style));
        self
    }

    /// With a raised number after it, as of a source.
    pub fn raised(self, text: impl Into<String>, style: Style) -> Self {
        let small = Style { size: style.size * 0.68, rise: style.size * 0.34, ..style };
        self.and(text, small)
    }

    /// The same with its first letter a capital.
    pub fn capital(mut self) -> Self {
        if let Some((first, _)) = self.spans.first_mut() {
            *first = capital(first);
        }
        self
    }

    /// Its lines, none wider than `width` points: broken at spaces, a word that is too long is cut.
    pub fn lines(&self, fonts: &Fonts, width: f32) -> Vec<Line> {
        let mut lines =
            Lines { fonts, width: width.max(1.0), done: Vec::new(), line: Line::default(), used: 0.0 };
        for (text, style) in &self.spans {
            let text = fonts.shown(text);
            for (k, word) in text.split(' ').enumerate() {
                lines.word(word, *style, k > 0);
            }
        }
        lines.finish()
    }
}

/// Text of one style at a place of its line.
#[derive(Clone, Debug, PartialEq)]
struct Run {
    x: f32,
    text: String,
    style: Style,
}

/// One line.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Line {
    runs: Vec<Run>,
    /// Points from its beginning to its end.
    pub width: f32,
}

impl Line {
    /// Size of its largest letters, points.
    fn size(&self) -> f32 {
        self.runs.iter().map(|r| r.style.size).fold(0.0, f32::max)
    }

    /// Height, points.
    pub fn height(&self) -> f32 {
        self.size() * LINE
    }

    /// What is drawn, the line's top left corner at `at`.
    pub fn items(&self, at: (f32, f32)) -> Vec<Item> {
        let baseline = at.1 + self.size() * BASELINE;
        let item = |run: &Run| Item::Text {
            at: (at.0 + run.x, baseline - run.style.rise),
            text: run.text.clone(),
            style: run.style,
        };
        self.runs.iter().filter(|r| !r.text.is_empty()).map(item).collect()
    }
}

/// Lines in the making.
struct Lines<'f> {
    fonts: &'f Fonts,
    width: f32,
    done: Vec<Line>,
    line: Line,
    used: f32,
}

impl Lines<'_> {
    /// One word, and whether a space stands before it.
    fn word(&mut self, word: &str, style: Style, space: bool) {
        let blank =
            if space && self.used > 0.0 { self.fonts.width(" ", style.bold, style.size) } else { 0.0 };
        if word.is_empty() {
            // A space at the end of a span: the next word must not stick to this one. At the end of a line there is no room to keep.
            if blank > 0.0 && self.used + blank <= self.width {
                self.append(" ", style, blank);
            }
            return;
        }
        let wide = self.fonts.width(word, style.bold, style.size);
        // A raised number stays with its word; the room between columns is enough for it.
        let raised = !space && style.rise > 0.0 && self.used > 0.0;
        if raised || self.used + blank + wide <= self.width {
            let text = if blank > 0.0 { format!(" {word}") } else { word.to_owned() };
            self.append(&text, style, blank + wide);
        } else if self.used > 0.0 && wide <= self.width {
            self.turn();
            self.append(word, style, wide);
        } else {
            if self.used > 0.0 && space {
                self.turn();
            }
            self.cut(word, style);
        }
    }

    /// A word longer than a line, letter by letter.
    fn cut(&mut self, word: &str, style: Style) {
        for letter in word.chars() {
            let mut buffer = [0; 4];
            let letter: &str = letter.encode_utf8(&mut buffer);
            let wide = self.fonts.width(letter, style.bold, style.size);
            if self.used > 0.0 && self.used + wide > self.width {
                self.turn();
            }
            self.append(letter, style, wide);
        }
    }

    fn append(&mut self, text: &str, style: Style, width: f32) {
        match self.line.runs.last_mut().filter(|r| r.style == style) {
            Some(run) => run.text.push_str(text),
            None => self.line.runs.push(Run { x: self.used, text: text.to_owned(), style }),
        }
        self.used += width;
        self.line.width = self.used;
    }

    /// To the next line.
    fn turn(&mut self) {
        self.done.push(std::mem::take(&mut self.line));
        self.used = 0.0;
    }

    fn finish(mut self) -> Vec<Line> {
        if !self.line.runs.is_empty() {
            self.turn();
        }
        self.done
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn text_of(lines: &[Line]) -> String {
        lines.iter().flat_map(|l| &l.runs).map(|r| r.text.as_str()).collect()
    }

    #[test]
    fn a_number_raised_behind_a_word_stays_with_it_and_a_bold_word_keeps_its_space() {
        let fonts = Fonts::load().unwrap();
        let style = Style::new(10.0);
        let rich = Rich::new("≤ 2 %", style).raised("3", style).and(" and ", style).and("more", style.bold());
        let lines = rich.lines(&fonts, 500.0);
        assert_eq!(lines.len(), 1);
        assert_eq!(text_of(&lines), "≤ 2 %3 and more");
    }

    proptest! {
        #[test]
        fn no_line_is_wider_than_asked_and_no_letter_is_lost(text in "\\PC{0,200}", width in 20.0..300.0_f32) {
            let fonts = Fonts::load().unwrap();
            let lines = Rich::new(text.clone(), Style::new(9.0)).lines(&fonts, width);
            prop_assert!(lines.iter().all(|l| l.width <= width + 0.01));
            let letters = |t: &str| t.chars().filter(|c| *c != ' ').collect::<String>();
            prop_assert_eq!(letters(&text_of(&lines)), letters(&fonts.shown(&text)));
        }
    }
}
