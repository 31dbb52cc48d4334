//! What stands out of the text on paper: who hands it over, verdict and grade, findings, suspects, and what ties it to its record.

use super::PdfError;
use super::blocks::{BODY, QUIET, SMALL, Setter, beside};
use super::colour::{FAINT, INK, mark_colour};
use super::element::Role;
use super::picture::{self, Picture};
use super::piece::{Item, Piece, keep_together};
use super::rich::{Rich, Style};
use super::setting::{Setting, facts_beside, rich};
use super::tags::within;
use crate::report::document::{Finding, Grade, Sealing, Suspect, Suspects, Text, Verdict};
use crate::report::letterhead::Letterhead;
use crate::report::text::capital;

/// A code, for those who do not see it.
const CODE: &str = "QR code with record, fingerprint, key and signature";
/// Least width of a finding's number, points.
const TAG: f32 = 15.0;
/// From the left edge to a finding's text, points.
const INDENT: f32 = 26.0;
/// Width of a grade beside a verdict, points.
const GRADE: f32 = 150.0;

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

/// The word that stands largest, with its sign and what it means; `scale` is 1 on a report.
pub fn verdict(setting: &Setting<'_>, verdict: &Verdict, scale: f32) -> Piece {
    let side = 40.0 * scale;
    let sign = setting.signs.of(verdict.mark);
    let indent = if sign.is_some() { side + 14.0 } else { 0.0 };
    setting.set.framed(1.2, 11.0 * scale, |set| {
        let narrow = Setter { width: set.width - indent, ..*set };
        let word = Style::new(25.0 * scale).bold().colour(mark_colour(verdict.mark));
        let role = if setting.titled { Role::H2 } else { Role::H1 };
        let meaning = rich(&verdict.meaning, Style::new(12.0 * scale));
        let words = [
            within(role, narrow.paragraph(&Rich::new(verdict.word.to_uppercase(), word), 0.0)),
            within(Role::P, narrow.paragraph(&meaning, 0.0)),
        ];
        let words = Piece::joined(&words.concat());
        let sign = sign.iter().map(|s| {
            let items = vec![s.item((0.0, 4.0 * scale), side)];
            (0.0, Piece { height: side, items, ..Piece::default() })
        });
        vec![beside(&sign.chain([(indent, words.clone())]).collect::<Vec<_>>())]
    })
}

