//! The short result for the terminal: verdict, findings, figures, histograms in miniature, cautions. It returns text
//! and writes nothing; whether the terminal knows colour or more than ASCII is the caller's knowledge.

use super::ReportInput;
use super::body_plots::comparisons;
use super::contact::ContactWords;
use super::format;
use super::histograms::{LATENCY, histogram_caption, histogram_title};
use super::people::People;
use super::rows::{FigureRow, Named};
use super::soak::SoakWords;
use super::svg::bars::beyond;
use super::terminal_body::{grouped_figures, latencies};
use super::text::capital;
use super::text::{LABEL, ascii, plain, wrap};
use super::words;
use crate::outcome::OutcomeHistogram;

/// What the terminal can show.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Style {
    /// Columns; 40 at least are used.
    pub width: usize,
    /// Whether colour codes are written.
    pub colour: bool,
    /// Whether only ASCII is written.
    pub ascii: bool,
}

impl Default for Style {
    fn default() -> Self {
        Self { width: 80, colour: false, ascii: false }
    }
}

/// The short result, ending in a newline. Nothing in it depends on colour.
pub fn terminal(input: &ReportInput<'_>, style: Style) -> String {
    let people = People::of(input.outcome);
    let mut page = Page::new(style);
    head(&mut page, input, &people);
    findings(&mut page, input, &people);
    suspects(&mut page, &people);
    over_time(&mut page, input);
    lost_contact(&mut page, input);
    if people.groups.is_empty() {
        figures(&mut page, input, &people);
    } else {
        grouped_figures(&mut page, &people);
    }
    latencies(&mut page, input.outcome);
    histograms(&mut page, input, &people);
    let changes = comparisons(input);
    let changes = changes
        .iter()
        .map(|c| format!("{}: {} before, {} after: {}", c.name, c.before, c.after, c.verdict()));
    list(&mut page, "Before and after the blips", &changes.collect::<Vec<_>>());
    named(&mut page, "Self-check", &people.readings);
    named(&mut page, "What would have been missed", &people.missed);
    named(&mut page, "Not testable", &people.not_testable);
    list(&mut page, "Gaps", &people.gaps);
    list(&mut page, "Warnings", &people.warnings);
    list(&mut page, "Cautions", &words::cautions(input.outcome));
    page.finish()
}

/// Text under construction.
pub(super) struct Page {
    pub(super) style: Style,
    out: String,
}

impl Page {
    /// An empty page; 40 columns at least are used.
    pub(super) fn new(style: Style) -> Self {
        Self { style: Style { width: style.width.max(40), ..style }, out: String::new() }
    }

    /// The text, in ASCII where that is wanted.
    pub(super) fn finish(self) -> String {
        if self.style.ascii { ascii(&self.out) } else { self.out }
    }

    pub(super) fn line(&mut self, line: &str) {
        self.out.push_str(line.trim_end());
        self.out.push('\n');
    }

    /// A heading after an empty line.
    pub(super) fn heading(&mut self, heading: &str) {
        self.line("");
        for line in wrap(heading, self.style.width) {
            let bold = self.painted(&line, "1");
            self.line(&bold);
        }
    }

    /// A paragraph: the first line begins with `first`, the others with as many spaces.
    pub(super) fn paragraph(&mut self, first: &str, text: &str) {
        let indent = first.chars().count();
        for (k, line) in wrap(text, self.style.width.saturating_sub(indent)).iter().enumerate() {
            let begin = if k == 0 { first.to_owned() } else { " ".repeat(indent) };
            self.line(&format!("{begin}{line}"));
        }
    }

    /// Text in a colour, when colours are wanted.
    pub(super) fn painted(&self, text: &str, code: &str) -> String {
        if self.style.colour && !code.is_empty() {
            format!("\u{1b}[{code}m{text}\u{1b}[0m")
        } else {
            text.to_owned()
        }
    }
}

