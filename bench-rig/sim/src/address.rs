//! Part addresses: `worn-grip?seed=7`, `FILE.toml?seed=3&operator=hand`. Not the host's `sim:` in front of them.

use std::path::Path;

use thiserror::Error;

use crate::board::SimBoard;
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
    /// The part file is no good.
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
    /// An option that there is not.
    #[error("option {0:?} is unknown; use seed=N or operator=none|hand|flex|hand+flex|push")]
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
            Some(body) => SimBoard::pair(self.part, body, spec, self.seed),
            None => SimBoard::new(self.part, spec, self.seed),
        };
        board.set_operator(self.operator);
        board
    }
}

/// Reads an address and draws its part. A name with a `.toml` ending or a path separator is a part file.
///
/// # Errors
/// Unknown part (the error lists the known), unusable file, unknown option.
pub fn part_address(address: &str) -> Result<Address, AddressError> {
    let (place, options) = address.split_once('?').unwrap_or((address, ""));
    let (mut seed, mut operator) = (0, Operator::None);
    for option in options.split('&').filter(|o| !o.is_empty()) {
        match option.split_once('=') {
            Some(("seed", text)) => seed = text.parse().map_err(|_| AddressError::Seed(text.to_owned()))?,
            Some(("operator", text)) => operator = text.parse()?,
            _ => return Err(AddressError::Option(option.to_owned())),
        }
    }
    let (part, body) = parts_at(place, seed)?;
    Ok(Address { part, body, seed, operator })
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
