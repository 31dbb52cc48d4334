//! What a grip can't be: a log with a motor's channels, an angle that goes well beyond the sheet's travel, or one that opens faster than a
//! hand turns.

use super::{LimitKind, RecordingLimit};
use crate::analysis::prepared::{AngleSource, Direction, Prepared};
use crate::analysis::statistics;
use crate::quantity::{Channel, PartKind, ProcedureKind};
use crate::sheet::PartSheet;

/// An angle that goes beyond the sheet's travel by more than this share is of another part, or not in degrees of it. Parts of one kind
/// differ by a few per cent. Engineering assumption.
const BEYOND: f64 = 0.12;
/// No hand opens a grip faster than this stroke after stroke, degrees per second; a spring may close it faster, and a motor opens a
/// plate in a tenth of a second. Engineering assumption.
const FASTEST_HAND: f64 = 600.0;

/// Whether the recording is of something else.
pub(super) fn find(prepared: &Prepared<'_>, sheet: &PartSheet) -> Option<RecordingLimit> {
    if sheet.kind != PartKind::Grip || prepared.trace.provenance.procedure != ProcedureKind::Import {
        return None;
    }
    let motor = [Channel::MotorVolts, Channel::MotorAmps]
        .into_iter()
        .find(|c| prepared.trace.channel(*c).is_some_and(|v| v.iter().any(|v| v.is_finite())));
    if let Some(motor) = motor {
        let text = format!(
            "the log has a column of {motor}, and a grip has no motor: it looks like a throttle body's, and by a grip's sheet it is neither \
             within nor outside; take the column out of the map if it is not the part's"
        );
        return Some(RecordingLimit::new(LimitKind::OtherPart, None, text));
    }
    let opening = prepared.strokes.iter().filter(|s| s.direction == Direction::Up);
    let mut speeds: Vec<f64> = opening.filter_map(|s| prepared.stroke_speed(s)).collect();
    let speed = statistics::median(&mut speeds).filter(|_| prepared.trace.provenance.time_known);
    if let Some(speed) = speed.filter(|s| *s > FASTEST_HAND) {
        let text = format!(
            "the log opens at {speed:.0} deg/s, faster than a hand turns a grip: it looks like a motor's, as of a throttle body, or the times \
             are in another unit; give --time-unit or --rate, or a throttle body's sheet"
        );
        return Some(RecordingLimit::new(LimitKind::OtherPart, None, text));
    }
    let (low, high) = prepared.travel_deg.filter(|_| prepared.angle_source == AngleSource::Reference)?;
    let travel = high - low;
    (travel > (1.0 + BEYOND) * sheet.travel_deg).then(|| {
        let text = format!(
            "the angle goes over {travel:.1} deg, and the sheet's part turns by {:.1} deg: it is another part, or the angle is not in degrees of \
             the grip; give the sheet that fits, or scale the column",
            sheet.travel_deg
        );
        RecordingLimit::new(LimitKind::OtherPart, None, text)
    })
}
