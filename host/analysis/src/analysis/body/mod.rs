//! A motor-driven throttle body's traces in, figures and findings out. Pure: no I/O, no clock, no limits.
//!
//! - [`traces`]: what there is, by procedure.
//! - [`stretches`]: a trace as plate angle, volts and amps, cut where the rig's program was; [`supply`]: what the lines are divided by.
//! - [`estimate`], [`cholesky`], [`order_statistics`]: numbers without a subject.
//! - [`rest`], [`motor`]: what the other files need first: where the plate rests, and the motor's constants.
//! - one file per figure or finding: [`creep`], [`onset`] and [`latency`], [`sensor_lag`], [`release`], [`lash`] with the gears' [`wind_up`], [`guided_push`], [`tracking`], [`blip`],
//!   [`tooth_map`], and [`worn_teeth`] among a [`population`] and past a part's [`own_errors`].
//! - [`feedback`]: the pair on the plate, by the grip's own analysis; [`feedback_shape`]: its lines against each other and the rotor.
//! - [`holes`]: which lost scans leave something open.
//! - [`looked_at`]: what was searched for worn teeth, from where to where, and what nothing looked at.
//! - [`measured`]: all of it in the order in which one needs the other.
//! - [`lines`]: whether the feedback lines moved at all.
//! - [`evidence`], [`defects`]: what is wrong and how sure. [`figures`], [`plots`]: what is reported.

pub mod blip;
pub mod cholesky;
pub mod creep;
pub mod dead_spots;
pub mod defects;
pub mod estimate;
pub mod evidence;
pub mod feedback;
pub mod feedback_shape;
pub mod figures;
pub mod guided_push;
pub mod holes;
pub mod jam;
pub mod lash;
pub mod latency;
pub mod lines;
pub mod looked_at;
pub mod measured;
pub mod motor;
pub mod onset;
pub mod order_statistics;
pub mod own_errors;
pub mod plots;
pub mod population;
pub mod pressing;
pub mod release;
pub mod rest;
pub mod sensor_lag;
pub mod stretches;
pub mod supply;
#[cfg(test)]
pub(crate) mod synthetic;
pub mod tooth_map;
pub mod traces;
pub mod tracking;
pub mod wind_up;
pub mod worn_teeth;

pub use traces::BodyTraces;

use super::usable::{Usable, nothing, unfit};
use super::{NotTestable, PartAnalysis, order};
use crate::quantity::{Channel, FigureName, FindingKind, PartKind};
use crate::sheet::PartSheet;
use crate::trace::Trace;
use measured::{Measured, Recordings};
use population::Population;
use std::borrow::Cow;

/// Analyses a throttle body with the population of healthy ones that ships with the program. Never fails: what can't be had is
/// named in `not_testable`.
pub fn analyse(traces: BodyTraces<'_>, sheet: &PartSheet) -> PartAnalysis {
    analyse_among(traces, sheet, &Population::shipped(sheet))
}

/// Analyses a throttle body among a population of healthy ones.
pub fn analyse_among(traces: BodyTraces<'_>, sheet: &PartSheet, population: &Population) -> PartAnalysis {
    let faults: Vec<String> = traces.all().filter_map(unfit).collect();
    let usable: Vec<Usable<'_>> =
        traces.all().filter(|t| unfit(t).is_none()).map(|trace| Usable::of(trace, sheet)).collect();
    if usable.is_empty()
        && let Some(why) = faults.first()
    {
        return nothing(PartKind::Body, why.clone());
    }
    let mut out = analyse_usable(BodyTraces::sorted(usable.iter().map(|u| &*u.trace)), sheet, population);
    out.rig_faults.extend(faults);
    for usable in usable {
        if let Some(cut) = usable.cut {
            let what = format!("rest of the {}", cut.procedure.title());
            out.not_testable.push(NotTestable { what, why: format!("{}: repeat it", cut.words()) });
        }
        out.rig_faults.extend(usable.faults);
        out.left_out.extend(usable.left_out);
    }
    out
}

