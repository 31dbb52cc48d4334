//! The report on a part as a document: grip, body, both together, a self-check, a soak, a flexed pigtail.

use super::figures::figures;
use super::table::Mark;
use super::{
    Banner, Block, BriefRows, Column, Document, Fact, Facts, List, Pictures, Row, Suspects, Table, Text,
    Topic, Verdict, about, chapter, columns, part, texts,
};
use crate::outcome::Outcome;
use crate::report::ReportInput;
use crate::report::body_plots::{BeforeAfter, comparisons};
use crate::report::contact::ContactWords;
use crate::report::letterhead::Letterhead;
use crate::report::people::People;
use crate::report::plot::Plot;
use crate::report::plots::plots;
use crate::report::provenance::{Provenance, sealing};
use crate::report::rows::Named;
use crate::report::soak::{DriftRow, SoakWords};
use crate::report::{deciding, soak_plots, suspects, words};

/// Causes that the short form has; all of them stand in the full one.
const BRIEF_SUSPECTS: usize = 3;
/// Lost contacts that the short form has one by one.
const BRIEF_EVENTS: usize = 10;
/// How a table of what blips changed is to be read.
const CHANGED: &str = "Value ± expanded uncertainty (95 %, k = 2). “Changed”: chance alone would do it less than once in a hundred.";

/// The report.
pub fn report(input: &ReportInput<'_>) -> Document {
    let outcome = input.outcome;
    let people = People::of(outcome);
    let from = Provenance::of(input, &people);
    let is_body = words::has_motor(&outcome.part.kind);
    let cautions = || Block::Cautions(texts(words::cautions(outcome)));
    let mut blocks = Vec::new();
    blocks.extend(input.shop.and_then(Letterhead::of).map(Block::Letterhead));
    blocks.extend(people.banner.clone().map(Block::Banner));
    blocks.push(head(&people, &from));
    let mut drawn = plots(input, &people);
    let decides = deciding::take(&mut drawn, outcome).into_iter().collect();
    blocks.push(chapter(deciding::heading(outcome.verdict), pictures(decides, false)));
    // Whoever works on a body has fingers near a plate: that is read first.
    blocks.extend(is_body.then(cautions));
    blocks.push(findings(&people));
    blocks.push(about(Topic::Suspects, "Suspects", suspects(outcome, &people)));
    blocks.push(chapter("Lost contact", ContactWords::of(outcome).map(lost_contact).unwrap_or_default()));
    blocks.push(chapter(
        "Over time",
        SoakWords::of(outcome).map(|soak| over_time(soak, drawn.soak)).unwrap_or_default(),
    ));
    let [along, often] = if is_body {
        ["Feedback lines along the travel", "How long it takes to move, and how often lines deviate"]
    } else {
        ["Along the travel", "How often each deviation occurs"]
    };
    blocks.push(chapter("What the plate did", pictures(drawn.body, false)));
    blocks.push(chapter(along, pictures(drawn.curves, false)));
    blocks.push(chapter(often, pictures(drawn.histograms, true)));
    blocks.push(chapter("Before and after the blips", before_and_after(&comparisons(input))));
    blocks.push(chapter("Self-check", facts(&people.readings)));
    blocks.push(figures(outcome, &people));
    blocks.push(about(Topic::NotTested, "What would have been missed", named_list(&people.missed)));
    blocks.push(about(Topic::NotTested, "Not testable", named_list(&people.not_testable)));
    blocks.push(about(Topic::Recording, "Gaps in the recording", list(&people.gaps)));
    blocks.push(about(Topic::Recording, "Warnings", list(&people.warnings)));
    blocks.push(Block::InFull(vec![origin(outcome.simulated, &from)]));
    blocks.extend((!is_body).then(cautions));
    // Code and keys are for whoever checks the paper, not for whoever reads it.
    blocks.extend(input.stamp.map(|stamp| Block::Sealing(Some(sealing(stamp)), Vec::new())));
    Document {
        kind: "bench report on a removed throttle-by-wire part".to_owned(),
        title: format!("{}: {}", people.label, people.headline),
        subject: people.label.clone(),
        simulated: simulated(outcome.simulated),
        blocks,
        ..Document::default()
    }
}

/// The words for a simulated part.
pub(super) fn simulated(simulated: bool) -> Option<Banner> {
    let more = "Rig and part were simulated; nothing below is about a part that exists.";
    simulated.then(|| Banner::simulated(more))
}

/// What comes of it, and what it is about.
fn head(people: &People, from: &Provenance) -> Block {
    let verdict = Verdict {
        mark: Mark::of(people.verdict),
        word: people.headline.to_owned(),
        meaning: people.advice.into(),
        reasons: texts(&people.reasons),
    };
    let facts = [
        ("part", people.label.clone()),
        ("judged by part sheet", format!("{}: {}", from.sheet, from.sheet_title)),
        ("kind of part", from.kind.clone()),
        ("recorded", from.recorded.clone()),
        ("judged", from.judged.clone()),
    ];
    let facts = facts.map(|(name, text)| Fact::new(name, text)).to_vec();
    let grade = people.grade.clone().map(Block::Grade);
    let blocks = [Block::Verdict(verdict)].into_iter().chain(grade);
    Block::Head(blocks.chain([Block::Facts(Facts::first(2, facts))]).collect())
}

