//! Vehicle checks in words, for the form that is filled in by hand and for the judged worksheet. What the checks mean is `vehicle`'s
//! business, what the two documents say of them [`super::document`]'s.
//!
//! - `rows`: the lines in groups and words.

mod rows;

pub use rows::{Basis, Group, Row, groups};

use super::Shop;
use crate::outcome::Stamp;
use crate::vehicle::{Conclusion, VehicleCheck};

/// What a form or a judged worksheet is made of.
#[derive(Clone, Copy, Debug)]
pub struct VehicleInput<'a> {
    /// The checks; for a form, with nothing entered.
    pub check: &'a VehicleCheck,
    /// The case that they belong to; hostile text possible.
    pub case: Option<&'a str>,
    /// The vehicle in the user's words, for the form; hostile text possible.
    pub vehicle: Option<&'a str>,
    /// What ties it to a sealed entry.
    pub stamp: Option<&'a Stamp>,
    /// Who hands it over.
    pub shop: Option<&'a Shop>,
}

/// The sign and colour that a conclusion is shown with: a verdict on the wiring.
pub const fn sign_of(conclusion: Conclusion) -> &'static str {
    match conclusion {
        Conclusion::PullThePart => "within",
        Conclusion::MendTheRunFirst => "outside",
        Conclusion::Undecided => "undecided",
    }
}
