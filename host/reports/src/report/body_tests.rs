//! What the report of a throttle body must keep: same numbers in every medium, every figure once, every plot drawn, nothing
//! hostile let through.

use super::people::People;
use super::rows::FigureRow;
use super::tests::{parse, words_of};
use super::{ReportInput, Style, body_fixture, document, fixture, html, terminal};
use crate::analysis::{Comparison, Plot, PlotBand, PlotMark};
use crate::outcome::{CAUTIONS, Outcome};
use crate::quantity::{FigureName, Unit, Written};
use crate::verdict::Verdict;

/// An outcome with the plots and comparisons of the fixture.
fn page_of(outcome: &Outcome) -> String {
    page_with(outcome, &body_fixture::plots(), &body_fixture::comparisons())
}

fn page_with(outcome: &Outcome, plots: &[Plot], comparisons: &[Comparison]) -> String {
    let (sheet, channels) = (body_fixture::sheet(), fixture::channels());
    html(&document::report(&ReportInput {
        outcome,
        curves: &[],
        plots,
        comparisons,
        sheet: &sheet,
        channels: &channels,
        stamp: None,
        shop: None,
    }))
}

fn terminal_of(outcome: &Outcome, style: Style) -> String {
    let (sheet, comparisons) = (body_fixture::sheet(), body_fixture::comparisons());
    let comparisons = comparisons.as_slice();
    terminal(
        &document::report(&ReportInput {
            outcome,
            curves: &[],
            plots: &[],
            comparisons,
            sheet: &sheet,
            channels: &[],
            stamp: None,
            shop: None,
        }),
        style,
    )
}

#[test]
fn every_figure_has_the_same_number_in_both_media() {
    let outcome = body_fixture::worn();
    let (page, short) = (words_of(&page_of(&outcome)), terminal_of(&outcome, Style::default()));
    // A terminal's columns say the unit once.
    let bare = |row: &FigureRow| row.value.strip_suffix(row.unit).unwrap_or(&row.value).trim_end().to_owned();
    for row in &People::of(&outcome).figures {
        assert!(page.contains(&row.value), "{} lacks {} in the page", row.full_name(), row.value);
        assert!(short.contains(&bare(row)), "{} lacks {} in the terminal", row.full_name(), bare(row));
    }
    assert!(short.contains("latency, 99th") || short.contains("99 %, µs"));
}

#[test]
fn every_figure_stands_in_one_group_and_one_that_no_group_knows_comes_last() {
    let mut outcome = body_fixture::worn();
    let count = |outcome: &Outcome| -> usize {
        let groups = People::of(outcome).groups;
        let cells = |g: &super::groups::FigureGroupRows| -> usize {
            g.grid.iter().flat_map(|grid| &grid.rows).map(|(_, cells)| cells.iter().flatten().count()).sum()
        };
        groups.iter().map(|g| g.rows.len() + cells(g)).sum()
    };
    assert_eq!(count(&outcome), outcome.figures.len());
    outcome.figures[3].figure = Written::of("of_a_later_program");
    assert_eq!(count(&outcome), outcome.figures.len());
    assert_eq!(People::of(&outcome).groups.last().unwrap().title, "Other figures");
    // Every figure that there is has its group.
    for name in FigureName::ALL {
        outcome.figures.truncate(1);
        outcome.figures[0].figure = name.into();
        assert_ne!(People::of(&outcome).groups[0].title, "Other figures", "{name:?}");
    }
}

#[test]
fn a_grid_has_a_row_per_condition_and_says_the_limit_once() {
    let people = People::of(&body_fixture::worn());
    let grid = |title: &str| {
        people.groups.iter().find(|g| g.title.starts_with(title)).and_then(|g| g.grid.as_ref()).unwrap()
    };
    let latency = grid("Latency");
    let names: Vec<&str> = latency.rows.iter().map(|(name, _)| name.as_str()).collect();
    assert_eq!(names[..2], ["low, opening", "low, closing"]);
    assert_eq!((names.len(), latency.columns.len()), (6, 4));
    assert_eq!(latency.limits[2].as_ref().unwrap().text, "≤ 4000 µs");
    let returns = grid("Return");
    assert_eq!(returns.columns, ["bridge open", "motor braked"]);
    assert_eq!(returns.rows[0].0, "from 80°");
}

