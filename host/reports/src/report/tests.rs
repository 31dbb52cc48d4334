//! What a report must keep, whatever the part: same numbers in every medium, nothing hostile let through, nothing that
//! needs colour.

use super::people::People;
use super::{ReportInput, Shop, Style, document, fixture, html, terminal};
use crate::analysis::PlotCurve;
use crate::outcome::{Outcome, Stamp};
use crate::quantity::{Unit, Written};
use crate::verdict::Verdict;

fn html_of(outcome: &Outcome, curves: &[PlotCurve]) -> String {
    let (sheet, channels) = (fixture::sheet(), fixture::channels());
    let (plots, comparisons) = (&[], &[]);
    html(&document::report(&ReportInput {
        outcome,
        curves,
        plots,
        comparisons,
        sheet: &sheet,
        channels: &channels,
        stamp: None,
        shop: None,
    }))
}

fn terminal_of(outcome: &Outcome, style: Style) -> String {
    let sheet = fixture::sheet();
    let (curves, plots, comparisons) = (&[], &[], &[]);
    terminal(
        &document::report(&ReportInput {
            outcome,
            curves,
            plots,
            comparisons,
            sheet: &sheet,
            channels: &[],
            stamp: None,
            shop: None,
        }),
        style,
    )
}

/// The text of a page without its markup, spaces made single.
pub(super) fn words_of(page: &str) -> String {
    let document = parse(page);
    let shown = document.descendants().filter(|n| n.is_text()).filter(|n| {
        !n.ancestors().any(|a| a.has_tag_name("style") || a.has_tag_name("title") || a.has_tag_name("desc"))
    });
    let text: Vec<&str> = shown.filter_map(|n| n.text()).collect();
    text.concat().split_whitespace().collect::<Vec<_>>().join(" ")
}

#[track_caller]
pub(super) fn parse(page: &str) -> roxmltree::Document<'_> {
    let options = roxmltree::ParsingOptions { allow_dtd: true, ..Default::default() };
    roxmltree::Document::parse_with_options(page, options).expect("the page is well-formed")
}

#[test]
fn every_figure_has_the_same_number_in_both_media() {
    let outcome = fixture::worn();
    let page = words_of(&html_of(&outcome, &fixture::curves()));
    let short = terminal_of(&outcome, Style { width: 200, ..Style::default() });
    let people = People::of(&outcome);
    assert_eq!(people.figures.len(), outcome.figures.len());
    for row in &people.figures {
        assert!(page.contains(&row.value), "{} {} lacks {} in the page", row.name, row.line, row.value);
        assert!(short.contains(&row.value), "{} {} lacks {} in the terminal", row.name, row.line, row.value);
    }
    assert!(page.contains("1.34 ± 0.21 % of supply"), "two digits of 0.212, the value to the same place");
    assert!(page.contains("none seen; below 14 /min with 95 %"));
}

#[test]
fn simulated_is_said_before_anything_else_and_only_then() {
    let mut outcome = fixture::worn();
    assert!(words_of(&html_of(&outcome, &[])).starts_with("SIMULATED"));
    assert!(terminal_of(&outcome, Style::default()).lines().next().is_some_and(|l| l.contains("SIMULATED")));
    outcome.simulated = false;
    assert!(!html_of(&outcome, &[]).contains("SIMULATED"));
    assert!(!terminal_of(&outcome, Style::default()).contains("SIMULATED"));
}

#[test]
fn a_recording_that_was_cut_short_says_so_in_both_media() {
    let mut outcome = fixture::worn();
    outcome.aborted = true;
    outcome.procedures[1].end = Written::of("link_lost");
    let page = words_of(&html_of(&outcome, &[]));
    let short = terminal_of(&outcome, Style::default());
    for text in [page, short] {
        assert!(text.contains("CUT SHORT") && text.contains("sweep: link lost"), "{text}");
    }
}

#[test]
fn each_verdict_is_a_word_and_a_sentence() {
    let mut outcome = fixture::worn();
    for (verdict, sentence) in [
        (Verdict::Outside, "Do not refit this part."),
        (Verdict::Within, "Fit for refit as far as this bench can tell."),
        (Verdict::Undecided, "what would decide it"),
    ] {
        outcome.verdict = verdict;
        let page = words_of(&html_of(&outcome, &[]));
        let short = terminal_of(&outcome, Style::default());
        assert!(page.contains(verdict.name()) && page.contains(sentence), "{page}");
        assert!(short.contains(&verdict.name().to_uppercase()) && short.contains(sentence), "{short}");
    }
    // In the table, too, every verdict is a word: as many as there are figures with one, and one for the whole.
    let document = html_of(&fixture::worn(), &[]);
    let document = parse(&document);
    let cells: Vec<String> = document
        .descendants()
        .filter(|n| n.attribute("class").is_some_and(|c| c.starts_with("verdict-cell")))
        .map(|n| {
            n.descendants()
                .filter(|n| n.is_text())
                .filter_map(|n| n.text())
                .collect::<String>()
                .trim()
                .to_owned()
        })
        .collect();
    assert_eq!(cells.len(), fixture::worn().figures.len());
    assert!(
        cells.iter().all(|c| ["within", "outside", "undecided", "no limit"].contains(&c.as_str())),
        "{cells:?}"
    );
}

