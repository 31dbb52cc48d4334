//! A gauge study figure by figure: what the rig itself contributes, against how the parts differ, against the sheet's tolerance, and against the
//! uncertainty that the program states.
//!
//! Terms: AIAG, Measurement Systems Analysis, 4th edition (from memory): repeatability (EV), reproducibility (AV, here of mountings), GRR their sum,
//! PV of parts, TV of all; %GRR = GRR/TV; ndc = 1.41 PV/GRR, cut to a whole number, at least 1; 6 GRR against a tolerance with two ends. Against one
//! limit: 3 GRR of the distance from the study's mean to it (common practice, no source).

use super::anova::{Anova, Components, Mountings, Source};
use super::crossed::Crossed;
use super::pivots::{Interval, Pivots};
use crate::analysis::statistics::median;
use crate::compare::family;
use crate::compare::subject::Quantity;
use crate::outcome::{OutcomeFigure, OutcomeLimit};
use crate::quantity::Unit;
use serde::Serialize;

/// Up to here a rig is good for a tolerance, up to there usable, %: AIAG, MSA, 4th edition (from memory).
pub const GOOD_PERCENT: f64 = 10.0;
/// See [`GOOD_PERCENT`].
pub const USABLE_PERCENT: f64 = 30.0;
/// Categories from which on a rig distinguishes parts: AIAG, MSA, 4th edition (from memory).
pub const ENOUGH_CATEGORIES: u32 = 5;

/// One sweep of a study.
#[derive(Clone, Copy, Debug)]
pub struct Swept<'a> {
    /// Place of the part, from 0.
    pub part: usize,
    /// Mounting, from 0.
    pub mounting: usize,
    /// Repeat, from 0.
    pub repeat: usize,
    /// Its figures.
    pub figures: &'a [OutcomeFigure],
}

/// A standard deviation and how sure it is.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct Spread {
    /// Standard deviation, the figure's unit.
    #[cfg_attr(feature = "schemas", schemars(range(min = 0)))]
    pub standard_deviation: f64,
    /// 95 % interval.
    pub interval: Interval,
}

/// A share and how sure it is.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct Share {
    /// Per cent.
    #[cfg_attr(feature = "schemas", schemars(range(min = 0)))]
    pub percent: f64,
    /// 95 % interval.
    pub interval: Interval,
}

/// How good the rig is for a figure.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
#[serde(rename_all = "snake_case")]
pub enum Fitness {
    /// Up to 10 %.
    Good,
    /// Up to 30 %.
    Usable,
    /// More.
    Poor,
}

/// What the program states against what was seen.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct Claim {
    /// Standard uncertainty that the sweeps state, their median; calibration, which all sweeps share, is in it.
    #[cfg_attr(feature = "schemas", schemars(extend("exclusiveMinimum" = 0)))]
    pub stated: f64,
    /// Repeatability over it.
    #[cfg_attr(feature = "schemas", schemars(range(min = 0)))]
    pub repeatability_ratio: f64,
    /// GRR over it.
    #[cfg_attr(feature = "schemas", schemars(range(min = 0)))]
    pub gauge_ratio: f64,
    /// 95 % interval of that.
    pub interval: Interval,
    /// Whether the scatter is shown to exceed what is stated: the whole interval lies above 1.
    pub exceeded: bool,
}

