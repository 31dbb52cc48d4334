//! Limits that good parts would give, in words.

use super::rows::named;
use crate::compare::normality::Shape;
use crate::compare::proposal::{Group, Proposal, ProposedLimit};
use crate::compare::subject::Quantity;
use crate::outcome::Outcome;
use crate::outcome::OutcomeLimit;
use crate::report::document::Document;
use crate::report::format;
use crate::report::text::{LABEL, plain};
use crate::report::words::Lines;

/// A proposal. `one` is the outcome of any of the parts: it shows what the lines are called.
pub fn proposal(document: &Proposal, one: &Outcome) -> Document {
    let lines = Lines::of(one);
    let given = document.limits.iter().filter(|l| l.stands.is_none()).count();
    let mut page = Document::comparison(
        "Limits from good parts",
        format!(
            "{given} of {} limits of {} can be proposed from {} parts; nothing was changed.",
            document.limits.len(),
            document.sheet,
            document.parts.len()
        ),
        document.simulated,
    );
    page.table(
        "Proposed",
        ["limit", "now", "proposed", "factor", "looks normal"],
        document.limits.iter().filter(|l| l.stands.is_none()).map(|l| limit(l, lines)),
        true,
    );
    let groups = document.limits.iter().flat_map(|l| l.groups.iter().map(move |g| group(l, g, lines)));
    page.table(
        "What they rest on",
        ["figure", "unit", "parts", "mean", "sd", "± of one measurement"],
        groups,
        false,
    );
    let standing = document
        .limits
        .iter()
        .filter_map(|l| Some(format!("{}: {}", named(&quantity(l), lines), l.stands.as_ref()?)));
    page.list("Left as they are", standing);
    page.list(
        "Parts",
        document.parts.iter().map(|p| plain(&format!("{} ({})", p.record, p.verdict.name()), LABEL)),
    );
    page.list("Left out", document.left_out.iter().map(|l| format!("{}: {}", l.record, l.why)));
    page.list("How to read it", document.notes.iter().cloned());
    page
}

fn quantity(limit: &ProposedLimit) -> Quantity {
    Quantity {
        figure: limit.figure.clone(),
        channel: limit.channel.clone(),
        condition: limit.condition,
        unit: limit.unit,
    }
}

fn limit(limit: &ProposedLimit, lines: Lines) -> Vec<String> {
    let words = |min, max| format::limit(&OutcomeLimit { min, max, bound: None }, limit.unit);
    let mut factors: Vec<String> = limit.groups.iter().map(|g| format!("{:.3}", g.factor)).collect();
    factors.dedup();
    vec![
        named(&quantity(limit), lines),
        words(limit.now_min, limit.now_max),
        words(limit.min, limit.max),
        factors.join(", "),
        if limit.is_doubtful() { "doubtful" } else { "yes" }.to_owned(),
    ]
}

fn group(limit: &ProposedLimit, group: &Group, lines: Lines) -> Vec<String> {
    let quantity = Quantity { channel: group.channel.clone(), condition: group.condition, ..quantity(limit) };
    let doubt = if group.shape == Shape::Doubtful { " (hardly normal)" } else { "" };
    vec![
        named(&quantity, lines),
        format::unit(limit.unit).to_owned(),
        group.parts.to_string(),
        format::rounded(group.mean, group.standard_deviation).0,
        format!("{}{doubt}", format::significant(group.standard_deviation, 2)),
        format::significant(group.expanded_uncertainty, 2),
    ]
}
