//! A known part over time in words: what moves, what does not. It works nothing out.

use super::compare::named;
use super::document::Document;
use super::format;
use super::text::{LABEL, plain};
use super::words::{self, Lines};
use crate::gauge::chart::Rule;
use crate::gauge::documents::KnownDocument;
use crate::gauge::watch::{RUN_LENGTH, State, Watched};

/// Heights of a line of bars.
const BARS: [char; 8] = ['▁', '▂', '▃', '▄', '▅', '▆', '▇', '█'];
/// Newest sweeps that are drawn.
const DRAWN: usize = 24;

/// Headings of the figures, the worst first.
const GROUPS: [&str; 4] = [
    "Verdicts near the limit are wrong",
    "Moves: mend it before verdicts are wrong",
    "Scatters by as much as the guard band: no chart keeps such verdicts right",
    "Steady",
];

/// Under which of the headings a figure stands.
const fn group_of(f: &Watched) -> usize {
    match (f.state, f.scatters) {
        (State::Misjudges, _) => 0,
        (State::Moves, _) => 1,
        (State::Steady, true) => 2,
        (State::Steady, false) => 3,
    }
}

/// The known part's charts; with `details` every value.
pub fn check_part(document: &KnownDocument, lines: Lines, details: bool) -> Document {
    let mut page = Document::comparison(
        format!("Check part: {}", document.state.name()),
        lead(document),
        document.simulated,
    );
    let later = document.sweeps.len() > document.first;
    for (group, title) in GROUPS.into_iter().enumerate() {
        let columns = ["figure", "first sweeps", "offset now", "of guard band", "newest"];
        // Before the first sweep after the first ones there is nothing to hold against them.
        let shown = if later { columns.len() } else { 2 };
        let row = |f: &Watched| row(f, lines)[..shown].to_vec();
        page.table(
            title,
            &columns[..shown],
            document.figures.iter().filter(|f| group_of(f) == group).map(row),
            group < 2,
        );
    }
    page.list("What to do", advice(document, lines));
    if details {
        for f in &document.figures {
            let heads = ["swept", "value", "moving range", "average", "beyond"];
            page.table(chart_title(f, lines), heads, chart(f, document), false);
        }
    }
    page.list("Note", notes(document, lines));
    page.list(
        "Not charted",
        document.left_out.iter().map(|l| format!("{}: {}", named(&l.quantity, lines), l.why)),
    );
    page.list("How to read it", how_to_read(document, later, details));
    page
}

fn lead(document: &KnownDocument) -> String {
    let (first, all) = (document.first, document.sweeps.len());
    let label = plain(&document.part, LABEL);
    let part =
        if label.is_empty() { "The known part".to_owned() } else { format!("The known part \"{label}\"") };
    if all <= first {
        return format!(
            "{part} is registered by {first} sweeps. Sweep it daily: `trackpair check-part sweep`."
        );
    }
    let count = |state| document.figures.iter().filter(|f| f.state == state).count();
    format!(
        "{part}, {} after {first} first ones: {} figures steady, {} move, {} misjudge; the newest of {}.",
        if all - first == 1 { "1 sweep".to_owned() } else { format!("{} sweeps", all - first) },
        count(State::Steady),
        count(State::Moves),
        count(State::Misjudges),
        document.sweeps.last().map(|d| words::time(d)).unwrap_or_default()
    )
}

fn row(f: &Watched, lines: Lines) -> Vec<String> {
    let base = &f.chart.baseline;
    let sign = if f.offset > 0.0 { "+" } else { "" };
    vec![
        named(&f.quantity, lines),
        format::with_unit(&format::rounded(base.mean, 2.0 * base.standard_deviation).0, f.quantity.unit),
        format!("{sign}{}", format::significant(f.offset, 2)),
        f.used_percent
            .map_or_else(|| "not stated".to_owned(), |p| format!("{} %", format::fixed(p.abs(), 0))),
        bars(f),
    ]
}

/// The newest values between the limits of individuals.
fn bars(f: &Watched) -> String {
    let [low, high] = f.chart.individuals;
    let points = &f.chart.points;
    let bar = |value: f64| {
        let at = (value - low) / (high - low);
        let at = if at.is_finite() { at } else { 0.5 };
        BARS[((at * BARS.len() as f64).max(0.0) as usize).min(BARS.len() - 1)]
    };
    points[points.len().saturating_sub(DRAWN)..].iter().map(|p| bar(p.value)).collect()
}

fn advice(document: &KnownDocument, lines: Lines) -> Vec<String> {
    let moved = document.figures.iter().filter(|f| f.state != State::Steady);
    let mut all: Vec<String> = moved.map(|f| sentence(f, lines)).collect();
    match document.state {
        State::Steady => {}
        State::Moves => all.push(
            "mount the known part again and sweep it once more; if it stays so, check the rig's calibration and leads before parts near their limits are judged"
                .to_owned(),
        ),
        State::Misjudges => all.push(
            "judge no part near these limits until the rig is mended and calibrated; parts that were judged since the last steady sweep and lay near a limit \
             are to be measured again"
                .to_owned(),
        ),
    }
    if document.state != State::Steady {
        all.push("to see whether the rig moved or the known part did, sweep a second known part".to_owned());
    }
    all
}

