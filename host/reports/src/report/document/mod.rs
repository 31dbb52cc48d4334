//! A document: what it says, in order and by its meaning, once for every medium. It knows neither letters of a terminal nor elements of a
//! page nor points of a paper; the renderers ([`super::terminal()`], [`super::html()`], [`super::pdf()`]) know nothing else.
//!
//! - `text`: stretches of text, harmless by how they are made.
//! - `table`, `callouts`: what is not plain text.
//! - `report`, `figures`, `certificate`: builders of what is reported of a part; `summary`: the same in brief, for whoever glances at a screen.
//! - `vehicle`: the form of vehicle checks, and the judged worksheet.
//! - `comparison`: what comparisons, gauge studies, check parts and explanations begin with.
//! - `case`: a case.
//!
//! [`Block`] is matched exhaustively by every renderer: a new one does not compile until each of them shows it.

mod callouts;
mod case;
mod certificate;
mod comparison;
mod figures;
mod report;
mod summary;
mod table;
#[cfg(test)]
mod tests;
mod text;
mod vehicle;

pub use callouts::{Banner, Finding, Grade, Sealing, Suspect, Suspects, Verdict};
pub use case::{CaseInput, CaseSuspects, case, look_words, symptom_words};
pub use certificate::{NothingJudged, certificate};
pub use report::report;
pub use summary::{MOST_LINES, Summary, SummaryRow, summary};
pub use table::{BriefRows, Cell, Column, Judged, Line, Mark, Row, Table, columns};
pub use text::{Span, Text, Tone, texts};
pub use vehicle::{vehicle_check, vehicle_form};

use super::letterhead::Letterhead;
use super::plot::Plot;

/// What a document is to be laid out as.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Layout {
    /// As many pages as it takes.
    #[default]
    Pages,
    /// One page of paper, whatever it says: it brings shorter editions of itself.
    OnePage,
    /// Many short sections that are worked through one by one.
    Worksheet,
}

/// A document.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Document {
    /// What kind of document it is: "bench report on a removed throttle-by-wire part".
    pub kind: String,
    /// What it is called.
    pub title: String,
    /// What it is about, for the head of each page.
    pub subject: String,
    /// That something was simulated: said before everything else.
    pub simulated: Option<Banner>,
    /// Its layout.
    pub layout: Layout,
    /// What it says.
    pub blocks: Vec<Block>,
    /// The same, shorter and shorter: for [`Layout::OnePage`].
    pub shorter: Vec<Vec<Block>>,
}

impl Document {
    /// What ties it to a sealed record; a document with this has a slot for its seal.
    pub fn sealing(&self) -> Option<&Sealing> {
        self.blocks
            .iter()
            .find_map(|b| if let Block::Sealing(Some(sealing), _) = b { Some(sealing) } else { None })
    }

    /// Who hands it over.
    pub fn letterhead(&self) -> Option<&Letterhead> {
        self.blocks.iter().find_map(|b| if let Block::Letterhead(shop) = b { Some(shop) } else { None })
    }
}

/// A part of a document.
#[derive(Clone, Debug, PartialEq)]
pub enum Block {
    /// Said before what follows.
    Banner(Banner),
    /// Who hands it over.
    Letterhead(Letterhead),
    /// What it is about and what comes of it: stands together at the top.
    Head(Vec<Block>),
    /// Its title, where no verdict is its title.
    Title(Text),
    /// What comes of it.
    Verdict(Verdict),
    /// A grade.
    Grade(Grade),
    /// Names, each with its text.
    Facts(Facts),
    /// What ties it to its record, and lines where hands sign it.
    Sealing(Option<Sealing>, Vec<&'static str>),
    /// A heading and what is below it; without anything below there is no heading either.
    Section(Section),
    /// A paragraph.
    Paragraph(Text),
    /// How to read what follows.
    Note(Text),
    /// Points.
    List(List),
    /// A table.
    Table(Table),
    /// A finding.
    Finding(Finding),
    /// Causes that fit.
    Suspects(Suspects),
    /// Pictures.
    Pictures(Pictures),
    /// What not to do, and what it does not promise. Every form has all of them.
    Cautions(Vec<Text>),
    /// Lines to be written on.
    Blanks(Vec<Blank>),
    /// Boxes to be filled in.
    Boxes(Boxes),
    /// What a short form leaves out.
    InFull(Vec<Block>),
}

/// A name and its text.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Fact {
    /// The name; empty where it goes on with the one before.
    pub name: Text,
    /// The text.
    pub text: Text,
}

