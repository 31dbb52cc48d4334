//! The smallest flat spots that a sweep would have shown with 99 %, from the spread of its own filter outputs.
//!
//! A spot of width w and loss s is seen when s × response ≥ spread × (threshold + 2.33) for some filter. The response is
//! that to a spot as the grid shows it: averaged over a bin, smeared by the half bin by which both directions are laid over
//! each other, at the worst place between two bins. The spot itself widens the spread: its filter outputs lie among the
//! smallest three quarters no more. The local slope is left out: the smooth line follows a wide loss in part.

use super::bank::{self, Filter, Shape};
use super::{EDGE_DEG, Scale, Searched, THRESHOLD};
use crate::analysis::curve::{Curves, LineCurve};
use crate::analysis::{Detail, DetectionLimit, statistics};
use crate::quantity::{Channel, FindingKind};

/// Widths looked at, degrees: largest and step.
const WIDTHS_DEG: (f64, f64) = (2.8, 0.05);
/// Share of a filter's outputs that its spread is made of.
const KEPT: f64 = 0.75;

pub(super) fn untested(line: usize, why: &str) -> DetectionLimit {
    DetectionLimit {
        kind: FindingKind::FlatSpot,
        channel: Some(Channel::SENSORS[line]),
        text: format!("flat spots of the {} line were not looked for: {why}", Channel::SENSORS[line]),
        details: Vec::new(),
    }
}

/// The limit of one line, in words and numbers.
pub(super) fn limit(
    line: usize,
    (curves, curve): (&Curves, &LineCurve),
    filters: &[Filter],
    range: (usize, usize),
    searched: &Searched,
    own_angle: bool,
) -> DetectionLimit {
    let channel = Channel::SENSORS[line];
    let seen =
        |shape| seen(curves.step_deg, filters, range.1.saturating_sub(range.0), &searched.scale, shape);
    let (snap, permanent) = (seen(Shape::Snap), seen(Shape::Permanent));
    let Some(snap_full) = smallest(&snap, 1.0) else {
        return untested(line, "the samples lie too far apart, or too little of the travel was seen");
    };
    let named = [
        ("snap_full_loss", Some(snap_full)),
        ("snap_loss_30", smallest(&snap, 0.3)),
        ("permanent_full_loss", smallest(&permanent, 1.0)),
        ("permanent_loss_30", smallest(&permanent, 0.3)),
    ];
    let at = |k: usize| curves.deg[k.min(curves.len() - 1)];
    let (low, high) = (at(range.0), at(range.1.saturating_sub(1)));
    let mut details: Vec<Detail> =
        named.iter().filter_map(|(name, v)| v.map(|value| Detail { name, value, unit: "deg" })).collect();
    let reach = 100.0 * searched.grain_deg * curve.slope.abs() / curve.span;
    details.push(Detail { name: super::GRAIN_PERCENT, value: reach, unit: "% span" });
    details.push(Detail { name: "tested_from", value: low, unit: "deg" });
    details.push(Detail { name: "tested_to", value: high, unit: "deg" });
    let say = |v: Option<f64>| {
        v.map_or("of any width up to 2.8 deg".to_owned(), |w| format!("narrower than {w:.2} deg"))
    };
    let against = if own_angle {
        "without an angle only departures of the lines from each other were looked for; ".to_owned()
    } else {
        String::new()
    };
    let text = format!(
        "{against}on the {channel} line, between {low:.1} and {high:.1} deg, a flat spot {} that jumps back ({} with 30 % loss), or {} that \
         stays behind ({} with 30 % loss), would not have been seen for certain; nor one within {EDGE_DEG} deg of a stop",
        say(named[0].1),
        say(named[1].1),
        say(named[2].1),
        say(named[3].1),
    );
    DetectionLimit { kind: FindingKind::FlatSpot, channel: Some(channel), text, details }
}

/// Smallest width from which on every width is seen at `loss`; none when the widest is not.
fn smallest(seen: &[(f64, f64)], loss: f64) -> Option<f64> {
    seen.iter().rev().take_while(|(_, least)| *least <= loss).last().map(|(width, _)| *width)
}

