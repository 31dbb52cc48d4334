//! A column that blocks are set into, with the styles of its layout: paragraphs, facts, points of a document's text. It does not know
//! blocks.

use super::blocks::{BODY, QUIET, SMALL, Setter};
use super::colour::FAINT;
use super::element::Role;
use super::picture::Signs;
use super::piece::Piece;
use super::rich::{Rich, Style};
use super::tags::within;
use crate::report::document::{Fact, Facts, Layout, Text, Tone};

/// Share of the width that names take up beside their text.
const NAMES: f32 = 0.27;
/// The same on a single page, points.
const NARROW_NAMES: f32 = 74.0;

/// A column and how it is set.
#[derive(Clone, Copy)]
pub struct Setting<'a> {
    /// The column.
    pub set: Setter<'a>,
    /// Signs of verdicts.
    pub signs: &'a Signs,
    /// What the document is laid out as.
    pub layout: Layout,
    /// Whether it has a title beside its verdict.
    pub titled: bool,
}

impl Setting<'_> {
    /// The same in a narrower column.
    pub const fn narrow(&self, width: f32) -> Self {
        Self { set: Setter { width, ..self.set }, ..*self }
    }

    /// Whether all is to stand on one page.
    pub const fn is_compact(&self) -> bool {
        matches!(self.layout, Layout::OnePage)
    }

    /// Plain text.
    pub const fn body(&self) -> Style {
        if self.is_compact() { QUIET } else { BODY }
    }

    /// Notes, and what stands in columns.
    pub const fn small(&self) -> Style {
        if self.is_compact() { QUIET } else { SMALL }
    }

    /// Text in lines of a paragraph.
    pub fn paragraph(&self, text: &Text, style: Style, before: f32) -> Vec<Piece> {
        within(Role::P, self.set.paragraph(&rich(text, style), before))
    }

    /// Names at the left, their text beside.
    pub fn facts(&self, facts: &Facts) -> Vec<Piece> {
        let left = if self.is_compact() { NARROW_NAMES } else { self.set.width * NAMES };
        facts_beside(&self.set, facts, left, self.small())
    }

    /// Points of a list, each after a mark.
    pub fn points(&self, all: impl IntoIterator<Item = Rich>, style: Style) -> Vec<Piece> {
        let before = if self.is_compact() { 1.25 } else { 2.5 };
        let points: Vec<Piece> = all
            .into_iter()
            .flat_map(|text| point(self.set.hanging("•", style, 11.0, &text, before)))
            .collect();
        within(Role::L, points)
    }
}

/// A point of a list.
pub fn point(pieces: Vec<Piece>) -> Vec<Piece> {
    within(Role::LI, within(Role::LBody, pieces))
}

/// Text of a document in a style.
pub fn rich(text: &Text, style: Style) -> Rich {
    text.spans().iter().fold(Rich::default(), |rich, span| match span.tone {
        Tone::Plain => rich.and(&span.letters, style),
        Tone::Strong => rich.and(&span.letters, style.bold()),
        Tone::Faint => rich.and(&span.letters, style.colour(FAINT)),
        Tone::Raised => rich.raised(&span.letters, style),
    })
}

/// Names and their text, so many points for the names.
pub fn facts_beside(set: &Setter<'_>, facts: &Facts, left: f32, style: Style) -> Vec<Piece> {
    let one = |fact: &Fact| {
        within(Role::P, set.fact_beside(&fact.name.letters(), &rich(&fact.text, style), left, style))
    };
    facts.all.iter().flat_map(one).collect()
}
