//! One outcome's figures against another's: differences with their uncertainty, and how probable they are without a change.
//!
//! The uncertainty of a difference is √(u² + u²): what both measurements share (the same rig, its calibration, the model of a figure)
//! would cancel, but an outcome states one uncertainty for all of it, so it is not taken off. Less is therefore called changed
//! than could be; nothing more is. What a figure scatters by from one recording to the next, beyond its stated uncertainty, is added.

use super::events::{self, Watched};
use super::family::{self, Family};
use super::quantiles::{Sample, longest_by_chance, quantile_by_chance};
use super::subject::Quantity;
use crate::outcome::{Outcome, OutcomeFigure};
use crate::quantity::{FigureName, FindingKind, Written};
use crate::verdict::Verdict;
use serde::Serialize;

/// Name of the histograms that hold latencies.
const LATENCY: &str = "latency";

/// A measured value.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct Value {
    /// Its value.
    pub value: f64,
    /// Its expanded uncertainty, 95 %, k = 2.
    #[cfg_attr(feature = "schemas", schemars(range(min = 0)))]
    pub expanded_uncertainty: f64,
    /// Where in the travel, degrees.
    pub at_deg: Option<f64>,
    /// Its verdict; null when there is no limit.
    pub verdict: Option<Verdict>,
}

impl From<&OutcomeFigure> for Value {
    fn from(f: &OutcomeFigure) -> Self {
        Self {
            value: f.value,
            expanded_uncertainty: f.expanded_uncertainty,
            at_deg: f.at_deg,
            verdict: f.verdict,
        }
    }
}

/// How a difference was distinguished from chance.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
#[serde(rename_all = "snake_case")]
pub enum Method {
    /// The difference over its standard uncertainty, normal.
    Uncertainty,
    /// Counts of events, exactly.
    Events,
    /// Order statistics of both samples, and the uncertainty.
    Quantile,
    /// Which sample the largest values come from, and the uncertainty.
    Longest,
}

/// One quantity before and after.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct Change {
    /// Which.
    #[serde(flatten)]
    pub quantity: Quantity,
    /// Before.
    pub before: Value,
    /// After.
    pub after: Value,
    /// After less before.
    pub difference: f64,
    /// Expanded uncertainty of the difference, 95 %, k = 2.
    #[cfg_attr(feature = "schemas", schemars(range(min = 0)))]
    pub expanded_uncertainty: f64,
    /// How chance was excluded.
    pub method: Method,
    /// Probability of such a difference without a change, 0..1.
    #[cfg_attr(feature = "schemas", schemars(range(min = 0, max = 1)))]
    pub p: f64,
    /// The same for the whole comparison (Holm), 0..1.
    #[cfg_attr(feature = "schemas", schemars(range(min = 0, max = 1)))]
    pub p_family: f64,
    /// Whether it is shown to have changed.
    pub changed: bool,
    /// True change that would have been shown 19 times in 20; of quantiles and longest values no smaller one would. Null where it
    /// can't be reported.
    pub least_shown: Option<f64>,
}

/// A quantity that can't be compared, and why.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct NotCompared {
    /// Which.
    #[serde(flatten)]
    pub quantity: Quantity,
    /// Why.
    pub why: String,
}

/// Every quantity that both outcomes have, before the family is known.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Compared {
    /// Differences; `p_family`, `changed` and `least_shown` are still open.
    pub changes: Vec<Change>,
    /// What can't be compared.
    pub not_compared: Vec<NotCompared>,
}

/// Compares figure by figure, in the order of the first outcome.
pub fn compare(before: &Outcome, after: &Outcome) -> Compared {
    let mut compared = Compared::default();
    let leave = |quantity, why: &str| NotCompared { quantity, why: why.to_owned() };
    for a in &before.figures {
        let quantity = Quantity::of(a);
        match quantity.find(after) {
            None => compared.not_compared.push(leave(quantity, "the second record does not have it")),
            Some(b) => match change((before, a), (after, b)) {
                Ok(change) => compared.changes.push(change),
                Err(why) => compared.not_compared.push(leave(quantity, why)),
            },
        }
    }
    for b in &after.figures {
        let quantity = Quantity::of(b);
        if quantity.find(before).is_none() {
            compared.not_compared.push(leave(quantity, "the first record does not have it"));
        }
    }
    compared
}

fn change(
    before: (&Outcome, &OutcomeFigure),
    after: (&Outcome, &OutcomeFigure),
) -> Result<Change, &'static str> {
    let (a, b) = (before.1, after.1);
    if at_the_mercy_of_dropouts(&a.figure) && [before.0, after.0].into_iter().any(loses_contact) {
        return Err(
            "contact was lost in one of the records, and how that disturbs it is chance: the dropouts themselves are compared",
        );
    }
    if a.figure.known() == Some(FigureName::Settling) {
        return Err(
            "a last swing that just leaves the band, or just does not, makes it jump from one recording to the next",
        );
    }
    let difference = b.value - a.value;
    let again = again(&a.figure, 0.5 * (a.value.abs() + b.value.abs()));
    let once = |f: &OutcomeFigure| f.expanded_uncertainty.hypot(2.0 * again);
    let expanded_uncertainty = once(a).hypot(once(b));
    let (method, p) = chance(before, after, difference, 0.5 * expanded_uncertainty)?;
    Ok(Change {
        quantity: Quantity::of(a),
        before: a.into(),
        after: b.into(),
        difference,
        expanded_uncertainty,
        method,
        p,
        p_family: 1.0,
        changed: false,
        least_shown: None,
    })
}

