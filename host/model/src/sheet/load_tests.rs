//! What a sheet must say, and that each mistake is pointed at.

use super::*;
use crate::quantity::{Channel, FigureName, FindingKind, Unit};
use crate::sheet::{shipped, shipped_names, shipped_text};
use proptest::prelude::*;

const GOOD: &str = include_str!("sheets/grip-complementary.toml");

/// A shipped sheet with one text replaced; the text must be there.
#[track_caller]
fn with(from: &str, to: &str) -> String {
    assert!(GOOD.contains(from), "the sheet does not hold {from:?}");
    GOOD.replacen(from, to, 1)
}

/// The sheet must be refused with all these words, at the line that holds `at`.
#[track_caller]
fn refused(text: &str, at: &str, words: &[&str]) -> SheetError {
    let error = parse(text, "mine.toml").expect_err("the sheet must be refused");
    for word in words {
        assert!(error.rendered.contains(word), "{word:?} is not in:\n{error}");
    }
    let line = text.lines().nth(error.line - 1).unwrap_or_default();
    assert!(line.contains(at), "it points at line {} {line:?}:\n{error}", error.line);
    assert!(error.rendered.contains(&format!("mine.toml:{}:{}", error.line, error.column)), "{error}");
    error
}

#[test]
fn every_shipped_sheet_parses_under_its_own_name() {
    for name in shipped_names() {
        let sheet = parse(shipped_text(name).unwrap(), name).unwrap_or_else(|e| panic!("{e}"));
        assert_eq!(sheet.name, *name);
        assert_eq!(Some(sheet), shipped(name));
    }
    assert!(shipped("no-such-sheet").is_none());
}

#[test]
fn every_shipped_sheet_limits_every_figure_of_every_line_and_names_a_source() {
    for sheet in shipped_names().iter().filter_map(|n| shipped(n)) {
        let limited = |f: &FigureName| sheet.kind == PartKind::Grip || !needs_a_reference(*f);
        for figure in FigureName::ALL.into_iter().filter(|f| f.belongs_to(sheet.kind)).filter(limited) {
            let covers = |c| {
                sheet.limits.iter().any(|l| l.figure == figure && (l.channel.is_none() || l.channel == c))
            };
            assert!(
                covers(Some(Channel::Rising)) && covers(Some(Channel::Falling)),
                "{} {}",
                sheet.name,
                figure.name()
            );
        }
        assert!(sheet.limits.iter().all(|l| !l.source.is_empty() && l.unit == l.figure.unit()));
        let kinds = FindingKind::ALL.into_iter().filter(|k| k.belongs_to(sheet.kind));
        assert_eq!(sheet.findings.len(), kinds.count());
    }
}

/// Figures that hold a line against another angle sensor; a plate bears none.
fn needs_a_reference(figure: FigureName) -> bool {
    matches!(
        figure,
        FigureName::LinearityIndependent
            | FigureName::LinearityTerminal
            | FigureName::LinearityZeroBased
            | FigureName::Hysteresis
            | FigureName::Repeatability
            | FigureName::DeadBandClosed
            | FigureName::DeadBandOpen
    )
}

#[test]
fn the_numbers_of_the_complementary_sheet_arrive() {
    let sheet = shipped("grip-complementary").unwrap();
    assert_eq!(sheet.topology, Topology::Complementary);
    assert_eq!((sheet.supply_volts, sheet.travel_deg), (5.0, 75.0));
    assert_eq!(sheet.rising, NominalLine { closed: 0.1, open: 0.9 });
    assert_eq!(sheet.falling, NominalLine { closed: 0.9, open: 0.1 });
    assert_eq!(sheet.sweep, SweepPlan { cycles: 5, speed_deg_s: 60.0, rate_hz: 5000 });
    assert_eq!(
        sheet.monitor,
        Monitor { threshold_percent: 5.0, rails: (0.04, 0.96), period_ms: 5.0, debounce: 20 }
    );
    let (m, k) = sheet.correlation_line();
    assert!((m + 1.0).abs() < 1e-12 && (k - 1.0).abs() < 1e-12, "m {m} k {k}");
    let dropouts = sheet.limits.iter().find(|l| l.figure == FigureName::DropoutRate).unwrap();
    assert_eq!((dropouts.max, dropouts.bound, dropouts.unit), (Some(0.0), Some(20.0), Unit::PerMinute));
}