impl Fact {
    /// A fact.
    pub fn new(name: impl Into<Text>, text: impl Into<Text>) -> Self {
        Self { name: name.into(), text: text.into() }
    }
}

/// Facts.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Facts {
    /// All of them.
    pub all: Vec<Fact>,
    /// How many the short form has.
    pub brief: usize,
}

impl Facts {
    /// Facts that every form has.
    pub fn new(all: Vec<Fact>) -> Self {
        Self { all, brief: usize::MAX }
    }

    /// Facts of which a short form has the first.
    pub fn first(brief: usize, all: Vec<Fact>) -> Self {
        Self { all, brief }
    }
}

/// How much a heading is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Level {
    /// A section of the document.
    Chapter,
    /// A part of a section.
    Part,
}

/// What a section is about, for a medium that has room for some sections only, or an order of its own.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Topic {
    /// Defects that were located.
    Findings,
    /// Causes that fit.
    Suspects,
    /// What was measured, with its limits.
    Figures,
    /// What could not be tested, and what would have been missed.
    NotTested,
    /// What is wrong with the recording.
    Recording,
    /// Where it came from.
    Origin,
    /// What to do next.
    Next,
    /// Anything else.
    Other,
}

/// A heading and what is below it.
#[derive(Clone, Debug, PartialEq)]
pub struct Section {
    /// What it is about.
    pub topic: Topic,
    /// The heading.
    pub title: Text,
    /// How much it is.
    pub level: Level,
    /// What is below it.
    pub blocks: Vec<Block>,
}

/// A section of the document.
pub fn chapter(title: impl Into<Text>, blocks: Vec<Block>) -> Block {
    about(Topic::Other, title, blocks)
}

/// A section of the document about a topic.
pub fn about(topic: Topic, title: impl Into<Text>, blocks: Vec<Block>) -> Block {
    Block::Section(Section { topic, title: title.into(), level: Level::Chapter, blocks })
}

/// A part of a section.
pub fn part(title: impl Into<Text>, blocks: Vec<Block>) -> Block {
    Block::Section(Section { topic: Topic::Other, title: title.into(), level: Level::Part, blocks })
}

/// Points of a list.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct List {
    /// The points.
    pub points: Vec<Text>,
    /// Whether they bear numbers, from 1, that something refers to.
    pub numbered: bool,
    /// Whether they are read in passing.
    pub aside: bool,
}

impl List {
    /// Points.
    pub fn new(points: Vec<Text>) -> Self {
        Self { points, ..Self::default() }
    }

    /// Points that are read in passing.
    pub fn aside(points: Vec<Text>) -> Self {
        Self { aside: true, ..Self::new(points) }
    }
}

/// Pictures, each with its title and how to read it.
#[derive(Clone, Debug, PartialEq)]
pub struct Pictures {
    /// The pictures.
    pub all: Vec<Plot>,
    /// Whether they are small and compared with each other: two stand side by side, but those that are wide.
    pub pairs: bool,
}

/// A line to be written on.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Blank {
    /// What is to be written.
    pub name: &'static str,
    /// What is known already; may be empty.
    pub known: Text,
}

/// Boxes to be filled in, two side by side.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Boxes {
    /// The boxes.
    pub all: Vec<Entry>,
    /// The unit or words that are written into them.
    pub unit: &'static str,
    /// Whether the first stands alone, so that those after it stand in pairs.
    pub first_alone: bool,
}

/// A box to be filled in.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Entry {
    /// What goes into it.
    pub place: Text,
    /// What is expected; empty where it stands once for all of them.
    pub expected: Text,
    /// Its name, as it is typed.
    pub id: String,
    /// Whether nothing is written there: it follows from others.
    pub computed: bool,
}