/// Colour code of a verdict's word.
pub(super) fn code(verdict: &str) -> &'static str {
    match verdict {
        "outside" => "1;31",
        "within" => "32",
        "undecided" => "1;33",
        _ => "",
    }
}

/// The word as shown: what needs attention in capitals, so that it is seen without colour.
pub(super) fn shown(verdict: &str) -> String {
    if verdict == "outside" { verdict.to_uppercase() } else { verdict.to_owned() }
}

/// Said first of everything that was simulated.
pub(super) fn simulated(page: &mut Page) {
    let text = " SIMULATED: no real part was measured ";
    let stripes = "=".repeat(page.style.width.saturating_sub(text.len()) / 2);
    let line = page.painted(&format!("{stripes}{text}{stripes}"), "1;7");
    page.line(&line);
}

fn head(page: &mut Page, input: &ReportInput<'_>, people: &People) {
    let outcome = input.outcome;
    if outcome.simulated {
        simulated(page);
    }
    if let Some(banner) = &people.banner {
        page.paragraph("", &format!("{}: {}", banner.word, banner.text));
    }
    let verdict = page.painted(&people.headline.to_uppercase(), code(people.verdict));
    page.line(&format!("{verdict}: {}", people.advice));
    page.paragraph("  ", &people.label);
    let sheet = plain(&format!("{}, {}", outcome.sheet.name, outcome.sheet.title), LABEL);
    page.paragraph("  ", &format!("judged by {sheet}"));
    for reason in &people.reasons {
        page.paragraph("  - ", reason);
    }
    if let Some(grade) = &people.grade {
        let title = if grade.title.is_empty() { String::new() } else { format!(": {}", grade.title) };
        page.paragraph("", &format!("{}{title}", grade.headline.to_uppercase()));
        for why in &grade.why {
            page.paragraph("  - ", why);
        }
        if !grade.source.is_empty() {
            page.paragraph("  ", &format!("source of the grade: {}", grade.source));
        }
    }
}

fn findings(page: &mut Page, input: &ReportInput<'_>, people: &People) {
    page.heading("Findings");
    if people.findings.is_empty() {
        page.line("  none");
    }
    // Suspects of a throttle body stand on single numbers; a grip's are seen in its figures.
    let raw = words::has_motor(&input.outcome.part.kind);
    for row in &people.findings {
        let place = row.place.as_ref().map_or(String::new(), |p| format!(" at {p}"));
        let line = row.line.as_ref().map_or(String::new(), |l| format!(", {l}"));
        page.paragraph(&format!("{:>3} ", row.number), &format!("{}{line}{place}", row.kind.to_uppercase()));
        page.paragraph("    ", &row.text);
        if raw && !row.evidence.is_empty() {
            page.paragraph("    measured: ", &row.evidence.join(", "));
        }
        page.paragraph("    ", &format!("confidence {}; {}", row.confidence, row.weight));
        if let Some(step) = row.next_step {
            page.paragraph("    next: ", step);
        }
    }
}

/// The first three; all of them stand in the report.
fn suspects(page: &mut Page, people: &People) {
    if people.suspects.is_empty() {
        return;
    }
    page.heading("Suspects");
    for row in people.suspects.iter().take(3) {
        page.paragraph("  - ", &row.heading);
        page.paragraph("    next: ", &row.next_check);
    }
    if people.suspects.len() > 3 {
        page.line(&format!("  {} more in the report", people.suspects.len() - 3));
    }
}

/// Where and when contact was lost: all places, the first events.
fn lost_contact(page: &mut Page, input: &ReportInput<'_>) {
    /// So many events; the report has more.
    const TOLD: usize = 10;
    let Some(contact) = ContactWords::of(input.outcome) else { return };
    named(page, "Lost contact", &contact.facts);
    named(page, "By place of the pigtail", &contact.places);
    named(page, "Event by event", &contact.events[..contact.events.len().min(TOLD)]);
    if contact.events.len() > TOLD {
        page.line(&format!("  {} more in the report", contact.events.len() - TOLD));
    }
}

