//! A document as pieces of paper: a function for each kind of block, in the order of the document. It chooses no words.

use super::PdfError;
use super::blocks::{BODY, SMALL, Setter, beside};
use super::callouts;
use super::colour::{FAINT, RULE};
use super::element::Role;
use super::forms;
use super::picture::Picture;
use super::piece::{Item, Piece, keep_together};
use super::rich::{Rich, Style};
use super::setting::{Setting, point, rich};
use super::tables::table;
use super::tags::{covered, within};
use crate::report::document::{
    Banner, Block, Layout, Level, List, Pictures, Sealing, Section, Text, Verdict,
};
use crate::report::plot::Plot;

/// Width of the titles at the left of the text on a single page, points.
const TITLES: f32 = 92.0;
impl Setting<'_> {
    /// Blocks in order.
    ///
    /// # Errors
    /// A picture of the program's own can't be read back.
    pub fn blocks(&self, all: &[Block]) -> Result<Vec<Piece>, PdfError> {
        let mut pieces = Vec::new();
        for one in all {
            pieces.extend(self.block(one)?);
        }
        Ok(pieces)
    }

    fn block(&self, block: &Block) -> Result<Vec<Piece>, PdfError> {
        Ok(covered(self.bare_block(block)?))
    }

    fn bare_block(&self, block: &Block) -> Result<Vec<Piece>, PdfError> {
        Ok(match block {
            Block::Banner(said) => vec![self.banner(said)],
            Block::Letterhead(shop) => vec![callouts::letterhead(&self.set, shop)],
            Block::Head(inside) => self.head(inside)?,
            Block::Title(title) => {
                let style = Style::new(if self.is_compact() { 13.0 } else { 15.0 }).bold();
                within(Role::H1, self.set.paragraph(&rich(title, style), 0.0))
            }
            Block::Verdict(verdict) => self.verdict(verdict),
            Block::Grade(grade) => callouts::grade(self, grade),
            Block::Facts(of) => self.facts(of),
            Block::Sealing(Some(sealing), signed) if signed.is_empty() => {
                let sealed = callouts::sealing(&self.set, sealing, 104.0)?.before(4.0);
                [self.set.heading(Sealing::TITLE), vec![sealed]].concat()
            }
            Block::Sealing(sealing, signed) => {
                vec![callouts::signed(&self.set, sealing.as_ref(), signed)?.before(8.0)]
            }
            Block::Section(of) => self.section(of)?,
            Block::Paragraph(said) => {
                self.paragraph(said, self.body(), if self.is_compact() { 0.0 } else { 5.0 })
            }
            Block::Note(said) => kept(self.paragraph(said, self.small().colour(FAINT), 2.0)),
            Block::List(of) => self.list(of),
            Block::Table(of) => table(self, of),
            Block::Finding(finding) => callouts::finding(self, finding),
            Block::Suspects(suspects) => callouts::suspects(self, suspects),
            Block::Pictures(of) => self.pictures(of),
            Block::Cautions(all) => self.cautions(all),
            Block::Blanks(all) => forms::blanks(&self.set, all),
            Block::Boxes(of) => forms::boxes(self, of),
            Block::InFull(inside) => self.blocks(inside)?,
        })
    }

    fn banner(&self, banner: &Banner) -> Piece {
        let style = if self.is_compact() { Style::new(9.5) } else { BODY };
        let more = if banner.more.is_empty() { String::new() } else { format!(" {}", banner.more) };
        let text =
            Rich::new(format!("{} ", banner.word), style.bold()).and(format!("{}{more}", banner.text), style);
        self.set.framed(1.2, 5.0, |set| set.paragraph(&text, 0.0)).before(3.0)
    }

    /// What comes of it; on a single page the grade stands beside it.
    fn head(&self, inside: &[Block]) -> Result<Vec<Piece>, PdfError> {
        if let ([Block::Verdict(verdict), Block::Grade(grade)], true) = (inside, self.is_compact()) {
            return Ok(vec![callouts::verdict_and_grade(self, verdict, grade).before(5.0)]);
        }
        let mut pieces = Vec::new();
        for one in inside {
            let mut all = self.block(one)?;
            if let (Block::Facts(_), Some(first)) = (one, all.first_mut()) {
                first.before = 10.0;
            }
            pieces.extend(all);
        }
        Ok(pieces)
    }

    /// The verdict in its frame, and why.
    fn verdict(&self, verdict: &Verdict) -> Vec<Piece> {
        let (scale, before) = if self.is_compact() { (0.78, 5.0) } else { (1.0, 8.0) };
        let mut pieces = vec![callouts::verdict(self, verdict, scale).before(before)];
        let reasons = verdict.reasons.iter().map(|reason| rich(reason, self.body()).capital());
        let mut reasons = self.points(reasons, self.body());
        if let Some(first) = reasons.first_mut() {
            first.before = 7.0;
        }
        pieces.extend(reasons);
        pieces
    }

    /// A section, if there is anything in it: under its heading, or on a single page beside it.
    fn section(&self, section: &Section) -> Result<Vec<Piece>, PdfError> {
        let title = section.title.letters();
        if self.is_compact() && section.level == Level::Chapter {
            let said = self.narrow(self.set.width - TITLES).blocks(&section.blocks)?;
            return Ok(if said.is_empty() { said } else { vec![self.beside_title(&title, &said)] });
        }
        let mut inside = self.blocks(&section.blocks)?;
        if inside.is_empty() {
            return Ok(inside);
        }
        let heading = match section.level {
            Level::Chapter => self.set.heading(&title),
            Level::Part => {
                self.set.sub(&title, if self.layout == Layout::Worksheet { Role::H2 } else { Role::H3 })
            }
        };
        if section.blocks.iter().any(|b| matches!(b, Block::Boxes(_))) {
            keep_together(&mut inside);
        }
        Ok([heading, inside].concat())
    }

    /// A title at the left of its text, under a thin rule.
    fn beside_title(&self, title: &str, said: &[Piece]) -> Piece {
        const ABOVE: f32 = 4.0;
        let titles = Setter { width: TITLES - 10.0, ..self.set };
        let title = titles.paragraph(&Rich::new(title, self.body().bold()), 0.0);
        let title = Piece::joined(&within(Role::H2, title));
        let whole = beside(&[(0.0, title), (TITLES, Piece::joined(said))]);
        let rule = Item::Rule { from: (0.0, 0.0), to: (self.set.width, 0.0), width: 0.5, colour: RULE };
        let items = whole.items.iter().map(|i| i.moved((0.0, ABOVE)));
        let items = std::iter::once(rule).chain(items).collect();
        Piece { height: whole.height + ABOVE, before: ABOVE, items, ..Piece::default() }
    }

    fn list(&self, list: &List) -> Vec<Piece> {
        let style = if list.aside { self.small() } else { self.body() };
        if !list.numbered {
            return self.points(list.points.iter().map(|point| rich(point, style)), style);
        }
        let numbered = list.points.iter().enumerate();
        let one =
            |(k, text)| point(self.set.hanging(&format!("{}.", k + 1), style, 17.0, &rich(text, style), 1.5));
        within(Role::L, numbered.flat_map(one).collect())
    }

    fn pictures(&self, pictures: &Pictures) -> Vec<Piece> {
        if pictures.pairs {
            in_pairs(&self.set, &pictures.all)
        } else {
            pictures.all.iter().flat_map(|plot| figure(&self.set, plot)).collect()
        }
    }

    /// The cautions in their frame; more than fit into one stand without it, and on a single page they are a paragraph.
    fn cautions(&self, all: &[Text]) -> Vec<Piece> {
        const HIGHEST: f32 = 450.0;
        if self.is_compact() {
            let whole = all.iter().map(Text::letters).collect::<Vec<_>>().join(" ");
            let said = self.narrow(self.set.width - TITLES).paragraph(&whole.into(), self.body(), 0.0);
            return vec![self.beside_title("Cautions", &said)];
        }
        let inside = |set: &Setter<'_>| {
            let title = within(Role::H2, set.paragraph(&Rich::new("Cautions", Style::new(11.0).bold()), 0.0));
            let style = if self.layout == Layout::Worksheet { SMALL } else { BODY };
            let points = all.iter().map(|caution| rich(caution, style));
            [title, self.narrow(set.width).points(points, style)].concat()
        };
        let framed = self.set.framed(1.4, 10.0, inside);
        if framed.height <= HIGHEST { vec![framed.before(16.0)] } else { inside(&self.set) }
    }
}

/// All of them stay with what follows.
fn kept(pieces: Vec<Piece>) -> Vec<Piece> {
    pieces.into_iter().map(|p| Piece { keep: true, ..p }).collect()
}

fn figure(set: &Setter<'_>, plot: &Plot) -> Vec<Piece> {
    let [title, caption] = [&plot.title, &plot.caption].map(|text| Text::from(text).letters());
    let low = plot.low.as_ref().map(Picture::plot);
    set.figure(&title, &Picture::plot(&plot.picture), low.as_ref(), &caption)
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