/// What measuring again adds to the stated uncertainty of a figure of this size, in its unit (k = 1). The stated one speaks of one
/// recording; these figures also hang on what chance did in it. Engineering assumptions, from simulated parts measured twice
/// (`scripts/study changes --spread`), but for the range.
fn again(figure: &Written<FigureName>, size: f64) -> f64 {
    use FigureName as F;
    let share = match figure.known() {
        // A range of 5 strokes scatters by d3/d2 = 0.864/2.326 of its mean (Tippett, Biometrika 17, 1925, 364).
        Some(F::Repeatability) => 0.371,
        // A sensor's own steps: how often they are met differs from sweep to sweep.
        Some(F::Noise) => 0.08,
        // The largest difference lies where a defect lets go, now here, now there.
        Some(F::Hysteresis | F::Overshoot) => 0.03,
        // An opening is a degree more or less, and a plate bounces once more or does not.
        Some(F::ReturnTime | F::RiseTime) => 0.01,
        Some(F::TrackingError) => 0.005,
        // Lines are distinguished in time by where the steps of their converters fall, µs.
        Some(F::Skew) => return 2.5,
        _ => 0.0,
    };
    share * size
}

/// Extremes and scatter, which a few lost readings decide.
fn at_the_mercy_of_dropouts(figure: &Written<FigureName>) -> bool {
    use FigureName as F;
    matches!(figure.known(), Some(F::Repeatability | F::Noise | F::Hysteresis))
}

fn loses_contact(outcome: &Outcome) -> bool {
    use FindingKind as K;
    let kinds = [K::Dropout, K::FeedbackIntermittent, K::DeadChannel];
    outcome.findings.iter().any(|f| f.kind.known().is_some_and(|k| kinds.contains(&k)))
}

/// How probable such a difference is when nothing changed.
fn chance(
    before: (&Outcome, &OutcomeFigure),
    after: (&Outcome, &OutcomeFigure),
    difference: f64,
    u: f64,
) -> Result<(Method, f64), &'static str> {
    use FigureName as F;
    let by_uncertainty = || {
        if u > 0.0 { Ok(family::by_chance(difference / u)) } else { Err("no uncertainty is stated for it") }
    };
    let samples = || (sample(before.0, before.1), sample(after.0, after.1));
    let no_histogram = "no histogram of it is stored, and its distribution is not known";
    match before.1.figure.known() {
        Some(F::DropoutRate | F::LimpTrips) => {
            let (a, b) = (events(before).ok_or(NO_TIME)?, events(after).ok_or(NO_TIME)?);
            Ok((Method::Events, events::by_chance(a, b)))
        }
        Some(name @ (F::LatencyP50 | F::LatencyP90 | F::LatencyP99)) => {
            let share = quantile_of(name);
            let (a, b) = samples();
            let p = quantile_by_chance(&a, &b, share).ok_or(no_histogram)?;
            Ok((Method::Quantile, p.max(by_uncertainty()?)))
        }
        Some(F::LatencyMax) => {
            let (a, b) = samples();
            let p = longest_by_chance(&a, &b).ok_or(no_histogram)?;
            Ok((Method::Longest, p.max(by_uncertainty()?)))
        }
        _ => Ok((Method::Uncertainty, by_uncertainty()?)),
    }
}

const NO_TIME: &str = "how long it was watched for can't be told from the record";

const fn quantile_of(name: FigureName) -> f64 {
    match name {
        FigureName::LatencyP50 => 0.5,
        FigureName::LatencyP90 => 0.9,
        _ => 0.99,
    }
}

/// Events and minutes behind a rate or a count. Trips of a monitor are those of the same traces; half of one counts as none.
pub(super) fn events((outcome, figure): (&Outcome, &OutcomeFigure)) -> Option<Watched> {
    let rate = outcome.figures.iter().find(|f| f.figure == FigureName::DropoutRate)?;
    let watched = Watched::from_rate(rate.value, rate.upper_bound?)?;
    if figure.figure == FigureName::DropoutRate {
        return Some(watched);
    }
    Some(Watched { events: (figure.value - 0.5).ceil().max(0.0) as u64, ..watched })
}

/// The latencies behind a quantile: those of its range and direction, or all.
fn sample<'a>(outcome: &'a Outcome, figure: &OutcomeFigure) -> Sample<'a> {
    let of = |h: &&crate::outcome::OutcomeHistogram| {
        h.name == LATENCY && h.unit == figure.unit && figure.condition.covers(&h.condition)
    };
    Sample::new(outcome.histograms.iter().filter(of))
}

/// What would have been shown, now that the family is known.
pub fn least_shown(change: &Change, before: &Outcome, after: &Outcome, family: &Family) -> Option<f64> {
    let by_uncertainty = 0.5 * change.expanded_uncertainty * family.shown_sigmas();
    match change.method {
        Method::Uncertainty => Some(by_uncertainty),
        Method::Events => {
            let (a, b) = (change.quantity.find(before)?, change.quantity.find(after)?);
            let (seen, then) = (events((before, a))?, events((after, b))?);
            let rate = events::least_rate_shown(seen, then.minutes, family.enough(), family::POWER)?;
            let more = rate - seen.events as f64 / seen.minutes;
            let per_minute = change.quantity.figure == FigureName::DropoutRate;
            Some(if per_minute { more } else { more * then.minutes })
        }
        // At least that much; beyond it, it hangs on shapes that one pair of samples does not show.
        Method::Quantile | Method::Longest => Some(by_uncertainty),
    }
}
