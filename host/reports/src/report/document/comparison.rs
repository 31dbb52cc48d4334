//! What every document that compares records, or explains figures, is made of: a head that says what comes of it, tables under their
//! headings, pictures, lists of sentences.

use super::table::{Cell, Mark, Row, Table, columns};
use super::text::Text;
use super::{Banner, Block, Document, List, Pictures, Verdict, chapter};
use crate::report::plot::Plot;
use crate::report::text::{SENTENCE, plain};

impl Document {
    /// A comparison with its title and what comes of it, in a sentence; `simulated` if any of its records was.
    pub(in crate::report) fn comparison(
        title: impl Into<String>,
        lead: impl AsRef<str>,
        simulated: bool,
    ) -> Self {
        let title: String = title.into();
        let head =
            Verdict { mark: Mark::Open, word: title.clone(), meaning: lead.into(), reasons: Vec::new() };
        let more = "Rig and parts were simulated; nothing below is about a part that exists.";
        Self {
            kind: "comparison of bench records".to_owned(),
            subject: title.clone(),
            title,
            simulated: simulated.then(|| Banner::simulated(more)),
            blocks: vec![Block::Head(vec![Block::Verdict(head)])],
            ..Self::default()
        }
    }

    /// Adds a table under its heading unless it is empty; each row has a cell for each head, and all its rows stand out or none.
    pub(in crate::report) fn table<H: AsRef<str>>(
        &mut self,
        heading: impl AsRef<str>,
        heads: impl IntoIterator<Item = H>,
        rows: impl IntoIterator<Item = Vec<String>>,
        stands_out: bool,
    ) {
        let row = |cells: Vec<String>| Row {
            stands_out,
            ..Row::new(cells.iter().map(|cell| Cell::new(plain(cell, SENTENCE))).collect())
        };
        let rows: Vec<Row> = rows.into_iter().map(row).collect();
        if !rows.is_empty() {
            self.blocks.push(chapter(heading, vec![Block::Table(Table::new(columns(heads), rows))]));
        }
    }

    /// Adds a list of sentences under its heading unless it is empty.
    pub(in crate::report) fn list(
        &mut self,
        heading: impl AsRef<str>,
        sentences: impl IntoIterator<Item = String>,
    ) {
        let points: Vec<Text> = sentences.into_iter().map(|s| plain(&s, SENTENCE).into()).collect();
        if !points.is_empty() {
            self.blocks.push(chapter(heading, vec![Block::List(List::new(points))]));
        }
    }

    /// Adds pictures unless there are none.
    pub(in crate::report) fn pictures(&mut self, all: Vec<Plot>) {
        if !all.is_empty() {
            let pictures = Block::Pictures(Pictures { all, pairs: false });
            self.blocks.push(chapter("In one picture", vec![pictures]));
        }
    }
}
