//! A known part's figures, sweep after sweep: has the rig moved, and does that touch verdicts yet?
//!
//! A verdict keeps a guard band of 1.65 stated standard uncertainties from the limit (`verdict::conformity`). A rig that has moved by an offset has
//! used up that much of it: at the whole band, a part that is called within may lie on the limit, and every second such verdict is wrong. So an
//! offset is reported as a share of the band:
//!
//! - **steady**: no chart signals, or the offset is a small share of the band;
//! - **moves**: a chart signals and the offset is a quarter of the band or more, or it is half of it and beyond three of its own standard errors;
//! - **misjudges**: the offset is the whole band or more and the average's chart signals, one value is beyond the band by more than its own limits, or
//!   the known part's verdict has turned round.
//!
//! The shares are engineering assumptions. What moved, the rig or the known part, a chart can't say: a second known part does.

use super::chart::{Chart, Rule, Widths};
use crate::analysis::statistics::median;
use crate::compare::drift::drift;
use crate::compare::subject::Quantity;
use crate::outcome::{OutcomeFigure, OutcomeLimit};
use crate::quantity::Unit;
use crate::verdict::{GUARD_FACTOR, Verdict};
use serde::Serialize;

/// Fewest first sweeps.
pub const LEAST_FIRST: usize = 10;
/// Sweeps of all charts together in which one signals without a reason: a year of working days, twice over.
pub const RUN_LENGTH: f64 = 500.0;
/// Share of the guard band from which on a chart's word is a warning.
const SHARE: f64 = 0.25;
/// Share of it that is a warning without a chart's word, beyond three standard errors.
const ALONE: f64 = 0.5;
/// Standard errors that an offset without a chart's word must be beyond.
const ERRORS: f64 = 3.0;
/// Newest sweeps that show the pace: of more, those before it moved would make it seem slower.
const NEWEST: usize = 12;
/// Probability below which a trend is believed.
const TREND_LEVEL: f64 = 0.01;

/// How a known part's figure stands; the worst last.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
#[serde(rename_all = "snake_case")]
pub enum State {
    /// Nothing that verdicts would notice.
    Steady,
    /// The rig moves: mend it before verdicts are wrong.
    Moves,
    /// Verdicts near a limit are wrong.
    Misjudges,
}

impl State {
    /// Its name.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Steady => "steady",
            Self::Moves => "moves",
            Self::Misjudges => "misjudges",
        }
    }
}

/// One figure of a known part over its sweeps.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct Watched {
    /// Which.
    #[serde(flatten)]
    pub quantity: Quantity,
    /// How it stands now.
    pub state: State,
    /// The sheet's limit; null where it has none: then no verdict can be wrong.
    pub limit: Option<OutcomeLimit>,
    /// Standard uncertainty that the first sweeps state, their median.
    #[cfg_attr(feature = "schemas", schemars(range(min = 0)))]
    pub stated: f64,
    /// The guard band of a verdict, the figure's unit.
    #[cfg_attr(feature = "schemas", schemars(range(min = 0)))]
    pub guard: f64,
    /// The average less the first sweeps' mean, the figure's unit; 0 before the first sweep after them.
    pub offset: f64,
    /// Standard error of that.
    #[cfg_attr(feature = "schemas", schemars(range(min = 0)))]
    pub offset_error: f64,
    /// The offset's share of the guard band, %, with its sign; null where no uncertainty is stated.
    pub used_percent: Option<f64>,
    /// Sweeps until the band is used up, if it goes on as it does; null where no trend is shown, or it leads away from the band's end.
    #[cfg_attr(feature = "schemas", schemars(range(min = 0)))]
    pub sweeps_left: Option<f64>,
    /// Whether the known part's verdict on this figure turned from within to outside, or back.
    pub turned: bool,
    /// Whether the newest sweep has no value for it, which every first one had.
    pub missing_now: bool,
    /// Which sweeps its values are of, from 0; one that has none is left out of its chart.
    pub sweeps: Vec<usize>,
    /// Whether the first sweeps scatter by more than the guard band: no chart can then keep verdicts right.
    pub scatters: bool,
    /// The chart.
    pub chart: Chart,
}

/// A known part over its sweeps.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Watch {
    /// Figure by figure, in the order of the first sweep.
    pub figures: Vec<Watched>,
    /// Figures that could not be charted: which, and why.
    pub left_out: Vec<super::study::LeftOut>,
}

impl Watch {
    /// The worst state of all figures.
    pub fn state(&self) -> State {
        self.figures.iter().map(|f| f.state).max().unwrap_or(State::Steady)
    }
}

/// Charts the figures of sweeps in their order, of which the first `first` are what later ones are held against.
pub fn watch(sweeps: &[&[OutcomeFigure]], first: usize) -> Watch {
    let mut watch = Watch::default();
    let Some(known) = sweeps.first() else { return watch };
    let quantities: Vec<Quantity> = known.iter().map(Quantity::of).collect();
    let mut series = Vec::new();
    for quantity in quantities {
        match readings(&quantity, sweeps, first) {
            Ok(seen) => series.push((quantity, seen)),
            Err(why) => watch.left_out.push(super::study::LeftOut { quantity, why }),
        }
    }
    let widths = Widths::for_charts(series.len(), RUN_LENGTH);
    watch.figures =
        series.into_iter().filter_map(|(q, seen)| watched(q, &seen, sweeps.len(), first, widths)).collect();
    watch
}

