//! An angle column that is late or early against both lines, or that moved against both of them from stroke to stroke.
//!
//! One lag of the angle opens the loops of both lines, in proportion to speed; hysteresis of a part does not know the speed. Strokes
//! of different speeds show the lag (see `lag`), and it is taken out. At one speed a loop that both lines share may be either:
//! the hysteresis of a log, whose timing nobody states, then holds a lag that would explain it.
//!
//! What moves both lines as if they were turned is not a fault of a line: a coupling of the angle that slips does so, and a grip that turns in its
//! hold. Repeatability holds it where nobody states how the angle was fixed.

use super::{LimitKind, RecordingLimit};
use crate::analysis::curve::Curves;
use crate::analysis::prepared::{AngleSource, Prepared};
use crate::analysis::repeatability;
use crate::quantity::{Channel, FigureName};

/// Least lag that is named, seconds. Engineering assumption.
const LEAST_S: f64 = 1e-3;
/// Lags and loops of both lines count as one when they differ by no more than this share of the larger …
const ALIKE: f64 = 0.25;
/// … and this many standard errors.
const ERRORS: f64 = 3.0;
/// Loops smaller than this are nothing to explain, degrees.
const LEAST_LOOP_DEG: f64 = 0.02;

/// An angle that moves by this much against both lines is named, degrees. Engineering assumption.
const SLIPS_DEG: f64 = 0.1;

/// What can be said of the angle's timing and hold.
pub(super) fn find(prepared: &Prepared<'_>, curves: &Curves) -> Vec<RecordingLimit> {
    if prepared.angle_source != AngleSource::Reference || prepared.trace.provenance.rig.is_some() {
        return Vec::new();
    }
    let timing = of_both(prepared, curves).or_else(|| unknown(curves));
    timing.into_iter().chain(slips(curves)).collect()
}

/// An angle that moved against both lines from stroke to stroke.
fn slips(curves: &Curves) -> Option<RecordingLimit> {
    let moved = [0, 1].map(|line| repeatability::by_the_angle(curves, line));
    let degrees = |line: usize| {
        let curve = curves.line[line].as_ref()?;
        Some(0.01 * moved[line]? * curve.span / curve.slope.abs())
    };
    let least = degrees(0)?.min(degrees(1)?);
    if least < SLIPS_DEG {
        return None;
    }
    let text = format!(
        "the angle moved against both lines by {least:.1} deg between strokes: its coupling slipped, or the part turned in its hold; secure both \
         and repeat"
    );
    let mut limit = RecordingLimit::new(LimitKind::AngleSlips, None, text);
    let figures = Channel::SENSORS.into_iter().zip(moved);
    limit.adds =
        figures.filter_map(|(c, by)| Some((FigureName::Repeatability, Some(c), by?.powi(2)))).collect();
    Some(limit)
}

/// At one speed nothing distinguishes a late angle from a line's hysteresis: half of the loop may be either.
fn unknown(curves: &Curves) -> Option<RecordingLimit> {
    let loops = Channel::SENSORS.into_iter().zip(&curves.line).filter_map(|(channel, line)| {
        let line = line.as_ref().filter(|l| l.lag.is_none())?;
        let own = line.hysteresis_deg?.abs();
        (own > LEAST_LOOP_DEG).then_some((FigureName::Hysteresis, Some(channel), 0.75 * own * own))
    });
    let adds: Vec<_> = loops.collect();
    let text =
        "at one speed an angle that is late looks like hysteresis: turn some strokes at a third of the speed"
            .to_owned();
    (!adds.is_empty())
        .then(|| RecordingLimit { adds, ..RecordingLimit::new(LimitKind::LateAngle, None, text) })
}

fn of_both(prepared: &Prepared<'_>, curves: &Curves) -> Option<RecordingLimit> {
    let (first, second) = (curves.line[0].as_ref()?, curves.line[1].as_ref()?);
    if let (Some(a), Some(b)) = (first.lag, second.lag) {
        let larger = a.seconds.abs().max(b.seconds.abs());
        let alike = (a.seconds - b.seconds).abs() <= (ALIKE * larger).max(ERRORS * a.error.hypot(b.error));
        let sure = |l: crate::analysis::lag::Lag| l.seconds.abs() > LEAST_S.max(ERRORS * l.error);
        if !(alike && sure(a) && sure(b)) {
            return None;
        }
        let mean = 0.5 * (a.seconds + b.seconds);
        let text = format!(
            "the angle was logged {:.1} ms {} against both lines; that was taken out, as well as the speeds of the strokes show it; log angle \
             and lines in the same scan",
            1e3 * mean.abs(),
            if mean > 0.0 { "early" } else { "late" }
        );
        return Some(RecordingLimit::new(LimitKind::LateAngle, None, text));
    }
    let (a, b) = (first.hysteresis_deg?, second.hysteresis_deg?);
    let larger = a.abs().max(b.abs());
    if larger < LEAST_LOOP_DEG || (a - b).abs() > ALIKE * larger + LEAST_LOOP_DEG {
        return None;
    }
    let text = format!(
        "both lines show the same loop of {:.2} deg between up and down, and at one speed an angle that is {:.1} ms late would look the \
         same: the hysteresis is uncertain by that; turn some strokes at a third of the speed",
        larger,
        1e3 * 0.5 * larger / prepared.speed_deg_s.max(1e-3)
    );
    let mut limit = RecordingLimit::new(LimitKind::LateAngle, None, text);
    // All of the loop that both lines share may be lag: its largest width goes with it, and not with its square.
    let shared = a.abs().min(b.abs());
    limit.moves = Channel::SENSORS.map(|c| (FigureName::Hysteresis, Some(c), shared)).into();
    Some(limit)
}
