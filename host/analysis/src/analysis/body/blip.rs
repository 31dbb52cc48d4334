//! The same short check before and after snap openings, side by side. It does not say what is a change, nor whether one is bad.
//!
//! What rig and model do to both checks alike cancels in the difference, so only the scatter of repeats counts here.

use super::estimate::Estimate;
use super::latency::{self, Ranges};
use super::stretches::Recording;
use super::{lash, release, rest};
use crate::analysis::Comparison;
use crate::quantity::{Bridge, Heading, Unit};

/// Scatter that every median of repeats has at least: latency µs, return ms, degrees.
const LEAST: (f64, f64, f64) = (40.0, 0.25, 0.01);

/// Before and after have the same sensor: its lag drops out of the comparison.
const NO_LAG: Estimate = Estimate { value: 0.0, uncertainty: 0.0 };

/// One check's figures.
struct Check {
    latency_us: [Option<Estimate>; 2],
    return_ms: Option<Estimate>,
    rest_deg: Option<Estimate>,
    lash_deg: Option<Estimate>,
}

fn check(r: &Recording, emf: Option<f64>, ranges: Ranges) -> Check {
    let steps = latency::measure(&[r], ranges, NO_LAG);
    let latency_us = Heading::ALL.map(|heading| {
        let all: Vec<f64> = steps
            .latencies
            .iter()
            .filter(|l| l.heading == heading)
            .flat_map(|l| l.histogram.iter_recorded())
            .flat_map(|v| vec![v.value_iterated_to() as f64; v.count_at_value() as usize])
            .collect();
        Estimate::median_of(&all, LEAST.0)
    });
    let returns: Option<Vec<f64>> = release::find(r, ranges.rest_deg)
        .iter()
        .filter(|r| r.bridge == Bridge::Open && r.from_deg > ranges.rest_deg + 15.0)
        .map(|r| r.seconds.map(|s| 1e3 * s))
        .collect();
    let arrests = emf.map(|k| lash::arrests(&[r], k, ranges.rest_deg, NO_LAG)).unwrap_or_default();
    let lash: Vec<f64> = arrests.iter().map(|a| a.lash_deg).collect();
    Check {
        latency_us,
        return_ms: returns.and_then(|r| Estimate::median_of(&r, LEAST.1)),
        rest_deg: rest::find(&[r]).map(|r| r.position),
        lash_deg: Estimate::median_of(&lash, LEAST.2),
    }
}

/// Every quantity that both checks have.
pub fn compare(before: &Recording, after: &Recording, emf: Option<f64>, ranges: Ranges) -> Vec<Comparison> {
    let (a, b) = (check(before, emf, ranges), check(after, emf, ranges));
    let row = |name: &str, unit, pair: (Option<Estimate>, Option<Estimate>)| {
        let (before, after) = (pair.0?, pair.1?);
        Some(Comparison {
            name: name.to_owned(),
            unit,
            before: before.value,
            u_before: before.uncertainty,
            after: after.value,
            u_after: after.uncertainty,
        })
    };
    [
        row(
            "latency in the low range, opening, median",
            Unit::Microsecond,
            (a.latency_us[0], b.latency_us[0]),
        ),
        row(
            "latency in the low range, closing, median",
            Unit::Microsecond,
            (a.latency_us[1], b.latency_us[1]),
        ),
        row("return time, bridge open", Unit::Millisecond, (a.return_ms, b.return_ms)),
        row("rest position", Unit::Degree, (a.rest_deg, b.rest_deg)),
        row("lash at rest, by arrest", Unit::Degree, (a.lash_deg, b.lash_deg)),
    ]
    .into_iter()
    .flatten()
    .collect()
}