/// The course of a soak: its facts, and what drifts.
fn over_time(page: &mut Page, input: &ReportInput<'_>) {
    let Some(soak) = SoakWords::of(input.outcome) else { return };
    page.heading("Over time");
    for fact in &soak.facts {
        page.paragraph("  - ", &format!("{}: {}", fact.name, fact.text));
    }
    let count = soak.drifting().count();
    page.paragraph(
        "  - ",
        &match soak.rows.len() {
            0 => "drift: fewer than ten rounds tell none".to_owned(),
            all => format!("drift: {count} of {all} figures drift"),
        },
    );
    for row in soak.drifting() {
        page.paragraph(
            "      ",
            &format!("{}: {} to {}, {}; {}", row.name, row.first, row.last, row.per_hour, row.word),
        );
    }
}

fn figures(page: &mut Page, input: &ReportInput<'_>, people: &People) {
    if people.figures.is_empty() && input.outcome.scope == "readiness" {
        return;
    }
    page.heading("Figures (± expanded uncertainty, 95 %; volts at 5 V supply)");
    if people.figures.is_empty() {
        page.line("  none could be had");
    }
    let columns = columns(page, &people.figures);
    if !people.figures.is_empty() {
        let line = figure_line("verdict  ", columns, "figure", "value", "limit");
        page.line(&line.chars().take(page.style.width).collect::<String>());
    }
    figure_list(page, &people.figures, columns);
    undecided(page, people);
}

/// What would decide the undecided figures.
pub(super) fn undecided(page: &mut Page, people: &People) {
    for Named { name, text } in people.undecided() {
        page.paragraph("  to decide: ", &format!("{name}: {text}"));
    }
}

/// Widths of the columns of names and values; what is longer than most goes on lines of its own.
pub(super) fn columns(page: &Page, rows: &[FigureRow]) -> (usize, usize) {
    let widest = |text: &dyn Fn(&FigureRow) -> String, most: usize| {
        rows.iter().map(|r| text(r).chars().count()).filter(|w| *w <= most).max().unwrap_or(0)
    };
    let most = if page.style.width < 90 { 22 } else { 28 };
    (widest(&FigureRow::full_name, 34), widest(&|r: &FigureRow| r.value.clone(), most))
}

fn figure_line(verdict: &str, columns: (usize, usize), name: &str, value: &str, limit: &str) -> String {
    let (name_width, value_width) = columns;
    format!(" {verdict} {name:<name_width$}  {value:<value_width$}  {limit}")
}

/// Figures one below the other, in columns where they fit.
pub(super) fn figure_list(page: &mut Page, rows: &[FigureRow], columns: (usize, usize)) {
    for row in rows {
        let verdict = page.painted(&format!("{:<9}", shown(row.verdict)), code(row.verdict));
        let name = row.full_name();
        let line = |verdict: &str| figure_line(verdict, columns, &name, &row.value, &row.limit_number);
        if line(&" ".repeat(9)).chars().count() <= page.style.width {
            page.line(&line(&verdict));
        } else {
            for (k, part) in wrap(&name, page.style.width - 11).iter().enumerate() {
                let begin = if k == 0 { format!(" {verdict} ") } else { " ".repeat(11) };
                page.line(&format!("{begin}{part}"));
            }
            let limit =
                if row.limit == format::NOTHING { String::new() } else { format!("; limit: {}", row.limit) };
            page.paragraph(&" ".repeat(13), &format!("{}{limit}", row.value));
        }
    }
}

fn histograms(page: &mut Page, input: &ReportInput<'_>, people: &People) {
    for histogram in input.outcome.histograms.iter().filter(|h| h.name != LATENCY) {
        let (outside, all) = beyond(histogram.low, histogram.width, &histogram.counts, &histogram.limits);
        let title = capital(&histogram_title(histogram, people));
        let caption = histogram_caption(outside, all, !histogram.limits.is_empty());
        page.heading(&format!("{title}: {caption}"));
        let Some(miniature) = Miniature::of(histogram, page.style.width - 4) else {
            page.line("  nothing was counted");
            continue;
        };
        page.line(&format!("  {}", miniature.bars));
        page.line(&format!("  {}", miniature.marks));
        page.line(&format!("  {}", miniature.numbers));
    }
}

