//! What a report says on paper, in the order of the HTML report. Its words are those of [`People`] and [`Provenance`].

use super::PdfError;
use super::blocks::{BODY, SMALL, Setter, beside};
use super::colour::{FAINT, verdict_colour};
use super::figures::{before_and_after, drifts, figures, procedures};
use super::picture::{self, Picture, sign};
use super::piece::{Item, Piece, keep_together};
use super::rich::{Rich, Style};
use super::suspects;
use crate::report::ReportInput;
use crate::report::body_plots::comparisons;
use crate::report::contact::ContactWords;
use crate::report::letterhead::Letterhead;
use crate::report::people::{FindingRow, GradeWords, People};
use crate::report::plot::Plot;
use crate::report::plots::{Plots, plots};
use crate::report::provenance::{Provenance, Sealing};
use crate::report::rows::Named;
use crate::report::soak::SoakWords;
use crate::report::text::capital;
use crate::report::words;

/// Everything, in order.
///
/// # Errors
/// A picture of the program's own can't be read back.
pub fn content(input: &ReportInput<'_>, set: &Setter<'_>) -> Result<Vec<Piece>, PdfError> {
    let people = People::of(input.outcome);
    let from = Provenance::of(input, &people);
    let body = words::has_motor(&input.outcome.part.kind);
    let drawn = plots(input, &people);
    let cautions = cautions(set, input);
    let mut pieces = Vec::new();
    pieces.extend(input.shop.and_then(Letterhead::of).map(|shop| letterhead(set, &shop)));
    pieces.extend(head(set, input, &people, &from)?);
    if body {
        pieces.extend(cautions.clone());
    }
    pieces.extend(findings(set, &people));
    pieces.extend(section(set, "Suspects", suspects::suspects(set, &people.suspects)));
    pieces.extend(over_time(set, input, &drawn)?);
    pieces.extend(lost_contact(set, input));
    pieces.extend(pictures(set, &drawn, body)?);
    let compared = comparisons(input);
    if !compared.is_empty() {
        pieces.extend(set.heading("Before and after the blips"));
        let reading = "Value ± expanded uncertainty (95 %, k = 2). “Changed”: chance alone would do it less than once in a hundred.";
        pieces.extend(kept(set.paragraph(&Rich::new(reading, SMALL.colour(FAINT)), 0.0)));
        pieces.extend(before_and_after(set, &compared));
    }
    pieces.extend(section(set, "Self-check", set.facts(&people.readings)));
    pieces.extend(judged(set, input, &people)?);
    pieces.extend(section(set, "What would have been missed", set.named_list(&people.missed, BODY)));
    pieces.extend(section(set, "Not testable", set.named_list(&people.not_testable, BODY)));
    pieces.extend(section(set, "Gaps in the recording", set.list(&people.gaps, BODY)));
    pieces.extend(section(set, "Warnings", set.list(&people.warnings, BODY)));
    pieces.extend(origin(set, input, &from));
    if !body {
        pieces.extend(cautions);
    }
    Ok(pieces)
}

/// A section, if there is anything in it.
fn section(set: &Setter<'_>, title: &str, inside: Vec<Piece>) -> Vec<Piece> {
    if inside.is_empty() { inside } else { [set.heading(title), inside].concat() }
}

/// All of them stay with what follows.
fn kept(pieces: Vec<Piece>) -> Vec<Piece> {
    pieces.into_iter().map(|p| Piece { keep: true, ..p }).collect()
}

/// The shop's name and address, its logo at the right.
pub fn letterhead(set: &Setter<'_>, shop: &Letterhead) -> Piece {
    const LOGO: (f32, f32) = (150.0, 50.0);
    let narrow = Setter { width: set.width - LOGO.0 - 12.0, ..*set };
    let mut words = narrow.paragraph(&Rich::new(shop.name.clone(), Style::new(13.0).bold()), 0.0);
    for line in &shop.address {
        words.extend(narrow.paragraph(&Rich::new(line.clone(), SMALL.colour(FAINT)), 0.0));
    }
    let mut columns = vec![(0.0, Piece::joined(&words))];
    if let Some((item, (wide, high))) = shop.logo.as_ref().and_then(|l| picture::logo(l, LOGO)) {
        columns.push((set.width - wide, Piece { height: high, items: vec![item], ..Piece::default() }));
    }
    let mut whole = beside(&columns);
    whole.height += 10.0;
    whole
}

