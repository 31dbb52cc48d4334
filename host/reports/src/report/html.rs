//! The report as one HTML file that needs nothing else: style and pictures inside, no script, nothing loaded.
//! Words come from [`super::people`] and [`super::provenance`], pictures from [`super::plots`]; the layout is in `templates/`.

use super::ReportInput;
use super::body_plots::{BeforeAfter, comparisons};
use super::contact::ContactWords;
use super::letterhead::Letterhead;
use super::people::People;
use super::plots::{Plots, plots};
use super::provenance::{Provenance, Sealing};
use super::rows::Named;
use super::soak::SoakWords;
use super::words;
use crate::outcome::empty_slot;
use askama::Template;

/// What the template shows.
#[derive(Template)]
#[template(path = "report.html")]
struct Page<'a> {
    people: &'a People,
    plots: Plots,
    undecided: Vec<Named>,
    simulated: bool,
    readiness: bool,
    from: Provenance,
    cautions: Vec<String>,
    body: bool,
    comparisons: Vec<BeforeAfter>,
    soak: Option<SoakWords>,
    contact: Option<ContactWords>,
    shop: Option<Letterhead>,
    sealing: Option<Sealing>,
    slot: Option<String>,
}

/// The report as HTML. It is also well-formed XML, so that any such tool can read it.
pub fn html(input: &ReportInput<'_>) -> String {
    let people = People::of(input.outcome);
    let outcome = input.outcome;
    let page = Page {
        plots: plots(input, &people),
        undecided: people.undecided(),
        simulated: outcome.simulated,
        readiness: outcome.scope == "readiness",
        from: Provenance::of(input, &people),
        cautions: words::cautions(outcome),
        body: words::has_motor(&outcome.part.kind),
        comparisons: comparisons(input),
        soak: SoakWords::of(outcome),
        contact: ContactWords::of(outcome),
        shop: input.shop.and_then(Letterhead::of),
        sealing: input.stamp.map(Sealing::of),
        slot: input.stamp.map(|_| empty_slot()),
        people: &people,
    };
    page.render().expect("writing to a string cannot fail")
}
