//! How sure the variances of a gauge study are: generalised pivotal quantities.
//!
//! A mean square over its expectation is χ² over its degrees of freedom, independent of the others. Drawn the other way round, each mean square
//! is what it was found to be, over χ²/df; whatever is worked out of the drawn ones has the spread that it is known with (S. Weerahandi, JASA 88,
//! 1993, 899; M. Hamada, S. Weerahandi, J. Quality Technology 32, 2000, 241, for gauge studies; both from memory). For one mean square alone
//! this is the exact χ² interval. The draws are a Latin square over the quantiles, so that each margin is exact, with a fixed seed: the same
//! study has the same intervals.

use super::anova::{Anova, MeanSquares, Source};
use crate::analysis::statistics::{Resampler, quantile};
use serde::Serialize;
use statrs::distribution::{ChiSquared, ContinuousCDF};

/// Draws: the ends of an interval then hold to about one part in a hundred of its width.
const DRAWS: usize = 10_000;
/// Coverage of every interval.
pub const COVERAGE: f64 = 0.95;
/// Seed of the order of the draws.
const SEED: u64 = 20_260_101;
/// The sources that a table may have, each with its own draws.
const SOURCES: [Source; 4] = [Source::Part, Source::Mounting, Source::Interaction, Source::Repeatability];

/// An interval that holds the true value with 95 % probability.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct Interval {
    /// Lower end.
    pub low: f64,
    /// Upper end; null where the value may be without bound.
    pub high: Option<f64>,
}

impl Interval {
    /// The same, reaching as far as `value`.
    pub fn holding(self, value: f64) -> Self {
        Self { low: self.low.min(value), high: self.high.map(|h| h.max(value)) }
    }
}

/// Draws of χ² over its degrees of freedom, for every source of a layout.
#[derive(Clone, Debug)]
pub struct Pivots {
    draws: [Vec<f64>; 4],
}

impl Pivots {
    /// For tables of this shape.
    pub fn of(table: &Anova) -> Self {
        let mut random = Resampler::new(SEED);
        let draws = SOURCES.map(|source| {
            let df = table.row(source).map(|r| r.df as f64);
            df.and_then(|df| Some((df, ChiSquared::new(df).ok()?)))
                .map(|(df, chi)| shuffled(strata(|p| chi.inverse_cdf(p) / df), &mut random))
                .unwrap_or_default()
        });
        Self { draws }
    }

    /// The interval of what `work` makes of the table's mean squares. A value that is not a number counts as one without bound.
    pub fn interval(&self, table: &Anova, work: impl Fn(MeanSquares) -> f64) -> Interval {
        let found = table.mean_squares();
        let over = |value: f64, draws: &[f64], k: usize| draws.get(k).map_or(value, |draw| value / draw);
        let [part, mounting, interaction, repeat] = &self.draws;
        let mut all: Vec<f64> = (0..DRAWS)
            .map(|k| {
                let drawn = MeanSquares {
                    part: over(found.part, part, k),
                    mounting: over(found.mounting, mounting, k),
                    interaction: over(found.interaction, interaction, k),
                    repeat: over(found.repeat, repeat, k),
                };
                let value = work(drawn);
                if value.is_nan() { f64::INFINITY } else { value }
            })
            .collect();
        let tail = 0.5 * (1.0 - COVERAGE);
        let low = quantile(&mut all, tail).filter(|v| v.is_finite()).unwrap_or(0.0);
        Interval { low, high: quantile(&mut all, 1.0 - tail).filter(|v| v.is_finite()) }
    }
}

/// The middles of equally probable strata.
fn strata(of: impl Fn(f64) -> f64) -> Vec<f64> {
    (0..DRAWS).map(|k| of((k as f64 + 0.5) / DRAWS as f64)).collect()
}

/// In random order (Fisher and Yates).
fn shuffled(mut values: Vec<f64>, random: &mut Resampler) -> Vec<f64> {
    for k in (1..values.len()).rev() {
        values.swap(k, ((random.uniform() * (k + 1) as f64) as usize).min(k));
    }
    values
}

