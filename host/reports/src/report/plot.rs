//! A picture with what is said beside it. It draws nothing.

use super::svg::picture::Picture;

/// The axis along the travel.
pub const TRAVEL_LABEL: &str = "travel from the closed stop, degrees";

/// A picture with its caption.
#[derive(Clone, Debug, PartialEq)]
pub struct Plot {
    /// What it shows.
    pub title: String,
    /// How to read it.
    pub caption: String,
    /// The picture.
    pub picture: Picture,
    /// Whether it takes the whole width where others stand in pairs.
    pub wide: bool,
}
