//! Whether a driven grip closes by itself once it is let go, from where, how fast, and by how much its spring exceeds all friction.
//!
//! 49 CFR 571.123 (through an agency's letter): a motorcycle's manual throttle must be self-closing on release; it names no time. The time's
//! borrowed limit is that of 571.124, for cars. What is measured, and what each can show:
//!
//! - **Releases** from wide open, half-way and a small opening decide: the grip comes back to its closed stop or stays open. One that
//!   comes back has overcome the rig's friction too, so it has shown it on any rig. One that stays open shows it of the part only where
//!   the rig states that its released drive holds next to nothing (WIRE.md, capability bit 6); elsewhere it may be the rig.
//! - **The drive's current** is the margin. Past one angle, slowly, `I_open = (S + F)/k` and `I_close = (S - F)/k` with the spring's pull S,
//!   the friction F of grip and rig together, and a constant k that nobody need know: `S/F = (I_open + I_close - 2 I_0)/(I_open - I_close)`.
//!   The zero `I_0` is what the meter reads while the drive is off, the sign is that of pressing on both stops. The rig's friction and a
//!   loss that grows with load only lower the ratio. Ramps run one way, so friction's static excess is not in it: it is in the releases.
//!
//! The part's own lines are held against the reference: a clamp that slips is the mounting's, not the spring's. Events, program and reference
//! are held against each other: a release that did not begin where the program let go is left out.

mod margin;
mod releases;
#[cfg(test)]
mod tests;

use self::margin::Margin;
use self::releases::Releases;
use super::budget::{Budget, Source};
use super::statistics;
use super::{Detail, Figure, Finding, NotTestable, PartAnalysis};
use crate::quantity::{Condition, FigureName, FindingKind, ProcedureKind};
use crate::trace::Trace;

/// A grip that stays further open than this does not close, degrees: no sheet's dead band at the closed stop is larger. Common practice, no
/// source.
pub const CLOSED_DEG: f64 = 2.0;
/// Chance that something else than the part holds one release open: a hand, a lead. Engineering assumption.
const BY_ACCIDENT: f64 = 0.2;

/// What a release of the grip shows goes into `out`; `released` is its trace, none where no drive let it go, and `moved_by` what turned the
/// grip instead. Never fails: what can't be had is named.
pub fn tell(released: Option<&Trace>, moved_by: ProcedureKind, out: &mut PartAnalysis) {
    let Some(trace) = released.filter(|t| !t.is_empty()) else {
        missing(out, not_released(moved_by).to_owned());
        return;
    };
    let lets_go = trace.provenance.rig.as_ref().is_some_and(|rig| rig.lets_go);
    let releases = match Releases::of(trace) {
        Ok(releases) => releases,
        Err(why) => {
            missing(out, why.words());
            return;
        }
    };
    out.rig_may_hold_it = !lets_go;
    let margin = Margin::of(trace, &releases);
    out.figures.push(left_open(&releases));
    match releases.longest_s() {
        Some(time) => out.figures.push(return_time(&releases, time)),
        None => not_testable(
            out,
            FigureName::ReturnTime,
            "it did not come back to its closed stop in every release",
        ),
    }
    match &margin {
        // The rig's own friction is in it: more than enough is the part's, too little may be the rig's.
        Ok(m) if lets_go || m.weakest.ratio - 2.0 * m.weakest.u >= 1.0 => out.figures.push(torque(m)),
        Ok(_) => not_testable(
            out,
            FigureName::ReturnTorque,
            "the friction of the rig's drive is in it, and this rig does not state that it is small",
        ),
        Err(why) => not_testable(out, FigureName::ReturnTorque, why.words()),
    }
    if lets_go {
        out.findings.extend(finding(&releases, margin.as_ref().ok()));
    }
}

/// The three names that a missing release leaves without a value.
fn missing(out: &mut PartAnalysis, why: String) {
    let names =
        [FigureName::ReturnRest, FigureName::ReturnTime, FigureName::ReturnTorque].map(FigureName::name);
    out.not_testable.push(NotTestable { what: names.join(", "), why });
}

fn not_testable(out: &mut PartAnalysis, name: FigureName, why: &str) {
    out.not_testable.push(NotTestable { what: name.name().to_owned(), why: why.to_owned() });
}

