//! What a sheet has a limit or a rule for and what was not tested. A limit with `required = false` asks nothing of a recording that
//! does not carry its figure: the analysis says what it lacks, and the other limits decide.

use super::words::named;
use super::{Scope, Untested};
use crate::analysis::grip::DIRECTION_OF_TRAVEL;
use crate::analysis::{NotTestable, PartAnalysis};
use crate::quantity::{Channel, Condition, FigureName, FindingKind, PartKind, ProcedureKind};
use crate::sheet::PartSheet;

/// Limits that no figure meets, and deciding kinds of finding that could not be looked for.
pub(super) fn untested(analysis: &PartAnalysis, sheet: &PartSheet, scope: Scope) -> Vec<Untested> {
    let mut list: Vec<Untested> = Vec::new();
    let needed = |figure: &FigureName| !said_instead(*figure, analysis, sheet);
    for name in FigureName::ALL.into_iter().filter(|f| scope.judges(*f)).filter(needed) {
        let channels = if name.per_channel() {
            &[Some(Channel::Rising), Some(Channel::Falling)][..]
        } else {
            &[None][..]
        };
        for channel in channels {
            list.extend(unmet(analysis, sheet, (name, *channel), scope));
        }
        if sheet.kind == PartKind::Body {
            list.extend(partly_unmet(analysis, sheet, name));
        }
    }
    for kind in FindingKind::ALL.into_iter().filter(|k| scope.looks_for(*k)) {
        let decides = sheet.findings.iter().any(|r| r.kind == kind && r.decides);
        if decides
            && !kind.row().shows_in_a_figure
            && let Some(missing) =
                analysis.not_testable.iter().find(|n| words(&n.what).any(|w| w == kind.name()))
        {
            let (what, title) = (kind.name().to_owned(), kind.title().to_owned());
            list.push(Untested { what, title, why: missing.why.clone() });
        }
    }
    if scope != Scope::Part {
        return list;
    }
    let held_back = analysis.recording.iter().filter(|l| l.kind.holds_back());
    list.extend(held_back.map(|l| Untested {
        what: l.kind.name().to_owned(),
        title: "what the recording lacks".to_owned(),
        why: l.text.clone(),
    }));
    // Which end is closed: every limit on an end's voltage hangs on it.
    let direction = analysis.not_testable.iter().find(|n| n.what == DIRECTION_OF_TRAVEL);
    list.extend(direction.map(|n| Untested {
        what: n.what.clone(),
        title: n.what.clone(),
        why: n.why.clone(),
    }));
    list
}

/// What a grip that was not let go lacks: it is stated with the verdict (`Judgement::not_tried`), and keeps it from being `within` only by a sheet that
/// requires it. Of one that was let go the place decides; time and torque are reported where they can be had.
fn said_instead(figure: FigureName, analysis: &PartAnalysis, sheet: &PartSheet) -> bool {
    let deciding = figure == FigureName::ReturnRest && sheet.self_closing_required;
    analysis.kind == PartKind::Grip && figure.is_of_a_release() && !deciding
}

/// How a sentence on what nothing looked at begins.
pub const NOT_LOOKED_AT: &str = "not looked at";

/// What nothing that was done looks at, a sentence each: said beside the verdict, which does not speak of it.
pub(super) fn not_looked_at(analysis: &PartAnalysis, scope: Scope) -> Vec<String> {
    let says = |n: &NotTestable| match scope {
        Scope::Part => true,
        Scope::Procedure(ProcedureKind::ToothMap) => n.what.starts_with("teeth"),
        Scope::Leads => !n.what.starts_with("teeth"),
        _ => false,
    };
    let told = analysis.not_looked_at.iter().filter(|n| says(n));
    told.map(|n| format!("{NOT_LOOKED_AT}: {}: {}", n.what.replace('_', " "), n.why)).collect()
}

/// The limits on a figure of a line that no measured value meets: one entry for all where there is no value at all, else one
/// for each condition that was not met.
fn unmet(
    analysis: &PartAnalysis,
    sheet: &PartSheet,
    (name, channel): (FigureName, Option<Channel>),
    scope: Scope,
) -> Vec<Untested> {
    let values: Vec<_> = analysis.figures.iter().filter(|f| f.name == name && f.channel == channel).collect();
    let limits = sheet
        .limits
        .iter()
        .filter(|l| l.required && l.figure == name && (l.channel.is_none() || l.channel == channel));
    if values.is_empty() && name.needs_a_hand() && scope == Scope::Part {
        return Vec::new();
    }
    let mut conditions: Vec<Condition> = limits
        .map(|l| l.condition)
        .filter(|rule| !values.iter().any(|f| rule.covers(&f.condition)))
        .collect();
    if values.is_empty() && !conditions.is_empty() {
        conditions = vec![Condition::NONE];
    }
    let entry = |condition: Condition| {
        let why = why_not(analysis, name.name(), channel);
        // One procedure alone can't have what it did not even look for.
        if why.is_none() && matches!(scope, Scope::Procedure(_)) {
            return None;
        }
        let mut what = channel.map_or(name.name().to_owned(), |c| format!("{} {c}", name.name()));
        if !condition.is_none() {
            what = format!("{what} ({})", condition.words());
        }
        let title = named(name, channel, &condition, sheet.topology);
        Some(Untested { what, title, why: why.unwrap_or("it was not measured").to_owned() })
    };
    conditions.into_iter().filter_map(entry).collect()
}

/// Values of a limited figure that the analysis names as not to be had, where it has others: a quantile of one range, a
/// return from one opening. A value of the whole needs none of its parts.
fn partly_unmet(analysis: &PartAnalysis, sheet: &PartSheet, name: FigureName) -> Vec<Untested> {
    let mut conditions = analysis.figures.iter().filter(|f| f.name == name).map(|f| f.condition).peekable();
    let in_parts = conditions.peek().is_some() && conditions.all(|c| !c.is_none());
    if !in_parts || sheet.limits.iter().all(|l| !l.required || l.figure != name) {
        return Vec::new();
    }
    let named = analysis.not_testable.iter().filter(|n| words(&n.what).any(|w| w == name.name()));
    let entry = |n: &NotTestable| Untested {
        what: n.what.clone(),
        title: n.what.replacen(name.name(), name.title(), 1),
        why: n.why.clone(),
    };
    named.map(entry).collect()
}

/// The machine names in what could not be had.
fn words(what: &str) -> impl Iterator<Item = &str> {
    what.split(|c: char| !c.is_ascii_alphanumeric() && c != '_')
}

/// Why the analysis could not have a figure. The entry that names it and its line goes first, then one that
/// names it, then one for its family (`linearity`, `dead bands`), then one for all of the line.
fn why_not<'a>(analysis: &'a PartAnalysis, name: &str, channel: Option<Channel>) -> Option<&'a str> {
    let has = |what: &str, word: &str| words(what).any(|w| w == word);
    let family = name.split('_').next().unwrap_or(name);
    let of_line = |what: &str| channel.is_none_or(|c| has(what, c.name()));
    let tests: [&dyn Fn(&str) -> bool; 4] = [
        &|what| has(what, name) && of_line(what),
        &|what| has(what, name),
        &|what| has(what, family) && of_line(what),
        &|what| channel.is_some() && of_line(what) && (has(what, "all") || has(what, "curves")),
    ];
    tests
        .into_iter()
        .find_map(|fits| analysis.not_testable.iter().find(|n| fits(&n.what)))
        .map(|n| n.why.as_str())
}
