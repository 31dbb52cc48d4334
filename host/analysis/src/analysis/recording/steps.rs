//! Steps of what was logged that are as large as what is to be measured, and scans too far apart for the speed.
//!
//! A converter's step q scatters like q/√12 (Sheppard; GUM F.2.2.1).

use super::{JUMP_STEPS, LimitKind, RecordingLimit, of_lines};
use crate::analysis::prepared::{AngleSource, Prepared};
use crate::analysis::statistics;
use crate::quantity::{Channel, FigureName};

/// Steps of a line from which they are named, mV at 5 V: 0.1 % of a span of 4 V. Engineering assumption.
const LINE_MV: f64 = 4.0;
/// A flat spot of so many steps can be two of the converter's that are uneven by a quarter of a step each.
const DEPTH_STEPS: f64 = 1.5;
/// Steps of an angle from which they are named, degrees. Engineering assumption.
const ANGLE_DEG: f64 = 0.1;
/// Travel between two scans from which it is named, degrees. Engineering assumption.
const APART_DEG: f64 = 0.5;

/// Coarse steps of a line.
pub(super) fn of_line(prepared: &Prepared<'_>, line: usize) -> Option<RecordingLimit> {
    let channel = Channel::SENSORS[line];
    let step = 5000.0 * statistics::quantum(prepared.trace.channel(channel)?) / prepared.supply_volts;
    if step < LINE_MV {
        return None;
    }
    let text = format!(
        "the {channel} line was logged in steps of {step:.1} mV at 5 V: noise below {:.1} mV and flat spots of about a step are the \
         logger's as well as the part's; log with 12 bits or more",
        step / 12.0f64.sqrt()
    );
    let mut limit = RecordingLimit::new(LimitKind::Quantisation, Some(channel), text);
    limit.adds.push((FigureName::Noise, Some(channel), step * step / 12.0));
    let slope = 5000.0 * travel_slope(prepared, line)?;
    limit.imitates_depth_deg = DEPTH_STEPS * step / slope;
    limit.imitates_jump_mv = JUMP_STEPS * step;
    Some(limit)
}

/// Share of supply per degree, from the ends of the strokes.
fn travel_slope(prepared: &Prepared<'_>, line: usize) -> Option<f64> {
    let ratio = prepared.ratio[line].as_ref()?;
    let mut slopes: Vec<f64> = prepared
        .strokes
        .iter()
        .map(|s| f64::from(ratio[s.range.end - 1] - ratio[s.range.start]) / (s.to_deg - s.from_deg))
        .filter(|v| v.is_finite())
        .map(f64::abs)
        .collect();
    statistics::median(&mut slopes).filter(|s| *s > 0.0)
}

/// Scans too far apart.
pub(super) fn of_rate(prepared: &Prepared<'_>) -> Option<RecordingLimit> {
    let apart = prepared.speed_deg_s * prepared.period_us * 1e-6;
    (apart > APART_DEG && prepared.trace.provenance.time_known).then(|| {
        let text = format!(
            "scans lie {apart:.1} deg apart at {:.0} deg/s: dead bands and defects shorter than {:.1} deg were not seen; turn slower or log \
             faster",
            prepared.speed_deg_s,
            3.0 * apart
        );
        let mut limit = RecordingLimit::new(LimitKind::SlowRate, None, text);
        let bands = [FigureName::DeadBandClosed, FigureName::DeadBandOpen];
        // Somebody else's logger does not say when within a scan it reads what.
        if prepared.trace.provenance.rig.is_none() {
            let late = [FigureName::Hysteresis, FigureName::Repeatability];
            limit.may_be_all.extend(late.into_iter().flat_map(of_lines));
        }
        limit.spoils = bands.into_iter().flat_map(of_lines).collect();
        limit
    })
}

/// Coarse steps of the angle.
pub(super) fn of_angle(prepared: &Prepared<'_>) -> Option<RecordingLimit> {
    let step = statistics::quantum(&prepared.deg);
    (prepared.angle_source == AngleSource::Reference && step >= ANGLE_DEG).then(|| {
        let text = format!(
            "the angle was logged in steps of {step:.2} deg: places are known to a step, and flat spots that lose less travel than one are \
             not told from it; log the angle in steps of 0.05 deg or finer"
        );
        RecordingLimit { imitates_depth_deg: step, ..RecordingLimit::new(LimitKind::CoarseAngle, None, text) }
    })
}