/// A value of a figure and the sweep that it is of.
type Seen<'a> = (usize, &'a OutcomeFigure);

/// Every value of a figure; the first sweeps must all have one.
fn readings<'a>(
    quantity: &Quantity,
    sweeps: &[&'a [OutcomeFigure]],
    first: usize,
) -> Result<Vec<Seen<'a>>, String> {
    if matches!(quantity.unit, Unit::Count | Unit::PerMinute) {
        return Err("a count of rare events has no chart of individuals".to_owned());
    }
    let of = |(k, sweep): (usize, &&'a [OutcomeFigure])| {
        Some((k, sweep.iter().find(|f| quantity.is(f) && f.value.is_finite())?))
    };
    let found: Vec<Seen<'a>> = sweeps.iter().enumerate().filter_map(of).collect();
    match found.iter().filter(|(k, _)| *k < first).count() {
        n if n < first.min(sweeps.len()) => {
            Err(format!("only {n} of {first} first sweeps have a value for it"))
        }
        _ => Ok(found),
    }
}

fn watched(
    quantity: Quantity,
    found: &[Seen<'_>],
    sweeps: usize,
    first: usize,
    widths: Widths,
) -> Option<Watched> {
    let seen: Vec<&OutcomeFigure> = found.iter().map(|s| s.1).collect();
    let values: Vec<f64> = seen.iter().map(|f| f.value).collect();
    let chart = Chart::of(&values, first, widths)?;
    let mut stated: Vec<f64> =
        seen[..first].iter().map(|f| 0.5 * f.expanded_uncertainty).filter(|u| u.is_finite()).collect();
    let stated = median(&mut stated).unwrap_or(0.0);
    let guard = GUARD_FACTOR * stated;
    let offset = chart.points.last().map_or(0.0, |p| p.ewma - chart.baseline.mean);
    let offset_error = chart.baseline.spreads()[1];
    let limit = seen.iter().rev().find_map(|f| f.limit.clone());
    let turned = turned(&seen, first);
    let mut watched = Watched {
        quantity,
        state: State::Steady,
        stated,
        guard,
        offset,
        offset_error,
        used_percent: (guard > 0.0).then_some(100.0 * offset / guard),
        sweeps_left: sweeps_left(&values, chart.baseline.mean, guard),
        turned,
        missing_now: found.last().is_some_and(|s| s.0 + 1 < sweeps),
        sweeps: found.iter().map(|s| s.0).collect(),
        scatters: guard > 0.0 && limit.is_some() && 2.0 * chart.baseline.standard_deviation > guard,
        limit,
        chart,
    };
    watched.state = state(&watched);
    Some(watched)
}

/// Whether the last sweep's verdict is the opposite of what most of the first ones said.
fn turned(seen: &[&OutcomeFigure], first: usize) -> bool {
    let most = |verdict| 2 * seen[..first].iter().filter(|f| f.verdict == Some(verdict)).count() > first;
    let last = seen[first..].last().and_then(|f| f.verdict);
    match last {
        Some(Verdict::Outside) => most(Verdict::Within),
        Some(Verdict::Within) => most(Verdict::Outside),
        _ => false,
    }
}

fn state(watched: &Watched) -> State {
    // What every first sweep had and this one has not is no small thing, whatever the last value was.
    let at_least = if watched.missing_now { State::Moves } else { State::Steady };
    let Some(point) = watched.chart.points.last() else { return at_least };
    let signals = |rule| point.rules.contains(&rule);
    let single = point.value - watched.chart.baseline.mean;
    // How far a single value may lie off by chance.
    let chance = 0.5 * (watched.chart.individuals[1] - watched.chart.individuals[0]);
    let same_side = single * watched.offset > 0.0;
    let farther = if same_side { watched.offset.abs().max(single.abs()) } else { watched.offset.abs() };
    let judged = watched.limit.is_some();
    let beyond = watched.guard > 0.0
        && ((signals(Rule::Ewma) && farther >= watched.guard) || single.abs() >= watched.guard + chance);
    if judged && (watched.turned || beyond) {
        return State::Misjudges;
    }
    let told = (signals(Rule::Ewma) && watched.offset.abs() >= SHARE * watched.guard)
        || (signals(Rule::Individuals) && single.abs() >= SHARE * watched.guard);
    let alone = watched.guard > 0.0
        && watched.offset.abs() >= ALONE * watched.guard
        && watched.offset.abs() >= ERRORS * watched.offset_error;
    if told || alone { State::Moves } else { at_least }
}

/// Sweeps until values lie a guard band away from the first ones' mean, by the trend of the newest.
fn sweeps_left(values: &[f64], mean: f64, guard: f64) -> Option<f64> {
    let newest = &values[values.len().saturating_sub(NEWEST)..];
    let times: Vec<f64> = (0..newest.len()).map(|k| k as f64 + 1.0 - newest.len() as f64).collect();
    // Time 0 is the newest sweep.
    let trend = drift(&times, newest).filter(|d| d.p <= TREND_LEVEL && guard > 0.0)?;
    let left = (guard.copysign(trend.slope) - (trend.at_zero - mean)) / trend.slope;
    (left.is_finite() && left >= 0.0).then_some(left)
}

#[cfg(test)]
#[path = "watch_tests.rs"]
mod tests;