/// The verdict in its frame, why, and what it is about.
fn head(
    set: &Setter<'_>,
    input: &ReportInput<'_>,
    people: &People,
    from: &Provenance,
) -> Result<Vec<Piece>, PdfError> {
    let mut pieces = Vec::new();
    if let Some(banner) = &people.banner {
        let text = Rich::new(format!("{}. ", banner.word), BODY.bold()).and(banner.text.clone(), BODY);
        pieces.extend(set.paragraph(&text, 0.0));
    }
    pieces.push(verdict(set, people.verdict, people.headline, people.advice, 1.0)?.before(8.0));
    let reasons: Vec<String> = people.reasons.iter().map(|r| capital(r)).collect();
    let mut reasons = set.list(&reasons, BODY);
    if let Some(first) = reasons.first_mut() {
        first.before = 7.0;
    }
    pieces.extend(reasons);
    pieces.extend(people.grade.iter().flat_map(|grade| graded(set, grade)));
    let facts = [
        ("part", people.label.clone()),
        ("kind of part", from.kind.clone()),
        ("judged by part sheet", format!("{}: {}", from.sheet, from.sheet_title)),
        ("recorded", from.recorded.clone()),
        ("judged", from.judged.clone()),
    ];
    let facts = facts.map(|(name, text)| Named { name: name.to_owned(), text });
    let mut facts = set.facts(&facts);
    if let Some(first) = facts.first_mut() {
        first.before = 10.0;
    }
    pieces.extend(facts);
    if let Some(stamp) = input.stamp {
        pieces.push(sealing(set, &Sealing::of(stamp), 104.0)?.before(10.0));
    }
    Ok(pieces)
}

/// The grade in a frame of its own, and why.
fn graded(set: &Setter<'_>, grade: &GradeWords) -> Vec<Piece> {
    const MARK: f32 = 86.0;
    const INDENT: f32 = MARK + 14.0;
    let mark = Setter { width: MARK, ..*set };
    let headline = Rich::new(grade.headline.clone(), Style::new(11.5).bold());
    let mark = mark.framed(1.0, 6.0, |set| set.paragraph(&headline, 0.0));
    let narrow = Setter { width: set.width - INDENT, ..*set };
    let mut said = narrow.paragraph(&Rich::new(grade.title.clone(), BODY), 0.0);
    said.extend(narrow.list(&grade.why, SMALL));
    if !grade.source.is_empty() {
        let source = format!("Source of the grade: {}", grade.source);
        said.extend(narrow.paragraph(&Rich::new(source, SMALL.colour(FAINT)), 2.0));
    }
    // What stands beside the mark is one piece with it; what is longer flows on below.
    let mut high = 0.0;
    let beside_mark = said.iter().take_while(|p| {
        let fits = high < mark.height;
        high += p.before + p.height;
        fits
    });
    let count = beside_mark.count();
    let mut pieces = vec![beside(&[(0.0, mark), (INDENT, Piece::joined(&said[..count]))]).before(9.0)];
    pieces.extend(said[count..].iter().map(|p| p.indented(INDENT)));
    pieces
}

/// The word that stands largest, with its sign and what it means; `scale` is 1 on a report.
///
/// # Errors
/// The sign is no picture.
pub fn verdict(
    set: &Setter<'_>,
    verdict: &str,
    headline: &str,
    advice: &str,
    scale: f32,
) -> Result<Piece, PdfError> {
    let side = 40.0 * scale;
    let colour = verdict_colour(verdict);
    let sign = sign(verdict, colour)?;
    let indent = if sign.is_some() { side + 14.0 } else { 0.0 };
    Ok(set.framed(1.2, 11.0 * scale, |set| {
        let narrow = Setter { width: set.width - indent, ..*set };
        let word = Style::new(25.0 * scale).bold().colour(colour);
        let words = [
            narrow.paragraph(&Rich::new(headline.to_uppercase(), word), 0.0),
            narrow.paragraph(&Rich::new(advice, Style::new(12.0 * scale)), 0.0),
        ];
        let words = Piece::joined(&words.concat());
        let sign = sign.iter().map(|s| {
            let items = vec![s.item((0.0, 4.0 * scale), side)];
            (0.0, Piece { height: side, items, ..Piece::default() })
        });
        vec![beside(&sign.chain([(indent, words.clone())]).collect::<Vec<_>>())]
    }))
}

