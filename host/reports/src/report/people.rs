//! The outcome's rows in words, the same for every medium, so that no two media round or name differently.

use super::document::{Banner, Finding, Grade, Suspect};
use super::format;
use super::groups::{FigureGroupRows, groups};
use super::rows::{FigureRow, Named, group};
use super::suspects::rows;
use super::text::{LABEL, SENTENCE, plain, signs, written};
use super::words::{self, Lines};
use crate::diagnosis;
use crate::outcome::{
    Outcome, OutcomeDetectionLimit, OutcomeFigure, OutcomeFinding, OutcomeGap, OutcomeGrade, OutcomeReading,
};
use crate::quantity::{Channel, FigureName, FindingKind, Unit};
use crate::verdict::Verdict;

/// The outcome in words.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct People {
    /// What to call the lines.
    pub lines: Lines,
    /// The part's label, harmless and short.
    pub label: String,
    /// Whole verdict as a word.
    pub verdict: &'static str,
    /// The word that stands largest: the verdict, or whether rig and part are ready.
    pub headline: &'static str,
    /// What it means.
    pub advice: &'static str,
    /// Why.
    pub reasons: Vec<String>,
    /// Grade for resale; none when the sheet has no rules for one.
    pub grade: Option<Grade>,
    /// Figures.
    pub figures: Vec<FigureRow>,
    /// The same in groups; empty for a grip.
    pub groups: Vec<FigureGroupRows>,
    /// Sources of limits, numbered from 1 by their place.
    pub sources: Vec<String>,
    /// How each figure is defined, once.
    pub definitions: Vec<Named>,
    /// Findings.
    pub findings: Vec<Finding>,
    /// Causes that fit, most likely first.
    pub suspects: Vec<Suspect>,
    /// What would have been missed.
    pub missed: Vec<Named>,
    /// What the self-check read.
    pub readings: Vec<Named>,
    /// What could not be tested, and why.
    pub not_testable: Vec<Named>,
    /// Missing scans.
    pub gaps: Vec<String>,
    /// Warnings.
    pub warnings: Vec<String>,
    /// Procedures that did not end as planned.
    pub cut_short: Vec<String>,
    /// Said before the verdict where not all that was planned was done.
    pub banner: Option<Banner>,
}

/// Above the verdict of a recording that was cut short, or of a session that did not do all that it was to do.
fn banner(outcome: &Outcome, cut_short: &[String]) -> Option<Banner> {
    let which = if cut_short.is_empty() { String::new() } else { format!(" ({})", cut_short.join("; ")) };
    if outcome.aborted {
        let text =
            format!("The recording did not run to its end{which}. What was not recorded was not judged.");
        return Some(Banner { word: "CUT SHORT", text, more: "" });
    }
    (!outcome.not_done.is_empty()).then(|| Banner {
        word: "NOT ALL DONE",
        text: format!("Not all that was planned was done{which}. Nothing is claimed of what was not."),
        more: "",
    })
}

/// What did not end as planned, a fragment each.
fn cut_short(outcome: &Outcome) -> Vec<String> {
    if outcome.not_done.is_empty() {
        let cut = outcome.procedures.iter().filter(|p| p.end != "complete");
        let said = |p: &crate::outcome::OutcomeProcedure| {
            format!("{}: {}", words::procedure(&p.procedure), words::end(&p.end))
        };
        return cut.map(|p| plain(&said(p), LABEL)).collect();
    }
    // Procedures that ended alike for the same reason are named together: most of a plan that was interrupted is not begun.
    let mut groups: Vec<(Vec<String>, &str, &str)> = Vec::new();
    for n in &outcome.not_done {
        let (how, why) = (n.how.words(), n.why.as_str());
        match groups.iter_mut().find(|(_, h, w)| (*h, *w) == (how, why)) {
            Some((names, ..)) => names.push(words::procedure(&n.procedure)),
            None => groups.push((vec![words::procedure(&n.procedure)], how, why)),
        }
    }
    let said = |(names, how, why): (Vec<String>, &str, &str)| format!("{} {how}: {why}", names.join(", "));
    groups.into_iter().map(|group| plain(&signs(&said(group)), SENTENCE)).collect()
}

