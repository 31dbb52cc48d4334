//! The certificate: one page for the buyer of a part. What was tested and how, what was not, and no promise beyond it. Whatever an
//! outcome holds, it is one page: lists are cut, and say how much more the report holds.
//!
//! Every part that was judged gets one, for a paper that says OUTSIDE protects buyer and seller as much as one that says within;
//! a grade it bears only by the rules of its sheet. Where nothing of the part was judged there is nothing to certify.

use super::PdfError;
use super::blocks::{Setter, beside};
use super::colour::{FAINT, INK, RULE};
use super::figures::Verdicts;
use super::frame::Frame;
use super::piece::{Item, Piece};
use super::report::{finding_title, letterhead, sealing, verdict};
use super::rich::{Rich, Style};
use super::table::{Cell, Row, table};
use crate::outcome::{Outcome, OutcomeFigure, Stamp, margin_percent};
use crate::quantity::rounding;
use crate::report::letterhead::Letterhead;
use crate::report::people::{FindingRow, GradeWords, People};
use crate::report::provenance::Sealing;
use crate::report::rows::{FigureRow, Named};
use crate::report::text::capital;
use crate::report::text::{LABEL, plain};
use crate::report::words;
use crate::report::{Paper, Shop};
use crate::verdict::{NOT_LOOKED_AT, Verdict};

/// What a certificate is made of: all of it is in a stored record.
#[derive(Clone, Copy, Debug)]
pub struct CertificateInput<'a> {
    /// The outcome.
    pub outcome: &'a Outcome,
    /// What ties it to a sealed record; none for a judgement that is not kept.
    pub stamp: Option<&'a Stamp>,
    /// Who hands it over; none when nothing is configured.
    pub shop: Option<&'a Shop>,
}

/// What is not promised, in plain words.
const NO_PROMISE: &str = "This page says what one bench found on one day, within the uncertainties that it states. It promises nothing \
    beyond what was tested: not how long the part will last, not what heat, wet or vibration may bring out, and nothing about the \
    vehicle that it is fitted to.";

const QUIET: Style = Style::new(7.8);
/// Width of the titles at the left of what is said, points.
const TITLES: f32 = 92.0;

/// Characters of a grade that are shown: "Grade" and the longest name that a sheet may give.
const LONGEST_GRADE: usize = 18;
/// Characters of all cautions together, in characters of one sentence: the program's own, about 450, are never cut.
const CAUTIONS_OF_LETTERS: usize = 12;

/// How much is told before lists are cut.
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

/// The page's contents: the fullest that is no higher than `height`.
///
/// # Errors
/// [`PdfError::NothingJudged`], or a picture of the program's own can't be read back.
pub fn content(input: &CertificateInput<'_>, set: &Setter<'_>, height: f32) -> Result<Piece, PdfError> {
    if input.outcome.scope == "readiness" {
        return Err(PdfError::NothingJudged);
    }
    let people = People::of(input.outcome);
    let mut page = Piece::default();
    for detail in DETAILS {
        let parts = Page { input, set, people: &people, detail }.parts()?;
        page = Piece::joined(&parts);
        if page.height <= height {
            break;
        }
    }
    Ok(page)
}

/// Head and foot.
pub fn frame(input: &CertificateInput<'_>, paper: Paper) -> Frame {
    Frame::of(input.outcome, input.stamp, input.shop, "Trackpair, certificate of a bench test", paper)
}

struct Page<'a> {
    input: &'a CertificateInput<'a>,
    set: &'a Setter<'a>,
    people: &'a People,
    detail: Detail,
}

