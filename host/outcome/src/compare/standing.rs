//! A part among the population of its kind: where each figure lies, and how unusual that is.
//!
//! Prediction interval of one more value from a normal population: mean ± t·s·√(1 + 1/n), n − 1 degrees of freedom (Hahn, Meeker,
//! Statistical Intervals, 1991, 4.7). The population's spread holds the scatter of its own measurements; what the part's is worse
//! than theirs is added.

use super::SCHEMA_VERSION;
use super::family::{self, Family};
use super::figures::Value;
use super::normality::{Shape, shape};
use super::subject::{ON_OTHER_RIGS, OtherKind, Quantity, Side, Subject, differing, same_kind};
use super::trend::smooth;
use crate::analysis::statistics::{mean, standard_deviation, t_quantile};
use serde::Serialize;
use statrs::distribution::{ContinuousCDF, StudentsT};

/// With fewer parts an interval is given and said to be wide.
pub const FEW: usize = 10;
/// With fewer parts nothing is said of a figure.
pub const LEAST_PARTS: usize = 3;
/// Share of the population that an interval is to hold.
const INTERVAL: f64 = 0.95;

/// The document.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct Standing {
    /// Shape version.
    pub schema: u32,
    /// `standing`.
    pub document: &'static str,
    /// The part.
    pub part: Side,
    /// The records of the population that were used.
    pub population: Vec<Side>,
    /// Records that were not used, and why.
    pub left_out: Vec<LeftOut>,
    /// The questions that share one level.
    pub family: Family,
    /// Figures of the part that the population has too.
    pub figures: Vec<Place>,
    /// Figures of the part of which nothing can be said, and why.
    pub not_compared: Vec<super::figures::NotCompared>,
    /// How to read it, and what keeps part and population apart.
    pub notes: Vec<String>,
}

/// A record that was not used.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct LeftOut {
    /// The record, as given.
    pub record: String,
    /// Why.
    pub why: String,
}

/// Where one figure lies.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct Place {
    /// Which.
    #[serde(flatten)]
    pub quantity: Quantity,
    /// The part's.
    pub part: Value,
    /// Values of the population, in the order of its records.
    pub values: Vec<f64>,
    /// Their mean.
    pub mean: f64,
    /// Their standard deviation.
    #[cfg_attr(feature = "schemas", schemars(range(min = 0)))]
    pub standard_deviation: f64,
    /// Where 95 % of further parts would lie, as far as so many show.
    pub low: f64,
    /// The upper end.
    pub high: f64,
    /// Share of the population below the part's value, 0..1.
    #[cfg_attr(feature = "schemas", schemars(range(min = 0, max = 1)))]
    pub below: f64,
    /// Probability of a value so far off or farther, 0..1.
    #[cfg_attr(feature = "schemas", schemars(range(min = 0, max = 1)))]
    pub p: f64,
    /// The same for all figures (Holm), 0..1.
    #[cfg_attr(feature = "schemas", schemars(range(min = 0, max = 1)))]
    pub p_family: f64,
    /// Whether it is unusual for its kind.
    pub unusual: bool,
    /// Whether the population looks normal.
    pub shape: Shape,
}

/// Sets a part among others. The part itself, copies of one recording and parts of another kind are left out.
///
/// # Errors
/// [`OtherKind`] when all of them are of another kind of part: it was not this shelf that was meant.
pub fn stand(part: Subject<'_>, others: &[Subject<'_>]) -> Result<Standing, OtherKind> {
    let (alike, unlike): (Vec<_>, Vec<_>) =
        others.iter().copied().partition(|other| same_kind(part, *other).is_ok());
    if let (true, Some(other)) = (alike.is_empty(), unlike.first()) {
        same_kind(part, *other)?;
    }
    let (used, mut left_out) = distinct(&alike, Some(part));
    left_out.extend(unlike.iter().map(|other| LeftOut {
        record: other.record.to_owned(),
        why: format!(
            "it is of another kind of part: {}, not {}",
            other.outcome.part.kind, part.outcome.part.kind
        ),
    }));
    let mut figures = Vec::new();
    let mut not_compared = Vec::new();
    for figure in &part.outcome.figures {
        let quantity = Quantity::of(figure);
        match place(quantity.clone(), figure.into(), &used) {
            Ok(place) => figures.push(place),
            Err(why) => not_compared.push(super::figures::NotCompared { quantity, why: why.to_owned() }),
        }
    }
    let family = Family::of(figures.len());
    let adjusted = family::adjusted(&figures.iter().map(|f: &Place| f.p).collect::<Vec<_>>());
    for (place, p_family) in figures.iter_mut().zip(adjusted) {
        place.p_family = p_family;
        place.unusual = p_family <= family.level;
    }
    Ok(Standing {
        schema: SCHEMA_VERSION,
        document: "standing",
        part: part.side(),
        population: used.iter().map(Subject::side).collect(),
        left_out,
        family,
        figures,
        not_compared,
        notes: notes(part, &used),
    })
}

