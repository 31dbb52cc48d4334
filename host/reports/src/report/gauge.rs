//! A gauge study in words: the labels of its plan, and what comes of it. It works nothing out.

use super::compare::named;
use super::document::Document;
use super::format;
use super::words::{self, Lines};
use crate::gauge::anova::{Anova, Mountings, Source};
use crate::gauge::documents::StudyDocument;
use crate::gauge::pivots::Interval;
use crate::gauge::plan::Plan;
use crate::gauge::study::{
    ENOUGH_CATEGORIES, FigureStudy, Fitness, GOOD_PERCENT, Model, Share, Spread, USABLE_PERCENT,
};
use crate::quantity::Unit;

/// Columns of what is stated against what was seen.
const CLAIMS: [&str; 5] = ["figure", "stated u", "repeats/u", "rig/u", "95 %"];

/// What is to be stuck on the parts, and in which order they come.
pub fn labels(plan: &Plan, study: &str) -> Document {
    let mut page = Document::comparison(
        "Gauge study",
        format!(
            "{} parts, {} mountings of each, {} sweeps of each mounting: {} mountings, {} sweeps.",
            plan.parts.len(),
            plan.mountings,
            plan.repeats,
            plan.order.len(),
            plan.order.len() * plan.repeats
        ),
        false,
    );
    page.table(
        "Labels",
        ["label", "part"],
        plan.parts.iter().map(|p| vec![p.code.clone(), p.name.clone()]),
        false,
    );
    page.list(
        "What to do",
        [
            "Have someone else stick the labels on, and mount by the labels alone: whoever mounts must not know which part it is.".to_owned(),
            match plan.mountings_are {
                Mountings::Nested => "Before each mounting the part is taken off, even if it is the same one.".to_owned(),
                Mountings::Crossed => {
                    "What the parts share (person, adapter, day) changes from round to round, and only then.".to_owned()
                }
            },
            format!("trackpair gauge run {study} --rig ADDRESS tells what to mount next, sweeps, and can be interrupted."),
            format!(
                "Each mounting plugs a connector in once more: {} matings of each part and {} of the rig's lead, which `trackpair matings` does not count. \
                 Take parts of your own, none that is to be sold.",
                plan.mountings,
                plan.order.len()
            ),
            format!("Order and labels come from seed {}.", plan.seed),
        ],
    );
    page
}

/// What comes of a study; with `details` also its tables.
pub fn result(document: &StudyDocument, lines: Lines, details: bool) -> Document {
    let figures = &document.study.figures;
    let count = |fitness| figures.iter().filter(|f| f.fitness == fitness).count();
    let exceeded: Vec<&FigureStudy> =
        figures.iter().filter(|f| f.claim.is_some_and(|c| c.exceeded)).collect();
    let mut page =
        Document::comparison("Gauge study", lead(count, exceeded.len(), figures.len()), document.simulated);
    for (fitness, title) in [
        (Some(Fitness::Poor), "Poor: the rig takes more than 30 % of the tolerance"),
        (Some(Fitness::Usable), "Usable: 10 to 30 % of the tolerance"),
        (Some(Fitness::Good), "Good: up to 10 % of the tolerance"),
        (None, "Not graded: the sheet has no limit, or the parts' mean lies beyond it"),
    ] {
        let rows = figures.iter().filter(|f| f.fitness == fitness).map(|f| row(f, lines));
        let columns = ["figure", "rig's scatter", "of tolerance", "of all", "ndc", "rig/u"];
        page.table(title, columns, rows, fitness == Some(Fitness::Poor));
    }
    page.table(
        "Scatters by more than its stated uncertainty",
        CLAIMS,
        exceeded.iter().filter_map(|f| claim(f, lines)),
        true,
    );
    if details {
        in_detail(&mut page, figures, lines);
    }
    page.list(
        "Not in the study",
        document.study.left_out.iter().map(|l| format!("{}: {}", named(&l.quantity, lines), l.why)),
    );
    page.list("Note", notes(document));
    page.list("How to read it", how_to_read(document, details));
    page
}

fn lead(count: impl Fn(Option<Fitness>) -> usize, exceeded: usize, all: usize) -> String {
    let [good, usable, poor] = [Fitness::Good, Fitness::Usable, Fitness::Poor].map(|f| count(Some(f)));
    let graded = good + usable + poor;
    let claims = match exceeded {
        0 => "No figure is shown to scatter by more than the uncertainty that is stated for it.".to_owned(),
        n => {
            format!("{n} of {all} are shown to scatter by more than the uncertainty that is stated for them.")
        }
    };
    format!(
        "Of {graded} figures with a limit the rig is good for {good}, usable for {usable}, poor for {poor}. {claims}"
    )
}

