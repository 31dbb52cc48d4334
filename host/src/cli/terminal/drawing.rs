//! What a job reports, on the terminal: bar and sentences on stderr.

use super::aside::aside;
use super::progress::Meter;
use crate::job::{Event, Round};
use crate::outcome::CAUTIONS;
use std::cell::RefCell;

/// Draws what a job reports.
pub struct Drawing {
    /// Whether a bar can be drawn.
    bar: bool,
    /// Whether only the bar shows how far procedures are.
    hushed: bool,
    /// While a session goes on.
    meter: RefCell<Option<Meter>>,
}

impl Drawing {
    /// `bar`: whether stderr is a terminal.
    pub fn new(bar: bool) -> Self {
        Self { bar, hushed: false, meter: RefCell::new(None) }
    }

    /// The same where the command itself reports what it repeats.
    pub fn hushed(bar: bool) -> Self {
        Self { hushed: true, ..Self::new(bar) }
    }

    /// Draws one event.
    pub fn draw(&self, event: Event) {
        match event {
            Event::SessionBegun => {
                let meter = Meter::new(self.bar);
                if self.hushed {
                    meter.hush();
                }
                self.meter.replace(Some(meter));
            }
            Event::SessionEnded => {
                if let Some(meter) = self.meter.take() {
                    meter.clear();
                }
            }
            Event::Progress(progress) => self.on_meter(|meter| meter.show(&progress)),
            Event::Round(round) => {
                self.say(&round_words(round));
                self.on_meter(Meter::hush);
            }
            Event::Cautions { nothing_moves } => self.cautions(nothing_moves),
            Event::Said(sentence) => self.say(&sentence),
            Event::Warned(sentence) => aside(format!("trackpair: {sentence}")),
            // The end says where the record is; `flex` draws its cues itself.
            Event::RecordBegun(_) | Event::Kept { .. } | Event::Watching | Event::Cue(_) => {}
        }
    }

    /// Prints a line, above the bar if there is one.
    pub fn say(&self, line: &str) {
        match &*self.meter.borrow() {
            Some(meter) => meter.say(line),
            None => aside(line.to_owned()),
        }
    }

    fn on_meter(&self, work: impl FnOnce(&Meter)) {
        if let Some(meter) = &*self.meter.borrow() {
            work(meter);
        }
    }

    fn cautions(&self, nothing_moves: bool) {
        self.say("Cautions:");
        CAUTIONS.iter().for_each(|caution| self.say(&format!("- {caution}")));
        if nothing_moves {
            self.say("The rig is simulated: nothing can move here, so it goes on.");
        }
    }
}

fn round_words(round: Round) -> String {
    let Round { number, planned, dropouts, dropouts_since } = round;
    format!(
        "round {number} of {planned} kept: {dropouts} dropouts in it, {dropouts_since} since the program began"
    )
}
