//! Blocks of a document as elements: headings, paragraphs, facts, lists, pictures, forms.

use super::callouts;
use super::table::table;
use super::writer::Writer;
use super::{apart, banner, text};
use crate::report::document::{
    Blank, Block, Boxes, Document, Fact, Facts, Level, List, Pictures, Section, Text,
};
use crate::report::plot::Plot;

/// Blocks in order.
pub fn blocks(page: &mut Writer, document: &Document, all: &[Block]) {
    all.iter().for_each(|one| block(page, document, one));
}

fn block(page: &mut Writer, document: &Document, block: &Block) {
    match block {
        Block::Banner(said) => banner(page, said, "banner cut"),
        Block::Letterhead(shop) => callouts::letterhead(page, shop),
        Block::Head(inside) => head(page, document, inside),
        Block::Title(title) => {
            let element = page.title();
            page.class(element, "lead", |page| apart(page, title));
        }
        Block::Verdict(verdict) => callouts::verdict(page, verdict),
        Block::Grade(grade) => callouts::grade(page, grade),
        Block::Facts(of) => facts(page, of, "facts"),
        Block::Sealing(sealing, signed) => callouts::sealing(page, sealing.as_ref(), signed),
        Block::Section(of) => section(page, document, of),
        Block::Paragraph(said) => page.element("p", &[], |page| apart(page, said)),
        Block::Note(said) => page.class("p", "small faint note", |page| text(page, said)),
        Block::List(of) => list(page, of),
        Block::Table(of) => table(page, of),
        Block::Finding(finding) => callouts::finding(page, finding),
        Block::Suspects(suspects) => callouts::suspects(page, suspects),
        Block::Pictures(of) => pictures(page, of),
        Block::Cautions(all) => cautions(page, all),
        Block::Blanks(all) => blanks(page, all),
        Block::Boxes(of) => boxes(page, of),
        Block::InFull(inside) => blocks(page, document, inside),
    }
}

/// What it is about and what comes of it, in one frame.
fn head(page: &mut Writer, document: &Document, inside: &[Block]) {
    page.class("header", "sheet", |page| {
        page.class("div", "strip", |page| {
            page.element("b", &[], |page| page.letters("Trackpair"));
            page.element("span", &[], |page| page.letters(&document.kind));
        });
        for one in inside {
            match one {
                Block::Facts(of) => block_of_facts(page, of),
                other => block(page, document, other),
            }
        }
    });
}

/// The facts of a head, side by side, the first alone.
fn block_of_facts(page: &mut Writer, facts: &Facts) {
    page.class("dl", "block", |page| {
        for (k, fact) in facts.all.iter().enumerate() {
            page.class("div", if k == 0 { "wide" } else { "" }, |page| pair(page, fact));
        }
    });
}

fn pair(page: &mut Writer, fact: &Fact) {
    page.element("dt", &[], |page| text(page, &fact.name));
    page.element("dd", &[], |page| apart(page, &fact.text));
}

/// Names, each with its text.
pub fn facts(page: &mut Writer, facts: &Facts, class: &str) {
    page.class("dl", class, |page| facts.all.iter().for_each(|fact| pair(page, fact)));
}

fn section(page: &mut Writer, document: &Document, section: &Section) {
    let mut inside = page.section(section.title.letters());
    blocks(&mut inside, document, &section.blocks);
    if inside.is_empty() {
        return;
    }
    // No level is skipped: a part that stands in no chapter is headed as one.
    let (name, class, heading, heading_class) = match (section.level, page.headings().is_empty()) {
        (Level::Chapter, _) => ("section", "", "h2", ""),
        (Level::Part, true) => ("div", "part", "h2", "sub"),
        (Level::Part, false) => ("div", "part", "h3", "sub"),
    };
    page.class(name, class, |page| {
        page.class(heading, heading_class, |page| apart(page, &section.title));
        page.append(inside);
    });
}

fn list(page: &mut Writer, list: &List) {
    let points = |page: &mut Writer| {
        for point in &list.points {
            page.element("li", &[], |page| apart(page, point));
        }
    };
    match (list.numbered, list.aside) {
        (true, _) => page.class("ol", "notes small", points),
        (false, true) => page.class("ul", "list small", points),
        (false, false) => page.class("ul", "list", points),
    }
}

fn pictures(page: &mut Writer, pictures: &Pictures) {
    let all = |page: &mut Writer| pictures.all.iter().for_each(|plot| figure(page, plot, pictures.pairs));
    if pictures.pairs {
        page.class("div", "pairs keep", all);
    } else {
        all(page);
    }
}

fn figure(page: &mut Writer, plot: &Plot, in_pairs: bool) {
    page.class("figure", if in_pairs && plot.wide { "wide" } else { "" }, |page| {
        page.element("h3", &[], |page| text(page, &Text::from(&plot.title)));
        match &plot.narrow {
            None => page.picture(&plot.picture),
            Some(narrow) => {
                page.class("div", "broad", |page| page.picture(&plot.picture));
                page.class("div", "narrow", |page| page.picture(narrow));
            }
        }
        page.element("figcaption", &[], |page| text(page, &Text::from(&plot.caption)));
    });
}

fn cautions(page: &mut Writer, all: &[Text]) {
    page.class("section", "cautions", |page| {
        page.element("h2", &[], |page| page.letters("Cautions"));
        page.class("ul", "list", |page| {
            for caution in all {
                page.element("li", &[], |page| apart(page, caution));
            }
        });
    });
}

fn blanks(page: &mut Writer, all: &[Blank]) {
    page.class("div", "blanks", |page| {
        for blank in all {
            page.element("div", &[], |page| {
                page.letters(&format!("{}: ", blank.name));
                apart(page, &blank.known);
            });
        }
    });
}

fn boxes(page: &mut Writer, boxes: &Boxes) {
    page.class("div", "boxes", |page| {
        for (k, entry) in boxes.all.iter().enumerate() {
            let class = if k == 0 && boxes.first_alone { "alone" } else { "" };
            page.class("div", class, |page| {
                page.element("span", &[], |page| {
                    text(page, &entry.place);
                    if !entry.expected.is_empty() {
                        page.letters(": ");
                        page.element("strong", &[], |page| text(page, &entry.expected));
                    }
                    page.element("small", &[], |page| page.letters(&entry.id));
                });
                if entry.computed {
                    page.class("b", "none", |page| page.letters("computed"));
                } else {
                    page.element("b", &[], |page| page.letters(boxes.unit));
                }
            });
        }
    });
}