fn named(page: &mut Page, heading: &str, all: &[Named]) {
    list(page, heading, &all.iter().map(|n| format!("{}: {}", n.name, n.text)).collect::<Vec<_>>());
}

pub(super) fn list(page: &mut Page, heading: &str, all: &[String]) {
    if all.is_empty() {
        return;
    }
    page.heading(heading);
    for item in all {
        page.paragraph("  - ", item);
    }
}

/// A histogram in three lines of text.
struct Miniature {
    bars: String,
    marks: String,
    numbers: String,
}

impl Miniature {
    /// At most 60 columns; none when nothing was counted.
    fn of(histogram: &OutcomeHistogram, width: usize) -> Option<Self> {
        const BLOCKS: [char; 8] = ['▁', '▂', '▃', '▄', '▅', '▆', '▇', '█'];
        let columns = width.min(60);
        let edge = |k: usize| histogram.low + k as f64 * histogram.width;
        let first = histogram.counts.iter().position(|c| *c > 0)?;
        let last = histogram.counts.iter().rposition(|c| *c > 0)? + 1;
        let limits: Vec<f64> = histogram.limits.iter().copied().filter(|l| l.is_finite()).collect();
        let low = limits.iter().copied().fold(edge(first), f64::min);
        let high = limits.iter().copied().fold(edge(last), f64::max);
        let margin = (high - low) * 0.05;
        let (low, high) = (low - margin, high + margin);
        let per_column = (high - low) / columns as f64;
        if !per_column.is_finite() || per_column <= 0.0 {
            return None;
        }
        let column = |value: f64| (((value - low) / per_column) as usize).min(columns - 1);
        let mut heights = vec![0.0; columns];
        // A bin wider than a column fills every column that it touches.
        for (k, count) in histogram.counts.iter().enumerate().filter(|(_, c)| **c > 0) {
            let hair = histogram.width * 1e-6;
            let (from, to) = (column(edge(k) + hair), column(edge(k + 1) - hair));
            for height in &mut heights[from..=to] {
                *height += *count as f64 / (to - from + 1) as f64;
            }
        }
        let top = heights.iter().copied().fold(0.0, f64::max);
        let bars = heights
            .iter()
            .map(|h| if *h > 0.0 { BLOCKS[((h / top * 8.0).ceil() as usize).clamp(1, 8) - 1] } else { ' ' })
            .collect();
        let mut marks = vec!['─'; columns];
        let mut labels: Vec<(usize, String)> = Vec::new();
        for limit in &limits {
            marks[column(*limit)] = '│';
            labels.push((column(*limit), format!("limit {}", format::as_written(*limit))));
        }
        let unit = format::unit(histogram.unit);
        if low < 0.0 && high > 0.0 {
            labels.push((column(0.0), format!("0 {unit}")));
        } else {
            labels.push((0, format!("{} {unit}", format::significant(edge(first), 3))));
        }
        Some(Self {
            bars,
            marks: marks.into_iter().collect(),
            numbers: placed(labels, (columns + 16).min(width + 2)),
        })
    }
}

/// Labels centred under their columns, from left to right; one that would touch another is left out.
fn placed(mut labels: Vec<(usize, String)>, room: usize) -> String {
    labels.sort();
    let mut line: Vec<char> = vec![' '; room];
    let mut free_from = 0;
    for (at, label) in labels {
        let length = label.chars().count();
        let start = at.saturating_sub(length / 2).min(line.len().saturating_sub(length));
        if start >= free_from && start + length <= line.len() {
            for (k, letter) in label.chars().enumerate() {
                line[start + k] = letter;
            }
            free_from = start + length + 1;
        }
    }
    line.into_iter().collect::<String>().trim_end().to_owned()
}