// Common practice, no source: in a complementary pair both lines read 2.5 V at half travel.
#[test]
fn both_lines_of_the_complementary_sheet_read_half_the_supply_at_half_travel() {
    let sheet = shipped("grip-complementary").unwrap();
    for line in [sheet.rising, sheet.falling] {
        assert!((5.0 * (line.closed + line.open) / 2.0 - 2.5).abs() < 1e-12);
    }
}

#[test]
fn an_unknown_key_is_pointed_at_and_the_known_ones_are_named() {
    let error = refused(
        &with("travel_deg", "travel_degs"),
        "travel_degs",
        &["unknown key", "did you mean `travel_deg`"],
    );
    assert_eq!(error.column, 1);
    refused(&with("debounce = 20", "debounce = 20\ncolour = 3"), "colour", &["[monitor]", "period_ms"]);
    refused(&with("unit = \"% span\"", "units = \"% span\""), "units", &["did you mean `unit`"]);
}

#[test]
fn a_table_that_is_missing_is_named_with_its_keys() {
    let (begin, end) = (GOOD.find("[monitor]").unwrap(), GOOD.find("[sweep]").unwrap());
    refused(
        &GOOD.replacen(&GOOD[begin..end], "", 1),
        "",
        &["the sheet lacks [monitor]", "period_ms, debounce"],
    );
    refused(
        &with("rising = { closed_ratio = 0.10, open_ratio", "rising = { open_ratio"),
        "rising",
        &["`rising` of [nominal] lacks `closed_ratio`", "add `closed_ratio = 0`"],
    );
    refused(&format!("rate_hz = 1\n{GOOD}"), "rate_hz", &["unknown key `rate_hz` in the sheet"]);
}

#[test]
fn a_wrong_type_is_pointed_at() {
    refused(
        &with("supply_volts = 5.0", "supply_volts = \"5 V\""),
        "supply_volts",
        &["must be a number, not a text"],
    );
    refused(&with("\ndecides = true", "\ndecides = \"yes\""), "decides", &["true or false"]);
    refused(&with("cycles = 5 ", "cycles = 5.5 "), "cycles", &["whole number"]);
    refused("limit = 3\ntopology = \"complementary\"", "", &["lacks"]);
    let limit = with("travel_deg = 75.0", "travel_deg = 75.0\nlimit = 3");
    let limit = &limit[..limit.find("[[limit]]").unwrap()];
    refused(limit, "limit = 3", &["a list of tables, each begun by [[limit]], not a number"]);
}

#[test]
fn a_number_out_of_range_is_shown_with_its_range() {
    refused(&with("closed_ratio = 0.10", "closed_ratio = 1.10"), "rising", &["1.1", "0 to 1"]);
    refused(&with("travel_deg = 75.0", "travel_deg = 7500"), "travel_deg", &["7500", "5 to 180 degrees"]);
    refused(&with("speed_deg_s = 60.0", "speed_deg_s = 0"), "speed_deg_s", &["1 to 720"]);
    refused(&with("cycles = 5 ", "cycles = 0 "), "cycles", &["1 to 10000"]);
    refused(&with("rate_hz = 5000", "rate_hz = 5"), "rate_hz", &["100 to 50000"]);
    refused(&with("travel_deg = 75.0", "travel_deg = nan"), "travel_deg", &["not a finite number"]);
    refused(&with("travel_deg = 75.0", "travel_deg = inf"), "travel_deg", &["not a finite number"]);
}

#[test]
fn a_wrong_unit_names_the_right_one() {
    refused(
        &with("unit = \"% span\"", "unit = \"V\""),
        "unit",
        &["linearity_independent", "unit = \"% span\""],
    );
}

#[test]
fn impossible_limits_are_refused() {
    refused(&with("min = 0.35", "min = 3.5"), "min = 3.5", &["impossible limit", "3.5", "0.65"]);
    refused(&with("max = 2.0", "max = -2.0"), "max = -2.0", &["never negative"]);
    refused(&with("max = 2.0", "max = 2.0\nbound = 3"), "bound", &["only dropout_rate"]);
    refused(&with("max = 0.0\nbound", "max = 1.0\nbound"), "bound", &["max = 0"]);
    refused(&with("bound = 20.0", "bound = 0"), "bound", &["endless"]);
    refused(&with("max = 2.0\n", ""), "linearity_independent", &["neither `min` nor `max`"]);
    refused(
        &with("figure = \"skew\"", "figure = \"skew\"\nchannel = \"rising\""),
        "channel",
        &["figure of the pair"],
    );
    refused(&with("channel = \"rising\"", "channel = \"supply\""), "channel", &["not a sensor line"]);
    refused(&with("figure = \"noise\"", "figure = \"nois\""), "nois", &["did you mean `noise`"]);
}

