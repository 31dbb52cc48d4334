//! What stands on which page, that hostile outcomes stay harmless, and that a certificate is one page. What other programs make of
//! the files is tested with them, in the tests' crate.

use super::*;
use crate::outcome::{Outcome, OutcomeFinding, OutcomeNotTestable, OutcomeProcedure, Stamp, empty_slot};
use crate::quantity::Written;
use crate::report::{CertificateInput, ReportInput, Shop, body_fixture, document, fixture};
use crate::verdict::Verdict;

const PAPERS: [Paper; 2] = [Paper::A4, Paper::Letter];

fn stamp() -> Stamp {
    Stamp {
        record: "20260131-140506-grip-12-b-worn".to_owned(),
        fingerprint: "0123456789abcdef".repeat(4),
        key: "fedcba9876543210".repeat(4),
        code: "x".repeat(310),
    }
}

/// Calls `work` with an input of everything that there can be.
fn with_input<T>(outcome: &Outcome, shop: Option<&Shop>, work: impl FnOnce(&ReportInput<'_>) -> T) -> T {
    let body = outcome.part.kind == "body";
    let sheet = if body { body_fixture::sheet() } else { fixture::sheet() };
    let curves = if body { Vec::new() } else { fixture::curves() };
    let (plots, comparisons) =
        if body { (body_fixture::plots(), body_fixture::comparisons()) } else { Default::default() };
    work(&ReportInput {
        outcome,
        curves: &curves,
        plots: &plots,
        comparisons: &comparisons,
        sheet: &sheet,
        channels: &fixture::channels(),
        stamp: Some(&stamp()),
        shop,
    })
}

/// Texts of each page in the order in which they are drawn.
fn texts(outcome: &Outcome, shop: Option<&Shop>, paper: Paper) -> Vec<Vec<String>> {
    with_input(outcome, shop, |input| {
        let fonts = Fonts::load().unwrap();
        pages(&fonts, &document::report(input), paper).unwrap().iter().map(|page| page_texts(page)).collect()
    })
}

fn page_texts(page: &[Item]) -> Vec<String> {
    page.iter()
        .flat_map(Item::leaves)
        .filter_map(|i| if let Item::Text { text, .. } = i { Some(text.clone()) } else { None })
        .collect()
}

fn certificate_of(outcome: &Outcome, shop: Option<&Shop>, paper: Paper) -> (Vec<String>, f32, f32) {
    let fonts = Fonts::load().unwrap();
    let input = CertificateInput { outcome, stamp: Some(&stamp()), shop };
    let document = document::certificate(&input).unwrap();
    let frame = Frame::of(&document, paper);
    let page = pieces(&fonts, &document, &frame).unwrap().remove(0);
    (page_texts(&page.items), page.height, frame.column().height)
}

#[test]
fn the_same_input_gives_the_same_bytes_and_another_paper_others() {
    for outcome in [fixture::worn(), body_fixture::worn()] {
        let of = |paper| with_input(&outcome, None, |input| pdf(&document::report(input), paper).unwrap());
        assert_eq!(of(Paper::A4), of(Paper::A4));
        assert_ne!(of(Paper::A4), of(Paper::Letter));
    }
}

#[test]
fn the_slot_of_a_seal_stands_in_the_file_as_it_is_and_only_with_a_stamp() {
    let outcome = fixture::worn();
    let slot = empty_slot();
    let count = |bytes: &[u8]| bytes.windows(slot.len()).filter(|w| *w == slot.as_bytes()).count();
    with_input(&outcome, None, |input| {
        let (sealed, open) =
            (document::report(input), document::report(&ReportInput { stamp: None, ..*input }));
        assert!(count(&pdf(&sealed, Paper::A4).unwrap()) >= 1);
        assert_eq!(count(&pdf(&open, Paper::A4).unwrap()), 0);
        assert_eq!(crate::report::html(&sealed).matches(&slot).count(), 1);
        assert!(!crate::report::html(&open).contains("TPSEAL1"));
    });
    let buyer = CertificateInput { outcome: &outcome, stamp: Some(&stamp()), shop: None };
    let of = |input: &CertificateInput<'_>| pdf(&document::certificate(input).unwrap(), Paper::A4).unwrap();
    assert!(count(&of(&buyer)) >= 1);
    assert_eq!(count(&of(&CertificateInput { stamp: None, ..buyer })), 0);
}

#[test]
fn every_page_names_the_part_the_fingerprint_its_number_and_that_it_is_simulated() {
    for paper in PAPERS {
        for mut outcome in [fixture::worn(), body_fixture::worn()] {
            let pages = texts(&outcome, None, paper);
            assert!(pages.len() > 3);
            for (k, page) in pages.iter().enumerate() {
                let has = |text: &str| page.iter().any(|t| t.contains(text));
                assert!(
                    has(&outcome.part.label) && has("fingerprint 0123 4567") && has("SIMULATED"),
                    "{page:?}"
                );
                assert!(has(&format!("page {} of {}", k + 1, pages.len())), "{page:?}");
            }
            outcome.simulated = false;
            let banner = |p: &Vec<String>| p.iter().any(|t| t == "SIMULATED");
            assert!(!texts(&outcome, None, paper).iter().any(banner));
        }
    }
}

#[test]
fn everything_stays_within_the_paper() {
    for paper in PAPERS {
        for outcome in [fixture::worn(), body_fixture::worn(), hostile()] {
            with_input(&outcome, Some(&long_shop()), |input| {
                let fonts = Fonts::load().unwrap();
                let (width, height) = paper.points();
                for item in pages(&fonts, &document::report(input), paper)
                    .unwrap()
                    .iter()
                    .flatten()
                    .flat_map(Item::leaves)
                {
                    if let Item::Text { at, text, style } = item {
                        let end = at.0 + fonts.width(text, style.bold, style.size);
                        assert!(at.0 > 20.0 && end < width - 20.0, "{text}: {} to {end}", at.0);
                        assert!(at.1 > 20.0 && at.1 < height - 20.0, "{text}: {}", at.1);
                    }
                }
            });
        }
    }
}

/// A shop with more to say than there is room.
fn long_shop() -> Shop {
    Shop {
        name: "Shop \u{202e}".repeat(500),
        address: vec!["a long line of an address ".repeat(40); 50],
        logo: Some(b"<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 9 9\"><rect width=\"9\" height=\"9\"/></svg>".to_vec()),
    }
}

/// An outcome that means no good.
fn hostile() -> Outcome {
    let nasty = format!("\u{202e}evil\u{0}\u{1b}[31m</text>&スロットル {}", "W".repeat(10_000));
    let mut outcome = fixture::worn();
    outcome.part.label = nasty.clone();
    outcome.sheet.name = nasty.clone();
    outcome.sheet.title = nasty.clone();
    outcome.recorded = nasty.clone();
    outcome.reasons = vec![nasty.clone(); 60];
    outcome.warnings = vec![nasty.clone(); 60];
    outcome.cautions = vec![nasty.clone(); 60];
    let finding = OutcomeFinding {
        text: nasty.clone(),
        kind: Written::Other(nasty.clone()),
        ..outcome.findings[0].clone()
    };
    outcome.findings = vec![finding; 60];
    outcome.not_testable = vec![OutcomeNotTestable { what: nasty.clone(), why: nasty.clone() }; 3];
    outcome
        .not_testable
        .extend((0..60).map(|k| OutcomeNotTestable { what: nasty.clone(), why: k.to_string() }));
    let procedure = OutcomeProcedure {
        procedure: Written::Other(nasty.clone()),
        scans: u64::MAX,
        end: Written::Other(nasty.clone()),
        trace_file: Some(nasty.clone()),
        damaged_percent: None,
        loads_stepped: None,
    };
    outcome.procedures = vec![procedure; 60];
    for figure in &mut outcome.figures {
        figure.definition = nasty.clone();
        figure.source = Some(nasty.clone());
        figure.would_decide = Some(nasty.clone());
        figure.value = f64::NAN;
    }
    let again = outcome.figures.clone();
    outcome.figures.extend(again);
    if let Some(grade) = &mut outcome.grade {
        grade.name = Some(nasty.clone());
        grade.title = Some(nasty.clone());
        grade.why = vec![nasty; 40];
    }
    outcome
}

#[test]
fn hostile_text_is_shown_as_what_it_is_and_breaks_nothing() {
    let outcome = hostile();
    let pages = texts(&outcome, Some(&long_shop()), Paper::A4);
    for text in pages.iter().flatten() {
        assert!(text.chars().all(|c| !c.is_control() && c != '\u{202e}'), "{text:?}");
    }
    let all: String = pages.concat().concat();
    assert!(all.contains("□evil□□[31m</text>&□□□□□"), "what is lacking is seen");
    with_input(&outcome, Some(&long_shop()), |input| {
        assert!(pdf(&document::report(input), Paper::A4).is_ok())
    });
}

#[test]
fn an_outcome_with_nothing_in_it_still_makes_both_documents() {
    let outcome = fixture::empty();
    for paper in PAPERS {
        assert!(!texts(&outcome, None, paper).is_empty());
        let (_, height, room) = certificate_of(&outcome, None, paper);
        assert!(height <= room);
    }
}

#[test]
fn a_certificate_is_one_page_whatever_the_outcome_and_the_shop() {
    let shops = [None, Some(Shop::default()), Some(long_shop())];
    for outcome in [fixture::worn(), body_fixture::worn(), hostile()] {
        for paper in PAPERS {
            for shop in &shops {
                let (texts, height, room) = certificate_of(&outcome, shop.as_ref(), paper);
                assert!(height <= room, "{height} of {room} points for {}", outcome.part.kind);
                let all = texts.join(" ");
                for word in
                    ["Certificate", "OUTSIDE", "Cautions", "It promises nothing", "more in the report"]
                {
                    assert!(all.contains(word), "{word} is not in {all}");
                }
            }
        }
    }
}

#[test]
fn a_certificate_tells_the_program_s_own_cautions_whole_even_where_little_else_fits() {
    let cautions = body_fixture::worn().cautions;
    assert!(!cautions.is_empty());
    let squeezed = Outcome { cautions: cautions.clone(), ..hostile() };
    let (texts, height, room) = certificate_of(&squeezed, Some(&long_shop()), Paper::Letter);
    let (all, words) = (texts.concat().replace(' ', ""), cautions.concat().replace(' ', ""));
    assert!(all.contains(&words) && height <= room, "{all}");
}

#[test]
fn a_certificate_says_the_verdict_plainly_and_a_self_check_gets_none() {
    let mut outcome = fixture::worn();
    for (verdict, word) in [
        (Verdict::Within, "Fit for refit as far as this bench can tell."),
        (Verdict::Outside, "Do not refit this part."),
        (Verdict::Undecided, "Neither cleared nor condemned"),
    ] {
        outcome.verdict = verdict;
        let all = certificate_of(&outcome, None, Paper::A4).0.join(" ");
        assert!(all.contains(word) && all.contains(&verdict.name().to_uppercase()), "{all}");
        assert!(all.contains("No resale grade"), "{all}");
    }
    outcome.scope = Written::of("dropouts");
    outcome.verdict = Verdict::Within;
    assert!(certificate_of(&outcome, None, Paper::A4).0.join(" ").contains("Only lost contact was judged"));
    outcome.scope = Written::of("readiness");
    let refused = document::certificate(&CertificateInput { outcome: &outcome, stamp: None, shop: None });
    assert_eq!(refused.unwrap_err(), document::NothingJudged);
}

#[test]
fn a_broken_logo_is_left_out_and_told_and_a_good_one_is_shown() {
    let outcome = fixture::worn();
    let items = |shop: &Shop| {
        with_input(&outcome, Some(shop), |input| {
            let fonts = Fonts::load().unwrap();
            let report = document::report(input);
            let pieces = pieces(&fonts, &report, &Frame::of(&report, Paper::A4)).unwrap();
            let pictured = |i: &Item| matches!(i, Item::Picture { .. } | Item::Pixels { .. });
            (
                pieces[0].items.iter().flat_map(Item::leaves).filter(|i| pictured(i)).count(),
                crate::report::html(&report),
            )
        })
    };
    let mut shop = Shop { name: "Shop".to_owned(), ..long_shop() };
    let (pictures, page) = items(&shop);
    assert!(shop.check_logo().is_ok() && pictures == 1 && page.contains("data:image/svg+xml;base64,"));
    shop.logo = Some(b"\x89PNG\r\n\x1a\nbroken".to_vec());
    let (pictures, page) = items(&shop);
    assert!(pictures == 0 && !page.contains("<img") && !page.contains("img-src"));
    assert!(shop.check_logo().unwrap_err().to_string().contains("damaged"));
}

#[test]
fn a_plot_has_as_many_strokes_and_texts_on_paper_as_in_the_page() {
    let fonts = Fonts::load().unwrap();
    for outcome in [fixture::worn(), body_fixture::worn()] {
        let all = with_input(&outcome, None, |input| {
            crate::report::plots::plots(input, &crate::report::people::People::of(&outcome))
        });
        let all: Vec<_> = [all.body, all.curves, all.soak, all.histograms].concat();
        assert!(!all.is_empty());
        for plot in all {
            let mut shared = shared::Shared::default();
            let mut brush = brush::Brush::new(&fonts, &mut shared, 800.0);
            plot::draw(&mut brush, &plot.picture);
            let content = brush.finish();
            let content = String::from_utf8_lossy(&content);
            let svg = plot.picture.svg();
            let drawn = svg.rsplit("</defs>").next().unwrap_or_default();
            let operators = |name: &str| {
                content.lines().filter(|l| *l == name || l.ends_with(&format!(" {name}"))).count()
            };
            let dots = drawn.matches("-gap)").count();
            assert_eq!(operators("S"), drawn.matches(" stroke=\"").count() + dots, "{}", plot.title);
            assert_eq!(operators("BT"), drawn.matches("<text ").count(), "{}", plot.title);
        }
    }
}

#[test]
fn what_decides_stands_on_the_first_page_and_no_page_but_the_last_is_half_empty() {
    for paper in PAPERS {
        for (outcome, decides) in
            [(fixture::worn(), "Finding 2 from close by"), (body_fixture::worn(), "Lost motion")]
        {
            let pages = texts(&outcome, None, paper);
            assert!(pages[0].iter().any(|text| text.starts_with(decides)), "{:?}", pages[0]);
            with_input(&outcome, None, |input| {
                let fonts = Fonts::load().unwrap();
                let report = document::report(input);
                let frame = Frame::of(&report, paper);
                let pieces = pieces(&fonts, &report, &frame).unwrap();
                let column = frame.column();
                let pages = flow::pages(&pieces, column);
                for (k, page) in pages[..pages.len() - 1].iter().enumerate() {
                    let end = page.iter().map(bottom).fold(0.0, f32::max);
                    let filled = (end - column.at.1) / column.height;
                    assert!(
                        filled > 0.6,
                        "page {} of a {} is filled to {filled:.2}",
                        k + 1,
                        outcome.part.kind
                    );
                }
            });
        }
    }
}

/// The lower end of what is drawn, points from the upper edge.
fn bottom(item: &Item) -> f32 {
    match item {
        Item::Text { at, .. } => at.1,
        Item::Rule { from, to, .. } => from.1.max(to.1),
        Item::Frame { at, size, .. } | Item::Picture { at, size, .. } | Item::Pixels { at, size, .. } => {
            at.1 + size.1
        }
        Item::Within { items, .. } => items.iter().map(bottom).fold(0.0, f32::max),
    }
}
