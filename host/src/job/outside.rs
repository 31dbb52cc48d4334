//! What a job is given of the outside world: the rig's simulator, the clock, the shop, who listens and who answers.

use super::event::Event;
use crate::link::{Link, LinkError};
use crate::report::{Paper, Shop};
use std::path::PathBuf;
use std::time::Duration;
use tokio_util::sync::CancellationToken;

/// Opens the simulated rig that stands behind `sim:`.
pub type OpenSimulator<'a> = &'a dyn Fn(&str) -> Result<Box<dyn Link>, LinkError>;

/// The host's clock. It dates records, and lets time pass while a rig is away.
pub trait Clock: Sync {
    /// Now, RFC 3339 with the local offset.
    fn now(&self) -> String;
    /// Time since any moment, the same one each time; no setting of the date moves it.
    fn passed(&self) -> Duration;
    /// Waits so long, or until it is cancelled. Whether the whole time is over.
    fn wait(&self, time: Duration, stop: &CancellationToken) -> bool;
}

/// Whose bench it is: what documents, seals and counts take from there.
#[derive(Clone, Debug)]
pub struct Workshop {
    /// Who hands reports over; none when nobody is named.
    pub shop: Option<Shop>,
    /// Paper of reports.
    pub paper: Paper,
    /// Where the key lies that records are sealed with, or why there is none.
    pub key_file: Result<PathBuf, String>,
    /// The day since which the rig's lead is in use, `YYYY-MM-DD`.
    pub lead_fitted: Option<String>,
    /// Where locks of rigs lie; none where the system names no place.
    pub locks: Option<PathBuf>,
}

/// What must be answered before a job may go on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Question {
    /// Whether the cautions were read and nobody is near the bore.
    CautionsRead,
}

/// What was answered.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Answer {
    /// Yes.
    Yes,
    /// Anything else, or nothing.
    No,
    /// There is nobody to ask.
    Nobody,
}

/// The outside world.
#[derive(Clone, Copy)]
pub struct Outside<'a> {
    /// Opens a simulated rig: what stands behind `sim:`.
    pub open_simulator: OpenSimulator<'a>,
    /// Set when the job is to stop: it ends with the rig unpowered, and what was recorded is kept.
    pub stop: &'a CancellationToken,
    /// The clock.
    pub clock: &'a dyn Clock,
    /// Whose bench it is.
    pub workshop: &'a Workshop,
    /// Hears of what happens.
    pub tell: &'a dyn Fn(Event),
    /// Answers questions; it may wait for somebody, but not beyond `stop`.
    pub ask: &'a dyn Fn(Question) -> Answer,
}

impl<'a> Outside<'a> {
    /// Now, RFC 3339 with the local offset.
    pub fn now(&self) -> String {
        self.clock.now()
    }

    /// Reports of what happened.
    pub fn tell(&self, event: Event) {
        (self.tell)(event);
    }

    /// Says a sentence to the person at the rig.
    pub fn say(&self, sentence: impl Into<String>) {
        self.tell(Event::Said(sentence.into()));
    }

    /// Says a sentence on what is not as it should be.
    pub fn warn(&self, sentence: impl Into<String>) {
        self.tell(Event::Warned(sentence.into()));
    }

    /// Puts a question.
    pub fn ask(&self, question: Question) -> Answer {
        (self.ask)(question)
    }

    /// The shop on documents that are made now, with a warning where its logo can't be used.
    pub fn letterhead(&self) -> Option<&'a Shop> {
        let shop = self.workshop.shop.as_ref()?;
        if let Some(warning) = without_logo(shop) {
            self.warn(warning);
        }
        Some(shop)
    }
}

/// The warning where documents are made without the shop's logo.
pub fn without_logo(shop: &Shop) -> Option<String> {
    let error = shop.check_logo().err()?;
    Some(format!("documents are made without the shop's logo: {error}"))
}