/// One figure.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct FigureStudy {
    /// Which.
    #[serde(flatten)]
    pub quantity: Quantity,
    /// Mean of all sweeps.
    pub mean: f64,
    /// Every reading: part by part, in it mounting by mounting, in it repeat by repeat.
    pub readings: Vec<f64>,
    /// Mean of each part, in the plan's order.
    #[cfg_attr(feature = "schemas", schemars(length(min = 2)))]
    pub part_means: Vec<f64>,
    /// The sheet's limit; null where it has none.
    pub limit: Option<OutcomeLimit>,
    /// The model that the numbers below are of.
    pub model: Model,
    /// The full model's table.
    pub full: Anova,
    /// The pooled one; null where pooling is not called for.
    pub pooled: Option<Anova>,
    /// Sweeps of one mounting.
    pub repeatability: Spread,
    /// Between mountings, interaction included.
    pub mounting: Spread,
    /// The rig: both together.
    pub gauge: Spread,
    /// The parts.
    pub part: Spread,
    /// All of it, standard deviation.
    #[cfg_attr(feature = "schemas", schemars(range(min = 0)))]
    pub total: f64,
    /// The rig's share of all of it.
    pub of_total: Share,
    /// The rig's share of the tolerance; null where the sheet has no limit, or the mean lies beyond it.
    pub of_tolerance: Option<Share>,
    /// Categories that the rig distinguishes among these parts, at least 1.
    #[cfg_attr(feature = "schemas", schemars(range(min = 1)))]
    pub categories: u32,
    /// By the share of the tolerance; null where there is none: how these parts differ does not say what a rig is good for.
    pub fitness: Option<Fitness>,
    /// What is stated against what was seen; null where no uncertainty is stated.
    pub claim: Option<Claim>,
    /// Probability of such a difference between rounds without one, all figures together (Holm); null where it can't be reported. Low: something
    /// changed from round to round for all parts.
    #[cfg_attr(feature = "schemas", schemars(range(min = 0, max = 1)))]
    pub rounds_p: Option<f64>,
}

/// Which model was taken.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
#[serde(rename_all = "snake_case")]
pub enum Model {
    /// Every source by itself.
    Full,
    /// The last source counted as repeatability: not significant at 25 %.
    Pooled,
}

/// A figure that is not in the study.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct LeftOut {
    /// Which.
    #[serde(flatten)]
    pub quantity: Quantity,
    /// Why.
    pub why: String,
}

/// A whole study.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct Study {
    /// Figure by figure.
    pub figures: Vec<FigureStudy>,
    /// What could not be studied.
    pub left_out: Vec<LeftOut>,
}