/// Fingerprint and code of a sealed record, the code `side` points wide.
///
/// # Errors
/// The code is no picture.
pub fn sealing(set: &Setter<'_>, sealing: &Sealing, side: f32) -> Result<Piece, PdfError> {
    let code = sealing.code.as_deref().map(Picture::of).transpose()?;
    let indent = if code.is_some() { side + 10.0 } else { 0.0 };
    let narrow = Setter { width: set.width - indent, ..*set };
    let mut words = narrow.facts_beside(&sealing.facts, 58.0, Style::new(7.4));
    words.extend(narrow.paragraph(&Rich::new(Sealing::HOW, Style::new(7.4).colour(FAINT)), 5.0));
    let drawn = code
        .iter()
        .map(|c| (0.0, Piece { height: side, items: vec![c.item((0.0, 0.0), side)], ..Piece::default() }));
    let columns: Vec<_> = drawn.chain([(indent, Piece::joined(&words))]).collect();
    Ok(beside(&columns))
}

fn findings(set: &Setter<'_>, people: &People) -> Vec<Piece> {
    let mut pieces = set.heading("Findings");
    if people.findings.is_empty() {
        let more = if people.missed.is_empty() {
            ""
        } else {
            " How small a defect could have been and still not be seen is said under “What would have been missed”."
        };
        pieces.extend(set.paragraph(&Rich::new(format!("No defect was located.{more}"), BODY), 0.0));
    }
    for row in &people.findings {
        let mut finding = finding(set, row);
        keep_together(&mut finding);
        if let Some(first) = finding.first_mut() {
            first.before = 8.0;
        }
        pieces.extend(finding);
    }
    pieces
}

/// What a finding is headed with: its kind, its line and its place.
pub fn finding_title(row: &FindingRow) -> String {
    let line = row.line.as_ref().map_or(String::new(), |l| format!(", {l}"));
    let place = row.place.as_ref().map_or(String::new(), |p| format!(", at {p}"));
    capital(&format!("{}{line}{place}", row.kind))
}

fn finding(set: &Setter<'_>, row: &FindingRow) -> Vec<Piece> {
    const INDENT: f32 = 26.0;
    const TAG: f32 = 15.0;
    let narrow = Setter { width: set.width - INDENT, ..*set };
    let mut pieces = narrow.paragraph(&Rich::new(finding_title(row), Style::new(10.0).bold()), 0.0);
    pieces.extend(narrow.paragraph(&Rich::new(capital(&row.text), BODY), 1.0));
    let evidence = if row.evidence.is_empty() {
        String::new()
    } else {
        format!(" Evidence: {}.", row.evidence.join(", "))
    };
    let sure = format!("Confidence {}; {}.{evidence}", row.confidence, row.weight);
    pieces.extend(narrow.paragraph(&Rich::new(sure, SMALL.colour(FAINT)), 1.5));
    if let Some(step) = row.next_step {
        pieces.push(suspects::marked(&narrow, "Next step: ", step));
    }
    let mut pieces: Vec<Piece> = pieces.iter().map(|p| p.indented(INDENT)).collect();
    let number = row.number.to_string();
    let style = Style::new(9.0).bold();
    let wide = set.fonts.width(&number, true, style.size).max(TAG - 6.0) + 6.0;
    if let Some(first) = pieces.first_mut() {
        let x = (wide - set.fonts.width(&number, true, style.size)) / 2.0;
        first.items.splice(
            0..0,
            [
                Item::Frame { at: (0.5, 0.0), size: (wide, 13.5), width: 1.0 },
                Item::Text { at: (0.5 + x, 10.0), text: number, style },
            ],
        );
    }
    pieces
}

/// Where and when contact was lost.
fn lost_contact(set: &Setter<'_>, input: &ReportInput<'_>) -> Vec<Piece> {
    let Some(contact) = ContactWords::of(input.outcome) else { return Vec::new() };
    let mut pieces = section(set, "Lost contact", set.facts(&contact.facts));
    if !contact.places.is_empty() {
        pieces.extend(set.sub("By place of the pigtail"));
        pieces.extend(kept(set.paragraph(&Rich::new(ContactWords::READING, SMALL.colour(FAINT)), 0.0)));
        pieces.extend(set.facts(&contact.places));
    }
    if !contact.events.is_empty() {
        pieces.extend(set.sub("Event by event"));
        pieces.extend(set.facts(&contact.events));
    }
    pieces
}

/// The course of a soak.
fn over_time(set: &Setter<'_>, input: &ReportInput<'_>, drawn: &Plots) -> Result<Vec<Piece>, PdfError> {
    let Some(soak) = SoakWords::of(input.outcome) else { return Ok(Vec::new()) };
    let mut pieces = section(set, "Over time", set.facts(&soak.facts));
    let reading =
        if soak.rows.is_empty() { "Fewer than ten rounds tell no drift." } else { SoakWords::READING };
    pieces.extend(kept(set.paragraph(&Rich::new(reading, SMALL.colour(FAINT)), 6.0)));
    if !soak.rows.is_empty() {
        pieces.extend(drifts(set, &soak.rows));
    }
    pieces.extend(in_column(set, &drawn.soak));
    Ok(pieces)
}

