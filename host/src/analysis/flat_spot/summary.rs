//! Flat spots into words and numbers. What a search would have missed: `limit`.

use super::bank::Shape;
use super::refine::{self, Spot};
use super::{Hit, THRESHOLD};
use crate::analysis::curve::{Curves, LineCurve};
use crate::analysis::prepared::Direction;
use crate::analysis::{Detail, Finding};
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
