//! Where a part lies among its kind, in words.

use super::rows::{named, number, records};
use crate::compare::normality::Shape;
use crate::compare::standing::{Place, Standing};
use crate::outcome::Outcome;
use crate::report::document::Document;
use crate::report::format;
use crate::report::words::Lines;

/// A part among others. `part` is its outcome.
pub fn standing(document: &Standing, part: &Outcome) -> Document {
    let lines = Lines::of(part);
    let unusual = document.figures.iter().filter(|f| f.unusual).count();
    let mut page = Document::comparison(
        "Among its kind",
        format!(
            "{unusual} of {} figures are unusual among {} records; the part's verdict is {}.",
            document.family.questions,
            document.population.len(),
            document.part.verdict.name()
        ),
        document.part.simulated || document.population.iter().any(|s| s.simulated),
    );
    records(&mut page, std::slice::from_ref(&document.part));
    for (title, strong) in [("Unusual for its kind", true), ("As others are", false)] {
        page.table(
            title,
            ["figure", "unit", "this part", "mean", "sd", "95 % of others", "lower than it", "others"],
            document.figures.iter().filter(|f| f.unusual == strong).map(|f| row(f, lines)),
            strong,
        );
    }
    // A defect in one place need not show in any figure of the table.
    page.list("Findings of this part", part.findings.iter().map(|f| f.text.clone()));
    let left = document.not_compared.iter().map(|n| format!("{}: {}", named(&n.quantity, lines), n.why));
    page.list("Not compared", left);
    page.list("Left out", document.left_out.iter().map(|l| format!("{}: {}", l.record, l.why)));
    page.list("How to read it", document.notes.iter().cloned());
    page
}

fn row(place: &Place, lines: Lines) -> Vec<String> {
    let sd = place.standard_deviation;
    // The interval is reported to the digits of the spread.
    let at = |value: f64| format::rounded(value, sd).0;
    let doubt = match place.shape {
        Shape::Refuted => ", not normal",
        Shape::Doubtful => ", hardly normal",
        Shape::Plausible | Shape::Unknown => "",
    };
    vec![
        named(&place.quantity, lines),
        format::unit(place.quantity.unit).to_owned(),
        number(place.part.value, place.part.expanded_uncertainty),
        at(place.mean),
        format::significant(sd, 2),
        format!("{} to {}", at(place.low), at(place.high)),
        format::percent(place.below),
        format!("{}{doubt}", place.values.len()),
    ]
}