#[test]
fn without_colour_there_is_no_escape_code_and_with_it_the_same_text() {
    let outcome = fixture::worn();
    let plain = terminal_of(&outcome, Style::default());
    assert!(!plain.contains('\u{1b}'));
    let coloured = terminal_of(&outcome, Style { colour: true, ..Style::default() });
    assert!(coloured.contains('\u{1b}'));
    let mut stripped = String::new();
    for (k, piece) in coloured.split("\u{1b}[").enumerate() {
        stripped.push_str(if k == 0 { piece } else { piece.split_once('m').expect("a code ends").1 });
    }
    assert_eq!(stripped, plain);
}

#[test]
fn the_terminal_keeps_its_width_and_its_alphabet() {
    for width in [40, 60, 80, 120] {
        for ascii in [false, true] {
            let text = terminal_of(&fixture::worn(), Style { width, colour: false, ascii });
            assert!(!ascii || text.is_ascii());
            if !ascii {
                let wide: Vec<&str> = text.lines().filter(|l| l.chars().count() > width).collect();
                assert!(wide.is_empty(), "wider than {width}: {wide:#?}");
            }
        }
    }
}

#[test]
fn the_short_result_is_printed_as_before() {
    insta::assert_snapshot!(terminal_of(&fixture::worn(), Style::default()));
    insta::assert_snapshot!(
        "in_ascii",
        terminal_of(&fixture::worn(), Style { width: 72, colour: false, ascii: true })
    );
}

#[test]
fn hostile_text_is_shown_and_not_obeyed() {
    const HOSTILE: &str = "</title></style></script><script>alert(1)</script><img src=x onerror='alert(2)'>\"'&\
        \u{202e}evil\u{2066}\u{0}\u{1b}[31m\u{7}\u{fffe}\r\n{{ 7*7 }}]]>--><!--";
    let mut outcome = fixture::worn();
    outcome.part.label = HOSTILE.to_owned();
    outcome.part.kind = Written::of(HOSTILE);
    outcome.part.topology_found = Some(Written::of(HOSTILE));
    outcome.sheet.name = HOSTILE.to_owned();
    outcome.sheet.title = HOSTILE.to_owned();
    outcome.reasons.push(HOSTILE.to_owned());
    outcome.warnings.push(HOSTILE.to_owned());
    outcome.recorded = HOSTILE.to_owned();
    outcome.versions.insert(HOSTILE.to_owned(), HOSTILE.to_owned());
    if let Some(rig) = &mut outcome.rig {
        (rig.model, rig.serial, rig.firmware, rig.address) =
            (HOSTILE.to_owned(), HOSTILE.to_owned(), HOSTILE.to_owned(), HOSTILE.to_owned());
    }
    for figure in &mut outcome.figures {
        figure.source = Some(HOSTILE.to_owned());
        figure.definition = HOSTILE.to_owned();
        figure.would_decide = Some(HOSTILE.to_owned());
    }
    outcome.figures[0].figure = Written::of(HOSTILE);
    outcome.figures[1].channel = Some(Written::of(HOSTILE));
    for finding in &mut outcome.findings {
        finding.text = HOSTILE.to_owned();
        finding.details.insert(HOSTILE.to_owned(), 1.0);
    }
    outcome.findings[0].kind = Written::of(HOSTILE);
    outcome.histograms[0].name = HOSTILE.to_owned();
    outcome.procedures[0].procedure = Written::of(HOSTILE);
    outcome.procedures[0].trace_file = Some(HOSTILE.to_owned());
    outcome.not_testable[0].what = HOSTILE.to_owned();
    outcome.gaps[0].procedure = Written::of(HOSTILE);

    let page = html_of(&outcome, &fixture::curves());
    let document = parse(&page);
    assert!(document.descendants().all(|n| !n.has_tag_name("script") && !n.has_tag_name("img")));
    assert!(document.descendants().flat_map(|n| n.attributes()).all(|a| !a.name().starts_with("on")));
    assert!(words_of(&page).contains("<script>alert(1)</script>"), "it is shown as what it is");
    let short = terminal_of(&outcome, Style { width: 100, colour: false, ascii: false });
    for text in [&page, &short] {
        let bad = |c: char| {
            c.is_control() && c != '\n' || ('\u{202a}'..='\u{202e}').contains(&c) || c == '\u{2066}'
        };
        assert_eq!(text.chars().find(|c| bad(*c)), None);
    }
}

