//! Charts of a series: individuals, moving range, exponentially weighted moving average (EWMA). It knows numbers, not figures.
//!
//! Scatter: the mean moving range over d2 (W. A. Shewhart's constants for ranges of two, ASTM E2587, from memory): a drift hardly shows in it.
//! EWMA: S. W. Roberts, Technometrics 1, 1959, 239 (from memory). Two rules, so that it is known which of them signalled and how often they signal
//! falsely: a value beyond the limits of individuals, and an EWMA beyond its own.
//!
//! Centre and scatter come from few first sweeps, so the limits of what comes after are those of a prediction: wider by √(1 + 1/n) and
//! √(λ/(2 − λ) + 1/n), and by Student's t, with the degrees of freedom that a mean moving range has, 0.605 (n − 1): its efficiency (D. C. Hoaglin,
//! from memory). With many first sweeps they become the textbook's.

use super::run_length;
use crate::analysis::statistics::{mean, normal_tail, t_quantile};
use serde::Serialize;

/// Mean range of two normal values, in standard deviations.
pub const D2: f64 = 1.128;
/// Upper limit of a range of two over its mean.
pub const D4: f64 = 3.267;
/// Weight of the newest value.
pub const LAMBDA: f64 = 0.2;
/// Share of the n − 1 degrees of freedom that a mean moving range has.
const EFFICIENCY: f64 = 0.605;

/// What the first values say.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct Baseline {
    /// How many values, at least 2.
    #[cfg_attr(feature = "schemas", schemars(range(min = 2)))]
    pub sweeps: usize,
    /// Their mean.
    pub mean: f64,
    /// Mean of their moving ranges.
    #[cfg_attr(feature = "schemas", schemars(range(min = 0)))]
    pub moving_range: f64,
    /// Standard deviation by it.
    #[cfg_attr(feature = "schemas", schemars(range(min = 0)))]
    pub standard_deviation: f64,
}

impl Baseline {
    /// Of values in their order; none for fewer than two.
    pub fn of(values: &[f64]) -> Option<Self> {
        let ranges: Vec<f64> = values.windows(2).map(|w| (w[1] - w[0]).abs()).collect();
        let moving_range = mean(&ranges)?;
        Some(Self {
            sweeps: values.len(),
            mean: mean(values)?,
            moving_range,
            standard_deviation: moving_range / D2,
        })
    }

    /// The textbook's upper limit of the moving range.
    pub fn moving_range_limit(&self) -> f64 {
        D4 * self.moving_range
    }

    /// Standard uncertainty of a later value against the mean, and of a later EWMA.
    pub fn spreads(&self) -> [f64; 2] {
        let own = 1.0 / self.sweeps as f64;
        [1.0 + own, LAMBDA / (2.0 - LAMBDA) + own].map(|v| self.standard_deviation * v.sqrt())
    }
}

/// How many standard deviations either side the limits lie, were centre and scatter known.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Widths {
    /// Of individuals.
    pub individuals: f64,
    /// Of the EWMA.
    pub ewma: f64,
}

impl Widths {
    /// So that among `charts` charts with both rules one signals without a reason in about `run_length` sweeps, or more rarely.
    pub fn for_charts(charts: usize, run_length: f64) -> Self {
        let each = run_length * 2.0 * charts.max(1) as f64;
        Self { individuals: run_length::individuals_width(each), ewma: run_length::ewma_width(LAMBDA, each) }
    }

    /// The same with what a baseline does not know of its scatter.
    fn known_from(width: f64, baseline: &Baseline) -> f64 {
        let freedom = EFFICIENCY * (baseline.sweeps - 1) as f64;
        t_quantile(1.0 - normal_tail(width), freedom.max(1.0))
    }
}

/// Which rule signals.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
#[serde(rename_all = "snake_case")]
pub enum Rule {
    /// A value beyond the limits of individuals.
    Individuals,
    /// The average beyond its own.
    Ewma,
}

/// One sweep after the first ones.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct Point {
    /// Value.
    pub value: f64,
    /// Its distance from the value before.
    #[cfg_attr(feature = "schemas", schemars(range(min = 0)))]
    pub moving_range: f64,
    /// The average.
    pub ewma: f64,
    /// Rules that signal here.
    pub rules: Vec<Rule>,
}

/// A chart.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct Chart {
    /// What the first sweeps say.
    pub baseline: Baseline,
    /// Lower and upper limit of individuals.
    pub individuals: [f64; 2],
    /// Lower and upper limit of the average.
    pub ewma: [f64; 2],
    /// Sweeps after the first ones, in their order.
    pub points: Vec<Point>,
}