fn findings(people: &People) -> Block {
    let mut blocks: Vec<Block> = people.findings.iter().cloned().map(Block::Finding).collect();
    if blocks.is_empty() {
        let more = if people.missed.is_empty() {
            ""
        } else {
            " How small a defect could have been and still not be seen is said under “What would have been missed”."
        };
        blocks.push(Block::Paragraph(format!("No defect was located.{more}").into()));
    }
    about(Topic::Findings, "Findings", blocks)
}

fn suspects(outcome: &Outcome, people: &People) -> Vec<Block> {
    if people.suspects.is_empty() {
        return Vec::new();
    }
    let all = people.suspects.clone();
    let mut blocks = vec![
        Block::InFull(vec![Block::Note(suspects::READING.into())]),
        Block::Suspects(Suspects { all, brief: BRIEF_SUSPECTS, lines_in_brief: false }),
    ];
    blocks.extend(suspects::unnamed(&outcome.suspects).into_iter().map(|left| Block::Paragraph(left.into())));
    blocks
}

/// Where and when contact was lost.
fn lost_contact(contact: ContactWords) -> Vec<Block> {
    let mut places = facts(&contact.places);
    if !places.is_empty() {
        places.insert(0, Block::InFull(vec![Block::Note(ContactWords::READING.into())]));
    }
    let events = contact.events.iter().map(fact).collect::<Vec<_>>();
    let events = some(events).map(|all| Block::Facts(Facts::first(BRIEF_EVENTS, all)));
    let mut blocks = facts(&contact.facts);
    blocks.push(part("By place of the pigtail", places));
    blocks.push(part("Event by event", events.into_iter().collect()));
    blocks
}

/// The course of a soak.
fn over_time(soak: SoakWords, drawn: Vec<Plot>) -> Vec<Block> {
    let mut blocks = facts(&soak.facts);
    if !soak.rows.is_empty() {
        blocks.push(Block::InFull(vec![Block::Note(SoakWords::READING.into())]));
        let heads = [
            ("figure", 0.24),
            ("beginning", 0.12),
            ("end", 0.12),
            ("slope", 0.25),
            ("by chance", 0.09),
            ("outlook", 0.18),
        ];
        let row = |r: &DriftRow| {
            let word = if r.drifts { Text::strong(&r.word) } else { Text::from(&r.word) };
            let cells = [&r.name, &r.first, &r.last, &r.per_hour, &r.chance].map(Text::from);
            Row { stands_out: r.drifts, ..Row::of(cells.into_iter().chain([word])) }
        };
        blocks.push(Block::Table(Table {
            columns: heads.map(|(head, share)| Column::new(head).share(share)).to_vec(),
            rows: soak.rows.iter().map(row).collect(),
            brief: BriefRows::StandingOut,
        }));
    }
    if !drawn.is_empty() {
        blocks.push(Block::InFull(vec![Block::Note(soak_plots::SCALE.into())]));
    }
    blocks.extend(pictures(drawn, true));
    blocks
}

/// What was measured before and after blips.
fn before_and_after(rows: &[BeforeAfter]) -> Vec<Block> {
    if rows.is_empty() {
        return Vec::new();
    }
    let row = |r: &BeforeAfter| {
        let word = if r.changed { Text::strong(r.verdict()) } else { Text::from(r.verdict()) };
        Row::of([&r.name, &r.before, &r.after, &r.change].map(Text::from).into_iter().chain([word]))
    };
    let mut columns = columns(["quantity", "before", "after", "difference", "change"]);
    columns[3].in_brief = false;
    vec![
        Block::InFull(vec![Block::Note(CHANGED.into())]),
        Block::Table(Table::new(columns, rows.iter().map(row).collect())),
    ]
}

/// Where it came from.
fn origin(simulated: bool, from: &Provenance) -> Block {
    let data = simulated.then(|| Fact::new("data", Text::strong("SIMULATED: rig and part")));
    let all = data.into_iter().chain(from.facts.iter().map(fact)).collect();
    let heads = ["procedure", "scans", "end", "file among the record's traces"];
    let rows: Vec<Row> = from.procedures.iter().map(Row::of).collect();
    let procedures = some(rows).map(|rows| Block::Table(Table::new(columns(heads), rows)));
    about(
        Topic::Origin,
        "Where it came from",
        vec![
            Block::Facts(Facts::new(all)),
            part("Calibration of the recorded channels", facts(&from.calibration)),
            part("Procedures", procedures.into_iter().collect()),
        ],
    )
}

fn pictures(all: Vec<Plot>, pairs: bool) -> Vec<Block> {
    some(all).map(|all| Block::Pictures(Pictures { all, pairs })).into_iter().collect()
}

/// The same, if there is anything in it.
fn some<T>(all: Vec<T>) -> Option<Vec<T>> {
    (!all.is_empty()).then_some(all)
}

pub(super) fn fact(named: &Named) -> Fact {
    Fact::new(&named.name, &named.text)
}

/// Names, each with its text; nothing for none.
pub(super) fn facts(all: &[Named]) -> Vec<Block> {
    some(all.iter().map(fact).collect()).map(|all| Block::Facts(Facts::new(all))).into_iter().collect()
}

fn named_list(all: &[Named]) -> Vec<Block> {
    let points = all.iter().map(|n| Text::named(&n.name, &n.text)).collect();
    some(points).map(|points| Block::List(List::new(points))).into_iter().collect()
}

/// Points; nothing for none.
pub(super) fn list(all: &[String]) -> Vec<Block> {
    some(texts(all)).map(|points| Block::List(List::new(points))).into_iter().collect()
}
