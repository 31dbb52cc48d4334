//! What stands on every page around its contents: which part, which fingerprint, that it is simulated, which page of how many.

use super::colour::{FAINT, INK, RULE};
use super::flow::Column;
use super::fonts::Fonts;
use super::piece::Item;
use super::rich::Style;
use crate::report::Paper;
use crate::report::document::{Banner, Document, Text};

/// Left and right, points.
const SIDE: f32 = 42.0;
/// From the upper edge to the head, points.
const TOP: f32 = 26.0;
/// From the head to the contents, points.
const HEAD: f32 = 22.0;
/// Height of the banner of what was simulated, with the room below it, points.
const BANNER: f32 = 26.0;
/// From the end of the contents to the lower edge, points.
const BOTTOM: f32 = 46.0;
const LETTERS: Style = Style::new(7.6);

/// What every page bears.
#[derive(Clone, Debug)]
pub struct Frame {
    paper: Paper,
    left: String,
    right: String,
    foot: String,
    simulated: Option<Banner>,
}

impl Frame {
    /// Of a document.
    pub fn of(document: &Document, paper: Paper) -> Self {
        let shop = document.letterhead().map(|shop| shop.name.clone()).filter(|name| !name.is_empty());
        let fingerprint = document.sealing().map(|seal| format!("fingerprint {} …", seal.short));
        Self {
            paper,
            left: Text::from(&document.subject).letters(),
            right: fingerprint.unwrap_or_default(),
            foot: shop.unwrap_or_else(|| format!("Trackpair, {}", document.kind)),
            simulated: document.simulated.clone(),
        }
    }

    /// Width of the contents, points.
    pub fn width(&self) -> f32 {
        self.paper.points().0 - 2.0 * SIDE
    }

    /// Where the contents stand.
    pub fn column(&self) -> Column {
        let top = TOP + HEAD + if self.simulated.is_some() { BANNER } else { 0.0 };
        Column { at: (SIDE, top), height: self.paper.points().1 - top - BOTTOM }
    }

    /// Head and foot of a page, counted from 1.
    pub fn items(&self, fonts: &Fonts, page: usize, pages: usize) -> Vec<Item> {
        let (width, height) = self.paper.points();
        let (right, faint) = (width - SIDE, LETTERS.colour(FAINT));
        let baseline = TOP + 8.0;
        let shown = fonts.shown(&self.right);
        let wide = fonts.width(&shown, false, faint.size);
        let mut items = vec![
            Item::Text {
                at: (SIDE, baseline),
                text: fit(fonts, &self.left, self.width() - wide - 20.0, LETTERS.bold()),
                style: LETTERS.bold(),
            },
            Item::Text { at: (right - wide, baseline), text: shown, style: faint },
            Item::Rule {
                from: (SIDE, baseline + 5.0),
                to: (right, baseline + 5.0),
                width: 0.6,
                colour: RULE,
            },
        ];
        if let Some(simulated) = &self.simulated {
            items.extend(banner(fonts, simulated, (SIDE, TOP + HEAD - 2.0), self.width()));
        }
        let number = format!("page {page} of {pages}");
        let wide = fonts.width(&number, false, faint.size);
        let foot = height - 26.0;
        items.extend([
            Item::Rule { from: (SIDE, foot - 11.0), to: (right, foot - 11.0), width: 0.6, colour: RULE },
            Item::Text {
                at: (SIDE, foot),
                text: fit(fonts, &self.foot, self.width() - wide - 20.0, faint),
                style: faint,
            },
            Item::Text { at: (right - wide, foot), text: number, style: faint },
        ]);
        items.retain(|i| !matches!(i, Item::Text { text, .. } if text.is_empty()));
        items
    }
}

/// What stands before everything else: its word and its sentence, on every page.
fn banner(fonts: &Fonts, banner: &Banner, at: (f32, f32), width: f32) -> Vec<Item> {
    let (loud, quiet) = (Style::new(11.5).bold(), Style::new(8.4));
    let whole = fonts.shown(&format!("{} {}", banner.text, banner.more));
    let room = width - fonts.width(banner.word, true, loud.size) - 30.0;
    let fits = fonts.width(&whole, false, quiet.size) <= room;
    let words = [banner.word.to_owned(), if fits { whole } else { fonts.shown(&banner.text) }];
    let wide = [fonts.width(&words[0], true, loud.size), fonts.width(&words[1], false, quiet.size)];
    let from = at.0 + (width - wide[0] - 10.0 - wide[1]) / 2.0;
    let baseline = at.1 + 13.2;
    let frame = |inset: f32| Item::Frame {
        at: (at.0 + inset, at.1 + inset),
        size: (width - 2.0 * inset, 19.0 - 2.0 * inset),
        width: 0.9,
    };
    vec![
        frame(0.5),
        frame(2.7),
        Item::Text { at: (from, baseline), text: words[0].clone(), style: loud },
        Item::Text {
            at: (from + wide[0] + 10.0, baseline),
            text: words[1].clone(),
            style: quiet.colour(INK),
        },
    ]
}

/// Text on one line of a width; what is cut ends in three points.
pub fn fit(fonts: &Fonts, text: &str, width: f32, style: Style) -> String {
    let mut text = fonts.shown(text);
    if fonts.width(&text, style.bold, style.size) <= width {
        return text;
    }
    while !text.is_empty() && fonts.width(&format!("{text}…"), style.bold, style.size) > width {
        text.pop();
    }
    format!("{}…", text.trim_end())
}
