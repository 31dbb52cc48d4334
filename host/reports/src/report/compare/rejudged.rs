//! What judging records again made of them, in words.

use super::rows::named;
use crate::compare::rejudged::{Difference, FigureVerdict, Rejudged};
use crate::quantity::{FindingKind, Written};
use crate::report::document::Document;
use crate::report::text::{LABEL, plain};
use crate::report::words::Lines;
use crate::verdict::Verdict;

/// Records that are listed one by one.
const LISTED: usize = 200;

/// The summary.
pub fn rejudged(summary: &Rejudged) -> Document {
    let differing: Vec<&Difference> = summary.judged.iter().filter(|d| d.differs()).collect();
    let kept = if summary.dry_run { "nothing was kept" } else { "each has a new outcome beside the old" };
    let mut page = Document::comparison(
        "Judged again",
        format!(
            "{} of {} records were judged again, {} skipped{}; {} differ; {kept}.",
            summary.judged.len(),
            summary.records,
            summary.skipped.len(),
            if summary.stopped { ", stopped before the rest" } else { "" },
            differing.len()
        ),
        false,
    );
    page.table("Verdicts", ["before", "now", "records"], verdicts(&summary.judged), false);
    page.table(
        "Records that differ",
        ["record", "verdict", "sheet", "figures and findings"],
        differing.iter().take(LISTED).map(|d| row(d)),
        true,
    );
    let more = differing.len().saturating_sub(LISTED);
    page.list("More", (more > 0).then(|| format!("{more} further records differ; --json lists them all")));
    page.list("Skipped", summary.skipped.iter().map(|s| format!("{}: {}", s.record, s.why)));
    page
}

/// How many went from which verdict to which.
fn verdicts(judged: &[Difference]) -> Vec<Vec<String>> {
    let all = [None, Some(Verdict::Within), Some(Verdict::Undecided), Some(Verdict::Outside)];
    let pairs = all.into_iter().flat_map(|b| all.into_iter().flatten().map(move |a| (b, a)));
    let row = |(before, after): (Option<Verdict>, Verdict)| {
        let count = judged.iter().filter(|d| (d.before, d.after) == (before, after)).count();
        (count > 0).then(|| vec![word(before).to_owned(), after.name().to_owned(), count.to_string()])
    };
    pairs.filter_map(row).collect()
}

fn word(verdict: Option<Verdict>) -> &'static str {
    verdict.map_or("none", Verdict::name)
}

fn change(before: &str, after: &str) -> String {
    if before == after { after.to_owned() } else { format!("{before} → {after}") }
}

fn row(d: &Difference) -> Vec<String> {
    let figure = |f: &FigureVerdict| {
        let name = named(&f.quantity, Lines::default());
        format!("{name} {}", change(word(f.before), word(f.after)))
    };
    let finding = |kind: &Written<FindingKind>, what: &str| format!("{} {what}", kind.title());
    let said: Vec<String> = d
        .figures
        .iter()
        .map(figure)
        .chain(d.findings_new.iter().map(|k| finding(k, "new")))
        .chain(d.findings_gone.iter().map(|k| finding(k, "gone")))
        .collect();
    let sheet = d.sheet_before.as_deref().unwrap_or("none");
    let verdict = change(word(d.before), d.after.name());
    vec![plain(&d.record, LABEL), verdict, plain(&change(sheet, &d.sheet), LABEL), said.join("; ")]
}