impl People {
    /// From the outcome.
    pub fn of(outcome: &Outcome) -> Self {
        let lines = Lines::of(outcome);
        let mut sources = Vec::new();
        let mut figures: Vec<FigureRow> =
            outcome.figures.iter().map(|f| figure_row(f, lines, &mut sources)).collect();
        group(&mut figures);
        let is_body = words::has_motor(&outcome.part.kind);
        Self {
            groups: if is_body { groups(outcome, &figures) } else { Vec::new() },
            lines,
            label: label(&outcome.part.label),
            verdict: outcome.verdict.name(),
            headline: words::headline(outcome.verdict, &outcome.scope),
            advice: words::advice(outcome.verdict, &outcome.scope),
            reasons: sentences(&outcome.reasons),
            grade: outcome.grade.as_ref().map(grade),
            figures,
            sources,
            definitions: definitions(&outcome.figures),
            findings: outcome
                .findings
                .iter()
                .enumerate()
                .map(|(k, f)| finding_row(k + 1, f, lines, outcome))
                .collect(),
            suspects: rows(&outcome.suspects),
            missed: outcome.detection_limits.iter().map(|d| missed(d, lines)).collect(),
            readings: outcome.readings.iter().map(reading).collect(),
            not_testable: not_testable(outcome, lines),
            gaps: gaps(&outcome.gaps),
            warnings: sentences(&outcome.warnings),
            banner: banner(outcome, &cut_short(outcome)),
            cut_short: cut_short(outcome),
        }
    }

    /// Figures that are undecided, with what would decide them; lines that need the same are named together.
    pub fn undecided(&self) -> Vec<Named> {
        let mut all: Vec<(&str, Named)> = Vec::new();
        for row in &self.figures {
            let Some(text) = &row.would_decide else { continue };
            match all.iter_mut().find(|(name, named)| *name == row.name && named.text == *text) {
                Some((_, named)) if row.condition.is_empty() => {
                    named.name.push_str(&format!(" and {}", row.line));
                }
                Some((_, named)) => named.name.push_str(&format!(" and ({})", row.condition)),
                None => all.push((&row.name, Named { name: row.full_name(), text: text.clone() })),
            }
        }
        all.into_iter().map(|(_, named)| named).collect()
    }
}

/// The part's label; a part without one is still named.
pub(super) fn label(given: &str) -> String {
    match plain(given, LABEL) {
        empty if empty.is_empty() => "part without a label".to_owned(),
        label => label,
    }
}

/// What stands in place of a grade's meaning where there is none.
const NO_RULE: &str = "no rule of the part sheet is met";

fn grade(grade: &OutcomeGrade) -> Grade {
    let said = |text: &Option<String>| plain(text.as_deref().unwrap_or_default(), LABEL);
    Grade {
        headline: if grade.name.is_some() {
            format!("Resale grade: {}", said(&grade.name))
        } else {
            "No resale grade".to_owned()
        },
        title: if grade.name.is_some() { said(&grade.title) } else { NO_RULE.to_owned() },
        why: sentences(&grade.why),
        source: plain(grade.source.as_deref().unwrap_or_default(), SENTENCE),
    }
}

fn sentences(all: &[String]) -> Vec<String> {
    all.iter().map(|s| plain(&signs(s), SENTENCE)).collect()
}

