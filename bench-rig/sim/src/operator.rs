//! The person beside the rig: turns the grip by hand, or flexes the pigtail, while the drive is off. Scripted and seeded.

use std::str::FromStr;

use thiserror::Error;

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
}

/// Not something the person can do.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
#[error("operator {0:?} is unknown; use none, hand, flex or hand+flex")]
pub struct UnknownOperator(String);

impl FromStr for Operator {
    type Err = UnknownOperator;

    fn from_str(text: &str) -> Result<Self, UnknownOperator> {
        Ok(match text {
            "none" => Self::None,
            "hand" => Self::Hand,
            "flex" => Self::Flex,
            "hand+flex" => Self::HandAndFlex,
            _ => return Err(UnknownOperator(text.to_owned())),
        })
    }
}

impl Operator {
    /// Whether the pigtail is flexed at a time, µs.
    pub fn flexes(self, at_us: f64) -> bool {
        matches!(self, Self::Flex | Self::HandAndFlex) && at_us.rem_euclid(1e6) < 5e5
    }

    /// Whether the grip is turned by hand.
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
        // Minimum-jerk stroke (Flash and Hogan 1985), from memory.
        let place = x * x * x * (10.0 - 15.0 * x + 6.0 * x * x);
        let rate = 30.0 * x * x * (1.0 - x) * (1.0 - x) / (self.length_us * 1e-6);
        let (from, by) = if self.upward { (low, high - low) } else { (high, low - high) };
        let tremor = std::f64::consts::TAU * 8.0;
        let (sin, cos) = (tremor * us * 1e-6).sin_cos();
        Hand { angle: from + by * place + 0.004 * sin, speed: by * rate + 0.004 * tremor * cos }
    }
}