impl Page<'_> {
    fn parts(&self) -> Result<Vec<Piece>, PdfError> {
        let set = self.set;
        let mut parts = Vec::new();
        parts.extend(self.input.shop.and_then(Letterhead::of).map(|mut shop| {
            shop.address.truncate(self.detail.lines.max(3));
            shop.address.iter_mut().chain([&mut shop.name]).for_each(|line| *line = self.short(line));
            letterhead(set, &shop)
        }));
        let title = format!("Certificate of a bench test: {}", words::kind(&self.input.outcome.part.kind));
        parts.extend(set.paragraph(&Rich::new(plain(&title, LABEL), Style::new(13.0).bold()), 0.0));
        if let Some(banner) = &self.people.banner {
            let style = Style::new(9.5);
            let text = self.short(&banner.text);
            let text = Rich::new(format!("{}. ", banner.word), style.bold()).and(text, style);
            parts.push(set.framed(1.2, 5.0, |set| set.paragraph(&text, 0.0)).before(3.0));
        }
        parts.push(self.verdict_and_grade()?.before(5.0));
        let said = self.said();
        let rows = [
            ("Part and test", said.facts_beside(&self.facts(), 74.0, QUIET)),
            ("Why", self.bullets(&self.why(), self.detail.lines)),
            ("What was tested, and how", said.paragraph(&Rich::new(self.tested().join(" "), QUIET), 0.0)),
            ("Nearest to their limits", self.margins()?),
            ("Defects found", self.findings()),
            ("Not tested, or would have been missed", self.bullets(&self.not_tested(), self.detail.lines)),
            ("No promise beyond that", said.paragraph(&Rich::new(NO_PROMISE, QUIET), 0.0)),
            ("Cautions", said.paragraph(&Rich::new(self.cautions(), QUIET), 0.0)),
        ];
        parts.extend(
            rows.iter().filter(|(_, said)| !said.is_empty()).map(|(title, said)| self.row(title, said)),
        );
        parts.push(self.seal_and_signature()?.before(8.0));
        Ok(parts)
    }

    /// The column beside the titles.
    const fn said(&self) -> Setter<'_> {
        Setter { fonts: self.set.fonts, width: self.set.width - TITLES }
    }

    /// A title at the left of what is said, under a thin rule.
    fn row(&self, title: &str, said: &[Piece]) -> Piece {
        const ABOVE: f32 = 4.0;
        let titles = Setter { width: TITLES - 10.0, ..*self.set };
        let title = Piece::joined(&titles.paragraph(&Rich::new(title, QUIET.bold()), 0.0));
        let whole = beside(&[(0.0, title), (TITLES, Piece::joined(said))]);
        let rule = Item::Rule { from: (0.0, 0.0), to: (self.set.width, 0.0), width: 0.5, colour: RULE };
        let items = whole.items.iter().map(|i| i.moved((0.0, ABOVE)));
        let items = std::iter::once(rule).chain(items).collect();
        Piece { height: whole.height + ABOVE, before: ABOVE, items, ..Piece::default() }
    }

    fn verdict_and_grade(&self) -> Result<Piece, PdfError> {
        const GRADE: f32 = 150.0;
        let (set, people) = (self.set, self.people);
        let Some(grade) = &people.grade else {
            return verdict(set, people.verdict, people.headline, people.advice, 0.78);
        };
        let left = Setter { width: set.width - GRADE - 8.0, ..*set };
        let word = verdict(&left, people.verdict, people.headline, people.advice, 0.78)?;
        let room = Setter { width: GRADE, ..*set };
        let mut mark = room.framed(1.2, 9.0, |set| self.grade_words(set, grade));
        // Both frames are as high as the higher one.
        let high = word.height.max(mark.height);
        let mut word = word;
        for piece in [&mut word, &mut mark] {
            if let Some(Item::Frame { size, width, .. }) = piece.items.first_mut() {
                size.1 = high - *width;
            }
            piece.height = high;
        }
        Ok(beside(&[(0.0, word), (set.width - GRADE, mark)]))
    }

    fn grade_words(&self, set: &Setter<'_>, grade: &GradeWords) -> Vec<Piece> {
        let headline: String = grade.headline.chars().take(LONGEST_GRADE).collect();
        let mut words = set.paragraph(&Rich::new(headline, Style::new(15.0).bold()), 0.0);
        let none = "no rule of the part sheet is met";
        let title = if grade.title.is_empty() { none } else { &grade.title };
        words.extend(set.paragraph(&Rich::new(self.short(title), QUIET), 1.0));
        words
    }

    fn facts(&self) -> Vec<Named> {
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
        facts
            .map(|(name, text)| Named { name: name.to_owned(), text: self.short(&plain(&text, LABEL)) })
            .to_vec()
    }

    /// Reasons of a verdict that clears nothing, what nothing looked at, and what kept a part from a better grade.
    fn why(&self) -> Vec<String> {
        let grade = self.people.grade.iter().flat_map(|g| &g.why);
        let clears = self.input.outcome.verdict == Verdict::Within;
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
        let count = |verdict| outcome.figures.iter().filter(|f| f.verdict == Some(verdict)).count();
        let judged = outcome.figures.iter().filter(|f| f.verdict.is_some()).count();
        let counts =
            [(Verdict::Within, "within"), (Verdict::Undecided, "undecided"), (Verdict::Outside, "outside")];
        let counts: Vec<String> = counts
            .into_iter()
            .map(|(v, word)| (count(v), word))
            .filter(|(n, _)| *n > 0)
            .map(|(n, word)| format!("{n} {word}"))
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
        all.push(match judged {
            0 => "No figure was held against a limit.".to_owned(),
            n => format!("Figures held against a limit, with their uncertainty: {n}; {}.", counts.join(", ")),
        });
        all
    }

    /// Figures nearest to their limits, or beyond them.
    fn margins(&self) -> Result<Vec<Piece>, PdfError> {
        let mut judged: Vec<(&OutcomeFigure, &FigureRow)> = self
            .input
            .outcome
            .figures
            .iter()
            .zip(&self.people.figures)
            .filter(|(f, _)| f.verdict.is_some())
            .collect();
        if judged.is_empty() {
            return Ok(Vec::new());
        }
        let rank = |f: &OutcomeFigure| match f.verdict {
            Some(Verdict::Outside) => 0,
            Some(Verdict::Undecided) => 1,
            _ => 2,
        };
        let margin = |f: &OutcomeFigure| margin_percent(f).unwrap_or(f64::INFINITY);
        judged.sort_by(|a, b| rank(a.0).cmp(&rank(b.0)).then(margin(a.0).total_cmp(&margin(b.0))));
        let verdicts = Verdicts::new()?;
        let cell = |text: String| Cell::text(Rich::new(text, QUIET));
        let rows: Vec<Row> = judged
            .iter()
            .take(self.detail.figures)
            .map(|(figure, row)| Row {
                cells: vec![
                    cell(row.full_name()),
                    cell(row.value.clone()),
                    cell(row.limit.clone()),
                    cell(margin_words(figure)),
                    Cell(vec![verdicts.word(row.verdict)]),
                ],
                begins: false,
                keep: true,
            })
            .collect();
        let head = ["figure", "value ± uncertainty", "limit", "margin", "verdict"];
        let head = head.map(|n| Rich::new(n, QUIET.bold())).to_vec();
        let mut parts = table(&self.said(), &[0.33, 0.23, 0.19, 0.1, 0.15], head, &rows);
        let left = judged.len() - rows.len();
        let more = if left > 0 { format!("… and {left} more in the report. ") } else { String::new() };
        let reading = format!(
            "{more}Uncertainties: 95 %, k = 2. Margin: what is left to the limit after the uncertainty, in % of half the tolerance, or of the limit where there is one only."
        );
        parts.extend(self.said().paragraph(&Rich::new(reading, QUIET.colour(FAINT)), 2.0));
        Ok(parts)
    }

    fn findings(&self) -> Vec<Piece> {
        if self.people.findings.is_empty() {
            return self.said().paragraph(&Rich::new("None was located.", QUIET), 0.0);
        }
        let told =
            |f: &FindingRow| format!("{} (confidence {}; {})", finding_title(f), f.confidence, f.weight);
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

    /// A list of so many points at most; how many more there are is said.
    fn bullets(&self, all: &[String], most: usize) -> Vec<Piece> {
        let mut told: Vec<String> = all.iter().take(most).map(|text| self.short(text)).collect();
        if all.len() > told.len() {
            told.push(format!("… and {} more in the report", all.len() - told.len()));
        }
        self.said().list(&told, QUIET).into_iter().map(|p| Piece { before: p.before * 0.5, ..p }).collect()
    }

    /// Cautions are told whole while an outcome brings no more of them than it should.
    fn cautions(&self) -> String {
        let all = words::cautions(self.input.outcome).join(" ");
        let cut: String = all.chars().take(CAUTIONS_OF_LETTERS * self.detail.letters).collect();
        if cut.len() == all.len() { cut } else { format!("{}…", cut.trim_end()) }
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

    /// What ties the page to its record, and room for a hand.
    fn seal_and_signature(&self) -> Result<Piece, PdfError> {
        const ROOM: f32 = 24.0;
        let seal = self.input.stamp.map(|stamp| sealing(self.set, &Sealing::of(stamp), 92.0)).transpose()?;
        let words =
            |text: &str| Piece::joined(&self.set.paragraph(&Rich::new(text, QUIET.colour(FAINT)), 0.0));
        let from = if seal.is_some() { 102.0 } else { 0.0 };
        let length = (self.set.width - from - 20.0) / 2.0;
        let second = from + length + 20.0;
        let mut hand =
            beside(&[(from, words("for the shop: name and signature")), (second, words("place and date"))]);
        let rule = |x: f32| Item::Rule { from: (x, 0.0), to: (x + length, 0.0), width: 0.6, colour: INK };
        hand.items.extend([rule(from), rule(second)]);
        let Some(seal) = seal else {
            return Ok(Piece::joined(&[Piece { height: ROOM, ..Piece::default() }, hand]));
        };
        // The signature stands in the room that the code leaves beside it.
        let top = (seal.height - hand.height).max(0.0);
        let items = hand.items.iter().map(|i| i.moved((0.0, top)));
        Ok(Piece { items: seal.items.iter().cloned().chain(items).collect(), ..seal })
    }
}

/// A margin in whole percent, rounded toward what is worse.
fn margin_words(figure: &OutcomeFigure) -> String {
    margin_percent(figure)
        .map_or("–".to_owned(), |m| format!("{} %", rounding::fixed((m + 1e-9).floor(), 0)))
}