fn figure_row(figure: &OutcomeFigure, lines: Lines, sources: &mut Vec<String>) -> FigureRow {
    let source = figure.source.as_ref().map(|source| {
        let source = plain(source, SENTENCE);
        sources.iter().position(|known| *known == source).unwrap_or_else(|| {
            sources.push(source);
            sources.len() - 1
        }) + 1
    });
    FigureRow {
        name: plain(&words::figure(&figure.figure), LABEL),
        line: plain(&lines.stored(figure.channel.as_deref(), "pair"), LABEL),
        condition: plain(&signs(&figure.condition.words()), LABEL),
        value: format::figure_value(figure),
        unit: format::unit(figure.unit),
        limit: figure.limit.as_ref().map_or(format::NOTHING.to_owned(), |l| format::limit(l, figure.unit)),
        limit_number: figure
            .limit
            .as_ref()
            .map_or(format::NOTHING.to_owned(), |l| format::limit(l, Unit::Count)),
        rows: 1,
        verdict: figure.verdict.map_or("no limit", Verdict::name),
        place: format::place(figure.at_deg, None).unwrap_or(format::NOTHING.to_owned()),
        source,
        would_decide: figure.would_decide.as_ref().map(|w| plain(&signs(w), SENTENCE)),
    }
}

/// Definitions, each figure's once, under its name and condition; the same definition for both lines is written once.
fn definitions(figures: &[OutcomeFigure]) -> Vec<Named> {
    let mut all: Vec<Named> = Vec::new();
    for figure in figures.iter().filter(|f| !f.definition.trim().is_empty()) {
        let (name, condition) = (words::figure(&figure.figure), figure.condition.words());
        let name = if condition.is_empty() { name } else { format!("{name}: {condition}") };
        let named = Named { name: plain(&name, LABEL), text: plain(&signs(&figure.definition), SENTENCE) };
        if !all.contains(&named) {
            all.push(named);
        }
    }
    all
}

fn finding_row(number: usize, finding: &OutcomeFinding, lines: Lines, outcome: &Outcome) -> Finding {
    Finding {
        number,
        kind: plain(&words::finding(&finding.kind), LABEL),
        line: match finding.channel.as_deref() {
            None if of_the_drive(&finding.kind) => None,
            None => Some("both lines".to_owned()),
            some => Some(plain(&format!("{} line", lines.stored(some, "")), LABEL)),
        },
        place: format::place(finding.from_deg, finding.to_deg),
        weight: match finding.effect {
            Some(effect) => effect.words(),
            None if finding.decides => "decides the verdict",
            None => "does not decide the verdict",
        },
        confidence: format::percent(finding.confidence),
        text: plain(&written(&finding.text), SENTENCE),
        evidence: finding
            .details
            .iter()
            .map(|(name, value)| {
                let (name, unit) = words::detail(name);
                let space = if unit.is_empty() || unit == "°" { "" } else { " " };
                plain(&format!("{name} {}{space}{unit}", format::significant(*value, 3)), LABEL)
            })
            .collect(),
        // Defects of a throttle body's drive stand on single numbers; a grip's are seen in its figures.
        evidence_in_brief: words::has_motor(&outcome.part.kind),
        next_step: finding.kind.known().map(|kind| {
            let contact = outcome.contact.as_ref();
            let follows = contact.map(|c| (c.followed(), c.places.iter().any(|p| p.stands_out)));
            diagnosis::advice(kind, outcome.part.kind.known().unwrap_or_default(), follows)
        }),
    }
}

/// Whether a kind of finding is about motor, gears, springs or plate rather than about a line.
pub(super) fn of_the_drive(kind: &str) -> bool {
    FindingKind::from_name(kind).is_some_and(|k| k.row().of_the_drive)
}

fn missed(limit: &OutcomeDetectionLimit, lines: Lines) -> Named {
    let kind = words::finding(&limit.kind);
    let name = match limit.channel.as_deref() {
        None => kind,
        some => format!("{kind}, {} line", lines.stored(some, "")),
    };
    Named { name: plain(&name, LABEL), text: plain(&written(&limit.text), SENTENCE) }
}

/// What could not be tested; what has the same reason is named together.
fn not_testable(outcome: &Outcome, lines: Lines) -> Vec<Named> {
    let mut all: Vec<Named> = Vec::new();
    for item in &outcome.not_testable {
        let (name, text) = (what(&signs(&item.what), lines), plain(&signs(&item.why), SENTENCE));
        match all.iter_mut().find(|known| known.text == text) {
            Some(known) => known.name.push_str(&format!("; {name}")),
            None => all.push(Named { name, text }),
        }
    }
    all
}