#[test]
fn a_range_with_a_limit_of_its_own_shows_it_in_its_cells() {
    let mut outcome = body_fixture::worn();
    let p99 = outcome.figures.iter_mut().find(|f| f.figure == "latency_p99").unwrap();
    p99.limit.as_mut().unwrap().max = Some(2600.0);
    let page = words_of(&page_of(&outcome));
    assert!(
        page.contains("≤ 2600 µs") && page.contains("≤ 4000 µs") && page.contains("in each cell"),
        "{page}"
    );
}

#[test]
fn the_cautions_stand_before_the_findings_and_are_the_words_of_the_outcome() {
    let outcome = body_fixture::worn();
    let page = words_of(&page_of(&outcome));
    let short = terminal_of(&outcome, Style { width: 400, ..Style::default() });
    for caution in CAUTIONS {
        assert!(page.find(caution).is_some_and(|at| at < page.find("worn tooth, at").unwrap()), "{caution}");
        assert_eq!((page.matches(caution).count(), short.matches(caution).count()), (1, 1), "{caution}");
    }
}

#[test]
fn every_plot_is_drawn_with_its_marks_and_its_defect_bears_the_number_of_its_finding() {
    let page = page_of(&body_fixture::worn());
    let words = words_of(&page);
    for plot in body_fixture::plots() {
        assert!(words.contains(&plot.title) && words.contains(&plot.reading), "{}", plot.title);
        for series in &plot.series {
            assert!(words.contains(&series.label), "{} in the legend of {}", series.label, plot.title);
        }
    }
    let document = parse(&page);
    let of_plot = |title: &str| {
        let svg = document.descendants().find(|n| {
            n.tag_name().name() == "svg"
                && n.children().any(|c| c.tag_name().name() == "title" && c.text() == Some(title))
        });
        let texts = svg.expect("the plot is there").descendants().filter(|n| n.tag_name().name() == "text");
        texts.filter_map(|n| n.text()).map(|t| t.trim().to_owned()).collect::<Vec<_>>()
    };
    let map = of_plot("Lost motion along the travel");
    for wanted in ["1", "worn tooth", "not seen", "rest"] {
        assert!(map.iter().any(|t| t == wanted), "{wanted} in {map:?}");
    }
    assert!(of_plot("Step response, opening").contains(&"first motion 1.2 ms".to_owned()));
    assert!(of_plot("Sum deviation of the feedback lines").contains(&"limit −2.5 % of supply".to_owned()));
    assert!(words.contains("What it would have missed (worn tooth): Wear of less than 0.15°"));
}

#[test]
fn latencies_have_a_histogram_per_range_and_direction_with_their_limits() {
    let outcome = body_fixture::worn();
    let page = words_of(&page_of(&outcome));
    let short = terminal_of(&outcome, Style::default());
    for words in ["low range, opening", "middle range, closing", "high range, opening"] {
        assert!(page.contains(&format!("Latency, {words}")), "{words}");
        assert!(short.lines().any(|l| l.contains(words) && l.contains('█') && l.contains('│')), "{words}");
    }
    assert_eq!(page.matches("99 %: limit 4000").count(), 6);
    assert_eq!(page.matches("limit 6000").count(), 6);
    assert!(short.contains("limit 6000 µs"));
}

#[test]
fn what_blips_changed_is_told_only_beyond_its_uncertainty() {
    let outcome = body_fixture::worn();
    let page = words_of(&page_of(&outcome));
    // By hand: 0.093 against 2.576 × √(0.017² + 0.017²) = 0.062; 0.004 against 0.117.
    assert!(page.contains("0.093 ± 0.048 Ωchanged"), "{page}");
    assert!(page.contains("0.004 ± 0.091°no change seen"), "{page}");
    assert!(
        terminal_of(&outcome, Style { width: 120, ..Style::default() })
            .lines()
            .any(|line| line.contains("1.241 ± 0.034 Ω") && line.ends_with("  changed"))
    );
    assert!(!words_of(&page_with(&outcome, &[], &[])).contains("blips"));
}

