//! Flat spots into words and numbers. What a search would have missed: `limit`.

use super::bank::Shape;
use super::refine::{self, Spot};
use super::strokes::Repeats;
use super::{Hit, THRESHOLD};
use crate::analysis::curve::{Curves, LineCurve};
use crate::analysis::{Detail, Finding};
use crate::quantity::{Channel, FindingKind};

/// Most confidence in a spot that both lines show against an angle that no rig measured: the angle may be at fault.
const SHARED: f64 = 0.9;

/// A spot as a finding. `other` is the other line where it has an angle of its own; with `own_angle` the angle is the first line's.
pub(super) fn finding(
    line: usize,
    curve: &LineCurve,
    other: Option<&LineCurve>,
    hit: &Hit,
    (curves, own_angle, on_rig): (&Curves, bool, bool),
) -> Finding {
    let spot = hit.spot;
    let channel = Channel::SENSORS[line];
    let Repeats { up, down, .. } = hit.repeats;
    let percent = 100.0 * spot.width_deg * curve.slope.abs() / curve.span;
    let depth_percent = percent * spot.loss;
    let error = hit.repeats.loss_error.unwrap_or(0.0).hypot(spot.loss / hit.z.max(1.0));
    let depth_mv = 5000.0 * spot.loss * spot.width_deg * curve.slope.abs();
    let on_both = other.is_some_and(|o| shows_in(curves, o, &spot));
    let back = match spot.shape {
        Shape::Snap => "then jumps back",
        Shape::CatchUp => "then catches up",
        Shape::Permanent => "and stays behind",
    };
    let way = hit.one_way.map_or(String::new(), |w| format!(", on the way {w} only"));
    let place = format!("from {:.1} to {:.1} deg{way}", spot.start_deg, spot.end_deg());
    let mut text = if own_angle {
        format!(
            "the two lines depart from each other {place}, {:.0} % of the slope; which of them is at fault can't be told without an angle",
            100.0 * spot.loss
        )
    } else {
        format!("the {channel} line loses {:.0} % of its slope {place}, {back}", 100.0 * spot.loss)
    };
    text.push_str(&format!(
        "; {depth_percent:.2} % of span deep, seen in {} of the {} strokes that passed it",
        up.0 + down.0,
        up.1 + down.1
    ));
    if on_both {
        text.push_str(
            ". Both lines show it at the same place: slip of the magnet or coupling fits as well; mark it and sweep again, slip \
             does not come back at the same angle",
        );
        if !on_rig {
            text.push_str(", and so does an error of the angle that was logged");
        }
    }
    Finding {
        kind: FindingKind::FlatSpot,
        channel: (!own_angle).then_some(channel),
        from_deg: Some(spot.start_deg),
        to_deg: Some(spot.end_deg()),
        confidence: if on_both && !on_rig { confidence(hit).min(SHARED) } else { confidence(hit) },
        text,
        details: vec![
            Detail { name: "width", value: spot.width_deg, unit: "deg" },
            Detail { name: "slope_loss", value: 100.0 * spot.loss, unit: "%" },
            Detail { name: "depth", value: depth_mv, unit: "mV at 5 V" },
            Detail { name: super::DEPTH_PERCENT, value: depth_percent, unit: "% span" },
            Detail { name: super::DEPTH_UNCERTAINTY, value: percent * error, unit: "% span" },
            Detail {
                name: super::GRAIN_PERCENT,
                value: percent / spot.width_deg * hit.grain_deg,
                unit: "% span",
            },
            Detail { name: "cycles_seen", value: f64::from(up.0.max(down.0)), unit: "1" },
            Detail { name: "cycles", value: f64::from(up.1.max(down.1)), unit: "1" },
            Detail { name: "strokes_up_seen", value: f64::from(up.0), unit: "1" },
            Detail { name: "strokes_down_seen", value: f64::from(down.0), unit: "1" },
            Detail { name: "false_share", value: 100.0 * hit.repeats.false_share, unit: "%" },
            Detail { name: "power", value: 100.0 * hit.repeats.power, unit: "%" },
            Detail { name: "score", value: hit.z, unit: "1" },
            Detail { name: "on_both_lines", value: f64::from(u8::from(on_both)), unit: "1" },
        ],
    }
}

/// How sure a spot is: that it is not grain, and that it is not an accident of single strokes.
///
/// Grain: 0.95 at the threshold. Assumption, no source: one tested sweep in 50 has a flat spot; with one false alarm in 1000
/// sweeps, an alarm at the threshold is then true in 0.95 of the cases. Beyond it false alarms fall by a factor of e per unit of
/// score at least (healthy sweeps: of 10 per 0.6). Accidents: see `strokes`.
fn confidence(hit: &Hit) -> f64 {
    let grain = 1.0 - 0.05 * (THRESHOLD - hit.z).exp();
    (grain / (1.0 + hit.repeats.odds)).clamp(0.0, 0.999)
}

/// Whether another line loses slope at the same place.
fn shows_in(curves: &Curves, other: &LineCurve, spot: &Spot) -> bool {
    let y: Vec<f64> = other.mean.iter().zip(&curves.deg).map(|(v, d)| v / other.slope - d).collect();
    other.slope != 0.0 && refine::loss_in(&curves.deg, &y, spot).is_some_and(|loss| loss > 0.5 * spot.loss)
}