/// Width and least loss that is seen with 99 %, widths rising.
fn seen(step: f64, filters: &[Filter], bins: usize, scale: &Scale, shape: Shape) -> Vec<(f64, f64)> {
    let needed: Vec<(&Filter, f64)> = scale
        .iter()
        .filter(|(_, of, ..)| of.is_some())
        .filter_map(|(width, of, sd, freedom)| {
            let filter = filters.iter().find(|f| f.width_deg == *width && f.shape == *of)?;
            let spread = sd * widened(filter.taps.len(), bins);
            Some((filter, spread * bank::t_of(THRESHOLD, *freedom) + sd * statistics::normal_quantile(0.99)))
        })
        .collect();
    let (widest, by) = WIDTHS_DEG;
    // A spot must fill more than two bins to be a spot and not a bin.
    (1..=(widest / by).round() as usize)
        .map(|k| k as f64 * by)
        .filter(|width| *width >= 2.5 * step)
        .map(|width| {
            let worst = [-0.5, -0.25, 0.0, 0.25]
                .map(|offset| best_response(step, &needed, shape, width, offset))
                .into_iter()
                .fold(f64::INFINITY, f64::min);
            (width, 1.0 / worst)
        })
        .collect()
}

/// Largest output over what is needed, of a full loss whose middle lies `offset` bins beside a bin.
fn best_response(step: f64, needed: &[(&Filter, f64)], shape: Shape, width: f64, offset: f64) -> f64 {
    let reach = (0.3 * width / step) as i64 + 2;
    let half = needed.iter().map(|(f, _)| f.taps.len() as i64 / 2).max().unwrap_or(0) + reach;
    // A bin's mean and the mean of two neighbours, together a trapezoid of two bins.
    const SMEAR: [(f64, f64); 6] =
        [(-0.83, 1.0), (-0.5, 2.0), (-0.17, 2.0), (0.17, 2.0), (0.5, 2.0), (0.83, 1.0)];
    let lost: Vec<f64> = (-half..=half)
        .map(|k| {
            let x = |by: f64| (k as f64 - offset + by) * step + 0.5 * width;
            SMEAR.iter().map(|(by, weight)| 0.1 * weight * shape.lost(x(*by), width)).sum()
        })
        .collect();
    let near = needed.iter().filter(|(f, _)| (0.5..=2.1).contains(&(f.width_deg / width)));
    near.flat_map(|(filter, need)| {
        let taps = &filter.taps;
        let first = half as usize - taps.len() / 2;
        let reach = reach as usize;
        (first - reach..=first + reach)
            .map(move |a| (a, taps, *need))
            .map(|(a, taps, need)| taps.iter().zip(&lost[a..]).map(|(t, v)| t * v).sum::<f64>() / need)
            .collect::<Vec<_>>()
    })
    .fold(0.0, f64::max)
}

/// How much a spot that fills `taps` of `bins` outputs widens the rms of the smallest three quarters.
fn widened(taps: usize, bins: usize) -> f64 {
    let rest = 1.0 - (taps as f64 / bins.max(1) as f64).min(0.2);
    trimmed_rms(KEPT / rest) / trimmed_rms(KEPT)
}

/// Rms of the smallest `share` of |x| of a standard normal: sqrt(1 − 2cφ(c)/share), c = Φ⁻¹((1 + share)/2).
fn trimmed_rms(share: f64) -> f64 {
    let c = statistics::normal_quantile(0.5 * (1.0 + share));
    let density = (-0.5 * c * c).exp() / std::f64::consts::TAU.sqrt();
    (1.0 - 2.0 * c * density / share).sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_trimmed_spread_is_that_of_the_bank() {
        // Computed (Python scipy.stats): sqrt(1 - 2*c*norm.pdf(c)/0.75), c = norm.ppf(0.875).
        assert!((trimmed_rms(0.75) - 0.607_08).abs() < 2e-3, "{}", trimmed_rms(0.75));
        assert!(widened(0, 700) == 1.0 && widened(100, 700) > 1.05);
    }

    #[test]
    fn more_spread_asks_for_wider_spots() {
        let filters = bank::bank(0.1);
        let least = |sd: f64| {
            let scale: Scale =
                filters.iter().map(|f| (f.width_deg, f.shape, sd / f.width_deg, 60.0)).collect();
            smallest(&seen(0.1, &filters, 720, &scale, Shape::Snap), 1.0)
        };
        let (fine, coarse) = (least(0.02).unwrap(), least(0.08).unwrap());
        assert!(fine < coarse, "{fine} {coarse}");
        assert_eq!(least(10.0), None);
    }
}