fn row(f: &FigureStudy, lines: Lines) -> Vec<String> {
    let share =
        |s: Option<Share>| s.map_or_else(|| "no limit".to_owned(), |s| format!("{} %", percent(s.percent)));
    vec![
        named(&f.quantity, lines),
        format::with_unit(&format::significant(f.gauge.standard_deviation, 2), f.quantity.unit),
        share(f.of_tolerance),
        share(Some(f.of_total)),
        categories(f.categories),
        f.claim.map_or_else(String::new, |c| format::significant(c.gauge_ratio, 2)),
    ]
}

fn categories(count: u32) -> String {
    if count > 999 { "over 999".to_owned() } else { count.to_string() }
}

/// Per cent with as many digits as they deserve.
fn percent(value: f64) -> String {
    if value >= 100.0 { format::fixed(value, 0) } else { format::significant(value, 2) }
}

fn claim(f: &FigureStudy, lines: Lines) -> Option<Vec<String>> {
    let c = f.claim?;
    Some(vec![
        named(&f.quantity, lines),
        format::with_unit(&format::significant(c.stated, 2), f.quantity.unit),
        format::significant(c.repeatability_ratio, 2),
        format::significant(c.gauge_ratio, 2),
        interval(c.interval, |v| format::significant(v, 2)),
    ])
}

fn interval(of: Interval, number: impl Fn(f64) -> String) -> String {
    let high = of.high.map_or_else(|| "no bound".to_owned(), &number);
    format!("{} to {high}", number(of.low))
}

fn in_detail(page: &mut Document, figures: &[FigureStudy], lines: Lines) {
    page.list("Figure by figure", figures.iter().map(|f| sentence(f, lines)));
    let spread = |s: Spread| {
        let number = |v: f64| format::significant(v, 2);
        format!("{} ({})", number(s.standard_deviation), interval(s.interval, number))
    };
    let row = |f: &FigureStudy| {
        let name = format!("{}, {}", named(&f.quantity, lines), format::unit(f.quantity.unit));
        vec![name, spread(f.repeatability), spread(f.mounting), spread(f.gauge), spread(f.part)]
    };
    page.table(
        "Standard deviations with their 95 % intervals",
        ["figure", "repeats of one mounting", "mountings", "rig (both)", "parts"],
        figures.iter().map(row),
        false,
    );
    page.table(
        "The stated uncertainty against what was seen",
        CLAIMS,
        figures.iter().filter_map(|f| claim(f, lines)),
        false,
    );
    for f in figures {
        for (table, title) in [(Some(&f.full), "full model"), (f.pooled.as_ref(), "pooled")] {
            let Some(table) = table else { continue };
            let title = format!("{}, {}: {title}", named(&f.quantity, lines), unit(f.quantity.unit));
            let heads = ["source", "df", "sum of squares", "mean square", "F", "p"];
            page.table(title, heads, variance(table), false);
        }
    }
}

fn unit(of: Unit) -> &'static str {
    match format::unit(of) {
        "" => "count",
        unit => unit,
    }
}

fn variance(table: &Anova) -> Vec<Vec<String>> {
    let number = |v: Option<f64>| v.map_or_else(String::new, |v| format!("{v:.4e}").replace('-', "−"));
    let rows = table.rows.iter().map(|r| {
        let source = match (r.source, table.mountings) {
            (Source::Part, _) => "parts",
            (Source::Mounting, Mountings::Nested) => "mountings of a part",
            (Source::Mounting, Mountings::Crossed) => "rounds",
            (Source::Interaction, _) => "parts × rounds",
            (Source::Repeatability, _) => "repeats",
            (Source::Total, _) => "total",
        };
        let f = r.f.map_or_else(String::new, |f| format::significant(f, 4));
        let p = r
            .p
            .map_or_else(String::new, |p| if p < 1e-4 { "< 0.0001".to_owned() } else { format!("{p:.4}") });
        vec![source.to_owned(), r.df.to_string(), number(Some(r.ss)), number(r.ms), f, p]
    });
    rows.collect()
}

