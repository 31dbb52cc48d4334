//! Every document, in every medium: what the page says stands on paper too, and nothing in any of them is obeyed. Snapshots of the short
//! forms show what a change changes.

use super::*;
use crate::case::{
    Case, CasePart, Closing, Content, ENTRY_SCHEMA, Ending, Entry as CaseEntry, Note, Opening,
};
use crate::compare::changes::{Question, compare};
use crate::compare::subject::Subject as Compared;
use crate::diagnosis::{Complaint, Look, Seen, Symptom};
use crate::outcome::{Outcome, Stamp};
use crate::quantity::PartKind;
use crate::report::tests::parse;
use crate::report::vehicle::VehicleInput;
use crate::report::{
    CertificateInput, Paper, ReportInput, Shop, Style, body_fixture, compare as compared, fixture, html,
    pdf_texts, terminal,
};
use crate::sheet::shipped;
use crate::vehicle::{Entries, Meter, Setup, Subject, VehicleCheck, Wire};
use std::collections::BTreeMap;

const HOSTILE: &str = "</p><script>alert(1)</script>\u{202e}evil\u{0}\u{1b}[31m\"'&]]>";

/// The names and builders of all documents; every text from outside of theirs is `label`.
fn all(label: &str) -> Vec<(&'static str, Document)> {
    let (grip, body) = (outcome(fixture::worn(), label), outcome(body_fixture::worn(), label));
    vec![
        ("report on a grip", of_outcome(&grip)),
        ("report on a body", of_outcome(&body)),
        ("certificate of a grip", of_certificate(&grip)),
        ("certificate of a body", of_certificate(&body)),
        ("form", vehicle(label, &[], vehicle_form)),
        ("worksheet", vehicle(label, &[("grip.frame.first", "40 kohm")], vehicle_check)),
        ("case", of_case(label)),
        ("comparison", of_comparison(&grip)),
    ]
}

fn outcome(outcome: Outcome, label: &str) -> Outcome {
    let mut outcome = outcome;
    outcome.part.label = label.to_owned();
    outcome.reasons.push(label.to_owned());
    let ranked = crate::diagnosis::rank(&crate::outcome::evidence_of(&outcome));
    outcome.suspects = ranked.into_iter().map(Into::into).collect();
    outcome
}

fn stamp() -> Stamp {
    Stamp {
        record: "20260131-140506-grip-12-b-worn".to_owned(),
        fingerprint: "0123456789abcdef".repeat(4),
        key: "fedcba9876543210".repeat(4),
        code: "x".repeat(310),
    }
}

fn of_outcome(outcome: &Outcome) -> Document {
    let body = outcome.part.kind == "body";
    let sheet = if body { body_fixture::sheet() } else { fixture::sheet() };
    let curves = if body { Vec::new() } else { fixture::curves() };
    let (plots, comparisons) =
        if body { (body_fixture::plots(), body_fixture::comparisons()) } else { Default::default() };
    report(&ReportInput {
        outcome,
        curves: &curves,
        plots: &plots,
        comparisons: &comparisons,
        sheet: &sheet,
        channels: &fixture::channels(),
        stamp: Some(&stamp()),
        shop: Some(&shop()),
    })
}

fn shop() -> Shop {
    Shop { name: "Shop".to_owned(), address: vec!["1 Lane".to_owned()], logo: None }
}

fn of_certificate(outcome: &Outcome) -> Document {
    let input = CertificateInput { outcome, stamp: Some(&stamp()), shop: Some(&shop()) };
    let mut document = certificate(&input).unwrap();
    // The fullest edition need not fit one page; what each medium makes of it is the question here.
    document.layout = Layout::Pages;
    document.shorter.clear();
    document
}