fn pictures(set: &Setter<'_>, drawn: &Plots, body: bool) -> Result<Vec<Piece>, PdfError> {
    let along = if body { "Feedback lines along the travel" } else { "Along the travel" };
    let often = if body {
        "How long it takes to move, and how often lines deviate"
    } else {
        "How often each deviation occurs"
    };
    let mut pieces = section(set, "What the plate did", in_column(set, &drawn.body));
    pieces.extend(section(set, along, in_column(set, &drawn.curves)));
    pieces.extend(section(set, often, in_pairs(set, &drawn.histograms)));
    Ok(pieces)
}

fn in_column(set: &Setter<'_>, all: &[Plot]) -> Vec<Piece> {
    all.iter().flat_map(|plot| figure(set, plot)).collect()
}

fn figure(set: &Setter<'_>, plot: &Plot) -> Vec<Piece> {
    set.figure(&plot.title, &Picture::plot(&plot.picture), &plot.caption)
}

/// Small pictures two in a row, wide ones alone.
fn in_pairs(set: &Setter<'_>, all: &[Plot]) -> Vec<Piece> {
    const BETWEEN: f32 = 16.0;
    let half = Setter { width: (set.width - BETWEEN) / 2.0, ..*set };
    let mut rows = Vec::new();
    let mut waiting: Option<Piece> = None;
    let alone = |piece: Piece| Piece { before: 10.0, ..piece };
    for plot in all {
        if plot.wide {
            rows.extend(waiting.take().map(alone));
            rows.extend(figure(set, plot));
            continue;
        }
        let piece = Piece::joined(&figure(&half, plot));
        match waiting.take() {
            None => waiting = Some(piece),
            Some(left) => rows.push(beside(&[(0.0, left), (half.width + BETWEEN, piece)]).before(10.0)),
        }
    }
    rows.extend(waiting.take().map(alone));
    rows
}

/// Figures with their limits and verdicts, what would decide them, sources and definitions.
fn judged(set: &Setter<'_>, input: &ReportInput<'_>, people: &People) -> Result<Vec<Piece>, PdfError> {
    let mut pieces = set.heading("Figures");
    let nothing = match (input.outcome.scope.as_str(), people.figures.is_empty()) {
        ("readiness", _) => Some("None: a self-check judges no figure of the part."),
        (_, true) => {
            Some("No figure could be had from what was recorded; the reasons are under “Not testable”.")
        }
        _ => None,
    };
    match nothing {
        Some(text) => pieces.extend(set.paragraph(&Rich::new(text, BODY), 0.0)),
        None => pieces.extend(figures(set, people)?),
    }
    let parts = [
        ("What would decide the undecided figures", set.named_list(&people.undecided(), SMALL)),
        ("Sources of the limits", set.notes(&people.sources)),
        ("What each figure is", set.facts(&people.definitions)),
    ];
    for (title, inside) in parts.into_iter().filter(|(_, inside)| !inside.is_empty()) {
        pieces.extend(set.sub(title));
        pieces.extend(inside);
    }
    Ok(pieces)
}

fn origin(set: &Setter<'_>, input: &ReportInput<'_>, from: &Provenance) -> Vec<Piece> {
    let mut pieces = set.heading("Where it came from");
    if input.outcome.simulated {
        pieces.extend(set.fact("data", &Rich::new("SIMULATED: rig and part", SMALL.bold())));
    }
    pieces.extend(set.facts(&from.facts));
    if !from.calibration.is_empty() {
        pieces.extend(set.sub("Calibration of the recorded channels"));
        pieces.extend(set.facts(&from.calibration));
    }
    if !from.procedures.is_empty() {
        pieces.extend(set.sub("Procedures"));
        pieces.extend(procedures(set, &from.procedures));
    }
    pieces
}

/// The cautions in their frame; more than fit into one stand without it.
fn cautions(set: &Setter<'_>, input: &ReportInput<'_>) -> Vec<Piece> {
    const HIGHEST: f32 = 450.0;
    let all = words::cautions(input.outcome);
    let inside = |set: &Setter<'_>| {
        [set.paragraph(&Rich::new("Cautions", Style::new(11.0).bold()), 0.0), set.list(&all, BODY)].concat()
    };
    let framed = set.framed(1.4, 10.0, inside);
    if framed.height <= HIGHEST { vec![framed.before(16.0)] } else { inside(set) }
}