/// Why nothing was let go by a drive, and what would do instead.
const fn not_released(moved_by: ProcedureKind) -> &'static str {
    match moved_by {
        ProcedureKind::HandSweep | ProcedureKind::Import | ProcedureKind::Flex => {
            "no drive let the grip go: turn it wide open, then a little open, take the hand off, and see that it snaps shut each time"
        }
        _ => {
            "the plan did not come to the release: qualify it again, or let it snap shut by hand from wide open and from a small opening"
        }
    }
}

fn figure(name: FigureName, value: f64, uncertainty: f64, at_deg: Option<f64>, definition: String) -> Figure {
    Figure {
        name,
        channel: None,
        value,
        budget: Budget::of(Source::Combined, uncertainty),
        upper_bound: None,
        added: 0.0,
        at_deg,
        condition: Condition::NONE,
        definition,
    }
}

fn left_open(releases: &Releases) -> Figure {
    let worst = releases.worst();
    let definition = format!(
        "where it stood {:.1} s after being let go, from the closed stop by the reference: the farthest of {}; of the releases from one opening the \
         nearest counts",
        releases.seconds,
        releases.words()
    );
    figure(FigureName::ReturnRest, worst.end_deg, worst.u_deg, Some(worst.from_deg), definition)
}

fn return_time(releases: &Releases, (seconds, u): (f64, f64)) -> Figure {
    let definition = format!(
        "from letting go to within {:.0} deg of the closed stop, to stay; the longest of {}; the rig's drive is carried along",
        releases::NEAR_DEG,
        releases.words()
    );
    figure(FigureName::ReturnTime, 1e3 * seconds, 1e3 * u, None, definition)
}

fn torque(m: &Margin) -> Figure {
    let definition = format!(
        "pull of the return spring over all friction, the rig's included, where it is least: half the sum of the drive's currents for opening and closing \
         at {:.0} deg/s over half their difference, less the reading while the drive is off; {:.0} % in the middle",
        m.speed_deg_s,
        100.0 * m.middle.ratio
    );
    figure(
        FigureName::ReturnTorque,
        100.0 * m.weakest.ratio,
        100.0 * m.weakest.u,
        Some(m.weakest.deg),
        definition,
    )
}

/// The defect, where releases show one.
fn finding(releases: &Releases, margin: Option<&Margin>) -> Option<Finding> {
    let worst = releases.worst();
    let sure = |end_deg: f64, u_deg: f64| statistics::normal_tail((CLOSED_DEG - end_deg) / u_deg.max(1e-6));
    let hung: Vec<_> = releases.all.iter().filter(|r| r.end_deg > CLOSED_DEG).collect();
    let farthest = hung.iter().copied().max_by(|a, b| a.end_deg.total_cmp(&b.end_deg))?;
    let by_accident = BY_ACCIDENT.powi(i32::try_from(hung.len()).unwrap_or(i32::MAX));
    let confidence = sure(farthest.end_deg, farthest.u_deg) * (1.0 - by_accident);
    let (kind, because) = match margin {
        // No pull is to be seen anywhere.
        Some(m) if m.strongest.ratio < 2.0 * m.strongest.u => (
            FindingKind::BrokenSpring,
            "its return spring pulls less than can be measured: broken or off its seat".to_owned(),
        ),
        Some(m) if m.middle.ratio + m.middle.u < 1.0 => {
            let percent = 100.0 * m.middle.ratio.max(0.0);
            (
                FindingKind::WeakSpring,
                format!(
                    "its return spring pulls {percent:.0} % of the friction: weak or broken, unless the grip binds all along"
                ),
            )
        }
        Some(_) => (
            FindingKind::SlowReturn,
            "its spring pulls more than the friction elsewhere: it binds there".to_owned(),
        ),
        None => (FindingKind::SlowReturn, "its spring is weak, or it binds".to_owned()),
    };
    let text = format!(
        "the grip does not close by itself: let go at {:.0} deg it stayed {:.1} deg open, {} of {} releases ended open; {because}",
        farthest.from_deg,
        farthest.end_deg,
        hung.len(),
        releases.all.len()
    );
    let mut details = vec![
        Detail { name: "left_open", value: worst.end_deg, unit: "deg" },
        Detail { name: "hung", value: hung.len() as f64, unit: "1" },
        Detail { name: "released", value: releases.all.len() as f64, unit: "1" },
    ];
    details.extend(margin.map(|m| Detail {
        name: "pull_of_friction",
        value: 100.0 * m.middle.ratio,
        unit: "%",
    }));
    Some(Finding {
        kind,
        channel: None,
        from_deg: Some(farthest.end_deg),
        to_deg: None,
        confidence,
        text,
        details,
    })
}
