//! Vehicle checks for people: the form that is filled in by hand, and the judged worksheet. It returns text; what the checks mean is
//! `vehicle`'s business.
//!
//! - `rows`: the lines in groups and words, the same for every medium.
//! - `html`, `terminal`: media; on paper: `pdf::vehicle_form` and `pdf::vehicle_check`.

mod html;
mod rows;
mod terminal;

pub use html::{vehicle_check_html, vehicle_form_html};
pub use rows::{Basis, Group, groups};
pub use terminal::vehicle_check_terminal;

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