/// What a figure does, in one sentence.
fn sentence(f: &Watched, lines: Lines) -> String {
    let name = named(&f.quantity, lines);
    let offset = format::with_unit(&format::significant(f.offset, 2), f.quantity.unit);
    let used = f
        .used_percent
        .map_or_else(String::new, |p| format!(", {} % of the guard band", format::fixed(p.abs(), 0)));
    let rules = f.chart.points.last().map(|p| p.rules.as_slice()).unwrap_or_default();
    let signals = match (rules.contains(&Rule::Individuals), rules.contains(&Rule::Ewma)) {
        (true, true) => "; both charts signal",
        (true, false) => "; the chart of individuals signals",
        (false, true) => "; the chart of averages signals",
        (false, false) => "",
    };
    let turned = if f.turned { "; the known part's verdict has turned round" } else { "" };
    let left = match f.sweeps_left {
        Some(left) if f.state == State::Moves => {
            let sweeps = if left <= 1.0 {
                "1 sweep".to_owned()
            } else {
                format!("{} sweeps", format::fixed(left.ceil(), 0))
            };
            format!("; at this pace the guard band is used up in about {sweeps}")
        }
        _ => String::new(),
    };
    if f.missing_now {
        return format!(
            "{name}: the newest sweep has no value for it, and every first one had: look at its traces in the folder"
        );
    }
    format!("{name}: the average is off by {offset}{used}{signals}{turned}{left}")
}

/// A number of a chart, to the digits of its scatter.
fn number(f: &Watched, v: f64) -> String {
    format::rounded(v, 0.2 * f.chart.baseline.standard_deviation).0
}

fn chart_title(f: &Watched, lines: Lines) -> String {
    let limits = |[low, high]: [f64; 2]| format!("{} to {}", number(f, low), number(f, high));
    format!(
        "{}, {}: individuals {}, average {}, moving range up to {}",
        named(&f.quantity, lines),
        format::unit(f.quantity.unit),
        limits(f.chart.individuals),
        limits(f.chart.ewma),
        number(f, f.chart.baseline.moving_range_limit())
    )
}

fn chart(f: &Watched, document: &KnownDocument) -> Vec<Vec<String>> {
    let number = |v: f64| number(f, v);
    let later = f.sweeps.iter().skip(f.chart.baseline.sweeps);
    let dates = later.filter_map(|k| document.sweeps.get(*k));
    let row = |(point, date): (&crate::gauge::chart::Point, &String)| {
        let rules: Vec<&str> = point
            .rules
            .iter()
            .map(|r| match r {
                Rule::Individuals => "individuals",
                Rule::Ewma => "average",
            })
            .collect();
        vec![
            words::time(date),
            number(point.value),
            number(point.moving_range),
            number(point.ewma),
            rules.join(", "),
        ]
    };
    f.chart.points.iter().zip(dates).map(row).collect()
}

fn notes(document: &KnownDocument, lines: Lines) -> Vec<String> {
    let mut notes = Vec::new();
    let names = |of: &dyn Fn(&Watched) -> bool| {
        document
            .figures
            .iter()
            .filter(|f| of(f))
            .map(|f| named(&f.quantity, lines))
            .collect::<Vec<_>>()
            .join("; ")
    };
    let scatters = names(&|f| f.scatters);
    if !scatters.is_empty() {
        notes.push(format!(
            "two standard deviations of the first sweeps are more than the guard band ({scatters}): the stated uncertainty is too small there; `trackpair gauge` \
             shows where the scatter comes from"
        ));
    }
    let harmless =
        names(&|f| f.state == State::Steady && f.chart.points.last().is_some_and(|p| !p.rules.is_empty()));
    if !harmless.is_empty() {
        notes.push(format!("has moved, by too little for any verdict: {harmless}"));
    }
    if document.rigs.len() > 1 {
        notes.push(format!(
            "the sweeps came from several rigs ({}): register the known part on each",
            document.rigs.join(", ")
        ));
    }
    if document.analyses.len() > 1 {
        notes.push("the sweeps were worked out by several versions of the analysis: a step may come from that; register the known part anew".to_owned());
    }
    notes
}

fn how_to_read(document: &KnownDocument, later: bool, details: bool) -> Vec<String> {
    let mut notes = vec![
        "guard band: what a verdict keeps from the limit, 1.65 stated standard uncertainties; an offset of all of it makes half of the verdicts at the limit wrong"
            .to_owned(),
        format!(
            "steady: no chart signals, or the offset is less than 25 % of the band. moves: a chart signals and the offset is 25 % or more, or the average is off by half of it. misjudges: the \
             whole band, or the known part's own verdict turned round. All charts together signal without a reason once in {RUN_LENGTH} sweeps or more rarely"
        ),
    ];
    if later {
        notes.push(format!(
            "newest: the last {DRAWN} sweeps, from the lower limit of individuals to the upper"
        ));
    }
    if document.first < 20 {
        notes.push(format!(
            "with {} first sweeps, centre and scatter are uncertain and the limits wide; 20 are better",
            document.first
        ));
    }
    if !details && later {
        notes.push("--details: every value with both charts".to_owned());
    }
    notes
}