#[test]
fn the_depth_of_a_flat_spot_and_what_a_recording_need_not_carry_are_read_and_bounded() {
    let sheet = parse(GOOD, "good").unwrap();
    let spot = sheet.findings.iter().find(|r| r.kind == FindingKind::FlatSpot).unwrap();
    assert_eq!(spot.least_depth_percent_span, Some(0.1));
    let required: Vec<_> = sheet.limits.iter().filter(|l| !l.required).map(|l| l.figure).collect();
    assert_eq!(required, [FigureName::Skew]);
    let depth = "least_depth_percent_span = 0.1";
    let any = parse(&with(depth, ""), "any").unwrap();
    assert!(any.findings.iter().all(|r| r.least_depth_percent_span.is_none()));
    refused(&with(depth, "least_depth_percent_span = -1"), "least_depth", &["outside 0 to 100 % of span"]);
    let dropout = "kind = \"dropout\"";
    refused(&with(dropout, &format!("{dropout}\n{depth}")), "least_depth", &["only flat_spot takes it"]);
    refused(&with("required = false", "required = \"no\""), "required", &["true or false"]);
}

#[test]
fn a_limit_without_a_source_is_refused() {
    let source = "unit = \"% span\"\nsource = \"common practice, no source; use the maker's service data\"\n";
    let error =
        refused(&with(source, "unit = \"% span\"\n"), "[[limit]]", &["lacks its `source`", "service"]);
    assert!(error.help.contains("service manual"));
    refused(&with(source, "unit = \"% span\"\nsource = \" \"\n"), "source", &["empty"]);
}

#[test]
fn a_limit_given_twice_is_refused() {
    let twice =
        format!("{GOOD}\n[[limit]]\nfigure = \"noise\"\nmax = 1\nunit = \"mV at 5 V\"\nsource = \"x\"\n");
    refused(&twice, "noise", &["already has a limit for every line"]);
    let rule = format!("{GOOD}\n[[finding]]\nkind = \"dropout\"\ndecides = true\nsource = \"x\"\n");
    refused(&rule, "dropout", &["already has a rule"]);
}

#[test]
fn nominal_lines_must_fit_the_topology() {
    refused(
        &with("\"complementary\"", "\"half-slope\""),
        "second",
        &["rising = 2 x second", "0.050", "0.450"],
    );
    refused(&with("\"complementary\"", "\"parallel-offset\""), "second", &["not parallel-offset"]);
    refused(
        &with("\"complementary\"", "\"mirror\""),
        "topology",
        &["known: complementary, half-slope, parallel-offset"],
    );
    let swapped = with(
        "rising = { closed_ratio = 0.10, open_ratio = 0.90 }",
        "rising = { closed_ratio = 0.9, open_ratio = 0.1 }",
    );
    refused(&swapped, "rising", &["must rise"]);
}

#[test]
fn a_finding_without_a_rule_is_named() {
    let text = with(
        "[[finding]]\nkind = \"leakage\"\ndecides = true\nsource = \"common practice, no source; use the maker's service data\"\n",
        "",
    );
    refused(&text, "#", &["leakage", "[[finding]]"]);
}

#[test]
fn text_that_is_no_toml_is_refused_where_it_breaks() {
    refused(&with("[sweep]", "[sweep"), "[sweep", &["not TOML"]);
    let error = parse("", "empty.toml").unwrap_err();
    assert!(error.message.contains("lacks `topology`"), "{error}");
    assert!(parse(&"#".repeat(2_000_000), "big.toml").unwrap_err().message.contains("bytes"));
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(400))]

    #[test]
    fn a_mutated_sheet_never_panics(
        cuts in proptest::collection::vec((0usize..9000, 0usize..40, "[ -~\\n\u{e9}\u{4e2d}\u{7f}\t\"=\\[\\]]{0,12}"), 1..6)
    ) {
        let mut text: Vec<char> = GOOD.chars().collect();
        for (at, length, put) in cuts {
            let at = at.min(text.len());
            let end = (at + length).min(text.len());
            text.splice(at..end, put.chars());
        }
        let text: String = text.into_iter().collect();
        if let Err(error) = parse(&text, "mutated.toml") {
            prop_assert!(error.line >= 1 && error.line <= text.lines().count() + 1);
            prop_assert!(error.column >= 1);
            prop_assert!(error.rendered.contains("mutated.toml"));
        }
    }

    #[test]
    fn any_text_never_panics(text in "\\PC{0,200}") {
        let _ = parse(&text, "any.toml");
    }
}
