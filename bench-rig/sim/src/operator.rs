//! The person beside the rig: turns the grip by hand, pushes the plate with a probe, or flexes the pigtail, while the drive is off.
//! Scripted and seeded.

use std::str::FromStr;

use thiserror::Error;

use crate::body::Probe;
use crate::grip::Hand;
use crate::random::Random;

/// What the person does.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Operator {
    /// Keeps hands off.
    #[default]
    None,
    /// Turns the grip to and fro, stop to stop, at a person's uneven speed.
    Hand,
    /// Flexes the pigtail, half a second of every second.
    Flex,
    /// Turns the grip and flexes the pigtail.
    HandAndFlex,
    /// Flexes the pigtail place by place: hands off for [`PLACE_S`], then as long at place 1, 2 … [`FLEX_PLACES`], then anew. Whatever the
    /// drive does: it is the cable that is worked at.
    FlexPlaces,
    /// Pushes a body's plate with a probe through the bore, place by place; see [`Places`].
    Push,
}

/// Time at one place of the pigtail, s.
pub const PLACE_S: f64 = 10.0;
/// Places of the pigtail.
pub const FLEX_PLACES: u8 = 4;

/// Not something the person can do.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
#[error("operator {0:?} is unknown; use none, hand, flex, flex-places, hand+flex or push")]
pub struct UnknownOperator(String);

impl FromStr for Operator {
    type Err = UnknownOperator;

    fn from_str(text: &str) -> Result<Self, UnknownOperator> {
        Ok(match text {
            "none" => Self::None,
            "hand" => Self::Hand,
            "flex" => Self::Flex,
            "flex-places" => Self::FlexPlaces,
            "hand+flex" => Self::HandAndFlex,
            "push" => Self::Push,
            _ => return Err(UnknownOperator(text.to_owned())),
        })
    }
}

impl Operator {
    /// Whether the pigtail is flexed at a time, µs.
    pub fn flexes(self, at_us: f64) -> bool {
        let half_of_each_second = at_us.rem_euclid(1e6) < 5e5;
        match self {
            Self::Flex | Self::HandAndFlex => half_of_each_second,
            // The hand is on its way from place to place at both ends.
            Self::FlexPlaces => {
                let within_s = (at_us * 1e-6).rem_euclid(PLACE_S);
                half_of_each_second && self.place(at_us) > 0 && (1.0..PLACE_S - 1.0).contains(&within_s)
            }
            _ => false,
        }
    }

    /// Where the hand is, by number; 0: hands off, or no one place.
    pub fn place(self, at_us: f64) -> u8 {
        match self {
            Self::FlexPlaces => (at_us * 1e-6 / PLACE_S) as u64 as u8 % (FLEX_PLACES + 1),
            _ => 0,
        }
    }

    /// Whether the pigtail is worked at while the drive is on, too.
    pub fn works_at_the_cable(self) -> bool {
        self == Self::FlexPlaces
    }

    /// Whether the grip, or the plate, is turned by hand.
    pub fn turns(self) -> bool {
        matches!(self, Self::Hand | Self::HandAndFlex)
    }
}

/// A hand's path: smooth strokes between the stops, each with its own duration, and tremor.
#[derive(Clone, Debug)]
pub struct Strokes {
    random: Random,
    open: f64,
    start_us: f64,
    length_us: f64,
    upward: bool,
}

impl Strokes {
    /// Between the closed stop (0) and firmly against the open stop at `open` rad.
    pub fn new(random: Random, open: f64) -> Self {
        Self { random, open, start_us: 0.0, length_us: 0.0, upward: false }
    }

    /// Where the hand is at a time, µs. Times never go backwards.
    pub fn at(&mut self, us: f64) -> Hand {
        while us >= self.start_us + self.length_us {
            // After hands off, a new stroke begins now.
            self.start_us = if us - self.start_us > 3e6 { us } else { self.start_us + self.length_us };
            self.length_us = self.random.between(0.8e6, 2.2e6);
            self.upward = !self.upward;
        }
        let (low, high) = (-0.02, self.open + 0.12);
        let x = (us - self.start_us) / self.length_us;
        let place = minimum_jerk(x);
        let rate = minimum_jerk_rate(x) / (self.length_us * 1e-6);
        let (from, by) = if self.upward { (low, high - low) } else { (high, low - high) };
        let tremor = std::f64::consts::TAU * 8.0;
        let (sin, cos) = (tremor * us * 1e-6).sin_cos();
        Hand { angle: from + by * place + 0.004 * sin, speed: by * rate + 0.004 * tremor * cos }
    }
}

/// Places that the technician's probe takes the plate to, degrees.
pub const PLACES_DEG: [f64; 5] = [15.0, 30.0, 45.0, 60.0, 75.0];
/// The technician begins when the bridge has been open for so long, s: what lets the plate go by itself is not disturbed.
pub const WAIT_S: f64 = 2.0;
/// Time for the way to a place, s.
const WAY_S: f64 = 1.0;
/// Time at a place, s, …
const WORK_S: f64 = 3.0;
/// … in which the plate goes to and fro by this, degrees, once a second: 9.4°/s at most.
const WORK_DEG: f64 = 1.5;
/// Hands off after the last place, s.
const OFF_S: f64 = 2.0;

/// A technician's probe through the bore while the bridge is open: from place to place, slowly to and fro at each, then hands off
/// and again from the first.
#[derive(Clone, Debug, Default)]
pub struct Places {
    /// Since when the bridge has been open, s.
    open_s: Option<f64>,
    /// Place it is about, and since when, s; where the plate was then, degrees.
    at: Option<(usize, f64, f64)>,
}

impl Places {
    /// Where the probe is at a time, s, with the plate at an angle, degrees; `None`: hands off. Times never go backwards.
    pub fn at(&mut self, s: f64, plate_deg: f64, bridge_open: bool) -> Option<Probe> {
        if !bridge_open {
            *self = Self::default();
            return None;
        }
        if s - *self.open_s.get_or_insert(s) < WAIT_S {
            return None;
        }
        let (place, since, from_deg) = *self.at.get_or_insert((0, s, plate_deg));
        let t = s - since;
        let Some(&to_deg) = PLACES_DEG.get(place) else {
            if t >= OFF_S {
                self.at = Some((0, s, plate_deg));
            }
            return None;
        };
        if t >= WAY_S + WORK_S {
            self.at = Some((place + 1, s, plate_deg));
        }
        let (deg, deg_s) = if t < WAY_S {
            let x = t / WAY_S;
            let by = to_deg - from_deg;
            (from_deg + by * minimum_jerk(x), by * minimum_jerk_rate(x) / WAY_S)
        } else {
            let turn = std::f64::consts::TAU * (t - WAY_S);
            (to_deg + WORK_DEG * turn.sin(), WORK_DEG * std::f64::consts::TAU * turn.cos())
        };
        Some(Probe { angle: deg.to_radians(), speed: deg_s.to_radians() })
    }
}

/// Share of a way at a share of its time (Flash and Hogan 1985, from memory) …
fn minimum_jerk(x: f64) -> f64 {
    x * x * x * (10.0 - 15.0 * x + 6.0 * x * x)
}

/// … and its rate.
fn minimum_jerk_rate(x: f64) -> f64 {
    30.0 * x * x * (1.0 - x) * (1.0 - x)
}
