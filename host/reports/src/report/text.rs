//! Text that came from outside, made harmless and short enough to show. Escaping for a format is the format's business.

/// Characters that a label may take up where space is short.
pub const LABEL: usize = 120;
/// Characters that a sentence or a note may take up.
pub const SENTENCE: usize = 1500;

/// `text` on one line, without control characters, without marks that turn the reading direction round, at most `most`
/// characters; what was cut is counted.
pub fn plain(text: &str, most: usize) -> String {
    let mut shown = String::with_capacity(text.len().min(most * 4));
    let mut count = 0;
    for character in text.trim().chars() {
        if count < most {
            shown.push(harmless(character));
        }
        count += 1;
    }
    if count > most {
        shown.push_str(&format!("… ({count} characters)"));
    }
    shown
}

/// The same of a sentence.
pub fn sentence(text: &str) -> String {
    plain(text, SENTENCE)
}

/// The character itself, or what is shown in its place.
pub fn harmless(character: char) -> char {
    match character {
        '\t' | '\n' | '\r' | '\u{2028}' | '\u{2029}' => ' ',
        // Unicode bidirectional controls (Unicode Standard Annex #9, section 2): they could make a label read as another.
        '\u{61c}' | '\u{200e}' | '\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}' => '\u{fffd}',
        // Not allowed in XML 1.0 (section 2.2, Char), so not in SVG either.
        '\u{fffe}' | '\u{ffff}' => '\u{fffd}',
        c if c.is_control() => '\u{fffd}',
        c => c,
    }
}

/// Lines of at most `width` characters, broken at spaces; a word longer than a line is cut.
pub fn wrap(text: &str, width: usize) -> Vec<String> {
    let width = width.max(8);
    let mut lines = vec![String::new()];
    let mut used = 0;
    for word in text.split(' ').filter(|w| !w.is_empty()) {
        let mut rest: &str = word;
        while !rest.is_empty() {
            let space = usize::from(used > 0);
            let length = rest.chars().count();
            if used + space + length <= width {
                let line = lines.last_mut().expect("lines begin with one");
                if space == 1 {
                    line.push(' ');
                }
                line.push_str(rest);
                used += space + length;
                rest = "";
            } else if used > 0 {
                lines.push(String::new());
                used = 0;
            } else {
                let cut = rest.char_indices().nth(width).map_or(rest.len(), |(at, _)| at);
                lines.last_mut().expect("lines begin with one").push_str(&rest[..cut]);
                rest = &rest[cut..];
                used = width;
            }
        }
    }
    lines
}

/// The same in ASCII, for terminals that know no more; what has no likeness becomes `?`.
pub fn ascii(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for character in text.chars() {
        match character {
            c if c.is_ascii() => out.push(c),
            '−' | '–' | '—' | '─' | '━' => out.push('-'),
            '±' => out.push_str("+/-"),
            '°' => out.push_str(" deg"),
            'µ' => out.push('u'),
            '≤' => out.push_str("<="),
            '≥' => out.push_str(">="),
            '×' => out.push('x'),
            '…' => out.push_str("..."),
            'Ω' => out.push_str("ohm"),
            '·' | '•' => out.push('-'),
            '’' => out.push('\''),
            '“' | '”' => out.push('"'),
            '│' | '╷' | '┆' => out.push('|'),
            '▁' => out.push('.'),
            '▂' => out.push(':'),
            '▃' => out.push('-'),
            '▄' => out.push('='),
            '▅' => out.push('+'),
            '▆' => out.push('*'),
            '▇' => out.push('%'),
            '█' => out.push('#'),
            _ => out.push('?'),
        }
    }
    out
}

/// The first letter made a capital.
pub fn capital(words: &str) -> String {
    let mut letters = words.chars();
    letters.next().map_or(String::new(), |first| first.to_uppercase().chain(letters).collect())
}

/// Units as stored sentences spell them, and their signs. A degree stands at its number.
const SIGNS: [(&str, &str); 7] = [
    (" deg/s", " °/s"),
    (" degC", " °C"),
    (" deg", "°"),
    (" kohm", " kΩ"),
    (" Mohm", " MΩ"),
    (" ohm", " Ω"),
    (" us", " µs"),
];

/// Stored sentences spell units out; people read their signs. A terminal that knows only ASCII gets the words back.
pub fn signs(text: &str) -> String {
    let mut text = text.replace(" +- ", " ± ");
    for (word, sign) in SIGNS {
        let mut out = String::with_capacity(text.len());
        for (k, piece) in text.split(word).enumerate() {
            if k > 0 {
                // Not "ohmic"; and "us" is a word too, where no number stands before it.
                let ends = !piece.starts_with(|c: char| c.is_alphanumeric() || c == '/');
                let after_number = out.ends_with(|c: char| c.is_ascii_digit() || c == ')');
                out.push_str(if ends && (word != " us" || after_number) { sign } else { word });
            }
            out.push_str(piece);
        }
        text = out;
    }
    text
}

/// A stored sentence as one is written: with the signs of units, a capital at its beginning and a full stop at its end.
pub fn written(text: &str) -> String {
    let text = capital(signs(text).trim());
    if text.ends_with(['.', '!', '?', '…']) || text.is_empty() { text } else { format!("{text}.") }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn a_mark_that_turns_reading_round_is_shown_as_what_it_is() {
        assert_eq!(plain("grip\u{202e}dooG\u{2066}", 100), "grip\u{fffd}dooG\u{fffd}");
        assert_eq!(plain("a\u{1b}[31mred\u{0}\nb", 100), "a\u{fffd}[31mred\u{fffd} b");
    }

    #[test]
    fn units_are_read_by_their_signs_and_words_stay_words() {
        let stored = "from 6.2 to 7.3 deg at 25 deg/s, about 3 kohm, 0.4 ohm +- 0.1 ohm, 69 us; an ohmic contact tells us nothing";
        let read =
            "from 6.2 to 7.3° at 25 °/s, about 3 kΩ, 0.4 Ω ± 0.1 Ω, 69 µs; an ohmic contact tells us nothing";
        assert_eq!(signs(stored), read);
        assert_eq!(written("the plate falls back by 0.3 deg"), "The plate falls back by 0.3°.");
        assert_eq!(written(""), "");
    }

    #[test]
    fn a_long_label_is_cut_and_says_so() {
        let shown = plain(&"x".repeat(10_000), LABEL);
        assert!(shown.chars().count() < LABEL + 30, "{shown}");
        assert!(shown.ends_with("… (10000 characters)"), "{shown}");
    }

    proptest! {
        #[test]
        fn no_line_is_wider_than_asked_and_no_letter_is_lost(text in "[a-zµ° ]{0,300}", width in 8_usize..60) {
            let lines = wrap(&text, width);
            prop_assert!(lines.iter().all(|l| l.chars().count() <= width));
            let letters = |t: &str| t.chars().filter(|c| *c != ' ').collect::<String>();
            prop_assert_eq!(letters(&lines.concat()), letters(&text));
        }

        #[test]
        fn ascii_is_ascii(text in "\\PC{0,100}") {
            prop_assert!(ascii(&text).is_ascii());
        }
    }
}