#[test]
fn shop_grade_and_seal_stand_in_the_page_and_hostile_words_stay_words() {
    const HOSTILE: &str = "</p><script>alert(1)</script>\u{202e}\"'&]]>";
    let mut outcome = fixture::worn();
    let grade = outcome.grade.as_mut().expect("the fixture has one");
    (grade.name, grade.title) = (Some(HOSTILE.to_owned()), Some(HOSTILE.to_owned()));
    grade.why.push(HOSTILE.to_owned());
    let words = || HOSTILE.to_owned();
    let shop = Shop { name: words(), address: vec![words(); 20], logo: Some(HOSTILE.as_bytes().to_vec()) };
    let stamp = Stamp { record: words(), fingerprint: words(), key: words(), code: words() };
    let (sheet, channels) = (fixture::sheet(), fixture::channels());
    let page = html(&document::report(&ReportInput {
        outcome: &outcome,
        curves: &[],
        plots: &[],
        comparisons: &[],
        sheet: &sheet,
        channels: &channels,
        stamp: Some(&stamp),
        shop: Some(&shop),
    }));
    let document = parse(&page);
    assert!(document.descendants().all(|n| !n.has_tag_name("script") && !n.has_tag_name("img")));
    assert!(!page.contains('\u{202e}'));
    let codes = document.descendants().filter(|n| n.attribute("class") == Some("code"));
    assert_eq!(codes.count(), 1, "the code is drawn whatever it says");
    let address = document.descendants().find(|n| n.attribute("class") == Some("shop"));
    let lines = address.expect("the shop is there").descendants().filter(|n| n.has_tag_name("bdi")).count();
    assert_eq!(lines, 9, "a name and eight lines of an address");
    assert!(words_of(&page).contains("Resale grade: </p><script>alert(1)</script>"));
}

#[test]
fn a_label_of_ten_thousand_letters_is_cut() {
    let mut outcome = fixture::worn();
    outcome.part.label = "W".repeat(10_000);
    outcome.findings[0].kind = Written::Other("W".repeat(10_000));
    let page = html_of(&outcome, &fixture::curves());
    assert!(!page.contains(&"W".repeat(1600)));
    assert!(page.contains("… (10000 characters)"));
    let short = terminal_of(&outcome, Style::default());
    assert!(short.lines().all(|l| l.chars().count() <= 80));
}

#[test]
fn an_outcome_with_nothing_in_it_still_makes_a_report() {
    let outcome = fixture::empty();
    let page = words_of(&html_of(&outcome, &[]));
    assert!(page.contains("part without a label") && page.contains("Not testable"), "{page}");
    assert!(page.contains("No figure could be had"));
    let short = terminal_of(&outcome, Style::default());
    assert!(
        short.contains("No figure could be had") && short.contains("no sensor line was recorded"),
        "{short}"
    );
}

#[test]
fn broken_numbers_do_not_break_the_pictures() {
    let mut outcome = fixture::worn();
    let mut curves = fixture::curves();
    for bad in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
        outcome.findings[1].from_deg = Some(bad);
        outcome.histograms[0].limits[0] = bad;
        outcome.histograms[1].width = bad;
        outcome.figures[0].value = bad;
        curves[0].y[5] = bad;
        curves[1].y.fill(bad);
        let page = html_of(&outcome, &curves);
        parse(&page);
        assert!(!page.contains("NaN") && !page.contains(">inf"), "a broken number is shown as a dash");
        terminal_of(&outcome, Style::default());
    }
}

#[test]
fn the_page_loads_nothing_and_can_be_printed() {
    let page = html_of(&fixture::worn(), &fixture::curves());
    assert!(page.contains("default-src 'none'"));
    let document = parse(&page);
    let loads = ["src", "href", "data", "action", "background"];
    for attribute in document.descendants().flat_map(|n| n.attributes()) {
        assert!(!loads.contains(&attribute.name()), "{attribute:?}");
    }
    assert!(!page.contains("@import") && !page.contains("url(http"));
    assert!(page.contains("@media print") && page.contains("break-inside: avoid") && page.contains("@page"));
}

