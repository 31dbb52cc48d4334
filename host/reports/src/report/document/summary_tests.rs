//! A summary fits a small terminal, says the verdict first, and lets nothing hostile through.

use super::*;
use crate::quantity::Written;
use crate::report::document::Fact;
use crate::report::{ReportInput, Style, body_fixture, fixture, in_brief};

fn lines_of(outcome: &Outcome, style: Style) -> Vec<String> {
    let sheet = fixture::sheet();
    let input = ReportInput {
        outcome,
        curves: &[],
        plots: &[],
        comparisons: &[],
        sheet: &sheet,
        channels: &[],
        stamp: None,
        shop: None,
    };
    let kept = [
        Fact::new("More", "elsewhere"),
        Fact::new("Record", "/shelf"),
        Fact::new("Report", "/shelf/report.html"),
    ];
    in_brief(&summary(&input), &kept, style).lines().map(str::to_owned).collect()
}

/// Outcomes of every verdict, with much to say and with little.
fn outcomes() -> Vec<Outcome> {
    let mut all = vec![fixture::worn(), fixture::empty(), body_fixture::worn()];
    for verdict in [Verdict::Within, Verdict::Undecided, Verdict::Outside] {
        for scope in ["part", "readiness", "dropouts", "leads", "lash"] {
            let mut outcome = fixture::worn();
            (outcome.verdict, outcome.scope) = (verdict, Written::of(scope));
            outcome.reasons = vec![format!("{}: {}", verdict.name(), "very long ".repeat(60)); 9];
            outcome.part.label = "word ".repeat(40);
            outcome.aborted = verdict == Verdict::Undecided;
            all.push(outcome);
        }
    }
    all
}

#[test]
fn a_summary_fits_a_small_terminal_whatever_was_found() {
    for outcome in outcomes() {
        let lines = lines_of(&outcome, Style::default());
        assert!(lines.len() <= MOST_LINES, "{} lines:\n{}", lines.len(), lines.join("\n"));
        let widest = lines.iter().map(|line| line.chars().count()).max();
        assert!(widest <= Some(80), "{widest:?} columns:\n{}", lines.join("\n"));
    }
}

#[test]
fn verdict_reason_next_step_and_place_stand_in_this_order() {
    let lines = lines_of(&fixture::worn(), Style::default());
    let at = |begin: &str| lines.iter().position(|line| line.starts_with(begin)).expect(begin);
    let order = ["[x] OUTSIDE: Do not refit", "Part ", "Why ", "Next step ", "Caution ", "Report "].map(at);
    assert!(order.is_sorted(), "{}", lines.join("\n"));
    assert_eq!(order[5] + 1, lines.len(), "where it is kept stands last");
    assert!(lines[0].contains("SIMULATED"));
}

#[test]
fn the_verdict_is_found_without_colour_and_in_ascii() {
    let style = Style { ascii: true, ..Style::default() };
    let signs = [
        (Verdict::Within, "[+] WITHIN"),
        (Verdict::Undecided, "[?] UNDECIDED"),
        (Verdict::Outside, "[x] OUTSIDE"),
    ];
    for (verdict, sign) in signs {
        let outcome = Outcome { verdict, ..fixture::worn() };
        let lines = lines_of(&outcome, style);
        assert!(lines.iter().any(|line| line.starts_with(sign)), "{}", lines.join("\n"));
        assert!(lines.iter().all(|line| line.is_ascii()), "{}", lines.join("\n"));
    }
}

#[test]
fn nothing_of_a_label_is_obeyed() {
    let mut outcome = fixture::worn();
    outcome.part.label = "\u{1b}[2J\u{202e}evil\r\n".to_owned();
    let text = lines_of(&outcome, Style::default()).join("\n");
    assert!(!text.contains(['\u{1b}', '\u{202e}', '\r']), "{text:?}");
}
