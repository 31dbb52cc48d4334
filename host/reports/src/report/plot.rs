//! A picture with its title and its caption. It draws nothing.

use super::svg::chart::Chart;
use super::svg::picture::Picture;
use crate::quantity::Unit;

/// The axis along the travel.
pub const TRAVEL_LABEL: &str = "travel from the closed stop, degrees";

/// A picture with its caption.
#[derive(Clone, Debug, PartialEq)]
pub struct Plot {
    /// Machine name of what it shows: [`super::deciding`] finds it by this.
    pub what: String,
    /// What it shows.
    pub title: String,
    /// How to read it.
    pub caption: String,
    /// The picture.
    pub picture: Picture,
    /// The same for a narrow screen; none where it is narrow already.
    pub narrow: Option<Picture>,
    /// The same with less height, where that lets one more stand on a page of paper.
    pub low: Option<Picture>,
    /// Whether it takes the whole width where others stand in pairs.
    pub wide: bool,
    /// The counts that it shows, for a medium of letters; none where it shows curves.
    pub tally: Option<Tally>,
}

impl Plot {
    /// Of curves, as wide as there is room.
    pub fn of_chart(what: impl Into<String>, chart: &Chart<'_>, title: &str, caption: &str) -> Self {
        Self {
            what: what.into(),
            title: title.to_owned(),
            caption: caption.to_owned(),
            picture: chart.draw(),
            narrow: Some(chart.draw_narrow()),
            low: Some(chart.draw_low()),
            wide: true,
            tally: None,
        }
    }

    /// Of curves, half as wide: it is compared with the one beside it.
    pub fn of_small_chart(what: impl Into<String>, chart: &Chart<'_>, title: &str, caption: &str) -> Self {
        let picture = chart.draw_half();
        Self { picture, narrow: None, low: None, wide: false, ..Self::of_chart(what, chart, title, caption) }
    }
}

/// Counts in bins of a histogram.
#[derive(Clone, Debug, PartialEq)]
pub struct Tally {
    /// What it counts, among those of its family.
    pub name: String,
    /// Those that are compared with each other, on one axis from 0 and in one unit: their heading. None for one that stands alone.
    pub family: Option<&'static str>,
    /// Lower edge of the first bin, in `unit`.
    pub low: f64,
    /// Width of a bin, in `unit`.
    pub width: f64,
    /// How often, bin by bin.
    pub counts: Vec<u64>,
    /// Limits, in `unit`.
    pub limits: Vec<f64>,
    /// Unit of the bins.
    pub unit: Unit,
}