#[test]
fn a_quantile_with_a_bound_is_shown_by_its_value_and_a_rate_with_its_bound() {
    let mut outcome = body_fixture::worn();
    outcome
        .figures
        .iter_mut()
        .filter(|f| f.figure == "latency_p99")
        .for_each(|f| f.upper_bound = Some(2_222.0));
    let page = words_of(&page_of(&outcome));
    assert!(
        !page.contains("2300") && !page.contains("2222") && page.contains("none seen; below 14 /min"),
        "{page}"
    );
}

#[test]
fn steps_from_several_places_each_have_their_row() {
    let mut outcome = body_fixture::worn();
    for figure in outcome.figures.iter_mut().filter(|f| f.figure == "rise_time") {
        figure.condition.from_deg = Some(30.0);
    }
    let people = People::of(&outcome);
    let grid =
        people.groups.iter().find(|g| g.title == "Position loop").and_then(|g| g.grid.as_ref()).unwrap();
    assert!(grid.rows.iter().any(|(name, _)| name == "low, opening, from 30°"), "{:?}", grid.rows);
    let short = terminal_of(&outcome, Style::default());
    assert!(short.lines().all(|l| l.chars().count() <= 80));
}

#[test]
fn a_defect_of_the_drive_names_no_line_and_its_numbers_are_in_the_terminal() {
    let outcome = body_fixture::worn();
    let page = words_of(&page_of(&outcome));
    assert!(page.contains("worn tooth, at 10.4–13.6°") && !page.contains("both lines, at 10.4"));
    let short = terminal_of(&outcome, Style { width: 120, ..Style::default() });
    assert!(short.contains("WORN TOOTH, at 10.4–13.6°"), "{short}");
    assert!(short.contains("Evidence: depth 0.312°, strokes 8, tooth at 12°, z 14.2."), "{short}");
}

#[test]
fn one_procedure_within_does_not_clear_the_part() {
    let mut outcome = body_fixture::worn();
    outcome.verdict = Verdict::Within;
    outcome.scope = Written::of("release");
    for text in [words_of(&page_of(&outcome)), terminal_of(&outcome, Style::default())] {
        assert!(text.contains("Only that was tested.") && !text.contains("Fit for refit"), "{text}");
    }
}

#[test]
fn a_worn_tooth_is_not_marked_on_the_feedback_lines() {
    let (outcome, sheet) = (body_fixture::worn(), body_fixture::sheet());
    let curves = fixture::curves();
    let (plots, comparisons, channels) = (&[], &[], &[]);
    let input = ReportInput {
        outcome: &outcome,
        curves: &curves,
        plots,
        comparisons,
        sheet: &sheet,
        channels,
        stamp: None,
        shop: None,
    };
    let page = html(&document::report(&input));
    let document = parse(&page);
    let texts = document.descendants().filter(|n| n.tag_name().name() == "text").filter_map(|n| n.text());
    assert!(texts.into_iter().all(|t| !t.contains("worn tooth")));
    assert!(words_of(&page).contains("Feedback lines along the travel"));
}

#[test]
fn what_was_not_testable_keeps_its_condition() {
    let mut outcome = body_fixture::worn();
    outcome.not_testable[0].what = "latency_p99 (low range, opening)".to_owned();
    let people = People::of(&outcome);
    assert_eq!(people.not_testable[0].name, "latency, 99th percentile (low range, opening)");
    outcome.not_testable[0].what = "latency_p99, low range, opening".to_owned();
    assert_eq!(People::of(&outcome).not_testable[0].name, "latency, 99th percentile, low range, opening");
    outcome.not_testable[0].what = "feedback: supply_lead, ground_lead".to_owned();
    let words = "feedback: resistance in the supply lead; resistance in the ground lead";
    assert_eq!(People::of(&outcome).not_testable[0].name, words);
    outcome.not_testable[0].what = "rise_time, overshoot".to_owned();
    assert_eq!(People::of(&outcome).not_testable[0].name, "rise time; overshoot");
}