#[cfg(test)]
mod tests {
    use super::super::anova::tests::aiag;
    use super::super::anova::{Components, Mountings};
    use super::super::crossed::Crossed;
    use super::*;

    #[test]
    fn of_one_mean_square_it_is_the_exact_interval() {
        let table = Anova::full(&aiag(), Mountings::Crossed);
        let interval = Pivots::of(&table).interval(&table, |ms| ms.repeat);
        // χ² with 60 degrees of freedom: 40.4817 and 83.2977 (tables, from memory): 2.758933 over each.
        assert!((interval.low - 2.758_933 / 83.2977).abs() < 1e-5, "{interval:?}");
        assert!((interval.high.unwrap() - 2.758_933 / 40.4817).abs() < 1e-4, "{interval:?}");
    }

    /// Standard deviations that are planted: repeatability, mounting, shared mounting, part.
    struct Planted {
        repeat: f64,
        mounting: f64,
        shared: f64,
        part: f64,
    }

    fn drawn(planted: &Planted, [a, b, r]: [usize; 3], random: &mut Resampler) -> Crossed {
        let shared: Vec<f64> = (0..b).map(|_| planted.shared * random.normal()).collect();
        let mut values = Vec::new();
        for _ in 0..a {
            let part = 100.0 + planted.part * random.normal();
            for shared in &shared {
                let cell = part + shared + planted.mounting * random.normal();
                values.extend((0..r).map(|_| cell + planted.repeat * random.normal()));
            }
        }
        Crossed::new(a, b, r, values).unwrap()
    }

    /// How often of `times` studies the interval holds the planted value: of the rig's variance, and of its share of the whole.
    fn coverage(planted: &Planted, layout: [usize; 3], mountings: Mountings, times: usize) -> [f64; 2] {
        let mut random = Resampler::new(41);
        let rig = planted.repeat.powi(2) + planted.mounting.powi(2) + planted.shared.powi(2);
        let share = rig / (rig + planted.part.powi(2));
        let mut held = [0; 2];
        let mut pivots = None;
        for _ in 0..times {
            let table = Anova::full(&drawn(planted, layout, &mut random), mountings);
            let pivots = pivots.get_or_insert_with(|| Pivots::of(&table));
            let holds = |i: Interval, v: f64| i.low <= v && i.high.is_none_or(|h| v <= h);
            held[0] += usize::from(holds(pivots.interval(&table, |ms| table.gauge(ms)), rig));
            let of_total = |ms| {
                let (rig, Components { part, .. }) = (table.gauge(ms), table.components(ms));
                rig / (rig + part)
            };
            held[1] += usize::from(holds(pivots.interval(&table, of_total), share));
        }
        held.map(|h| h as f64 / times as f64)
    }

    /// 1500 studies: the share that holds is known to 0.6 % (one standard deviation).
    #[track_caller]
    fn check(planted: Planted, layout: [usize; 3], mountings: Mountings) {
        for held in coverage(&planted, layout, mountings, 1500) {
            assert!((0.93..=0.97).contains(&held), "{held}");
        }
    }

    #[test]
    fn mountings_of_each_part_alone_are_held_as_often_as_stated() {
        check(Planted { repeat: 1.0, mounting: 1.0, shared: 0.0, part: 5.0 }, [10, 3, 3], Mountings::Nested);
        check(Planted { repeat: 1.0, mounting: 3.0, shared: 0.0, part: 5.0 }, [5, 3, 2], Mountings::Nested);
        check(Planted { repeat: 1.0, mounting: 0.0, shared: 0.0, part: 2.0 }, [6, 2, 3], Mountings::Nested);
    }

    #[test]
    fn mountings_that_parts_share_are_held_as_often_as_stated() {
        check(Planted { repeat: 1.0, mounting: 0.5, shared: 1.0, part: 5.0 }, [10, 3, 3], Mountings::Crossed);
        check(Planted { repeat: 1.0, mounting: 1.0, shared: 2.0, part: 4.0 }, [8, 4, 2], Mountings::Crossed);
    }
}
