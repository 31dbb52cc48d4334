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
    /// An option that there is not.
    #[error("option {0:?} is unknown; use seed=N or operator=none|hand|flex|hand+flex|push")]
    Option(String),
}

/// A part, the seed it was drawn with, and who is beside the rig.
#[derive(Clone, Debug)]
pub struct Address {
    /// The drawn part.
    pub part: Part,
    /// Seed of part and rig; 0 when none was given.
    pub seed: u64,
    /// The person beside the rig.
    pub operator: Operator,
}

impl Address {
    /// A rig of the default kind with this part and person.
    pub fn rig(self) -> SimRig {
        let mut board = SimBoard::new(self.part, RigSpec::default(), self.seed);
        board.set_operator(self.operator);
        SimRig::new(board)
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
    Ok(Address { part: part(place, seed)?, seed, operator })
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