#[test]
fn the_short_result_is_printed_as_before_and_keeps_its_width_and_alphabet() {
    let outcome = body_fixture::worn();
    insta::assert_snapshot!(terminal_of(&outcome, Style::default()));
    for width in [40, 60, 80, 120] {
        let text = terminal_of(&outcome, Style { width, ..Style::default() });
        let wide: Vec<&str> = text.lines().filter(|l| l.chars().count() > width).collect();
        assert!(wide.is_empty(), "wider than {width}: {wide:#?}");
        assert!(terminal_of(&outcome, Style { width, ascii: true, ..Style::default() }).is_ascii());
    }
}

#[test]
fn hostile_text_is_shown_and_not_obeyed() {
    const HOSTILE: &str = "</title></svg><script>alert(1)</script><img src=x onerror='alert(2)'>\"'&\u{202e}evil\u{0}\u{1b}[31m]]>-->";
    let hostile = || HOSTILE.to_owned();
    let mut outcome = body_fixture::worn();
    outcome.cautions[0] = hostile();
    outcome.findings[0].kind = Written::Other(hostile());
    outcome.figures[0].figure = Written::Other(hostile());
    outcome.histograms[0].name = hostile();
    outcome.part.kind = Written::of("body");
    let mut plots = body_fixture::plots();
    for plot in &mut plots {
        (plot.title, plot.reading) = (hostile(), hostile());
        (plot.x.label, plot.y.label) = (hostile(), hostile());
        plot.series.iter_mut().for_each(|s| s.label = hostile());
        plot.marks.push(PlotMark { x: 20.0, label: hostile() });
        plot.bands.push(PlotBand { from: 20.0, to: 30.0, label: hostile(), defect: true });
    }
    let mut comparisons = body_fixture::comparisons();
    comparisons[0].name = hostile();
    let page = page_with(&outcome, &plots, &comparisons);
    let document = parse(&page);
    assert!(document.descendants().all(|n| !n.has_tag_name("script") && !n.has_tag_name("img")));
    assert!(document.descendants().flat_map(|n| n.attributes()).all(|a| !a.name().starts_with("on")));
    assert!(words_of(&page).contains("<script>alert(1)</script>"), "it is shown as what it is");
    let short = terminal_of(&outcome, Style::default());
    for text in [&page, &short] {
        let bad = |c: char| c.is_control() && c != '\n' || ('\u{202a}'..='\u{202e}').contains(&c);
        assert_eq!(text.chars().find(|c| bad(*c)), None);
    }
}

#[test]
fn broken_numbers_do_not_break_the_pictures() {
    let outcome = body_fixture::worn();
    for bad in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
        let mut plots = body_fixture::plots();
        plots[0].series[0].y[10] = bad;
        plots[0].series[0].x[11] = bad;
        plots[0].marks[0].x = bad;
        plots[1].bands[1].from = bad;
        plots[2].series.clear();
        plots[3].series.iter_mut().for_each(|s| s.y.fill(bad));
        plots[4].series[1].x[0] = bad;
        plots[5].series[0].y.fill(1.0);
        let comparisons = [Comparison {
            name: "invented".to_owned(),
            unit: Unit::Ohm,
            before: bad,
            u_before: 0.1,
            after: 1.0,
            u_after: bad,
        }];
        let page = page_with(&outcome, &plots, &comparisons);
        parse(&page);
        assert!(!page.contains("NaN") && !page.contains(">inf"), "a broken number is shown as a dash");
        assert!(!words_of(&page).contains("Return to rest Power"), "a plot without a value is left out");
    }
}

#[test]
fn identities_in_the_page_are_unique() {
    let page = page_of(&body_fixture::worn());
    let document = parse(&page);
    let mut known = std::collections::BTreeSet::new();
    for id in document.descendants().filter_map(|n| n.attribute("id")) {
        assert!(known.insert(id), "{id} is there twice");
    }
}

#[test]
fn a_body_of_which_nothing_could_be_had_still_makes_a_report() {
    let mut outcome = fixture::empty();
    outcome.part.kind = Written::of("body");
    outcome.cautions = CAUTIONS.map(str::to_owned).to_vec();
    let page = words_of(&page_with(&outcome, &[], &[]));
    assert!(page.contains("No figure could be had") && page.contains(CAUTIONS[0]), "{page}");
    let short = terminal_of(&outcome, Style::default());
    assert!(short.contains("No figure could be had"), "{short}");
}