/// Checks of a grip of which only `entries` were made.
fn vehicle(label: &str, entries: &[(&str, &str)], of: impl Fn(&VehicleInput<'_>) -> Document) -> Document {
    let sheet = |name| shipped(name).expect("it ships");
    let setup = Setup {
        subject: Subject::Grip,
        wire: Wire::ASSUMED,
        runs: BTreeMap::new(),
        grip: sheet("grip-complementary"),
        body: sheet("body"),
    };
    let entries: Entries =
        entries.iter().map(|(id, entry)| ((*id).to_owned(), (*entry).to_owned())).collect();
    let check = VehicleCheck::of(&setup, &Meter::default(), &entries, false, "2026-01-02T03:04:05Z").unwrap();
    of(&VehicleInput {
        check: &check,
        case: Some(label),
        vehicle: Some(label),
        stamp: Some(&stamp()),
        shop: None,
    })
}

fn of_case(label: &str) -> Document {
    let words = || label.to_owned();
    let complaint = Complaint {
        words: words(),
        symptoms: vec![Symptom::LimpHome],
        codes: vec!["P0121".to_owned()],
        seen: vec![Seen { look: Look::Terminals, good: Some(false), note: words() }],
    };
    let part = CasePart { kind: PartKind::Grip, label: words(), used: Some(words()), ..CasePart::default() };
    let entry = |number, content| CaseEntry {
        schema: ENTRY_SCHEMA,
        case: "case-1".to_owned(),
        number,
        date: "2026-01-02T03:04:05Z".to_owned(),
        content,
    };
    let opening = Opening { vehicle: words(), complaint, parts: vec![part] };
    let note = Note { words: words(), mended: Some(words()), ..Note::default() };
    let closing = Closing { ending: Ending::Mended, words: words() };
    let entries = [Content::Opening(opening), Content::Note(note), Content::Closing(closing)];
    let entries = (1..).zip(entries).map(|(number, content)| entry(number, content)).collect();
    let ranked = crate::diagnosis::rank(&crate::outcome::evidence_of(&fixture::worn()));
    let suspects: Vec<_> = ranked.into_iter().map(Into::into).collect();
    case(&CaseInput {
        case: &Case { name: "case-1".to_owned(), entries },
        state: "closed, mended",
        matings: &[3],
        not_done: &BTreeMap::new(),
        suspects: &[CaseSuspects { part: Some(label), suspects: &suspects }],
        next: &["sweep it again".to_owned()],
    })
}

fn of_comparison(before: &Outcome) -> Document {
    let mut after = before.clone();
    after.figures[0].value += 0.5;
    let subject = |outcome| Compared { record: "a record", outcome };
    let changes = compare(&[subject(before), subject(&after)], Question::AgainstFirst).unwrap();
    compared::changes(&changes, before, compared::Drawing::default())
}

/// Letters alone: neither spaces nor how a first letter is written.
fn bare(text: &str) -> String {
    text.split_whitespace().collect::<String>().to_lowercase()
}

/// What stands together on a page, without what it says before everything else and the names of its boxes.
fn said(page: &str) -> Vec<String> {
    let page = parse(page);
    let together = ["h1", "h2", "h3", "p", "li", "dt", "dd", "th", "td", "figcaption"];
    let is_banner =
        |n: &roxmltree::Node<'_, '_>| n.attribute("class").is_some_and(|c| c.starts_with("banner"));
    let elements = page.descendants().filter(|n| together.contains(&n.tag_name().name()) && !is_banner(n));
    let text = |n: roxmltree::Node<'_, '_>| {
        n.descendants().filter(|n| n.is_text()).filter_map(|n| n.text()).collect::<String>()
    };
    elements.map(text).filter(|text| !text.trim().is_empty()).collect()
}

#[test]
fn whatever_the_page_says_stands_on_paper_too() {
    for (name, document) in all("invented <part> 4711") {
        let paper = bare(&pdf_texts(&document, Paper::A4).concat());
        let said = said(&html(&document));
        assert!(said.len() > 10, "{name}");
        for text in said {
            assert!(paper.contains(&bare(&text)), "the {name} lacks on paper: {text}");
        }
    }
}

#[test]
fn text_from_outside_is_shown_and_obeyed_by_no_medium() {
    for (name, document) in all(HOSTILE) {
        let page = html(&document);
        let parsed = parse(&page);
        assert!(parsed.descendants().all(|n| !n.has_tag_name("script")), "{name}");
        assert!(page.contains("&lt;script&gt;alert(1)"), "{name} shows it");
        let bad = |c: char| c.is_control() && c != '\n' || c == '\u{202e}';
        let texts =
            [page, terminal(&document, Style::default()), pdf_texts(&document, Paper::Letter).concat()];
        for text in &texts {
            assert_eq!(text.chars().find(|c| bad(*c)), None, "{name}");
        }
    }
}

#[test]
fn no_line_of_a_terminal_is_too_long() {
    for (name, document) in all("invented <part> 4711") {
        for width in [40, 60, 80, 120] {
            let text = terminal(&document, Style { width, ..Style::default() });
            let wide: Vec<&str> = text.lines().filter(|l| l.chars().count() > width).collect();
            assert!(wide.is_empty(), "the {name} is wider than {width}: {wide:#?}");
        }
    }
}

#[test]
fn the_short_form_of_every_document_is_as_before() {
    for (name, document) in all("invented part 4711") {
        insta::assert_snapshot!(name.replace(' ', "_"), terminal(&document, Style::default()));
    }
}

/// The levels of all headings of a page, in its order.
fn heading_levels(page: &roxmltree::Document<'_>) -> Vec<u8> {
    let level = |n: roxmltree::Node<'_, '_>| match n.tag_name().name() {
        "h1" => Some(1),
        "h2" => Some(2),
        "h3" => Some(3),
        "h4" | "h5" | "h6" => Some(4),
        _ => None,
    };
    page.descendants().filter_map(level).collect()
}

#[test]
fn headings_of_a_page_begin_with_its_only_first_one_and_skip_no_level() {
    for (name, document) in all("invented <part> 4711") {
        let text = html(&document);
        let levels = heading_levels(&parse(&text));
        assert_eq!(levels.first(), Some(&1), "{name}");
        assert_eq!(levels.iter().filter(|level| **level == 1).count(), 1, "{name}");
        assert!(levels.windows(2).all(|pair| pair[1] <= pair[0] + 1 && pair[1] < 4), "{name}: {levels:?}");
    }
}

#[test]
fn tables_and_pictures_of_a_page_have_names_for_those_who_do_not_see_them() {
    for (name, document) in all("invented <part> 4711") {
        let text = html(&document);
        let page = parse(&text);
        let named = |n: &roxmltree::Node<'_, '_>| n.attribute("aria-label").is_some_and(|l| !l.is_empty());
        let of = |tag: &'static str| page.descendants().filter(move |n| n.tag_name().name() == tag);
        assert!(of("table").all(|table| named(&table)), "{name}");
        let scopes = ["col", "row", "rowgroup"];
        assert!(of("th").all(|th| th.attribute("scope").is_some_and(|s| scopes.contains(&s))), "{name}");
        for picture in of("svg") {
            let title = picture.children().find(|n| n.has_tag_name(("http://www.w3.org/2000/svg", "title")));
            let title = title.and_then(|title| title.text()).is_some_and(|title| !title.is_empty());
            let told = picture.attribute("role") == Some("img") && (title || named(&picture));
            assert!(told || picture.attribute("aria-hidden") == Some("true"), "{name}: {picture:?}");
        }
        assert_eq!(page.root_element().attribute("lang"), Some("en"));
        assert_eq!(of("main").count(), 1, "{name}");
    }
}

#[test]
fn a_verdict_is_a_word_and_a_shape_in_page_and_on_paper() {
    for word in ["within", "outside", "undecided"] {
        let row = Row::new(vec![Cell::new("noise"), Cell::verdict(word)]);
        let table = Block::Table(Table::new(columns(["figure", "verdict"]), vec![row]));
        let document = Document { blocks: vec![chapter("Figures", vec![table])], ..Document::default() };
        let text = html(&document);
        let page = parse(&text);
        let cell =
            page.descendants().find(|n| n.attribute("class").is_some_and(|c| c.contains("verdict-cell")));
        let cell = cell.expect("there is a verdict");
        assert!(cell.descendants().any(|n| n.tag_name().name() == "svg"), "{text}");
        assert!(cell.descendants().any(|n| n.text() == Some(word)), "{text}");
        let count = |document: &Document| crate::report::pdf_pictures(document, Paper::A4);
        assert_eq!(count(&document), 1, "the sign of {word}");
        assert!(pdf_texts(&document, Paper::A4).contains(&word.to_owned()));
    }
}
