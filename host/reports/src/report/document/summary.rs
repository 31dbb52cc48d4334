//! A report in brief: what a technician must know who looks at the screen for two seconds. It holds the same words as the report, and fewer.

use super::{Banner, Finding, Mark, Suspect};
use crate::outcome::{Outcome, OutcomeFinding};
use crate::report::ReportInput;
use crate::report::people::People;
use crate::report::text::{LABEL, SENTENCE, capital, plain, signs};
use crate::verdict::{FindingEffect, NOT_LOOKED_AT, Verdict};

/// Most lines of a terminal that a summary takes, where no path is longer than a line.
pub const MOST_LINES: usize = 24;

/// What no bench result shows, whatever was found.
const CAUTION: &str = "A bench result does not clear the vehicle. Cautions: in the report.";

/// A report in brief.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Summary {
    /// That something was simulated: said before the verdict.
    pub simulated: Option<Banner>,
    /// What it comes to.
    pub mark: Mark,
    /// The verdict's word.
    pub word: String,
    /// What it means.
    pub meaning: String,
    /// Names with their points, what weighs most first.
    pub rows: Vec<SummaryRow>,
}

/// A name and what stands under it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SummaryRow {
    /// The name.
    pub name: &'static str,
    /// Its points; those that have no room are counted.
    pub points: Vec<String>,
    /// Lines that it may take.
    pub room: usize,
}

/// The summary of a report.
pub fn summary(input: &ReportInput<'_>) -> Summary {
    let outcome = input.outcome;
    let people = People::of(outcome);
    let simulated = outcome.simulated.then(|| Banner::simulated(""));
    let label = format!("{} · sheet {}", people.label, plain(&outcome.sheet.name, LABEL));
    let row = |name, room, points| SummaryRow { name, points, room };
    let not_done = people.banner.iter().map(|banner| banner.text.clone()).collect();
    let how = if outcome.aborted { "CUT SHORT" } else { "NOT DONE" };
    let rows = [
        row(how, 2, not_done),
        row("Part", 1, vec![label]),
        row("Why", 4, why(outcome, &people)),
        row("Suspect", 2, people.suspects.first().map(|s| s.heading.clone()).into_iter().collect()),
        row("Resale", 1, resale(outcome)),
        row("Not tested", 2, not_tested(&people)),
        row("Warning", 2, warnings(&people)),
        row("Next step", 3, next_step(outcome, &people).into_iter().collect()),
        row("Caution", 1, vec![CAUTION.to_owned()]),
    ];
    Summary {
        simulated,
        mark: Mark::of(people.verdict),
        word: people.headline.to_uppercase(),
        meaning: people.advice.to_owned(),
        rows: rows.into_iter().filter(|row| !row.points.is_empty()).collect(),
    }
}

/// What decides the verdict: what lost contact follows, findings, then figures, then whatever else speaks for it.
fn why(outcome: &Outcome, people: &People) -> Vec<String> {
    let lost = outcome.contact.iter().filter(|contact| !contact.events.is_empty());
    let mut points: Vec<String> =
        lost.map(|contact| capital(&plain(&signs(&contact.why), SENTENCE))).collect();
    let found = |effect| {
        let sure =
            |finding: &Finding| format!("{}: confidence {}", capital(&finding.title()), finding.confidence);
        with_effect(outcome, people, effect).map(move |(_, finding)| sure(finding))
    };
    match outcome.verdict {
        Verdict::Outside => {
            points.extend(found(FindingEffect::Outside));
            points.extend(
                people
                    .figures
                    .iter()
                    .filter(|f| f.verdict == "outside")
                    .map(|f| format!("{}: {}, limit {}", capital(&f.full_name()), f.value, f.limit)),
            );
        }
        Verdict::Undecided => {
            points.extend(found(FindingEffect::Undecided));
            points.extend(people.undecided().iter().map(|n| format!("{} is undecided", capital(&n.name))));
        }
        Verdict::Within => {}
    }
    if points.is_empty() {
        points = reasons(people, &[outcome.verdict.name()]).map(capital).collect();
    }
    if points.is_empty() { people.reasons.iter().map(|r| capital(r)).collect() } else { points }
}

/// Findings that do this to the verdict, as stored and in words; in older outcomes those that decide it.
fn with_effect<'a>(
    outcome: &'a Outcome,
    people: &'a People,
    effect: FindingEffect,
) -> impl Iterator<Item = (&'a OutcomeFinding, &'a Finding)> {
    let of = |stored: &OutcomeFinding| match stored.effect {
        None if stored.decides => Some(FindingEffect::Outside),
        said => said,
    };
    outcome.findings.iter().zip(&people.findings).filter(move |(stored, _)| of(stored) == Some(effect))
}

/// The reasons that begin with one of these words, without it.
fn reasons<'a>(people: &'a People, kinds: &'a [&str]) -> impl Iterator<Item = &'a str> {
    people.reasons.iter().filter_map(move |reason| {
        let (kind, rest) = reason.split_once(": ")?;
        kinds.contains(&kind).then_some(rest)
    })
}

/// The grade that the part bears, if it bears one.
fn resale(outcome: &Outcome) -> Vec<String> {
    let said = |text: &Option<String>| plain(text.as_deref().unwrap_or_default(), LABEL);
    let graded = outcome.grade.iter().filter_map(|grade| Some((grade.name.as_deref()?, &grade.title)));
    graded.map(|(name, title)| format!("{}: {}", plain(name, LABEL), said(title))).collect()
}

/// The names of what was not tested; why stands in the report.
fn not_tested(people: &People) -> Vec<String> {
    let kinds = ["not tested", NOT_LOOKED_AT];
    let reasons = reasons(people, &kinds).map(|reason| reason.split(": ").next().unwrap_or(reason));
    let names = reasons.chain(people.not_testable.iter().map(|n| n.name.as_str()));
    let names: Vec<&str> = names.collect();
    if names.is_empty() { Vec::new() } else { vec![capital(&names.join("; "))] }
}

/// What was wrong with recording, rig or archive; that a sheet was chosen stands with the part.
fn warnings(people: &People) -> Vec<String> {
    let chosen = |warning: &&String| warning.starts_with("no sheet was given:");
    people.warnings.iter().filter(|w| !chosen(w)).map(|warning| capital(warning)).collect()
}

fn next_step(outcome: &Outcome, people: &People) -> Option<String> {
    let of_finding = |effect| {
        with_effect(outcome, people, effect).find_map(|(_, finding)| finding.next_step.map(str::to_owned))
    };
    let check = |suspect: &Suspect| suspect.next_check.clone();
    let of_suspect = || people.suspects.first().map(check).filter(|check| !check.is_empty());
    match (outcome.scope.as_str(), outcome.verdict) {
        ("readiness", Verdict::Within) => Some("Run `trackpair qualify` to judge the part.".to_owned()),
        (_, Verdict::Outside) => of_finding(FindingEffect::Outside).or_else(of_suspect),
        (_, Verdict::Undecided) => {
            let decides = people.undecided().first().map(|n| format!("{}: {}", capital(&n.name), n.text));
            of_finding(FindingEffect::Undecided).or(decides).or_else(of_suspect)
        }
        ("part", Verdict::Within) => Some(
            "Refit it by the maker's service manual. If the fault stays, it is in the wiring, the terminals or the controller."
                .to_owned(),
        ),
        (_, Verdict::Within) => {
            Some("Run `trackpair qualify`: only the whole plan can clear the part.".to_owned())
        }
    }
}

#[cfg(test)]
#[path = "summary_tests.rs"]
mod tests;