/// The grade in a frame of its own, and why.
pub fn grade(setting: &Setting<'_>, grade: &Grade) -> Vec<Piece> {
    const MARK: f32 = 86.0;
    const INDENT: f32 = MARK + 14.0;
    let set = &setting.set;
    let mark = Setter { width: MARK, ..*set };
    let headline = Rich::new(grade.headline.clone(), Style::new(11.5).bold());
    let mark = mark.framed(1.0, 6.0, |set| within(Role::P, set.paragraph(&headline, 0.0)));
    let narrow = setting.narrow(set.width - INDENT);
    let mut said = within(Role::P, narrow.set.paragraph(&Rich::new(grade.title.clone(), BODY), 0.0));
    said.extend(narrow.points(grade.why.iter().map(|why| Rich::new(why.clone(), SMALL)), SMALL));
    if let Some(source) = grade.source() {
        said.extend(within(Role::P, narrow.set.paragraph(&Rich::new(source, SMALL.colour(FAINT)), 2.0)));
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

/// Verdict and grade side by side, for a single page.
pub fn verdict_and_grade(setting: &Setting<'_>, of: &Verdict, grade: &Grade) -> Piece {
    let width = setting.set.width;
    let word = verdict(&setting.narrow(width - GRADE - 8.0), of, 0.78);
    let mark = Setter { width: GRADE, ..setting.set }.framed(1.2, 9.0, |set| {
        let headline = Rich::new(grade.headline.clone(), Style::new(15.0).bold());
        let title = Rich::new(grade.title.clone(), QUIET);
        [&headline, &title].map(|text| within(Role::P, set.paragraph(text, 0.0))).concat()
    });
    // Both frames are as high as the higher one.
    let high = word.height.max(mark.height);
    let stretched = |mut piece: Piece| {
        if let Some(Item::Frame { size, width, .. }) = piece.items.first_mut() {
            size.1 = high - *width;
        }
        Piece { height: high, ..piece }
    };
    beside(&[(0.0, stretched(word)), (width - GRADE, stretched(mark))])
}

/// Fingerprint and code of a sealed record, the code `side` points wide.
///
/// # Errors
/// The code is no picture.
pub fn sealing(set: &Setter<'_>, sealing: &Sealing, side: f32) -> Result<Piece, PdfError> {
    const TINY: Style = Style::new(7.4);
    let code = sealing.code.as_deref().map(Picture::of).transpose()?.map(|code| code.named(CODE));
    let indent = if code.is_some() { side + 10.0 } else { 0.0 };
    let narrow = Setter { width: set.width - indent, ..*set };
    let mut words = facts_beside(&narrow, &sealing.facts, 58.0, TINY);
    words.extend(within(Role::P, narrow.paragraph(&rich(&Sealing::how(), TINY), 5.0)));
    let drawn = code
        .iter()
        .map(|c| (0.0, Piece { height: side, items: vec![c.figure((0.0, 0.0), side)], ..Piece::default() }));
    let columns: Vec<_> = drawn.chain([(indent, Piece::joined(&words))]).collect();
    Ok(beside(&columns))
}

/// What ties a page to its record, and room for hands.
///
/// # Errors
/// The code is no picture.
pub fn signed(set: &Setter<'_>, seal: Option<&Sealing>, lines: &[&str]) -> Result<Piece, PdfError> {
    const ROOM: f32 = 24.0;
    const BETWEEN: f32 = 20.0;
    let seal = seal.map(|seal| sealing(set, seal, 92.0)).transpose()?;
    let from = if seal.is_some() { 102.0 } else { 0.0 };
    let step = (set.width - from + BETWEEN) / lines.len().max(1) as f32;
    let words = |text: &str| Piece::joined(&set.paragraph(&Rich::new(text, QUIET.colour(FAINT)), 0.0));
    let at = |k: usize| from + k as f32 * step;
    let columns: Vec<(f32, Piece)> = lines.iter().enumerate().map(|(k, line)| (at(k), words(line))).collect();
    let mut hand = beside(&columns);
    let rule = |x: f32| Item::Rule { from: (x, 0.0), to: (x + step - BETWEEN, 0.0), width: 0.6, colour: INK };
    hand.items.extend((0..lines.len()).map(|k| rule(at(k))));
    let Some(seal) = seal else {
        return Ok(Piece::joined(&[Piece { height: ROOM, ..Piece::default() }, hand]));
    };
    // The signature stands in the room that the code leaves beside it.
    let top = (seal.height - hand.height).max(0.0);
    let items = hand.items.iter().map(|i| i.moved((0.0, top)));
    Ok(Piece { items: seal.items.iter().cloned().chain(items).collect(), ..seal })
}

/// A finding beside its number; no page end cuts it.
pub fn finding(setting: &Setting<'_>, finding: &Finding) -> Vec<Piece> {
    let set = &setting.set;
    let narrow = setting.narrow(set.width - INDENT);
    let title = Rich::new(capital(&finding.title()), Style::new(10.0).bold());
    let mut pieces = within(Role::H3, numbered(&narrow.set.paragraph(&title, 0.0), set, finding.number));
    pieces.extend(narrow.paragraph(&Text::from(capital(&finding.text)), BODY, 1.0));
    pieces.extend(narrow.paragraph(&finding.sure(true).into(), SMALL.colour(FAINT), 1.5));
    pieces.extend(finding.next().map(|next| marked(&narrow.set, &next)));
    let mut pieces: Vec<Piece> = pieces.iter().map(|p| p.indented(INDENT)).collect();
    if let Some(first) = pieces.first_mut() {
        first.before = 8.0;
    }
    keep_together(&mut pieces);
    pieces
}

/// A finding's title with its number in a box left of it.
fn numbered(title: &[Piece], set: &Setter<'_>, number: usize) -> Vec<Piece> {
    let mut pieces = title.to_vec();
    let (number, style) = (number.to_string(), Style::new(9.0).bold());
    let own = set.fonts.width(&number, true, style.size);
    let wide = own.max(TAG - 6.0) + 6.0;
    if let Some(first) = pieces.first_mut() {
        let at = (0.5 + (wide - own) / 2.0 - INDENT, 10.0);
        let tag = [
            Item::Frame { at: (0.5 - INDENT, 0.0), size: (wide, 13.5), width: 1.0 },
            Item::Text { at, text: number, style },
        ];
        first.items.splice(0..0, tag);
    }
    pieces
}

/// Every suspect; no page end cuts one.
pub fn suspects(setting: &Setting<'_>, suspects: &Suspects) -> Vec<Piece> {
    suspects.all.iter().flat_map(|one| suspect(setting, one)).collect()
}

fn suspect(setting: &Setting<'_>, suspect: &Suspect) -> Vec<Piece> {
    let title = Rich::new(capital(&suspect.heading), Style::new(10.0).bold());
    let mut block = within(Role::H3, setting.set.paragraph(&title, 0.0));
    for line in suspect.said() {
        block.extend(setting.paragraph(&line, SMALL, 1.5));
    }
    block.push(marked(&setting.set, &suspect.next()));
    keep_together(&mut block);
    if let Some(first) = block.first_mut() {
        first.before = 8.0;
    }
    block
}

/// What to do, with a rule at its left.
fn marked(set: &Setter<'_>, text: &Text) -> Piece {
    let narrow = Setter { width: set.width - 9.0, ..*set };
    let said = within(Role::P, narrow.paragraph(&rich(text, BODY), 0.0));
    let mut piece = Piece::joined(&said).indented(9.0).before(3.5);
    piece.items.push(Item::Rule { from: (1.0, 0.0), to: (1.0, piece.height), width: 2.0, colour: INK });
    piece
}