/// The same of recordings of which nothing has to be left out.
fn analyse_usable(traces: BodyTraces<'_>, sheet: &PartSheet, population: &Population) -> PartAnalysis {
    let filled: Vec<Cow<'_, Trace>> = traces.all().map(Trace::filled).collect();
    let even = BodyTraces::sorted(filled.iter().map(|t| &**t));
    let recordings = Recordings::new(&even, sheet);
    if lines::no_angle(&traces) {
        return without_angle(&traces);
    }
    let measured = Measured::new(&recordings, &even, sheet, population);
    let mut out =
        feedback::analyse(&traces, even.rest.zip(recordings.rest.as_ref()), sheet).unwrap_or_default();
    out.kind = PartKind::Body;
    out.population = measured.worn.is_some().then(|| population.words());
    let mut told = figures::of(&measured);
    add_shape(&measured, &recordings, &traces, sheet, &mut told);
    add_stops(&measured, &recordings, sheet, &mut told);
    out.figures.extend(told.figures);
    out.not_testable.extend(told.not_testable);
    out.findings.extend(defects::find(&measured, sheet));
    looked_at::largest_of_findings(&mut out);
    let dead = lines::find(&traces);
    out.findings.retain(|f| f.kind != FindingKind::DeadChannel || dead.is_empty());
    out.findings.extend(dead);
    out.plots = plots::of(&measured, &recordings, sheet);
    out.histograms.extend(plots::histograms(&measured));
    if let (Some(before), Some(after)) = (&recordings.blip_before, &recordings.blip_after) {
        out.comparisons = blip::compare(before, after, measured.emf.map(|e| e.value), measured.ranges);
    }
    out.detection_limits.extend(looked_at::teeth_limit(&measured, population));
    out.not_looked_at = looked_at::missed(&traces, &measured, &out);
    out.gap_regions.extend(holes::regions(&traces, &recordings, sheet));
    say_what_is_missing(&traces, &recordings, &measured, &mut out);
    out.figures.retain(|f| f.value.is_finite() && f.standard_uncertainty().is_finite());
    let place = |name: FigureName| FigureName::ALL.iter().position(|n| *n == name);
    out.figures.sort_by_key(|f| {
        let line = f.channel.and_then(|c| Channel::SENSORS.iter().position(|s| *s == c));
        (place(f.name), line, f.condition.region, f.condition.direction)
    });
    order::order(&mut out.findings);
    out
}

/// Without a line that follows the plate there is no angle, and no figure.
fn without_angle(traces: &BodyTraces<'_>) -> PartAnalysis {
    let why = "the rising feedback line did not follow the plate, so its angle is not known: check the line from terminal to sensor";
    PartAnalysis {
        kind: PartKind::Body,
        findings: lines::find(traces),
        not_testable: FigureName::ALL
            .into_iter()
            .map(|f| NotTestable { what: f.name().to_owned(), why: why.to_owned() })
            .collect(),
        ..PartAnalysis::default()
    }
}

/// Stops by the sheet's nominal line: a plate's own scale puts the closed stop at 0 by definition.
fn add_stops(m: &Measured, recordings: &Recordings, sheet: &PartSheet, told: &mut figures::FiguresFound) {
    let Some(plate) = recordings.plate else { return };
    if !recordings.stops_found {
        let what = "closed_stop, open_stop".to_owned();
        let why =
            "the drive did not bring the plate to both stops: see winding, springs and friction".to_owned();
        told.not_testable.push(NotTestable { what, why });
        return;
    }
    let span = sheet.rising.open - sheet.rising.closed;
    let ratio =
        |deg: f64| plate.closed_ratio + deg / plate.travel_deg * (plate.open_ratio - plate.closed_ratio);
    let nominal = |deg: f64| (ratio(deg) - sheet.rising.closed) / span * sheet.travel_deg;
    // Gain and offset of the converter: a thousandth of the travel. Engineering assumption.
    figures::stops(m, nominal, 1e-3 * sheet.travel_deg, told);
}

/// The shape of the feedback lines, against each other and against the rotor.
fn add_shape(
    m: &Measured,
    recordings: &Recordings,
    traces: &BodyTraces<'_>,
    sheet: &PartSheet,
    told: &mut figures::FiguresFound,
) {
    let travel_deg = recordings.plate.map_or(sheet.travel_deg, |p| p.travel_deg);
    let by_rotor = feedback_shape::linearity(m.rotor.as_ref(), travel_deg);
    let by_first = feedback_shape::against_first(traces.creep, traces.rest, sheet);
    for (figures, not_testable) in [by_rotor, by_first] {
        told.figures.extend(figures);
        told.not_testable.extend(not_testable);
    }
}

fn say_what_is_missing(
    traces: &BodyTraces<'_>,
    recordings: &Recordings,
    m: &Measured,
    out: &mut PartAnalysis,
) {
    if traces.creep.is_none() {
        let why = "no slow ramp was recorded: run creep".to_owned();
        out.not_testable.push(NotTestable { what: "feedback pair".to_owned(), why });
    }
    let unread = traces.all().filter(|t| {
        [Channel::Rising, Channel::MotorVolts, Channel::MotorAmps].iter().any(|c| t.channel(*c).is_none())
            && !t.provenance.program.is_empty()
    });
    for trace in unread {
        out.not_testable.push(NotTestable {
            what: format!("all of {}", trace.provenance.procedure.name().replace('_', " ")),
            why: "first feedback line, motor volts or motor amps were not recorded".to_owned(),
        });
    }
    if !recordings.stops_found {
        out.warnings.push(
            "the drive did not bring the plate to both stops: angles are by the sheet's nominal line"
                .to_owned(),
        );
    }
    let lacking = recordings.lacking();
    if lacking > 0 {
        let motions = if lacking == 1 { "1 motion".to_owned() } else { format!("{lacking} motions") };
        out.warnings.push(format!(
            "scans are missing in {motions}: figures that need a motion whole are by the others"
        ));
    }
    if m.pushed.1 > 0 {
        out.warnings.push(format!(
            "{} strokes of the guided push were faster than 25 deg/s and left out: push more slowly",
            m.pushed.1
        ));
    }
}

#[cfg(test)]
#[path = "body_tests.rs"]
mod tests;

#[cfg(test)]
#[path = "other_physics_tests.rs"]
mod other_physics_tests;