/// Works a study out: `layout` is parts, mountings, repeats; each of them was swept once.
pub fn study(layout: [usize; 3], mountings: Mountings, swept: &[Swept<'_>]) -> Study {
    let mut study = Study::default();
    let mut known: Vec<Quantity> = Vec::new();
    let mut pivots: Option<Pivots> = None;
    for figure in swept.iter().flat_map(|s| s.figures) {
        if known.iter().any(|q| q.is(figure)) {
            continue;
        }
        let quantity = Quantity::of(figure);
        known.push(quantity.clone());
        match readings(&quantity, layout, swept) {
            Ok(seen) => {
                let full = Anova::full(&seen.data, mountings);
                let pivots = pivots.get_or_insert_with(|| Pivots::of(&full));
                study.figures.push(one(quantity, &seen, full, pivots));
            }
            Err(why) => study.left_out.push(LeftOut { quantity, why }),
        }
    }
    let at: Vec<usize> = (0..study.figures.len()).filter(|k| study.figures[*k].rounds_p.is_some()).collect();
    let p: Vec<f64> = at.iter().filter_map(|k| study.figures[*k].rounds_p).collect();
    for (k, p) in at.into_iter().zip(family::adjusted(&p)) {
        study.figures[k].rounds_p = Some(p);
    }
    study
}

/// The readings of a figure and what its sweeps say beside them.
struct Seen {
    data: Crossed,
    stated: f64,
    limit: Option<OutcomeLimit>,
}

fn readings(quantity: &Quantity, [a, b, r]: [usize; 3], swept: &[Swept<'_>]) -> Result<Seen, String> {
    if matches!(quantity.unit, Unit::Count | Unit::PerMinute) {
        return Err(
            "a count of rare events has no standard deviation that would say how good the rig is".to_owned()
        );
    }
    let mut values = vec![f64::NAN; a * b * r];
    let (mut stated, mut limit) = (Vec::new(), None);
    for s in swept {
        let Some(figure) = s.figures.iter().find(|f| quantity.is(f)) else { continue };
        values[(s.part * b + s.mounting) * r + s.repeat] = figure.value;
        stated.extend(Some(0.5 * figure.expanded_uncertainty).filter(|u| u.is_finite()));
        limit = limit.or_else(|| figure.limit.clone());
    }
    let missing = values.iter().filter(|v| !v.is_finite()).count();
    if missing > 0 {
        return Err(format!("{missing} of {} sweeps have no value for it", values.len()));
    }
    let data = Crossed::new(a, b, r, values).map_err(|e| e.to_string())?;
    if data.is_constant() {
        return Err(
            "every sweep gave the same value: the rig does not resolve it, or there is nothing to see"
                .to_owned(),
        );
    }
    Ok(Seen { data, stated: median(&mut stated).unwrap_or(0.0), limit })
}

fn one(quantity: Quantity, seen: &Seen, full: Anova, pivots: &Pivots) -> FigureStudy {
    let pooled = full.pooled();
    let table = pooled.as_ref().unwrap_or(&full);
    let found = table.components(table.mean_squares());
    let mean = seen.data.mean();
    // Intervals are always the full model's: what was left out after a look at the data is not known to be nothing.
    let spread = |variance: f64, of: &dyn Fn(Components) -> f64| {
        let interval = pivots.interval(&full, |ms| of(full.components(ms)).sqrt());
        Spread { standard_deviation: variance.sqrt(), interval: interval.holding(variance.sqrt()) }
    };
    let grr = found.gauge().sqrt();
    let gauge = Spread {
        standard_deviation: grr,
        interval: pivots.interval(&full, |ms| full.gauge(ms).sqrt()).holding(grr),
    };
    let share = |percent: f64, of: &dyn Fn(f64, f64) -> f64| {
        let interval = pivots.interval(&full, |ms| of(full.gauge(ms), full.components(ms).part));
        Share { percent, interval: interval.holding(percent) }
    };
    let of_total = share(100.0 * (found.gauge() / found.total()).sqrt(), &|rig, part| {
        100.0 * (rig / (rig + part)).sqrt()
    });
    let of_tolerance = seen.limit.as_ref().and_then(|l| tolerance(l, mean)).map(|(width, sigmas)| {
        let percent = |variance: f64| 100.0 * sigmas * variance.sqrt() / width;
        share(percent(found.gauge()), &|rig, _| percent(rig))
    });
    let claim = (seen.stated > 0.0).then(|| {
        let interval = Interval {
            low: gauge.interval.low / seen.stated,
            high: gauge.interval.high.map(|h| h / seen.stated),
        };
        Claim {
            stated: seen.stated,
            repeatability_ratio: found.repeatability.sqrt() / seen.stated,
            gauge_ratio: grr / seen.stated,
            interval,
            exceeded: interval.low > 1.0,
        }
    });
    FigureStudy {
        quantity,
        mean,
        readings: seen.data.values().to_vec(),
        part_means: seen.data.part_means(),
        limit: seen.limit.clone(),
        model: if pooled.is_some() { Model::Pooled } else { Model::Full },
        repeatability: spread(found.repeatability, &|c| c.repeatability),
        mounting: spread(found.mounting + found.interaction, &|c| c.mounting + c.interaction),
        part: spread(found.part, &|c| c.part),
        gauge,
        total: found.total().sqrt(),
        of_total,
        of_tolerance,
        categories: categories(found),
        fitness: of_tolerance.map(|share| fitness(share.percent)),
        claim,
        rounds_p: rounds(&seen.data),
        full,
        pooled,
    }
}

/// Width of a tolerance, and how many standard deviations are set against it; none where there is none.
fn tolerance(limit: &OutcomeLimit, mean: f64) -> Option<(f64, f64)> {
    let (width, sigmas) = match (limit.min, limit.max) {
        (Some(min), Some(max)) => (max - min, 6.0),
        (Some(min), None) => (mean - min, 3.0),
        (None, Some(max)) => (max - mean, 3.0),
        (None, None) => return None,
    };
    (width > 0.0).then_some((width, sigmas))
}

fn fitness(percent: f64) -> Fitness {
    match percent {
        p if p <= GOOD_PERCENT => Fitness::Good,
        p if p <= USABLE_PERCENT => Fitness::Usable,
        _ => Fitness::Poor,
    }
}

/// 1.41 PV/GRR, cut to a whole number.
fn categories(found: Components) -> u32 {
    let ratio = 1.41 * (found.part / found.gauge()).sqrt();
    // A rig without any scatter distinguishes more than can be counted; the cast ends at the largest number.
    (ratio.floor() as u32).max(1)
}

/// Probability of such a difference between rounds, were mountings of one round nothing to each other: their mean square over that of the
/// interaction, as if they were crossed.
fn rounds(data: &Crossed) -> Option<f64> {
    Anova::full(data, Mountings::Crossed).row(Source::Mounting).and_then(|r| r.p)
}

#[cfg(test)]
#[path = "study_tests.rs"]
mod tests;
