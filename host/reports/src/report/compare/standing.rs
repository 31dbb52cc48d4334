//! Where a part lies among its kind, in words.

use super::view::{Table, View, named, number, records};
use crate::compare::normality::Shape;
use crate::compare::standing::{Place, Standing};
use crate::outcome::Outcome;
use crate::report::format;
use crate::report::plot::Plot;
use crate::report::words::Lines;

/// A document about a part among others as a view. `part` is its outcome.
pub fn standing(document: &Standing, part: &Outcome, plots: Vec<Plot>) -> View {
    let lines = Lines::of(part);
    let unusual = document.figures.iter().filter(|f| f.unusual).count();
    let mut view = View {
        title: "Among its kind".to_owned(),
        lead: format!(
            "{unusual} of {} figures are unusual among {} records; the part's verdict is {}.",
            document.family.questions,
            document.population.len(),
            document.part.verdict.name()
        ),
        simulated: document.part.simulated || document.population.iter().any(|s| s.simulated),
        plots,
        ..View::default()
    };
    view.table(records(std::slice::from_ref(&document.part), 0));
    for (title, strong) in [("Unusual for its kind", true), ("As others are", false)] {
        view.table(Table {
            title: title.to_owned(),
            columns: vec![
                "figure",
                "unit",
                "this part",
                "mean",
                "sd",
                "95 % of others",
                "lower than it",
                "others",
            ],
            rows: document.figures.iter().filter(|f| f.unusual == strong).map(|f| row(f, lines)).collect(),
            strong,
        });
    }
    // A defect in one place need not show in any figure of the table.
    view.list("Findings of this part", part.findings.iter().map(|f| f.text.clone()));
    let left = document.not_compared.iter().map(|n| format!("{}: {}", named(&n.quantity, lines), n.why));
    view.list("Not compared", left);
    view.list("Left out", document.left_out.iter().map(|l| format!("{}: {}", l.record, l.why)));
    view.list("How to read it", document.notes.iter().cloned());
    view
}

fn row(place: &Place, lines: Lines) -> Vec<String> {
    let sd = place.standard_deviation;
    // The interval is told to the digits of the spread.
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
