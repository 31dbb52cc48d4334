//! What findings of a throttle body's drive speak for: teeth, lash, springs, friction, motor; and its feedback's lost contacts.

use super::clue::{BADLY, RATHER_NOT, detail};
use crate::diagnosis::{Evidence, FindingEvidence};
use crate::quantity::{Cause, FigureName, FindingKind, PartKind};

/// More motion than this is lost where a whole tooth is gone, degrees; the pitch is about four. Engineering assumption.
const WHOLE_TOOTH_DEG: f64 = 1.2;
/// A wire loses contact as often while the plate creeps as while it is struck: from this share of the rate on.
const OFTEN_AT_REST: f64 = 0.4;
/// A contact that impacts open is lost less often than this share while the plate creeps, which meets a stop now and then.
const SELDOM_AT_REST: f64 = 0.15;

/// The number that a technician wants to see of a finding.
pub(super) fn number(finding: &FindingEvidence) -> Option<String> {
    const SHOWN: [(&str, &str, usize); 14] = [
        ("drop", "V", 3),
        ("resistance", "ohm", 1),
        ("leak", "ohm", 0),
        ("slope_loss", "% of slope lost", 0),
        ("bend", "% of span", 1),
        ("more_lash", "deg more than elsewhere", 2),
        ("lash", "deg", 2),
        ("preload", "N m", 3),
        ("friction", "N m", 3),
        ("sticking", "N m", 3),
        ("value_ohms", "ohm", 3),
        ("value_volt_seconds_per_radian", "V s/rad", 3),
        ("depth_deg", "deg", 2),
        ("events", "events", 0),
    ];
    SHOWN
        .iter()
        .find_map(|(name, unit, digits)| detail(finding, name).map(|v| format!("{v:.digits$} {unit}")))
}

/// Causes that fit a finding of the drive or of the feedback pair.
pub(super) fn fits(finding: &FindingEvidence, evidence: &Evidence) -> Vec<(Cause, f64)> {
    use Cause as C;
    if evidence.kind == PartKind::Grip && finding.kind.is_of_a_return() {
        return stays_open(finding.kind);
    }
    match finding.kind {
        FindingKind::WornTooth if detail(finding, "more_lash").is_some() => vec![(C::RestTooth, 0.0)],
        FindingKind::WornTooth => vec![(C::WornTooth, 0.0), (C::MissingTooth, RATHER_NOT)],
        FindingKind::MissingTooth => missing_tooth(finding),
        FindingKind::Lash => lash(evidence),
        FindingKind::BrushDeadSpot => vec![(C::BrushDeadSpot, 0.0)],
        FindingKind::WeakSpring => spring(finding, false),
        FindingKind::BrokenSpring => spring(finding, true),
        FindingKind::StickyPlate => vec![(C::StickyPlate, 0.0), (C::DryBearing, BADLY)],
        // The bench sees the sum of both (the physics study, 3.10).
        FindingKind::DryBearing => vec![(C::DryBearing, 0.0), (C::MotorDrag, 0.0)],
        FindingKind::Winding => winding(finding),
        FindingKind::FeedbackIntermittent => lost(finding, evidence),
        FindingKind::FeedbackOffset => vec![(C::GainOffset, 0.0), (C::Leakage, RATHER_NOT)],
        _ => slow_return(),
    }
}

/// A grip that stays open: the drive's current shows a spring without pull, and elsewhere the two look alike.
fn stays_open(kind: FindingKind) -> Vec<(Cause, f64)> {
    let binds = match kind {
        FindingKind::BrokenSpring => BADLY,
        FindingKind::WeakSpring => RATHER_NOT,
        _ => 0.0,
    };
    vec![(Cause::ReturnSpring, 0.0), (Cause::BindingGrip, binds)]
}

/// Less than a whole tooth's depth may be a deep chip; how deep it is, a jam or a slip does not say.
fn missing_tooth(finding: &FindingEvidence) -> Vec<(Cause, f64)> {
    let whole = detail(finding, "depth").is_some_and(|deg| deg > WHOLE_TOOTH_DEG);
    vec![(Cause::MissingTooth, 0.0), (Cause::WornTooth, if whole { RATHER_NOT } else { -0.2 })]
}

fn slow_return() -> Vec<(Cause, f64)> {
    use Cause as C;
    let all = [
        C::WeakMainSpring,
        C::DryBearing,
        C::StickyPlate,
        C::MotorDrag,
        C::BrokenMainSpring,
        C::WeakDefaultSpring,
        C::BrokenDefaultSpring,
    ];
    all.map(|c| (c, 0.0)).to_vec()
}

/// Lash at rest is that of all teeth or of the one in mesh there; a guided push elsewhere decides.
fn lash(evidence: &Evidence) -> Vec<(Cause, f64)> {
    let local = |f: &FindingEvidence| f.kind == FindingKind::WornTooth && detail(f, "more_lash").is_some();
    match evidence.findings.iter().find(|f| local(f)).map(|f| f.confidence) {
        Some(sure) if sure > 0.5 => vec![(Cause::RestTooth, 0.0), (Cause::GrownLash, BADLY)],
        _ => vec![(Cause::GrownLash, 0.0), (Cause::RestTooth, 0.0)],
    }
}

