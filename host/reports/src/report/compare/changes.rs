//! What changed between records, in words.

use super::overlay::Drawing;
use super::rows::{at_least, letter, named, number, records, signed};
use crate::compare::changes::{Changes, Pair};
use crate::compare::figures::{Change, Method};
use crate::compare::findings::{Fate, FindingChange, Seen};
use crate::compare::trend::Trend;
use crate::outcome::Outcome;
use crate::report::document::Document;
use crate::report::format;
use crate::report::text::{LABEL, SENTENCE, plain};
use crate::report::words::{self, Lines};

/// What changed. `first` is the outcome that the others are compared with, `drawn` their curves.
pub fn changes(document: &Changes, first: &Outcome, drawn: Drawing) -> Document {
    let lines = Lines::of(first);
    let mut page = Document::comparison(
        if document.trends.is_empty() { "Before and after" } else { "Over time" },
        lead(document),
        document.records.iter().any(|r| r.simulated),
    );
    records(&mut page, &document.records);
    for pair in &document.pairs {
        tables(&mut page, pair, document, lines);
    }
    trends(&mut page, document, lines);
    page.pictures(drawn.plots);
    for pair in &document.pairs {
        let about = format!("Beside the part, {} and {} differ", letter(0), letter(pair.record));
        page.list(&about, pair.differing.iter().cloned());
    }
    for pair in &document.pairs {
        let left = pair.not_compared.iter().map(|n| format!("{}: {}", named(&n.quantity, lines), n.why));
        page.list(format!("Not compared: {} with {}", letter(pair.record), letter(0)), left);
    }
    page.list("How to read it", document.notes.iter().cloned());
    page.list("Not drawn", drawn.left_out);
    page
}

fn lead(document: &Changes) -> String {
    let questions = document.family.questions;
    if !document.trends.is_empty() {
        let changed = document.trends.iter().filter(|t| t.changed).count();
        return format!("{changed} of {questions} figures are shown to change over time.");
    }
    let changed = document.pairs.iter().flat_map(|p| &p.figures).filter(|c| c.changed).count();
    let verdicts: Vec<&str> = document.records.iter().map(|r| r.verdict.name()).collect();
    let verdict = if verdicts.windows(2).all(|v| v[0] == v[1]) {
        format!("the verdict stays {}", verdicts[0])
    } else {
        format!("the verdict went {}", verdicts.join(" → "))
    };
    format!("{changed} of {questions} figures are shown to have changed; {verdict}.")
}

fn tables(page: &mut Document, pair: &Pair, document: &Changes, lines: Lines) {
    let (a, b) = (letter(0), letter(pair.record));
    let of = if document.pairs.len() > 1 { format!(", {a} → {b}") } else { String::new() };
    page.table(
        format!("Findings{of}"),
        ["what became of it", "finding", "before", "after"],
        pair.findings.iter().map(|f| finding(f, lines)),
        true,
    );
    page.table(
        format!("Changed{of}"),
        ["figure", "unit", "before", "after", "difference", "verdict"],
        pair.figures.iter().filter(|c| c.changed).map(|c| changed(c, lines)),
        true,
    );
    page.table(
        format!("Not shown to have changed{of}"),
        ["figure", "before", "difference", "a change would have been shown from"],
        pair.figures.iter().filter(|c| !c.changed).map(|c| unchanged(c, lines)),
        false,
    );
}

fn verdicts(change: &Change) -> String {
    let word = |v: Option<crate::verdict::Verdict>| v.map_or("no limit", |v| v.name());
    let (before, after) = (word(change.before.verdict), word(change.after.verdict));
    if before == after { String::new() } else { format!("{before} → {after}") }
}

fn changed(change: &Change, lines: Lines) -> Vec<String> {
    vec![
        named(&change.quantity, lines),
        format::unit(change.quantity.unit).to_owned(),
        number(change.before.value, change.before.expanded_uncertainty),
        number(change.after.value, change.after.expanded_uncertainty),
        signed(change.difference, change.expanded_uncertainty),
        verdicts(change),
    ]
}

fn unchanged(change: &Change, lines: Lines) -> Vec<String> {
    let unit = change.quantity.unit;
    let least = change.least_shown.map(|least| match change.method {
        Method::Quantile | Method::Longest => format!("{} at least", at_least(least, unit)),
        _ => at_least(least, unit),
    });
    vec![
        named(&change.quantity, lines),
        format::measured(change.before.value, change.before.expanded_uncertainty, unit),
        signed(change.difference, change.expanded_uncertainty),
        least.unwrap_or_else(|| "too little was watched".to_owned()),
    ]
}

fn finding(change: &FindingChange, lines: Lines) -> Vec<String> {
    let fate = match change.fate {
        Fate::Appeared => "appeared",
        Fate::Gone => "gone",
        Fate::SamePlace => "there before and after",
        Fate::Elsewhere => "there before and after, elsewhere",
        Fate::NotLookedFor => "looked for in one record alone",
    };
    let line = match &change.channel {
        None => String::new(),
        Some(_) => format!(", {}", lines.stored(change.channel.as_deref(), "")),
    };
    let seen = |seen: &Option<Seen>, other: bool| match seen {
        Some(seen) => {
            let place = format::place(seen.from_deg, seen.to_deg).map_or(String::new(), |p| format!("{p}, "));
            format!("{place}confidence {}", format::percent(seen.confidence))
        }
        None => match (&change.would_have_missed, other) {
            (Some(missed), true) => format!("not seen; {}", plain(missed, SENTENCE)),
            _ => "not seen".to_owned(),
        },
    };
    vec![
        fate.to_owned(),
        plain(&format!("{}{line}", words::finding(&change.kind)), LABEL),
        seen(&change.before, true),
        seen(&change.after, true),
    ]
}

fn trends(page: &mut Document, document: &Changes, lines: Lines) {
    let row = |t: &Trend| {
        let values = t.points.iter().map(|p| number(p.value, p.expanded_uncertainty)).collect::<Vec<_>>();
        let unit = format::unit(t.quantity.unit);
        let per_day = signed(t.per_day, t.expanded_uncertainty);
        let least = t.least_shown.map_or(String::new(), format::rounded_up);
        vec![named(&t.quantity, lines), values.join("; "), unit.to_owned(), per_day, least]
    };
    for (title, shown) in [("Changing over time", true), ("Not shown to change over time", false)] {
        page.table(
            title,
            ["figure", "values", "unit", "per day", "shown from, per day"],
            document.trends.iter().filter(|t| t.changed == shown).map(row),
            shown,
        );
    }
}
