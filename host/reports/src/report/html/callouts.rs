//! What stands out of a page's text: who hands it over, the verdict, the grade, findings, suspects, and what ties it to its record.

use super::blocks::facts;
use super::writer::Writer;
use super::{apart, class_of, sign, text};
use crate::report::document::{Finding, Grade, Sealing, Suspect, Suspects, Text, Verdict};
use crate::report::letterhead::Letterhead;

/// Who hands it over.
pub fn letterhead(page: &mut Writer, shop: &Letterhead) {
    page.class("div", "shop", |page| {
        page.element("div", &[], |page| {
            if !shop.name.is_empty() {
                page.class("p", "name", |page| apart(page, &Text::from(&shop.name)));
            }
            for line in &shop.address {
                page.class("p", "small faint", |page| apart(page, &Text::from(line)));
            }
        });
        if let Some(logo) = &shop.logo {
            page.empty("img", &[("src", &logo.data_url()), ("alt", "logo")]);
        }
    });
}

/// What comes of it, and why.
pub fn verdict(page: &mut Writer, verdict: &Verdict) {
    page.class("div", &format!("verdict {}", class_of(verdict.mark)), |page| {
        sign(page, verdict.mark);
        page.element("div", &[], |page| {
            let element = page.title();
            page.class(element, "word", |page| page.letters(&verdict.word));
            page.class("p", "advice", |page| apart(page, &verdict.meaning));
        });
    });
    if !verdict.reasons.is_empty() {
        page.class("ul", "reasons", |page| {
            for reason in &verdict.reasons {
                page.element("li", &[], |page| text(page, reason));
            }
        });
    }
}

/// The grade beside why.
pub fn grade(page: &mut Writer, grade: &Grade) {
    page.class("div", "grade", |page| {
        page.class("p", "mark", |page| page.letters(&grade.headline));
        page.element("div", &[], |page| {
            if !grade.title.is_empty() {
                page.element("p", &[], |page| page.letters(&grade.title));
            }
            if !grade.why.is_empty() {
                page.class("ul", "list small", |page| {
                    for why in &grade.why {
                        page.element("li", &[], |page| page.letters(why));
                    }
                });
            }
            if let Some(source) = grade.source() {
                page.class("p", "small faint", |page| page.letters(&source));
            }
        });
    });
}

/// What ties it to its record, and where hands sign.
pub fn sealing(page: &mut Writer, sealing: Option<&Sealing>, signed: &[&str]) {
    if let Some(sealing) = sealing {
        page.element("section", &[], |page| {
            if signed.is_empty() {
                page.element("h2", &[], |page| page.letters(Sealing::TITLE));
            }
            page.class("div", "sealing", |page| {
                if let Some(code) = &sealing.code {
                    page.class("div", "code", |page| page.own(code));
                }
                page.element("div", &[], |page| {
                    facts(page, &sealing.facts, "facts num");
                    page.class("p", "small", |page| text(page, &Sealing::how()));
                });
            });
        });
    }
    if !signed.is_empty() {
        page.class("div", "blanks signed", |page| {
            for line in signed {
                page.class("div", "small faint", |page| page.letters(line));
            }
        });
    }
}

/// A finding under its number.
pub fn finding(page: &mut Writer, finding: &Finding) {
    page.class("article", "finding", |page| {
        page.class("div", "tag", |page| page.letters(&finding.number.to_string()));
        page.element("div", &[], |page| {
            page.element("h3", &[], |page| page.letters(&finding.title()));
            page.element("p", &[], |page| page.letters(&finding.text));
            page.class("p", "small faint", |page| page.letters(&finding.sure(true)));
            if let Some(next) = finding.next() {
                page.class("p", "next", |page| text(page, &next));
            }
        });
    });
}

/// Every suspect.
pub fn suspects(page: &mut Writer, suspects: &Suspects) {
    suspects.all.iter().for_each(|one| suspect(page, one));
}

fn suspect(page: &mut Writer, suspect: &Suspect) {
    page.class("article", "suspect", |page| {
        page.element("h3", &[], |page| page.letters(&suspect.heading));
        for line in suspect.said() {
            page.class("p", "small", |page| text(page, &line));
        }
        page.class("p", "next", |page| text(page, &suspect.next()));
    });
}
