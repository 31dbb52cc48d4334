//! Lost contact in words: what it follows, by place of the pigtail, and event by event. The same for every medium.

use super::rows::Named;
use super::text::{LABEL, SENTENCE, plain, signs};
use super::words::Lines;
use crate::outcome::{Outcome, OutcomeContact, OutcomeContactEvent, OutcomePlace};
use crate::quantity::Channel;
use crate::quantity::rounding::{fixed, significant};

/// Events that a report shows one by one; all that were kept stand in the outcome.
const TOLD: usize = 40;

/// Lost contact in words.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct ContactWords {
    /// What it follows, and the temperature.
    pub facts: Vec<Named>,
    /// By place of the pigtail.
    pub places: Vec<Named>,
    /// Event by event.
    pub events: Vec<Named>,
}

impl ContactWords {
    /// What to read above the places.
    pub const READING: &'static str = "Rates with their exact 95 % intervals. A place stands out where chance alone would lose as many there less \
        than once in twenty, for all places together (binomial, Holm).";

    /// Of an outcome; none where no pigtail was flexed.
    pub fn of(outcome: &Outcome) -> Option<Self> {
        let contact = outcome.contact.as_ref()?;
        let lines = Lines::of(outcome);
        let mut events: Vec<Named> =
            contact.events.iter().take(TOLD).map(|e| event(e, contact, lines)).collect();
        let more = contact.events.len().saturating_sub(TOLD) as u64 + contact.beyond;
        if more > 0 {
            let text = "more; the outcome lists the first 200 of all".to_owned();
            events.push(Named { name: format!("{more} events"), text });
        }
        Some(Self { facts: facts(contact), places: contact.places.iter().map(place).collect(), events })
    }
}

fn facts(contact: &OutcomeContact) -> Vec<Named> {
    let mut facts = vec![Named { name: "follows".to_owned(), text: plain(&signs(&contact.why), SENTENCE) }];
    if let Some(w) = &contact.warmth {
        let text = format!(
            "{} to {} °C; {} % of the time was cooler than the events (50 % where temperature plays no part; chance {} %)",
            fixed(w.from_celsius, 1),
            fixed(w.to_celsius, 1),
            fixed(100.0 * w.cooler_share, 0),
            significant(100.0 * w.chance, 2)
        );
        facts.push(Named { name: "temperature".to_owned(), text });
    }
    facts
}

fn place(place: &OutcomePlace) -> Named {
    let word = if place.stands_out { ": STANDS OUT" } else { "" };
    let text = format!(
        "{} events in {} s, {} a minute ({} to {}){word}",
        place.events,
        fixed(place.seconds, 1),
        significant(place.per_minute, 2),
        significant(place.per_minute_low, 2),
        significant(place.per_minute_high, 2)
    );
    Named { name: format!("{} {}", place.number, plain(&place.name, LABEL)), text }
}

fn event(event: &OutcomeContactEvent, contact: &OutcomeContact, lines: Lines) -> Named {
    let wire = match event.wire.as_str() {
        "supply" => "supply".to_owned(),
        "common" => "both lines".to_owned(),
        name => Channel::from_name(name).map_or(name.to_owned(), |c| format!("{} line", lines.name(c))),
    };
    let length = format!(
        "{} ± {} µs",
        significant(event.length_us, 3),
        significant(event.length_expanded_uncertainty_us, 1)
    );
    let unsure = if event.sure { None } else { Some("not sure".to_owned()) };
    let parts = [
        Some(wire),
        Some(length),
        Some(format!("{} mV", fixed(event.depth_mv, 0))),
        event.at_deg.map(|deg| format!("at {}°", fixed(deg, 1))),
        event.celsius.map(|c| format!("{} °C", fixed(c, 1))),
        unsure,
    ];
    let name_of =
        |number: u8| contact.places.iter().find(|p| p.number == number).map(|p| plain(&p.name, LABEL));
    let place = event.place.map_or(String::new(), |n| format!(", {n} {}", name_of(n).unwrap_or_default()));
    Named {
        name: format!("{} s{place}", fixed(event.at_s, 3)),
        text: parts.into_iter().flatten().collect::<Vec<_>>().join(", "),
    }
}
