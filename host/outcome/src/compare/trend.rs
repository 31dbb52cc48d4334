//! The same quantity in three records or more, over time: a weighted straight line through its values.
//!
//! Weighted least squares with known uncertainties (GUM H.3; J. R. Taylor, An Introduction to Error Analysis, 1997, 8.2): the slope's
//! standard uncertainty is that of the values, not of their scatter about the line. Scatter beyond it widens it (Birge's ratio).

use super::family::{self, Family};
use super::subject::{Quantity, Subject, seconds};
use crate::quantity::{FigureName, Written};
use serde::Serialize;

/// Fewer records make no trend.
pub const LEAST_RECORDS: usize = 3;
/// Seconds of a day.
const DAY: f64 = 86_400.0;

/// How to read a trend.
pub const NOTE: &str = "a trend is a straight line through the values of all records, weighted by their uncertainties; rates, counts, \
                        longest values and quantiles are left to comparisons of two";

/// A quantity over time.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct Trend {
    /// Which.
    #[serde(flatten)]
    pub quantity: Quantity,
    /// When, days after the first record, and the value.
    pub points: Vec<Point>,
    /// Slope, in the unit per day.
    pub per_day: f64,
    /// Its expanded uncertainty, k = 2.
    #[cfg_attr(feature = "schemas", schemars(range(min = 0)))]
    pub expanded_uncertainty: f64,
    /// Probability of such a slope without a trend, 0..1.
    #[cfg_attr(feature = "schemas", schemars(range(min = 0, max = 1)))]
    pub p: f64,
    /// The same for all trends of the document (Holm), 0..1.
    #[cfg_attr(feature = "schemas", schemars(range(min = 0, max = 1)))]
    pub p_family: f64,
    /// Whether it is shown to change over time.
    pub changed: bool,
    /// Slope that would have been shown 19 times in 20.
    pub least_shown: Option<f64>,
}

/// A value and its time.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct Point {
    /// Place in `records`, from 0.
    pub record: usize,
    /// Days after the first record.
    pub days: f64,
    /// Value.
    pub value: f64,
    /// Expanded uncertainty, k = 2.
    #[cfg_attr(feature = "schemas", schemars(range(min = 0)))]
    pub expanded_uncertainty: f64,
}

/// Every quantity that three records or more have, at different times.
pub fn trends(subjects: &[Subject<'_>]) -> (Vec<Trend>, Family) {
    let start = subjects.first().and_then(|s| seconds(s.outcome));
    let mut trends: Vec<Trend> = Vec::new();
    for figure in subjects.iter().flat_map(|s| &s.outcome.figures) {
        let quantity = Quantity::of(figure);
        let known = trends.iter().any(|t| t.quantity.is(figure));
        if known || !smooth(&figure.figure) {
            continue;
        }
        trends.extend(start.and_then(|start| trend(quantity, subjects, start)));
    }
    let family = Family::of(trends.len());
    let adjusted = family::adjusted(&trends.iter().map(|t| t.p).collect::<Vec<_>>());
    for (trend, p_family) in trends.iter_mut().zip(adjusted) {
        trend.p_family = p_family;
        trend.changed = p_family <= family.level;
        trend.least_shown = Some(0.5 * trend.expanded_uncertainty * family.shown_sigmas());
    }
    (trends, family)
}

/// Whether values and uncertainties are those of a normal quantity.
pub(super) fn smooth(figure: &Written<FigureName>) -> bool {
    use FigureName as F;
    !matches!(
        figure.known(),
        Some(F::DropoutRate | F::LimpTrips | F::LatencyP50 | F::LatencyP90 | F::LatencyP99 | F::LatencyMax)
    )
}

fn trend(quantity: Quantity, subjects: &[Subject<'_>], start: f64) -> Option<Trend> {
    let point = |(record, s): (usize, &Subject<'_>)| {
        let figure = quantity.find(s.outcome).filter(|f| f.expanded_uncertainty > 0.0)?;
        Some(Point {
            record,
            days: (seconds(s.outcome)? - start) / DAY,
            value: figure.value,
            expanded_uncertainty: figure.expanded_uncertainty,
        })
    };
    let points: Vec<Point> = subjects.iter().enumerate().filter_map(point).collect();
    if points.len() < LEAST_RECORDS {
        return None;
    }
    let (per_day, u) = slope(&points)?;
    Some(Trend {
        quantity,
        points,
        per_day,
        expanded_uncertainty: 2.0 * u,
        p: family::by_chance(per_day / u),
        p_family: 1.0,
        changed: false,
        least_shown: None,
    })
}

/// Slope and its standard uncertainty; none when all are of one time.
fn slope(points: &[Point]) -> Option<(f64, f64)> {
    let weight = |p: &Point| 4.0 / p.expanded_uncertainty.powi(2);
    let sum: f64 = points.iter().map(weight).sum();
    let mean = |of: fn(&Point) -> f64| points.iter().map(|p| weight(p) * of(p)).sum::<f64>() / sum;
    let (centre, middle) = (mean(|p| p.days), mean(|p| p.value));
    let sxx: f64 = points.iter().map(|p| weight(p) * (p.days - centre).powi(2)).sum();
    let sxy: f64 = points.iter().map(|p| weight(p) * (p.days - centre) * (p.value - middle)).sum();
    let spread = points.iter().map(|p| (p.days - centre).abs()).fold(0.0, f64::max);
    if spread * DAY < 1.0 || !sxx.is_finite() || sxx <= 0.0 {
        return None;
    }
    let slope = sxy / sxx;
    let squares: f64 =
        points.iter().map(|p| weight(p) * (p.value - middle - slope * (p.days - centre)).powi(2)).sum();
    let birge = (squares / (points.len() - 2) as f64).sqrt().max(1.0);
    Some((slope, birge / sxx.sqrt()))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn points(values: &[(f64, f64)], u: f64) -> Vec<Point> {
        let point = |(k, (days, value)): (usize, &(f64, f64))| Point {
            record: k,
            days: *days,
            value: *value,
            expanded_uncertainty: 2.0 * u,
        };
        values.iter().enumerate().map(point).collect()
    }

    #[test]
    fn a_slope_has_the_uncertainty_of_its_values() {
        let (per_day, u) = slope(&points(&[(0.0, 1.0), (10.0, 2.0), (20.0, 3.0)], 0.1)).unwrap();
        // By hand: Σ(x − 10)² = 200, u = 0.1/√200.
        assert!((per_day - 0.1).abs() < 1e-12 && (u - 0.1 / 200.0_f64.sqrt()).abs() < 1e-12);
    }

    #[test]
    fn scatter_beyond_the_uncertainty_widens_it_and_one_time_has_no_slope() {
        let (_, u) = slope(&points(&[(0.0, 1.0), (10.0, 9.0), (20.0, 3.0)], 0.1)).unwrap();
        assert!(u > 1.0 / 200.0_f64.sqrt(), "{u}");
        assert_eq!(slope(&points(&[(0.0, 1.0), (0.0, 9.0), (0.0, 3.0)], 0.1)), None);
    }
}
