//! Lost contact as it is stored.

use crate::analysis::contact::{Contact, ContactEvent, Follows, PlaceRate, Warmth};
use crate::analysis::dropout::Wire;
use crate::quantity::Written;
use serde::{Deserialize, Serialize};

/// Everything about lost contact in one recording.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct OutcomeContact {
    /// What the events follow: `track`, `wire`, `not_told`.
    pub follows: Written<Follows>,
    /// The same as a sentence.
    pub why: String,
    /// By place of the pigtail; empty where no places were named.
    pub places: Vec<OutcomePlace>,
    /// Against temperature; null where that did not change, or nothing was lost.
    pub warmth: Option<OutcomeWarmth>,
    /// The first events.
    #[cfg_attr(feature = "schemas", schemars(length(max = 200)))]
    pub events: Vec<OutcomeContactEvent>,
    /// How many there were beyond them.
    pub beyond: u64,
}

impl OutcomeContact {
    /// What the events follow; a newer program's word that this one does not know is not reported.
    pub fn followed(&self) -> Follows {
        self.follows.known().unwrap_or(Follows::NotTold)
    }
}

/// Events while one place was flexed.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct OutcomePlace {
    /// Number; 0 is hands off.
    #[cfg_attr(feature = "schemas", schemars(range(max = 9)))]
    pub number: u8,
    /// What it is called.
    pub name: String,
    /// How long, s.
    #[cfg_attr(feature = "schemas", schemars(range(min = 0)))]
    pub seconds: f64,
    /// Sure events.
    pub events: u64,
    /// Per minute.
    #[cfg_attr(feature = "schemas", schemars(range(min = 0)))]
    pub per_minute: f64,
    /// Exact 95 % interval of that, from.
    #[cfg_attr(feature = "schemas", schemars(range(min = 0)))]
    pub per_minute_low: f64,
    /// To.
    #[cfg_attr(feature = "schemas", schemars(range(min = 0)))]
    pub per_minute_high: f64,
    /// Probability by chance of as many, for all places together.
    #[cfg_attr(feature = "schemas", schemars(range(min = 0, max = 1)))]
    pub chance: f64,
    /// Whether more were lost there than chance makes.
    pub stands_out: bool,
}

/// Events against temperature.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct OutcomeWarmth {
    /// Coolest, °C.
    pub from_celsius: f64,
    /// Warmest, °C.
    pub to_celsius: f64,
    /// Share of the watched time that was cooler than the events, on average, 0..1.
    #[cfg_attr(feature = "schemas", schemars(range(min = 0, max = 1)))]
    pub cooler_share: f64,
    /// Probability by chance that it is as large.
    #[cfg_attr(feature = "schemas", schemars(range(min = 0, max = 1)))]
    pub chance: f64,
    /// Whether contact is lost when it is warm.
    pub follows: bool,
}

/// One loss of contact.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct OutcomeContactEvent {
    /// Since the recording began, s.
    #[cfg_attr(feature = "schemas", schemars(range(min = 0)))]
    pub at_s: f64,
    /// Place of the pigtail by number; null where no places were named.
    pub place: Option<u8>,
    /// `rising`, `falling`, `common` (both, the supply steady), `supply` (both and the supply).
    pub wire: Written<Wire>,
    /// How long, µs.
    #[cfg_attr(feature = "schemas", schemars(range(min = 0)))]
    pub length_us: f64,
    /// Expanded uncertainty of that, 95 %, k = 2, µs.
    #[cfg_attr(feature = "schemas", schemars(range(min = 0)))]
    pub length_expanded_uncertainty_us: f64,
    /// How deep, mV at 5 V, negative towards ground.
    pub depth_mv: f64,
    /// Where the grip was, degrees.
    pub at_deg: Option<f64>,
    /// Temperature, °C.
    pub celsius: Option<f64>,
    /// Whether contact was surely lost.
    pub sure: bool,
}

impl From<&Contact> for OutcomeContact {
    fn from(contact: &Contact) -> Self {
        Self {
            follows: contact.follows.into(),
            why: contact.why.clone(),
            places: contact.places.iter().map(Into::into).collect(),
            warmth: contact.warmth.map(Into::into),
            events: contact.events.iter().map(Into::into).collect(),
            beyond: contact.beyond,
        }
    }
}

impl From<&PlaceRate> for OutcomePlace {
    fn from(place: &PlaceRate) -> Self {
        Self {
            number: place.number,
            name: place.name.clone(),
            seconds: place.seconds,
            events: place.events,
            per_minute: place.per_minute,
            per_minute_low: place.interval.0,
            per_minute_high: place.interval.1,
            chance: place.chance,
            stands_out: place.stands_out(),
        }
    }
}

impl From<Warmth> for OutcomeWarmth {
    fn from(warmth: Warmth) -> Self {
        Self {
            from_celsius: warmth.celsius.0,
            to_celsius: warmth.celsius.1,
            cooler_share: warmth.cooler_share,
            chance: warmth.chance,
            follows: warmth.follows(),
        }
    }
}

impl From<&ContactEvent> for OutcomeContactEvent {
    fn from(event: &ContactEvent) -> Self {
        Self {
            at_s: event.at_s,
            place: event.place,
            wire: event.wire.into(),
            length_us: event.length_us,
            length_expanded_uncertainty_us: 2.0 * event.length_u_us,
            depth_mv: event.depth_mv,
            at_deg: event.at_deg,
            celsius: event.celsius,
            sure: event.sure,
        }
    }
}
