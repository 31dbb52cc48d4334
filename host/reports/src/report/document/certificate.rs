//! The certificate: one page for the buyer of a part. What was tested and how, what was not, and no promise beyond it. Whatever an
//! outcome holds, it is one page: its shorter editions cut lists and sentences, and say how much more the report holds.
//!
//! Every part that was judged gets one, for a paper that says OUTSIDE protects buyer and seller as much as one that says within;
//! a grade it bears only by the rules of its sheet. Where nothing of the part was judged there is nothing to certify.

use super::report::simulated;
use super::table::{Cell, Mark, Row, Table, columns};
use super::text::{Text, texts};
use super::{
    Banner, Block, Document, Fact, Facts, Finding, Grade, Layout, List, Topic, Verdict, about, chapter,
};
use crate::outcome::{OutcomeFigure, margin_percent};
use crate::quantity::rounding;
use crate::report::CertificateInput;
use crate::report::format::NOTHING;
use crate::report::letterhead::Letterhead;
use crate::report::people::People;
use crate::report::provenance::sealing;
use crate::report::rows::{FigureRow, Named};
use crate::report::text::{LABEL, capital, plain};
use crate::report::words;
use crate::verdict::{self, NOT_LOOKED_AT};

/// Why there is no certificate.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error("a self-check judges no part, so there is nothing to certify; qualify the part first")]
pub struct NothingJudged;

/// What is not promised, in plain words.
const NO_PROMISE: &str = "This page says what one bench found on one day, within the uncertainties that it states. It promises nothing \
    beyond what was tested: not how long the part will last, not what heat, wet or vibration may bring out, and nothing about the \
    vehicle that it is fitted to.";

/// How margins are to be read.
const MARGINS: &str = "Uncertainties: 95 %, k = 2. Margin: what is left to the limit after the uncertainty, in % of half the tolerance, or \
    of the limit where there is one only.";

/// Where hands sign.
const SIGNED: [&str; 2] = ["for the shop: name and signature", "place and date"];

/// Characters of a grade that are shown: "Resale grade:" and the longest name that a sheet may give.
const LONGEST_GRADE: usize = 26;
/// Characters of all cautions together, in characters of one sentence: the program's own, about 450, are never cut.
const CAUTIONS_OF_LETTERS: usize = 12;

/// How much is printed before lists are cut.
#[derive(Clone, Copy, Debug)]
struct Detail {
    figures: usize,
    findings: usize,
    lines: usize,
    /// Characters of one sentence.
    letters: usize,
}

/// From the fullest to one that fits whatever there is.
const DETAILS: [Detail; 9] = [
    Detail { figures: 14, findings: 6, lines: 8, letters: 400 },
    Detail { figures: 10, findings: 6, lines: 6, letters: 300 },
    Detail { figures: 8, findings: 5, lines: 5, letters: 240 },
    Detail { figures: 7, findings: 4, lines: 4, letters: 180 },
    Detail { figures: 6, findings: 4, lines: 3, letters: 140 },
    Detail { figures: 5, findings: 3, lines: 3, letters: 95 },
    Detail { figures: 3, findings: 3, lines: 2, letters: 90 },
    Detail { figures: 2, findings: 2, lines: 1, letters: 85 },
    Detail { figures: 1, findings: 1, lines: 1, letters: 40 },
];

/// The certificate with its shorter editions.
///
/// # Errors
/// A self-check alone says nothing of the part.
pub fn certificate(input: &CertificateInput<'_>) -> Result<Document, NothingJudged> {
    let outcome = input.outcome;
    if outcome.scope == "readiness" {
        return Err(NothingJudged);
    }
    let people = People::of(outcome);
    let mut editions = DETAILS.map(|detail| Edition { input, people: &people, detail }.blocks()).into_iter();
    Ok(Document {
        kind: "certificate of a bench test".to_owned(),
        title: format!("{}: {}", people.label, people.headline),
        subject: people.label.clone(),
        simulated: simulated(outcome.simulated),
        layout: Layout::OnePage,
        blocks: editions.next().unwrap_or_default(),
        shorter: editions.collect(),
    })
}

struct Edition<'a> {
    input: &'a CertificateInput<'a>,
    people: &'a People,
    detail: Detail,
}