impl Chart {
    /// Of a series whose first `first` values are the baseline; none with fewer than two of them.
    pub fn of(values: &[f64], first: usize, widths: Widths) -> Option<Self> {
        let (before, after) = values.split_at_checked(first)?;
        let baseline = Baseline::of(before)?;
        let [one, average] = baseline.spreads();
        let limits = |reach: f64| [baseline.mean - reach, baseline.mean + reach];
        let individuals = limits(Widths::known_from(widths.individuals, &baseline) * one);
        let ewma = limits(Widths::known_from(widths.ewma, &baseline) * average);
        let mut last = *before.last()?;
        let mut points = Vec::with_capacity(after.len());
        for (&value, smooth) in after.iter().zip(averages(after, baseline.mean, LAMBDA)) {
            let beyond = |v: f64, [low, high]: [f64; 2]| v < low || v > high;
            let rules = [(Rule::Individuals, beyond(value, individuals)), (Rule::Ewma, beyond(smooth, ewma))];
            let rules = rules.into_iter().filter(|r| r.1).map(|r| r.0).collect();
            points.push(Point { value, moving_range: (value - last).abs(), ewma: smooth, rules });
            last = value;
        }
        Some(Self { baseline, individuals, ewma, points })
    }
}

/// Exponentially weighted moving averages of values, from a start on, with the weight of the newest (0..1).
fn averages(values: &[f64], start: f64, weight: f64) -> Vec<f64> {
    let follow = |smooth: &mut f64, value: &f64| {
        *smooth += weight * (value - *smooth);
        Some(*smooth)
    };
    values.iter().scan(start, follow).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::statistics::Resampler;

    // NIST/SEMATECH e-Handbook 6.3.2.2, individuals charts, its example of ten flow rates (from memory): mean 50.81, mean moving range 1.8778, limits
    // 55.8041 and 45.8159.
    #[test]
    fn the_handbooks_individuals_come_out() {
        let rates = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1];
        let baseline = Baseline::of(&rates).unwrap();
        assert_eq!(format!("{:.2} {:.4}", baseline.mean, baseline.moving_range), "50.81 1.8778");
        let [low, high] = [-3.0, 3.0].map(|width| baseline.mean + width * baseline.standard_deviation);
        assert_eq!(format!("{low:.4} {high:.4}"), "45.8159 55.8041");
        assert_eq!(format!("{:.3}", baseline.moving_range_limit()), "6.135");
    }

    // NIST/SEMATECH e-Handbook 6.3.2.4, EWMA charts, its example of twenty readings, weight 0.3 from 50 (from memory).
    #[test]
    fn the_handbooks_averages_come_out() {
        let readings = [
            52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5, 49.6, 47.6, 49.9, 51.3, 47.8, 51.2,
            52.6, 52.4, 53.6, 52.1,
        ];
        let published = [
            50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33, 50.11, 49.36, 49.52, 50.05,
            49.38, 49.92, 50.73, 51.23, 51.94, 51.99,
        ];
        let found = averages(&readings, 50.0, 0.3);
        assert!(found.iter().zip(published).all(|(f, p)| (f - p).abs() <= 0.005 + 1e-9), "{found:?}");
    }

    /// Of so many series that do not move, those in which a rule signalled falsely within `sweeps`.
    fn false_series(first: usize, sweeps: usize, series: usize, widths: Widths) -> f64 {
        let mut random = Resampler::new(3);
        let told = (0..series).filter(|_| {
            let values: Vec<f64> = (0..first + sweeps).map(|_| random.normal()).collect();
            Chart::of(&values, first, widths).unwrap().points.iter().any(|p| !p.rules.is_empty())
        });
        told.count() as f64 / series as f64
    }

    #[test]
    fn few_first_sweeps_do_not_make_it_speak_falsely_more_often_than_asked() {
        // One chart, one false signal in 370 sweeps: within 37 sweeps 1 − e^(−0.1), 9.5 %, of 2000 series: 0.7 % is one standard deviation.
        let widths = Widths::for_charts(1, 370.0);
        for first in [10, 20, 200] {
            let told = false_series(first, 37, 2000, widths);
            assert!(told < 0.095 + 5.0 * 0.0066, "{first}: {told}");
        }
        // Nor so much more rarely that nothing would be seen.
        assert!(false_series(200, 37, 2000, widths) > 0.05);
    }

    #[test]
    fn a_series_without_any_scatter_speaks_when_it_moves_and_not_before() {
        let widths = Widths::for_charts(1, 370.0);
        let still = Chart::of(&[2.0; 12], 10, widths).unwrap();
        assert!(still.points.iter().all(|p| p.rules.is_empty()));
        let mut values = vec![2.0; 10];
        values.push(2.1);
        assert_eq!(Chart::of(&values, 10, widths).unwrap().points[0].rules, [Rule::Individuals, Rule::Ewma]);
        assert!(Chart::of(&values, 1, widths).is_none() && Chart::of(&values, 12, widths).is_none());
    }
}
