//! The counts per class. It prints nothing.

use crate::class::Class;
use crate::trial::{Error, Trial};
use serde::Serialize;
use std::collections::BTreeMap;
use trackpair::analysis::statistics::{mean, standard_deviation};
use trackpair::verdict::Verdict;
use trackpair_tests::shares::{Magnitude, Share};

/// One class.
#[derive(Clone, Debug, Serialize)]
pub struct OfClass {
    pub class: Class,
    pub name: &'static str,
    pub detected: Share,
    pub detected_nominal: Share,
    pub right: Share,
    pub right_first: Share,
    /// Of bad parts: those judged within.
    pub escapes: Share,
    /// Judged outside although every true figure keeps its limit; for classes whose truth is static.
    pub hard: Option<Share>,
    /// Of the escapes: dropouts that never happened while the sweep ran.
    pub never_happened: u64,
    pub undecided: Share,
    pub centre: Option<Magnitude>,
    pub width: Option<Magnitude>,
    /// First reported, and how often.
    pub told: BTreeMap<&'static str, u64>,
    pub prototype_study_right: Option<f64>,
}

/// Counts a class.
pub fn of_class(class: Class, all: &[&Trial]) -> OfClass {
    let nominal: Vec<&&Trial> = all.iter().filter(|t| t.nominal).collect();
    let bad: Vec<&&Trial> = all.iter().filter(|t| t.bad()).collect();
    let good: Vec<&&Trial> = all.iter().filter(|t| t.truly_outside == Some(false)).collect();
    let mut told = BTreeMap::new();
    for t in all {
        *told.entry(t.first()).or_default() += 1;
    }
    OfClass {
        class,
        name: class.words().0,
        detected: Share::count(all, |t| t.detected()),
        detected_nominal: Share::count(&nominal, |t| t.detected()),
        right: Share::count(all, |t| t.right),
        right_first: Share::count(all, |t| t.right_first),
        escapes: Share::count(&bad, |t| t.verdict == Some(Verdict::Within)),
        hard: (!good.is_empty()).then(|| Share::count(&good, |t| t.verdict == Some(Verdict::Outside))),
        never_happened: bad
            .iter()
            .filter(|t| t.verdict == Some(Verdict::Within) && t.outages == Some(0))
            .count() as u64,
        undecided: Share::count(all, |t| t.verdict == Some(Verdict::Undecided)),
        centre: Magnitude::of(all.iter().filter_map(|t| t.centre_error)),
        width: Magnitude::of(all.iter().filter_map(|t| t.width_error)),
        told,
        prototype_study_right: class.words().2,
    }
}

/// Healthy parts of one kind.
#[derive(Clone, Debug, Serialize)]
pub struct OfHealthy {
    pub hall: bool,
    pub topology: &'static str,
    /// Judged outside.
    pub false_rejects: Share,
    /// With any finding.
    pub false_alarms: Share,
    pub undecided: Share,
}

/// Counts healthy parts; `hall` and `topology` are only names here.
pub fn of_healthy(all: &[&Trial], hall: bool, topology: &'static str) -> OfHealthy {
    OfHealthy {
        hall,
        topology,
        false_rejects: Share::count(all, |t| t.verdict == Some(Verdict::Outside)),
        false_alarms: Share::count(all, |t| !t.findings.is_empty()),
        undecided: Share::count(all, |t| t.verdict == Some(Verdict::Undecided)),
    }
}

/// How a figure's stated uncertainty holds against the truth.
#[derive(Clone, Debug, Serialize)]
pub struct Coverage {
    pub figure: &'static str,
    pub hall: bool,
    pub healthy: bool,
    /// True value within value ± expanded uncertainty.
    pub covered: Share,
    pub bias: f64,
    pub sd: f64,
    /// Mean expanded uncertainty.
    pub expanded: f64,
}

/// Coverage of one figure over trials. None without any.
pub fn coverage(all: &[&Trial], figure: &'static str, hall: bool, healthy: bool) -> Option<Coverage> {
    let errors: Vec<Error> =
        all.iter().flat_map(|t| &t.errors).filter(|e| e.figure == figure).copied().collect();
    let values: Vec<f64> = errors.iter().map(|e| e.error).collect();
    let expanded: Vec<f64> = errors.iter().map(|e| e.expanded).collect();
    Some(Coverage {
        figure,
        hall,
        healthy,
        covered: Share::count(&errors, |e| e.error.abs() <= e.expanded),
        bias: mean(&values)?,
        sd: standard_deviation(&values).unwrap_or(0.0),
        expanded: mean(&expanded)?,
    })
}