fn spring(finding: &FindingEvidence, broken: bool) -> Vec<(Cause, f64)> {
    let (weak, gone) = if detail(finding, "default_spring").is_some_and(|v| v > 0.5) {
        (Cause::WeakDefaultSpring, Cause::BrokenDefaultSpring)
    } else {
        (Cause::WeakMainSpring, Cause::BrokenMainSpring)
    };
    if broken {
        vec![(gone, 0.0), (weak, 2.0 * RATHER_NOT)]
    } else {
        vec![(weak, 0.0), (gone, 2.0 * RATHER_NOT)]
    }
}

/// More resistance is winding, brushes or terminals; less of it, or of the back-EMF constant, is turns or magnet.
fn winding(finding: &FindingEvidence) -> Vec<(Cause, f64)> {
    use Cause as C;
    let share = |value: &str| Some(detail(finding, value)? / detail(finding, "nominal")?);
    let high = [(C::WindingResistance, 0.0), (C::WornBrushes, 0.0), (C::MotorTerminal, 0.0)];
    match (share("value_ohms"), share("value_volt_seconds_per_radian")) {
        (Some(ohm), _) if ohm < 1.0 => vec![(C::ShortedTurns, 0.0)],
        (Some(_), _) => high.to_vec(),
        (None, Some(emf)) if emf < 1.0 => vec![(C::ShortedTurns, 0.0), (C::WeakMagnet, 0.0)],
        (None, Some(_)) => vec![(C::WeakMagnet, RATHER_NOT)],
        (None, None) => [&high[..], &[(C::ShortedTurns, 0.0)]].concat(),
    }
}

/// Contact of the feedback that was lost: while the plate crept nothing struck it.
fn lost(finding: &FindingEvidence, evidence: &Evidence) -> Vec<(Cause, f64)> {
    if finding.channel.is_none() {
        return vec![(Cause::SupplyContact, 0.0)];
    }
    let same =
        |f: &&FindingEvidence| f.kind == FindingKind::FeedbackIntermittent && f.channel == finding.channel;
    // Events and the minutes in which they came.
    let counted = |struck: bool| {
        let of = evidence.findings.iter().filter(same);
        of.filter(|f| detail(f, "struck").is_some_and(|v| v > 0.5) == struck).fold((0.0, 0.0), |sum, f| {
            let events = detail(f, "events").unwrap_or(1.0);
            let minutes = detail(f, "rate").filter(|r| *r > 0.0).map_or(0.0, |r| events / r);
            (sum.0 + events, sum.1 + minutes)
        })
    };
    let (quiet, struck) = (counted(false), counted(true));
    let rate = |(events, minutes): (f64, f64)| if minutes > 0.0 { events / minutes } else { 0.0 };
    let share = if struck.0 > 0.0 { rate(quiet) / rate(struck).max(1e-9) } else { 1.0 };
    let fit = if share > OFTEN_AT_REST && quiet.0 >= 3.0 {
        [(Cause::SignalContact, 0.0), (Cause::ImpactContact, BADLY)]
    } else if share < SELDOM_AT_REST && struck.0 >= 3.0 {
        [(Cause::ImpactContact, 0.0), (Cause::SignalContact, BADLY)]
    } else {
        [(Cause::ImpactContact, 0.0), (Cause::SignalContact, 0.0)]
    };
    let mut out = fit.to_vec();
    if detail(finding, "same_place").is_some() {
        out.push((Cause::LiftingWiper, 0.0));
    }
    out
}

/// Causes that a figure outside leads to when no finding leads anywhere.
pub(super) fn of_figure(name: FigureName) -> Option<Vec<(Cause, f64)>> {
    use Cause as C;
    use FigureName as F;
    Some(match name {
        F::Lash => vec![(C::GrownLash, 0.0), (C::RestTooth, 0.0)],
        F::LashByPush => vec![(C::GrownLash, 0.0), (C::WornTooth, 0.0)],
        F::LostMotion => vec![(C::WornTooth, 0.0), (C::MissingTooth, RATHER_NOT)],
        F::PreloadMain => vec![(C::WeakMainSpring, 0.0)],
        F::PreloadDefault => vec![(C::WeakDefaultSpring, 0.0)],
        F::Friction => vec![(C::DryBearing, 0.0), (C::MotorDrag, 0.0)],
        F::Sticking => vec![(C::StickyPlate, 0.0)],
        F::ReturnMargin => vec![(C::DryBearing, 0.0), (C::MotorDrag, 0.0), (C::WeakMainSpring, RATHER_NOT)],
        F::WindingResistance => {
            vec![(C::WindingResistance, 0.0), (C::WornBrushes, 0.0), (C::MotorTerminal, 0.0)]
        }
        F::BackEmfConstant => vec![(C::WeakMagnet, 0.0), (C::ShortedTurns, 0.0)],
        F::ReturnTime => slow_return(),
        F::ReturnRest | F::ReturnTorque => stays_open(FindingKind::SlowReturn),
        _ => return None,
    })
}