#[test]
fn identities_in_the_page_are_unique_and_every_hatching_exists() {
    let page = html_of(&fixture::worn(), &fixture::curves());
    let document = parse(&page);
    let mut known = std::collections::BTreeSet::new();
    for id in document.descendants().filter_map(|n| n.attribute("id")) {
        assert!(known.insert(id), "{id} is there twice");
    }
    for fill in document.descendants().filter_map(|n| n.attribute("fill")) {
        if let Some(id) = fill.strip_prefix("url(#") {
            assert!(known.contains(id.trim_end_matches(')')), "{fill}");
        }
    }
}

#[test]
fn a_page_with_a_million_points_stays_below_a_megabyte() {
    let mut curves = fixture::curves();
    for curve in &mut curves {
        curve.deg = (0..100_000).map(|k| f64::from(k) * 80.0 / 1e5).collect();
        curve.y = (0..100_000).map(|k| f64::from(k % 997) / 500.0).collect();
    }
    let size = html_of(&fixture::worn(), &curves).len();
    assert!(size < 1_000_000, "{size}");
}

#[test]
fn a_second_line_that_rises_is_not_called_falling() {
    let mut outcome = fixture::worn();
    outcome.part.topology_found = Some(Written::of("half-slope"));
    for finding in &mut outcome.findings {
        finding.text.clear();
    }
    outcome.reasons.clear();
    outcome.sheet.title.clear();
    outcome.part.topology_found = Some(Written::of("half-slope"));
    let page = words_of(&html_of(&outcome, &fixture::curves()));
    let short = terminal_of(&outcome, Style::default());
    for text in [&page, &short] {
        assert!(text.contains("second") && !text.contains("falling"), "{text}");
        assert!(!text.contains("um deviation"), "only a complementary pair has a sum");
    }
}

#[test]
fn the_travel_plot_marks_findings_by_number_and_dropout_events() {
    let page = html_of(&fixture::worn(), &fixture::curves());
    let document = parse(&page);
    assert!(words_of(&page).contains("Finding 2 from close by"), "a flat spot gets its own picture");
    let travel = document
        .descendants()
        .find(|n| {
            n.has_tag_name(("http://www.w3.org/2000/svg", "svg"))
                && n.attribute("aria-labelledby").is_some_and(|l| l.starts_with("travel"))
        })
        .expect("there is a travel plot");
    let texts: Vec<&str> = travel.descendants().filter_map(|n| n.text()).map(str::trim).collect();
    for wanted in ["1", "2", "3", "flat spot 7.2–8.1°", "dropout 52.4°", "rising line", "falling line"] {
        assert!(texts.contains(&wanted), "{wanted} in {texts:?}");
    }
    assert_eq!(
        travel.descendants().filter(|n| n.has_tag_name(("http://www.w3.org/2000/svg", "polygon"))).count(),
        3
    );
}

#[test]
fn a_ratio_is_drawn_as_volts_whatever_its_unit() {
    let deg: Vec<f64> = (0..=80).map(f64::from).collect();
    let make = |unit, factor: f64| PlotCurve {
        name: "ratio",
        channel: Some(crate::quantity::Channel::Rising),
        direction: "mean",
        unit,
        // Binary fractions, so that no unit rounds.
        y: deg.iter().map(|d| (16.0 + d) / 128.0 * factor).collect(),
        deg: deg.clone(),
    };
    let outcome = fixture::worn();
    let pages: Vec<String> =
        [make(Unit::Count, 1.0), make(Unit::PercentSupply, 100.0), make(Unit::VoltAtFive, 5.0)]
            .map(|curve| html_of(&outcome, &[curve]))
            .into();
    assert!(pages.iter().all(|p| *p == pages[0]));
}

#[test]
fn suspects_are_told_in_page_and_terminal_and_none_leaves_no_heading() {
    let mut outcome = fixture::worn();
    assert!(!html_of(&outcome, &[]).contains("Suspects"));
    let ranked = crate::diagnosis::rank(&crate::outcome::evidence_of(&outcome));
    outcome.suspects = ranked.into_iter().map(Into::into).collect();
    assert!(!outcome.suspects.is_empty());
    let words = words_of(&html_of(&outcome, &[])).to_lowercase();
    let short = terminal_of(&outcome, Style { width: 400, ..Style::default() }).to_lowercase();
    for (place, suspect) in outcome.suspects.iter().enumerate() {
        let title = suspect.title.to_lowercase();
        assert!(words.contains(&title), "{title}");
        assert!(place >= 3 || short.contains(&title), "{title}");
    }
}
