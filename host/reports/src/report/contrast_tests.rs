//! Whether what is read can be read: contrast of every colour of text on page and paper, by the formula of WCAG 2.2 (success criteria 1.4.3
//! and 1.4.11; relative luminance as it defines it).

use super::pdf::colour as paper;
use super::svg::picture::Colour;
use super::svg::{self, WHITE};
use std::collections::BTreeMap;

/// Least contrast of text, level AA.
const TEXT: f64 = 4.5;
/// Least contrast of lines and marks that mean something.
const GRAPHICS: f64 = 3.0;
const STYLE: &str = include_str!("html/page.css");

fn luminance((r, g, b): Colour) -> f64 {
    let linear = |channel: u8| {
        let share = f64::from(channel) / 255.0;
        if share <= 0.040_45 { share / 12.92 } else { ((share + 0.055) / 1.055).powf(2.4) }
    };
    0.2126 * linear(r) + 0.7152 * linear(g) + 0.0722 * linear(b)
}

fn contrast(a: Colour, b: Colour) -> f64 {
    let (a, b) = (luminance(a), luminance(b));
    (a.max(b) + 0.05) / (a.min(b) + 0.05)
}

fn colour(text: &str) -> Colour {
    let digits = text.trim().trim_start_matches('#');
    let long: String =
        if digits.len() == 3 { digits.chars().flat_map(|c| [c, c]).collect() } else { digits.to_owned() };
    let part = |at: usize| u8::from_str_radix(&long[at..at + 2], 16).expect("a colour");
    (part(0), part(2), part(4))
}

/// The named colours of the style sheet.
fn names() -> BTreeMap<&'static str, Colour> {
    let root = STYLE.split_once('}').expect("it begins with names").0;
    let declared = root.split([';', '{']).filter_map(|d| d.trim().strip_prefix("--")?.split_once(':'));
    declared.map(|(name, value)| (name, colour(value))).collect()
}

/// What declarations of a property say, of all rules after the names.
fn values(property: &str) -> Vec<&'static str> {
    let rules = STYLE.split_once('}').expect("rules come after the names").1;
    let declarations = rules.split([';', '{', '}']).filter_map(|d| d.trim().split_once(':'));
    declarations.filter(|(name, _)| name.trim() == property).map(|(_, value)| value.trim()).collect()
}

#[test]
fn the_formula_is_that_of_the_standard() {
    // WCAG 2.2: black on white is 21:1, the most there is; #767676 on white is the usual example of 4.54:1.
    assert!((contrast((0, 0, 0), WHITE) - 21.0).abs() < 1e-9);
    assert!((contrast(colour("#767676"), WHITE) - 4.54).abs() < 0.01);
}

#[test]
fn every_text_of_the_page_stands_out_from_white() {
    let names = names();
    let used = values("color");
    assert!(used.len() > 8, "{used:?}");
    for value in used {
        let name = value.strip_prefix("var(--").and_then(|v| v.strip_suffix(')'));
        let name = name.unwrap_or_else(|| panic!("{value} is a colour without a name"));
        let found = contrast(names[name], WHITE);
        assert!(found >= TEXT, "--{name} on white: {found:.2}");
    }
    // Text stands on the white of the page or of nothing else.
    for value in values("background") {
        assert!(["#fff", "none", "#eef1f4"].contains(&value), "{value}");
    }
    assert!(STYLE.contains("html { background: #eef1f4; }") && STYLE.matches("#eef1f4").count() == 1);
}

#[test]
fn every_text_on_paper_stands_out_from_white() {
    for text in [paper::INK, paper::FAINT, paper::WITHIN, paper::OUTSIDE, paper::UNDECIDED] {
        let found = contrast(text, WHITE);
        assert!(found >= TEXT, "{text:?}: {found:.2}");
    }
}

#[test]
fn letters_and_lines_of_pictures_stand_out_from_white() {
    for text in [svg::INK, svg::FAINT, svg::LIMIT] {
        let found = contrast(text, WHITE);
        assert!(found >= TEXT, "{text:?}: {found:.2}");
    }
    for line in [svg::FIRST, svg::SECOND, svg::THIRD, svg::FOURTH, svg::LIMIT, svg::bars::BAR_EDGE] {
        let found = contrast(line, WHITE);
        assert!(found >= GRAPHICS, "{line:?}: {found:.2}");
    }
}