/// A figure in one sentence.
fn sentence(f: &FigureStudy, lines: Lines) -> String {
    let with_unit = |v: f64| format::with_unit(&format::significant(v, 2), f.quantity.unit);
    let number = |v: f64| format::significant(v, 2);
    let scatter = format!(
        "{}: the rig scatters by {} (one standard deviation; 95 %: {})",
        named(&f.quantity, lines),
        with_unit(f.gauge.standard_deviation),
        interval(f.gauge.interval, number)
    );
    let mounting = 100.0 * (f.mounting.standard_deviation / f.gauge.standard_deviation).powi(2);
    let from = format!(
        ", {} % of its variance from mounting",
        format::fixed(if mounting.is_finite() { mounting } else { 0.0 }, 0)
    );
    let tolerance = f.of_tolerance.map_or_else(String::new, |s| {
        format!("; {} % of the tolerance ({})", percent(s.percent), interval(s.interval, percent))
    });
    let fitness = match f.fitness {
        Some(Fitness::Good) => ": good",
        Some(Fitness::Usable) => ": usable",
        Some(Fitness::Poor) => ": poor",
        None => "",
    };
    let among = match f.categories {
        n if n >= ENOUGH_CATEGORIES => format!("it tells {} groups of these parts apart", categories(n)),
        1 => "it can't tell these parts apart".to_owned(),
        n => format!("it tells only {n} groups of these parts apart"),
    };
    let claim = f.claim.filter(|c| c.exceeded).map_or_else(String::new, |c| {
        format!(
            " The stated standard uncertainty, {}, is too small: the scatter is {} times it.",
            with_unit(c.stated),
            number(c.gauge_ratio)
        )
    });
    let model = if f.model == Model::Pooled { " Pooled model." } else { "" };
    format!("{scatter}{from}{tolerance}{fitness}; {among}.{claim}{model}")
}

fn notes(document: &StudyDocument) -> Vec<String> {
    let mut notes = Vec::new();
    if document.rounds < document.plan.mountings {
        notes.push(format!(
            "only {} of {} rounds are whole; the others are left out",
            document.rounds, document.plan.mountings
        ));
    }
    if document.rigs.len() > 1 {
        notes.push(format!(
            "the sweeps came from several rigs ({}): what they differ by counts as mounting",
            document.rigs.join(", ")
        ));
    }
    if document.sheets.len() > 1 {
        notes.push(format!(
            "the sweeps were judged by several sheets ({}): give --sheet when planning",
            document.sheets.join(", ")
        ));
    }
    if document.analyses.len() > 1 {
        notes.push("the sweeps were worked out by several versions of the analysis: what these differ by counts as scatter".to_owned());
    }
    let moved: Vec<String> = document
        .study
        .figures
        .iter()
        .filter(|f| document.plan.mountings_are == Mountings::Nested && f.rounds_p.is_some_and(|p| p <= 0.05))
        .map(|f| words::figure(&f.quantity.figure))
        .collect();
    if !moved.is_empty() {
        notes.push(format!(
            "something changed from round to round for all parts ({}): the rig moved, or rounds share something; it counts as mounting",
            moved.join(", ")
        ));
    }
    notes
}

fn how_to_read(document: &StudyDocument, details: bool) -> Vec<String> {
    let mut notes = vec![
        format!(
            "rig's scatter (GRR): one standard deviation of repeats and mountings together; up to {GOOD_PERCENT} % of the tolerance is good, up to \
             {USABLE_PERCENT} % usable (AIAG, Measurement Systems Analysis)"
        ),
        "of tolerance: 6 scatters against a limit with two ends, 3 against the distance from the parts' mean to a single one".to_owned(),
        "of all (%GRR): the rig's share of all scatter. It and ndc, the groups of parts that can be told apart, hang on how much these parts differ; 5 groups are enough to follow \
         parts by"
            .to_owned(),
        "rig/u: the rig's scatter over u, the standard uncertainty that verdicts rest on. u also covers the calibration, which all these sweeps share: far below 1 is no fault, shown to be \
         above 1 is one"
            .to_owned(),
        match document.plan.mountings_are {
            Mountings::Nested => "model: mountings within parts, each part mounted by itself".to_owned(),
            Mountings::Crossed => "model: parts × rounds with interaction, the rounds shared by all parts".to_owned(),
        } + "; where the last source before the repeats is not significant at 25 % it is pooled with them; intervals are always the full model's",
    ];
    if !details {
        notes.push("--details: every figure in a sentence, intervals, tables of variance".to_owned());
    }
    notes
}
