//! Flat spots into words and numbers, and what a search would have missed.

use super::bank::{self, Shape};
use super::refine::{self, Spot};
use super::{EDGE_DEG, Hit, Scale, THRESHOLD};
use crate::analysis::curve::{Curves, LineCurve};
use crate::analysis::prepared::Direction;
use crate::analysis::{Detail, DetectionLimit, Finding, statistics};
use crate::quantity::{Channel, FindingKind};

/// In how many strokes a spot shows.
#[derive(Default)]
struct Seen {
    up: u32,
    down: u32,
    up_of: u32,
    down_of: u32,
}

fn seen(curves: &Curves, line: usize, curve: &LineCurve, spot: &Spot) -> Seen {
    let mut out = Seen::default();
    let half = 0.5 * curve.hysteresis_deg.unwrap_or(0.0);
    for stroke in &curves.strokes {
        let Some(values) = stroke.ratio.get(line).filter(|r| !r.is_empty()) else { continue };
        let shift = if stroke.direction == Direction::Up { half } else { -half };
        let y: Vec<f64> = values.iter().zip(&curves.deg).map(|(v, d)| v / curve.slope - d).collect();
        let moved = Spot { start_deg: spot.start_deg + shift, ..*spot };
        let Some(loss) = refine::loss_in(&curves.deg, &y, &moved) else { continue };
        let hit = u32::from(loss > 0.4 * spot.loss);
        match stroke.direction {
            Direction::Up => (out.up, out.up_of) = (out.up + hit, out.up_of + 1),
            Direction::Down => (out.down, out.down_of) = (out.down + hit, out.down_of + 1),
        }
    }
    out
}

pub(super) fn finding(
    curves: &Curves,
    line: usize,
    curve: &LineCurve,
    other: Option<&LineCurve>,
    hit: &Hit,
) -> Finding {
    let spot = hit.spot;
    let channel = Channel::SENSORS[line];
    let seen = seen(curves, line, curve, &spot);
    let depth_mv = 5000.0 * spot.loss * spot.width_deg * curve.slope.abs();
    let on_both = other.is_some_and(|o| shows_in(curves, o, &spot));
    let back = match spot.shape {
        Shape::Snap => "then jumps back",
        Shape::CatchUp => "then catches up",
        Shape::Permanent => "and stays behind",
    };
    let way = hit.one_way.map_or(String::new(), |w| format!(", on the way {w} only"));
    let mut text = format!(
        "the {channel} line loses {:.0} % of its slope from {:.1} to {:.1} deg{way}, {back}; seen in {} of {} strokes",
        100.0 * spot.loss,
        spot.start_deg,
        spot.end_deg(),
        seen.up + seen.down,
        seen.up_of + seen.down_of
    );
    if on_both {
        text.push_str(
            ". Both lines show it at the same place: slip of the magnet or coupling fits as well; mark it and sweep again, slip \
             does not come back at the same angle",
        );
    }
    Finding {
        kind: FindingKind::FlatSpot,
        channel: Some(channel),
        from_deg: Some(spot.start_deg),
        to_deg: Some(spot.end_deg()),
        confidence: confidence(hit.z),
        text,
        details: vec![
            Detail { name: "width", value: spot.width_deg, unit: "deg" },
            Detail { name: "slope_loss", value: 100.0 * spot.loss, unit: "%" },
            Detail { name: "depth", value: depth_mv, unit: "mV at 5 V" },
            Detail { name: "cycles_seen", value: f64::from(seen.up.max(seen.down)), unit: "1" },
            Detail { name: "cycles", value: f64::from(seen.up_of.max(seen.down_of)), unit: "1" },
            Detail { name: "strokes_up_seen", value: f64::from(seen.up), unit: "1" },
            Detail { name: "strokes_down_seen", value: f64::from(seen.down), unit: "1" },
            Detail { name: "score", value: hit.z, unit: "1" },
            Detail { name: "on_both_lines", value: f64::from(u8::from(on_both)), unit: "1" },
        ],
    }
}