/// Names that may be figures' or findings', with a line or a condition where they have one: `noise rising`,
/// `ground_lead, leakage`, `latency_p99, low range, opening`, `flat_spot (rising)`.
fn what(names: &str, lines: Lines) -> String {
    let mut told = String::new();
    for piece in outside_brackets(names) {
        let (title, known) = one_of(piece, lines);
        if !told.is_empty() {
            // Titles hold commas themselves; a condition belongs to the name before it.
            told.push_str(if known { "; " } else { ", " });
        }
        told.push_str(&title);
    }
    plain(&told, LABEL)
}

/// One name in words, and whether it is that of a figure or finding.
fn one_of(given: &str, lines: Lines) -> (String, bool) {
    // "feedback: linearity": the words before the colon say of which part.
    if let Some((of, name)) = given.split_once(": ") {
        let (title, known) = one_of(name, lines);
        return (format!("{of}: {title}"), known);
    }
    let (name, condition) = match given.split_once(" (") {
        Some((name, condition)) => (name, format!(" ({condition}")),
        None => (given, String::new()),
    };
    let (stem, line) = match name.rsplit_once(' ') {
        Some((stem, line)) => (stem, Channel::from_name(line)),
        None => (name, None),
    };
    let stem = if line.is_some() { stem } else { name };
    let known = FigureName::from_name(stem).map(FigureName::title);
    let known = known.or_else(|| FindingKind::from_name(stem).map(FindingKind::title));
    let title = known.map_or_else(|| stem.replace('_', " "), str::to_owned);
    let title = line.map_or(title.clone(), |c| format!("{title} {} line", lines.name(c)));
    (format!("{title}{condition}"), known.is_some())
}

/// Pieces between commas that stand in no brackets.
fn outside_brackets(names: &str) -> Vec<&str> {
    let (mut pieces, mut from, mut depth) = (Vec::new(), 0, 0_usize);
    for (at, letter) in names.char_indices() {
        match letter {
            '(' => depth += 1,
            ')' => depth = depth.saturating_sub(1),
            ',' if depth == 0 && names[at..].starts_with(", ") => {
                pieces.push(&names[from..at]);
                from = at + 2;
            }
            _ => {}
        }
    }
    pieces.push(&names[from..]);
    pieces
}

fn reading(reading: &OutcomeReading) -> Named {
    let text = match reading.value {
        Some(value) => signs(&format!("{} {}", format::significant(value, 4), reading.unit)),
        None => "not seen".to_owned(),
    };
    Named { name: plain(words::reading(&reading.name), LABEL), text: plain(&text, LABEL) }
}

/// Most gaps that are reported one by one.
const MOST_GAPS: usize = 12;

fn gaps(all: &[OutcomeGap]) -> Vec<String> {
    let mut told: Vec<String> = all.iter().take(MOST_GAPS).map(gap).collect();
    if all.len() > MOST_GAPS {
        told.push(format!("and {} more, all of them in outcome.json", all.len() - MOST_GAPS));
    }
    told
}

fn gap(gap: &OutcomeGap) -> String {
    let cause = gap.gap.cause.words();
    let scans = if gap.gap.scans == 1 { "1 scan".to_owned() } else { format!("{} scans", gap.gap.scans) };
    let place = format::place(gap.from_deg, gap.to_deg).map_or(String::new(), |p| format!(", touching {p}"));
    let from = format::fixed(gap.gap.from_us as f64 / 1e6, 3);
    let to = format::fixed(gap.gap.to_us as f64 / 1e6, 3);
    let procedure = plain(&words::procedure(&gap.procedure), LABEL);
    format!("{procedure}: {scans} {cause}, {from} s to {to} s on the rig's clock{place}")
}
