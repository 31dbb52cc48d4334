//! A document as one HTML file that needs nothing else: style and pictures inside, no script, nothing loaded. It is also well-formed XML, so
//! that any such tool can read it. It chooses no words.
//!
//! - `writer`: elements, and escaping.
//! - `blocks`: blocks of text.
//! - `callouts`: what stands out of the text.
//! - `table`: tables.
//! - `page.css`: how it looks, on a screen and when it is printed.

mod blocks;
mod callouts;
mod table;
mod writer;

use super::document::{Banner, Document, Layout, Mark, Text, Tone};
use super::signs;
use crate::outcome::empty_slot;
use writer::Writer;

/// Letters of the longest word that is not broken.
const LONGEST_WORD: usize = 24;
/// How it looks.
const STYLE: &str = include_str!("page.css");

/// The document as HTML.
pub fn html(document: &Document) -> String {
    let mut page = Writer::default();
    page.own("<!DOCTYPE html>");
    page.element("html", &[("lang", "en")], |page| {
        page.element("head", &[], |page| head(page, document));
        let class = match document.layout {
            Layout::Pages => "",
            Layout::OnePage => "one-page",
            Layout::Worksheet => "worksheet",
        };
        page.class("body", class, |page| {
            page.element("main", &[], |page| {
                if let Some(simulated) = &document.simulated {
                    banner(page, simulated, "banner simulated");
                }
                blocks::blocks(page, document, &document.blocks);
            });
        });
    });
    page.own("\n");
    page.finish()
}

fn head(page: &mut Writer, document: &Document) {
    page.empty("meta", &[("charset", "utf-8")]);
    let has_logo = document.letterhead().is_some_and(|shop| shop.logo.is_some());
    let images = if has_logo { " img-src data:;" } else { "" };
    let policy =
        format!("default-src 'none'; style-src 'unsafe-inline';{images} base-uri 'none'; form-action 'none'");
    policy_of(page, &policy);
    page.empty("meta", &[("name", "viewport"), ("content", "width=device-width, initial-scale=1")]);
    page.empty("meta", &[("name", "referrer"), ("content", "no-referrer")]);
    if document.sealing().is_some() {
        // The seal is written over its slot when the record is sealed.
        page.empty("meta", &[("name", "trackpair-seal"), ("content", &empty_slot())]);
    }
    let simulated = document.simulated.as_ref().map_or(String::new(), |banner| format!("{}: ", banner.word));
    page.element("title", &[], |page| page.letters(&format!("{simulated}{}", document.title)));
    page.element("style", &[], |page| {
        page.own("\n");
        page.own(STYLE);
    });
}

/// The policy as it is written: its quotes need no escaping between double ones.
fn policy_of(page: &mut Writer, policy: &str) {
    page.own("\n<meta http-equiv=\"Content-Security-Policy\" content=\"");
    page.own(policy);
    page.own("\"/>");
}

fn banner(page: &mut Writer, banner: &Banner, class: &str) {
    page.class("p", class, |page| {
        page.element("strong", &[], |page| page.letters(banner.word));
        page.letters(&format!(" {}", banner.text));
        if !banner.more.is_empty() {
            page.letters(&format!(" {}", banner.more));
        }
    });
}

/// Text with what its stretches are.
fn text(page: &mut Writer, text: &Text) {
    for span in text.spans() {
        match span.tone {
            Tone::Plain => words(page, &span.letters),
            Tone::Strong => page.element("b", &[], |page| words(page, &span.letters)),
            Tone::Faint => page.class("span", "faint", |page| words(page, &span.letters)),
            Tone::Raised => page.element("sup", &[], |page| words(page, &span.letters)),
        }
    }
}

/// Letters of which what is longer than any word (fingerprints, keys, paths) may be broken anywhere, and nothing else.
fn words(page: &mut Writer, letters: &str) {
    for piece in letters.split_inclusive(' ') {
        if piece.chars().count() > LONGEST_WORD {
            page.class("span", "long", |page| page.letters(piece));
        } else {
            page.letters(piece);
        }
    }
}

/// The same of text from outside: the direction of its letters stays its own.
fn apart(page: &mut Writer, said: &Text) {
    page.element("bdi", &[], |page| text(page, said));
}

/// The class of a mark.
const fn class_of(mark: Mark) -> &'static str {
    match mark {
        Mark::Open => "is-open",
        Mark::Within => "is-within",
        Mark::Undecided => "is-undecided",
        Mark::Outside => "is-outside",
    }
}

/// The sign of a mark; none where nothing was judged.
fn sign(page: &mut Writer, mark: Mark) {
    let shape = signs::shape(mark);
    if shape.is_empty() {
        return;
    }
    let attributes = [
        ("viewBox", "0 0 40 40"),
        ("width", "40"),
        ("height", "40"),
        ("aria-hidden", "true"),
        ("focusable", "false"),
        ("fill", "none"),
        ("stroke", "currentColor"),
        ("stroke-width", "3.6"),
        ("stroke-linecap", "round"),
        ("stroke-linejoin", "round"),
    ];
    page.element("svg", &attributes, |page| page.own(shape));
}