/// How sure a spot of score `z` is, 0.95 at the threshold. Assumption, no source: one tested sweep in 50 has a flat spot; with one
/// false alarm in 1000 sweeps, an alarm at the threshold is then true in 0.95 of the cases. Beyond it false alarms
/// fall by a factor of e per unit of score at least (healthy sweeps: of 10 per 0.6).
fn confidence(z: f64) -> f64 {
    (1.0 - 0.05 * (THRESHOLD - z).exp()).clamp(0.5, 0.999)
}

/// Whether another line loses slope at the same place.
fn shows_in(curves: &Curves, other: &LineCurve, spot: &Spot) -> bool {
    let y: Vec<f64> = other.mean.iter().zip(&curves.deg).map(|(v, d)| v / other.slope - d).collect();
    other.slope != 0.0 && refine::loss_in(&curves.deg, &y, spot).is_some_and(|loss| loss > 0.5 * spot.loss)
}

pub(super) fn untested(line: usize, why: &str) -> DetectionLimit {
    DetectionLimit {
        kind: FindingKind::FlatSpot,
        channel: Some(Channel::SENSORS[line]),
        text: format!("flat spots of the {} line were not looked for: {why}", Channel::SENSORS[line]),
        details: Vec::new(),
    }
}

/// The smallest spots that this sweep would have shown with 99 %: the filter's output must exceed the threshold by 2.33 of
/// its own spread, both as measured along this sweep. Between the searched widths, and below them, the needed loss goes with
/// width^−1.5 as for white noise.
pub(super) fn limit(line: usize, curves: &Curves, range: (usize, usize), scale: &Scale) -> DetectionLimit {
    let channel = Channel::SENSORS[line];
    // A spot must fill more than two bins to be a spot and not a bin.
    let width = |shape, loss| smallest(scale, shape, loss).map(|w| w.max(2.5 * curves.step_deg));
    let snap_full = width(Shape::Snap, 1.0);
    let Some(snap_full) = snap_full else {
        return untested(line, "the samples lie too far apart, or too little of the travel was seen");
    };
    let named = [
        ("snap_full_loss", Some(snap_full)),
        ("snap_loss_30", width(Shape::Snap, 0.3)),
        ("permanent_full_loss", width(Shape::Permanent, 1.0)),
        ("permanent_loss_30", width(Shape::Permanent, 0.3)),
    ];
    let (low, high) = (
        curves.deg[range.0.min(curves.len() - 1)],
        curves.deg[range.1.saturating_sub(1).min(curves.len() - 1)],
    );
    let mut details: Vec<Detail> =
        named.iter().filter_map(|(name, v)| v.map(|value| Detail { name, value, unit: "deg" })).collect();
    details.push(Detail { name: "tested_from", value: low, unit: "deg" });
    details.push(Detail { name: "tested_to", value: high, unit: "deg" });
    let say = |v: Option<f64>| {
        v.map_or("of any width up to 2.8 deg".to_owned(), |w| format!("narrower than {w:.1} deg"))
    };
    let text = format!(
        "on the {channel} line, between {low:.1} and {high:.1} deg, a flat spot {} that jumps back ({} with 30 % loss), or {} that \
         stays behind ({} with 30 % loss), would not have been seen for certain; nor one within {EDGE_DEG} deg of a stop",
        say(Some(snap_full)),
        say(named[1].1),
        say(named[2].1),
        say(named[3].1),
    );
    DetectionLimit { kind: FindingKind::FlatSpot, channel: Some(channel), text, details }
}

/// Smallest width whose `loss` is seen with 99 %; none when even the widest is not.
fn smallest(scale: &Scale, shape: Shape, loss: f64) -> Option<f64> {
    let needed: Vec<(f64, f64)> = scale
        .iter()
        .filter(|s| s.1 == Some(shape))
        .map(|(width, _, sd, freedom)| {
            (*width, sd * (bank::t_of(THRESHOLD, *freedom) + statistics::normal_quantile(0.99)))
        })
        .collect();
    let at = needed.iter().position(|(_, n)| *n <= loss)?;
    let (width, need) = needed[at];
    let guess = width * (need / loss).powf(2.0 / 3.0);
    // Not below the next narrower width, which was not enough.
    let floor = if at > 0 { needed[at - 1].0 } else { 0.0 };
    Some(guess.max(floor))
}
