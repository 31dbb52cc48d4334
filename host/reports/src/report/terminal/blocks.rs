//! Blocks of a document as lines: what a short form has of them.

use super::page::Page;
use super::table::table;
use super::tally::tallies;
use crate::report::document::{
    Blank, Block, Boxes, Facts, Finding, Grade, Level, List, Section, Suspects, Verdict,
};

/// Names of facts that are longer stand above their text.
const LONGEST_NAME: usize = 26;

/// Blocks in order.
pub fn blocks(page: &mut Page, all: &[Block]) {
    all.iter().for_each(|one| block(page, one));
}

fn block(page: &mut Page, block: &Block) {
    match block {
        Block::Banner(banner) => page.paragraph("", &format!("{}: {}", banner.word, banner.text)),
        // Who reads the terminal knows whose it is.
        Block::Letterhead(_) => {}
        Block::Head(inside) => head(page, inside),
        Block::Title(title) => page.title(&title.letters()),
        Block::Verdict(of) => verdict(page, of),
        Block::Grade(of) => grade(page, of),
        Block::Facts(of) => {
            facts(page, of);
            more(page, of.all.len().saturating_sub(of.brief));
        }
        Block::Sealing(sealing, signed) => {
            sealing.iter().for_each(|sealing| facts(page, &sealing.facts));
            signed.iter().for_each(|line| page.paragraph("  ", &format!("{line}: ____________________")));
        }
        Block::Section(of) => section(page, of),
        Block::Paragraph(said) | Block::Note(said) => page.paragraph("  ", &said.letters()),
        Block::List(of) => list(page, of),
        Block::Table(of) => table(page, of),
        Block::Finding(of) => finding(page, of),
        Block::Suspects(of) => suspects(page, of),
        Block::Pictures(of) => tallies(page, &of.all),
        Block::Cautions(all) => {
            page.heading("Cautions");
            all.iter().for_each(|caution| page.paragraph("  - ", &caution.letters()));
        }
        Block::Blanks(all) => all.iter().for_each(|one| blank(page, one)),
        Block::Boxes(of) => boxes(page, of),
        Block::InFull(_) => {}
    }
}

/// What it is about and what comes of it. That there is more to know of the part need not be said.
fn head(page: &mut Page, inside: &[Block]) {
    for one in inside {
        match one {
            Block::Facts(of) => facts(page, of),
            other => block(page, other),
        }
    }
}

fn verdict(page: &mut Page, verdict: &Verdict) {
    page.verdict(&verdict.word.to_uppercase(), verdict.mark, &verdict.meaning.letters());
    verdict.reasons.iter().for_each(|reason| page.paragraph("  - ", &reason.letters()));
}

fn grade(page: &mut Page, grade: &Grade) {
    let title = if grade.title.is_empty() { String::new() } else { format!(": {}", grade.title) };
    page.paragraph("", &format!("{}{title}", grade.headline.to_uppercase()));
    grade.why.iter().for_each(|why| page.paragraph("  - ", why));
    if let Some(source) = grade.source() {
        page.paragraph("  ", &source);
    }
}

/// Names in a column, their text beside.
fn facts(page: &mut Page, facts: &Facts) {
    let shown = &facts.all[..facts.all.len().min(facts.brief)];
    let lengths = shown.iter().map(|fact| fact.name.letters().chars().count());
    let wide = lengths.filter(|length| *length <= LONGEST_NAME).max().unwrap_or(0);
    for fact in shown {
        let name = fact.name.letters();
        let first = if name.chars().count() > wide {
            page.paragraph("  ", &name);
            " ".repeat(wide + 4)
        } else {
            format!("  {name:<wide$}  ")
        };
        page.paragraph(&first, &fact.text.letters());
    }
}

/// That the full form has more.
fn more(page: &mut Page, count: usize) {
    if count > 0 {
        page.line(&format!("  {count} more in the report"));
    }
}

/// A section, if its short form has anything in it.
fn section(page: &mut Page, section: &Section) {
    let mut inside = page.section();
    blocks(&mut inside, &section.blocks);
    if inside.is_empty() {
        return;
    }
    match section.level {
        Level::Part if page.inside => page.sub(&section.title.letters()),
        Level::Chapter | Level::Part => page.heading(&section.title.letters()),
    }
    page.append(&inside);
}

fn list(page: &mut Page, list: &List) {
    for (k, point) in list.points.iter().enumerate() {
        let first = if list.numbered { format!("{:>3}. ", k + 1) } else { "  - ".to_owned() };
        page.paragraph(&first, &point.letters());
    }
}

fn finding(page: &mut Page, finding: &Finding) {
    let title = format!("{}{}", finding.kind.to_uppercase(), finding.whereabouts());
    page.paragraph(&format!("{:>3} ", finding.number), &title);
    page.paragraph("    ", &finding.text);
    page.paragraph("    ", &finding.sure(finding.evidence_in_brief));
    if let Some(next) = finding.next() {
        page.paragraph("    ", &next.letters());
    }
}

fn suspects(page: &mut Page, suspects: &Suspects) {
    let shown = suspects.all.len().min(suspects.brief);
    for suspect in &suspects.all[..shown] {
        page.paragraph("  - ", &suspect.heading);
        for line in suspect.said().filter(|_| suspects.lines_in_brief) {
            page.paragraph("      ", &line.letters());
        }
        page.paragraph("      ", &suspect.next().letters());
    }
    more(page, suspects.all.len() - shown);
}

fn blank(page: &mut Page, blank: &Blank) {
    let known =
        if blank.known.is_empty() { "____________________".to_owned() } else { blank.known.letters() };
    page.paragraph("  ", &format!("{}: {known}", blank.name));
}

fn boxes(page: &mut Page, boxes: &Boxes) {
    for entry in &boxes.all {
        let expected = entry.expected.letters();
        let expected = if expected.is_empty() { expected } else { format!(": {expected}") };
        let room = if entry.computed { "computed".to_owned() } else { format!("__________ {}", boxes.unit) };
        page.paragraph("  ", &format!("{}{expected} ({}) {room}", entry.place.letters(), entry.id));
    }
}