/// Records that report different parts or times: no recording twice, and not the part's own.
pub fn distinct<'a>(others: &[Subject<'a>], part: Option<Subject<'_>>) -> (Vec<Subject<'a>>, Vec<LeftOut>) {
    let mut used: Vec<Subject<'a>> = Vec::new();
    let mut left_out = Vec::new();
    for other in others {
        let same = |s: &Subject<'_>| same_recording(s, other);
        let why = if part.as_ref().is_some_and(same) {
            Some("it is the part itself".to_owned())
        } else {
            used.iter().find(|s| same(s)).map(|s| format!("the same recording as {}", s.record))
        };
        match why {
            Some(why) => left_out.push(LeftOut { record: other.record.to_owned(), why }),
            None => used.push(*other),
        }
    }
    (used, left_out)
}

/// Whether two outcomes are about one recording: judged twice, or copied.
fn same_recording(a: &Subject<'_>, b: &Subject<'_>) -> bool {
    let (a, b) = (a.outcome, b.outcome);
    let values = |o: &crate::outcome::Outcome| o.figures.iter().map(|f| f.value).collect::<Vec<_>>();
    (&a.recorded, &a.part.label, &a.procedures) == (&b.recorded, &b.part.label, &b.procedures)
        || (!a.figures.is_empty() && values(a) == values(b))
}

fn place(quantity: Quantity, part: Value, used: &[Subject<'_>]) -> Result<Place, &'static str> {
    if !smooth(&quantity.figure) && quantity.unit != crate::quantity::Unit::Microsecond {
        return Err("a rate or count of events has no normal spread; its limit in the sheet speaks of it");
    }
    let found: Vec<_> = used.iter().filter_map(|s| quantity.find(s.outcome)).collect();
    let values: Vec<f64> = found.iter().map(|f| f.value).collect();
    if values.len() < LEAST_PARTS {
        return Err("too few of the population have it: 3 at least, better 10 or more");
    }
    let n = values.len() as f64;
    let (centre, sd) = (mean(&values).unwrap_or(f64::NAN), standard_deviation(&values).unwrap_or(0.0));
    let squares: Vec<f64> = found.iter().map(|f| (0.5 * f.expanded_uncertainty).powi(2)).collect();
    let worse = ((0.5 * part.expanded_uncertainty).powi(2) - mean(&squares).unwrap_or(0.0)).max(0.0);
    let spread = (sd * sd * (1.0 + 1.0 / n) + worse).sqrt();
    if !(spread > 0.0 && spread.is_finite()) {
        return Err("the population has one and the same value: no spread to compare with");
    }
    let t = t_quantile(0.5 + 0.5 * INTERVAL, n - 1.0);
    let student = StudentsT::new(0.0, 1.0, n - 1.0).map_err(|_| "no spread to compare with")?;
    Ok(Place {
        below: values.iter().filter(|v| **v < part.value).count() as f64 / n,
        p: (2.0 * student.sf(((part.value - centre) / spread).abs())).min(1.0),
        mean: centre,
        standard_deviation: sd,
        low: centre - t * spread,
        high: centre + t * spread,
        p_family: 1.0,
        unusual: false,
        shape: shape(&values),
        quantity,
        part,
        values,
    })
}

fn notes(part: Subject<'_>, used: &[Subject<'_>]) -> Vec<String> {
    let mut notes = vec![
        "\"unusual\" is said only where chance is excluded for all figures together (Holm, 5 %); it is not a verdict: a limit of the sheet is"
            .to_owned(),
    ];
    if used.len() < FEW {
        notes.push(format!(
            "{} records are few: intervals are wide, and only something far off would be called unusual; 10 at least would tell more",
            used.len()
        ));
    }
    let mut labels: Vec<&str> =
        used.iter().map(|s| s.outcome.part.label.as_str()).filter(|l| !l.is_empty()).collect();
    labels.sort_unstable();
    if labels.windows(2).any(|pair| pair[0] == pair[1]) {
        notes.push("some records bear the same words for the part: one part recorded often makes the spread too small".to_owned());
    }
    let mut apart: Vec<String> = Vec::new();
    for other in used {
        for sentence in differing(part, *other) {
            let of_each = ["the parts bear different words", "the first was recorded after", ON_OTHER_RIGS];
            if of_each.iter().all(|s| !sentence.starts_with(s)) && !apart.contains(&sentence) {
                apart.push(sentence);
            }
        }
    }
    // Written one by one, the rigs of a shelf of parts would fill a page.
    let elsewhere =
        |other: &&Subject<'_>| differing(part, **other).iter().any(|s| s.starts_with(ON_OTHER_RIGS));
    match used.iter().filter(elsewhere).count() {
        0 => {}
        n => apart.push(format!("{n} of the {} others were recorded on another rig than the part: what rigs are off by widens the spread", used.len())),
    }
    notes.extend(apart);
    notes
}
