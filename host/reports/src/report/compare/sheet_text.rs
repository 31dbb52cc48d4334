//! Proposed limits written into the text of a part sheet: numbers and sources are exchanged, everything else stays, comments too.

use crate::compare::proposal::{Proposal, ProposedLimit};
use crate::report::text::{LABEL, plain};
use std::fmt::Write as _;
use std::ops::Range;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// At most so many records are named in one source; all of them stand at the head.
const NAMED: usize = 12;

/// Why a text can't be changed.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("the sheet's text and its limits do not belong together: {0}")]
pub struct OtherText(String);

/// One replacement.
type Edit = (Range<usize>, String);

/// The text with the proposed limits, under a name of its own. `date` is when, as people read it.
///
/// # Errors
/// [`OtherText`] when the text is not that of the sheet that the proposal is for.
pub fn write(base: &str, proposal: &Proposal, date: &str) -> Result<String, OtherText> {
    let document = DeTable::parse(base).map_err(|e| OtherText(e.message().to_owned()))?;
    let table = document.get_ref();
    let name = format!("{}-from-{}-parts", proposal.sheet, proposal.parts.len());
    let mut edits: Vec<Edit> = vec![(span(table, "name")?, quoted(&name))];
    let Some(DeValue::Array(limits)) = table.get("limit").map(Spanned::get_ref) else {
        return Err(OtherText("it has no [[limit]]".to_owned()));
    };
    if limits.len() != proposal.limits.len() {
        return Err(OtherText(format!("{} limits, not {}", limits.len(), proposal.limits.len())));
    }
    for (text, limit) in limits.iter().zip(&proposal.limits) {
        let DeValue::Table(text) = text.get_ref() else { continue };
        if limit.stands.is_none() {
            edits.extend(of_limit(text, limit, proposal, date)?);
        }
    }
    edits.sort_by_key(|(range, _)| std::cmp::Reverse(range.start));
    let mut text = base.to_owned();
    for (range, new) in edits {
        text.replace_range(range, &new);
    }
    Ok(head(proposal, date) + &text)
}

fn span(table: &DeTable<'_>, key: &str) -> Result<Range<usize>, OtherText> {
    table.get(key).map(Spanned::span).ok_or_else(|| OtherText(format!("`{key}` is missing")))
}

fn of_limit(
    text: &DeTable<'_>,
    limit: &ProposedLimit,
    proposal: &Proposal,
    date: &str,
) -> Result<Vec<Edit>, OtherText> {
    let mut edits = vec![(span(text, "source")?, quoted(&source(limit, proposal, date)))];
    for (key, value) in [("min", limit.min), ("max", limit.max)] {
        if let Some(value) = value {
            edits.push((span(text, key)?, number(value)));
        }
    }
    Ok(edits)
}

/// Where a proposed limit comes from.
fn source(limit: &ProposedLimit, proposal: &Proposal, date: &str) -> String {
    let parts = limit.groups.iter().map(|g| g.parts).min().unwrap_or(0);
    let sides = if limit.min.is_some() && limit.max.is_some() { "two-sided" } else { "one-sided" };
    let doubt = if limit.is_doubtful() { "; the values look normal only doubtfully" } else { "" };
    let simulated = if proposal.simulated { "SIMULATED " } else { "" };
    format!(
        "{sides} normal tolerance bound, coverage {}, confidence {}, of {parts} good {simulated}parts, {date}{doubt}; records {}",
        proposal.claim.coverage,
        proposal.claim.confidence,
        records(proposal)
    )
}

fn records(proposal: &Proposal) -> String {
    let names: Vec<String> = proposal.parts.iter().map(|p| plain(&p.record, LABEL)).collect();
    match names.len().saturating_sub(NAMED) {
        0 => names.join(", "),
        more => format!("{} and {more} more, named at the head of this sheet", names[..NAMED].join(", ")),
    }
}

/// Comments before everything else.
fn head(proposal: &Proposal, date: &str) -> String {
    let mut head = format!(
        "# Limits proposed from good parts by `trackpair population limits` on {date}. Look at each before you judge by it.\n\
         # From the sheet {}; records:\n",
        plain(&proposal.sheet, LABEL)
    );
    for part in &proposal.parts {
        let _ = writeln!(head, "#   {}", plain(&part.record, LABEL));
    }
    for note in &proposal.notes {
        let _ = writeln!(head, "# {note}");
    }
    let standing = proposal.limits.iter().filter_map(|l| Some((l, l.stands.as_ref()?)));
    for (limit, why) in standing {
        let _ = writeln!(head, "# Left as it was: {}: {why}", limit.figure);
    }
    head + "\n"
}

fn quoted(text: &str) -> String {
    toml::Value::String(text.to_owned()).to_string()
}

/// A number that TOML reads as a float.
fn number(value: f64) -> String {
    let text = (value + 0.0).to_string();
    if text.contains('.') { text } else { text + ".0" }
}