impl Edition<'_> {
    fn blocks(&self) -> Vec<Block> {
        let kind = words::kind(&self.input.outcome.part.kind);
        let title = plain(&format!("Certificate of a bench test: {kind}"), LABEL);
        let mut blocks = Vec::new();
        blocks.extend(self.letterhead().map(Block::Letterhead));
        blocks.push(Block::Title(title.into()));
        let banner = self.people.banner.clone();
        blocks
            .extend(banner.map(|banner| Block::Banner(Banner { text: self.short(&banner.text), ..banner })));
        blocks.push(self.head());
        blocks.extend([
            chapter("Part and test", vec![Block::Facts(Facts::new(self.facts()))]),
            chapter("Why", self.bullets(&self.why(), self.detail.lines)),
            chapter("What was tested, and how", vec![Block::Paragraph(self.tested().join(" ").into())]),
            about(Topic::Figures, "Nearest to their limits", self.margins()),
            about(Topic::Findings, "Defects found", self.findings()),
            about(
                Topic::NotTested,
                "Not tested, or would have been missed",
                self.bullets(&self.not_tested(), self.detail.lines),
            ),
            chapter("No promise beyond that", vec![Block::Paragraph(NO_PROMISE.into())]),
            Block::Cautions(self.cautions()),
        ]);
        blocks.push(Block::Sealing(self.input.stamp.map(sealing), SIGNED.to_vec()));
        blocks
    }

    fn letterhead(&self) -> Option<Letterhead> {
        let mut shop = self.input.shop.and_then(Letterhead::of)?;
        shop.address.truncate(self.detail.lines.max(3));
        shop.address.iter_mut().chain([&mut shop.name]).for_each(|line| *line = self.short(line));
        Some(shop)
    }

    fn head(&self) -> Block {
        let people = self.people;
        let verdict = Verdict {
            mark: Mark::of(people.verdict),
            word: people.headline.to_owned(),
            meaning: people.advice.into(),
            reasons: Vec::new(),
        };
        let grade = people.grade.as_ref().map(|grade| Grade {
            headline: grade.headline.chars().take(LONGEST_GRADE).collect(),
            title: self.short(&grade.title),
            why: Vec::new(),
            source: String::new(),
        });
        Block::Head([Block::Verdict(verdict)].into_iter().chain(grade.map(Block::Grade)).collect())
    }

    fn facts(&self) -> Vec<Fact> {
        let outcome = self.input.outcome;
        let rig = outcome.rig.as_ref().map_or("none; the recording came from a file".to_owned(), |rig| {
            format!("{}, serial {}, firmware {}", rig.model, rig.serial, rig.firmware)
        });
        let version = |name: &str| outcome.versions.get(name).map_or("unknown", String::as_str);
        let judged = format!(
            "{}, trackpair {}, analysis {}",
            words::time(&outcome.judged),
            version("trackpair"),
            version("analysis")
        );
        let facts = [
            ("part", self.people.label.clone()),
            ("recorded", words::time(&outcome.recorded)),
            ("on the rig", rig),
            ("judged", judged),
            ("by part sheet", format!("{}: {}", outcome.sheet.name, outcome.sheet.title)),
        ];
        facts.map(|(name, text)| Fact::new(name, self.short(&plain(&text, LABEL)))).to_vec()
    }

    /// Reasons of a verdict that clears nothing, what nothing looked at, and what kept a part from a better grade.
    fn why(&self) -> Vec<String> {
        let grade = self.people.grade.iter().flat_map(|g| &g.why);
        let clears = self.input.outcome.verdict == verdict::Verdict::Within;
        let reasons = self.people.reasons.iter().filter(|r| !clears || r.starts_with(NOT_LOOKED_AT));
        reasons.chain(grade).map(|text| capital(text)).collect()
    }

    fn tested(&self) -> Vec<String> {
        let outcome = self.input.outcome;
        let ran: Vec<String> = outcome
            .procedures
            .iter()
            .map(|p| {
                let name = plain(&words::procedure(&p.procedure), LABEL);
                if p.end == "complete" {
                    name
                } else {
                    format!("{name} ({})", plain(&words::end(&p.end), LABEL))
                }
            })
            .collect();
        let scope = match outcome.scope.as_str() {
            "part" => "The whole part was to be judged.".to_owned(),
            scope => {
                format!("Only {} was judged, nothing else of the part.", plain(&words::scope(scope), LABEL))
            }
        };
        let mut all = vec![scope];
        if !ran.is_empty() {
            all.push(self.short(&format!("Procedures: {}.", ran.join(", "))));
        }
        all.push(self.counts());
        all
    }

    /// How many figures were held against a limit, and what came of it.
    fn counts(&self) -> String {
        use verdict::Verdict::{Outside, Undecided, Within};
        let figures = || self.input.outcome.figures.iter().filter_map(|f| f.verdict);
        let counts: Vec<String> = [(Within, "within"), (Undecided, "undecided"), (Outside, "outside")]
            .into_iter()
            .map(|(verdict, word)| (figures().filter(|v| *v == verdict).count(), word))
            .filter(|(count, _)| *count > 0)
            .map(|(count, word)| format!("{count} {word}"))
            .collect();
        match figures().count() {
            0 => "No figure was held against a limit.".to_owned(),
            n => format!("Figures held against a limit, with their uncertainty: {n}; {}.", counts.join(", ")),
        }
    }

    /// Figures nearest to their limits, or beyond them.
    fn margins(&self) -> Vec<Block> {
        let figures = self.input.outcome.figures.iter().zip(&self.people.figures);
        let mut judged: Vec<(&OutcomeFigure, &FigureRow)> =
            figures.filter(|(f, _)| f.verdict.is_some()).collect();
        if judged.is_empty() {
            return Vec::new();
        }
        let rank = |f: &OutcomeFigure| match f.verdict {
            Some(verdict::Verdict::Outside) => 0,
            Some(verdict::Verdict::Undecided) => 1,
            _ => 2,
        };
        let margin = |f: &OutcomeFigure| margin_percent(f).unwrap_or(f64::INFINITY);
        judged.sort_by(|a, b| rank(a.0).cmp(&rank(b.0)).then(margin(a.0).total_cmp(&margin(b.0))));
        let row = |(figure, row): &(&OutcomeFigure, &FigureRow)| {
            Row::new(vec![
                Cell::new(row.full_name()),
                Cell::new(&row.value),
                Cell::new(&row.limit).brief(&row.limit_number),
                Cell::new(margin_words(figure)),
                Cell::verdict(row.verdict),
            ])
        };
        let rows: Vec<Row> = judged.iter().take(self.detail.figures).map(row).collect();
        let left = judged.len() - rows.len();
        let more = if left > 0 { format!("… and {left} more in the report. ") } else { String::new() };
        let mut columns = columns(["figure", "value ± uncertainty", "limit", "margin", "verdict"]);
        for (column, share) in columns.iter_mut().zip([0.33, 0.23, 0.19, 0.1, 0.15]) {
            column.share = Some(share);
        }
        vec![Block::Table(Table::new(columns, rows)), Block::Note(format!("{more}{MARGINS}").into())]
    }

    fn findings(&self) -> Vec<Block> {
        if self.people.findings.is_empty() {
            return vec![Block::Paragraph("None was located.".into())];
        }
        let told =
            |f: &Finding| format!("{} (confidence {}; {})", capital(&f.title()), f.confidence, f.weight);
        let told: Vec<String> = self.people.findings.iter().map(told).collect();
        self.bullets(&told, self.detail.findings)
    }

    fn not_tested(&self) -> Vec<String> {
        let people = self.people;
        let said = |n: &Named| capital(&format!("{}: {}", n.name, n.text));
        let gaps = people.gaps.iter().map(|g| format!("Gap in the recording: {g}"));
        let short = people.cut_short.iter().map(|c| format!("Not done to its end: {c}"));
        let mut all: Vec<String> = short.chain(gaps).chain(people.not_testable.iter().map(said)).collect();
        all.extend(people.missed.iter().map(said));
        if all.is_empty() {
            all.push("Nothing that the part sheet asks for was left out.".to_owned());
        }
        all
    }

    /// A list of so many points at most; then how many more there are.
    fn bullets(&self, all: &[String], most: usize) -> Vec<Block> {
        let mut told: Vec<String> = all.iter().take(most).map(|text| self.short(text)).collect();
        if all.len() > told.len() {
            told.push(format!("… and {} more in the report", all.len() - told.len()));
        }
        if told.is_empty() { Vec::new() } else { vec![Block::List(List::new(texts(told)))] }
    }

    /// Cautions are printed whole while an outcome brings no more of them than it should.
    fn cautions(&self) -> Vec<Text> {
        let mut room = CAUTIONS_OF_LETTERS * self.detail.letters;
        let mut told = Vec::new();
        for caution in words::cautions(self.input.outcome) {
            let cut: String = caution.chars().take(room).collect();
            let whole = cut.len() == caution.len();
            room -= cut.chars().count();
            told.push(if whole { caution } else { format!("{}…", cut.trim_end()) });
            if !whole {
                break;
            }
        }
        texts(told)
    }

    /// A sentence cut to what there is room for, at the end of a word; that it was cut is seen.
    fn short(&self, text: &str) -> String {
        let cut: String = text.chars().take(self.detail.letters).collect();
        if cut.len() == text.len() {
            return cut;
        }
        let whole_words = cut.rsplit_once(' ').map_or(cut.as_str(), |(words, _)| words);
        format!("{}…", whole_words.trim_end_matches([' ', ',', ';', ':']))
    }
}

/// A margin in whole percent, rounded toward what is worse.
fn margin_words(figure: &OutcomeFigure) -> String {
    margin_percent(figure)
        .map_or(NOTHING.to_owned(), |m| format!("{} %", rounding::fixed((m + 1e-9).floor(), 0)))
}
