//! Part addresses: `worn-grip?seed=7`, `FILE.toml?seed=3&operator=hand`. Not the host's `sim:` in front of them.

use std::path::Path;

use thiserror::Error;

use crate::board::SimBoard;
use crate::occasion::Occasion;
use crate::operator::{Operator, UnknownOperator};
use crate::part::Part;
use crate::part_file::{self, PartFileError};
use crate::parts::{self, UnknownPart};
use crate::rig_spec::RigSpec;
use crate::sim_rig::SimRig;
use crate::spec::Kind;

/// Why an address leads nowhere.
#[derive(Debug, Error)]
pub enum AddressError {
    /// No such named part.
    #[error(transparent)]
    Unknown(#[from] UnknownPart),
    /// The part file can't be used.
    #[error(transparent)]
    File(#[from] PartFileError),
    /// Not an operator.
    #[error(transparent)]
    Operator(#[from] UnknownOperator),
    /// The seed is not a number.
    #[error("seed {0:?} is not a whole number from 0 to 18446744073709551615")]
    Seed(String),
    /// Not a grip and a body.
    #[error(
        "a pair is GRIP+BODY, a grip and a throttle body; {first:?} is a {first_kind}, {second:?} a {second_kind}"
    )]
    Pair {
        /// What was named first.
        first: String,
        /// What it is.
        first_kind: &'static str,
        /// What was named second.
        second: String,
        /// What it is.
        second_kind: &'static str,
    },
    /// The warming is not a number, or beyond what a heat gun does.
    #[error("warm {0:?} is not a number from -10 to 10, °C per minute")]
    Warm(String),
    /// A number of rig, mounting or sweep is not a whole number.
    #[error("{name} {value:?} is not a whole number from 0 to 18446744073709551615")]
    Number {
        /// `rig`, `mounting`, `sweep`.
        name: &'static str,
        /// As given.
        value: String,
    },
    /// The gain is not a number, or beyond what a converter drifts by.
    #[error("gain {0:?} is not a number of -5 to 5, % of the first line's reading")]
    Gain(String),
    /// An option that there is not.
    #[error(
        "option {0:?} is unknown; use seed=N, rig=N, mounting=N, sweep=N, gain=PERCENT, operator=none|hand|flex|flex-places|hand+flex|push or \
         warm=CELSIUS_PER_MINUTE"
    )]
    Option(String),
}

/// A part, the seed it was drawn with, and who is beside the rig.
#[derive(Clone, Debug)]
pub struct Address {
    /// The drawn part; of a pair the grip.
    pub part: Part,
    /// The body of a pair.
    pub body: Option<Part>,
    /// Seed of part and rig; 0 when none was given.
    pub seed: u64,
    /// The person beside the rig.
    pub operator: Operator,
    /// How the room grows warmer, °C per minute.
    pub warming: f64,
    /// Which rig, mounting and sweep.
    pub occasion: Occasion,
}

impl Address {
    /// A rig of the default kind with this part and person.
    pub fn rig(self) -> SimRig {
        SimRig::new(self.board())
    }

    /// The board of that rig.
    pub fn board(self) -> SimBoard {
        let spec = RigSpec::default();
        let mut board = match self.body {
            Some(body) => SimBoard::pair_on(self.part, body, spec, self.seed, self.occasion),
            None => SimBoard::on(self.part, spec, self.seed, self.occasion),
        };
        board.set_operator(self.operator);
        board.set_warming(self.warming);
        board
    }
}

/// Reads an address and draws its part. A name with a `.toml` ending or a path separator is a part file.
///
/// # Errors
/// Unknown part (the error lists the known), unusable file, unknown option.
pub fn part_address(address: &str) -> Result<Address, AddressError> {
    let (place, options) = address.split_once('?').unwrap_or((address, ""));
    let (mut seed, mut operator, mut warming) = (0, Operator::None, 0.0);
    let mut occasion = Occasion::default();
    let whole = |name, text: &str| match text.parse() {
        Ok(number) => Ok(Some(number)),
        Err(_) => Err(AddressError::Number { name, value: text.to_owned() }),
    };
    for option in options.split('&').filter(|o| !o.is_empty()) {
        match option.split_once('=') {
            Some(("seed", text)) => seed = text.parse().map_err(|_| AddressError::Seed(text.to_owned()))?,
            Some(("rig", text)) => occasion.rig = whole("rig", text)?,
            Some(("mounting", text)) => occasion.mounting = whole("mounting", text)?,
            Some(("sweep", text)) => occasion.sweep = whole("sweep", text)?,
            Some(("gain", text)) => {
                let number = text.parse().ok().filter(|g| (-5.0..=5.0).contains(g));
                occasion.gain_percent = number.ok_or_else(|| AddressError::Gain(text.to_owned()))?;
            }
            Some(("operator", text)) => operator = text.parse()?,
            Some(("warm", text)) => {
                let number = text.parse().ok().filter(|w| (-10.0..=10.0).contains(w));
                warming = number.ok_or_else(|| AddressError::Warm(text.to_owned()))?;
            }
            _ => return Err(AddressError::Option(option.to_owned())),
        }
    }
    let (part, body) = parts_at(place, seed)?;
    Ok(Address { part, body, seed, operator, warming, occasion })
}

/// Draws a part by name or file; of `GRIP+BODY` both.
///
/// # Errors
/// As [`part`], or they are not a grip and a body.
pub fn parts_at(place: &str, seed: u64) -> Result<(Part, Option<Part>), AddressError> {
    let Some((first, second)) = place.split_once('+') else { return Ok((part(place, seed)?, None)) };
    let (grip, body) = (part(first, seed)?, part(second, seed)?);
    let kind = |part: &Part| if part.spec().kind == Kind::Body { "throttle body" } else { "grip" };
    if (grip.spec().kind, body.spec().kind) != (Kind::Grip, Kind::Body) {
        let (first_kind, second_kind) = (kind(&grip), kind(&body));
        return Err(AddressError::Pair {
            first: first.into(),
            first_kind,
            second: second.into(),
            second_kind,
        });
    }
    Ok((grip, Some(body)))
}

/// Draws a part by name or file.
///
/// # Errors
/// Unknown part, unusable file.
pub fn part(place: &str, seed: u64) -> Result<Part, AddressError> {
    if !place.ends_with(".toml") && !place.contains(['/', '\\']) {
        return Ok(parts::named(place, seed)?);
    }
    let path = Path::new(place);
    let name = path.file_stem().map_or_else(|| place.into(), |stem| stem.to_string_lossy());
    Ok(Part::draw(&name, part_file::load(path)?, seed))
}
