//! A pair's traces in, figures and findings out: how the plate follows the grip, and what a controller's monitor of all four lines would
//! have done. Pure: no I/O, no clock, no limits.
//!
//! - [`course`]: both traces on one time base: what was asked of the plate, and where it was.
//! - [`latency`]: steps. [`lag`]: ramps. [`plots`]: what is drawn.

pub mod course;
pub mod lag;
pub mod latency;
pub mod plots;

use super::budget::{Budget, Source};
use super::grip::{GripTraces, analyse as analyse_lines};
use super::limp;
use super::prepared::Prepared;
use super::usable::{Usable, nothing, unfit};
use super::{Figure, Finding, NotTestable, PartAnalysis, order};
use crate::quantity::{Channel, Condition, FigureName, FindingKind, PartKind, ProcedureKind};
use crate::sheet::PartSheet;
use crate::trace::Trace;
use course::Course;

/// The two traces of one run.
#[derive(Clone, Copy, Debug)]
pub struct PairTraces<'a> {
    /// The grip's.
    pub grip: &'a Trace,
    /// The plate's, of the same scans.
    pub plate: &'a Trace,
    /// The plate's rest and stops, which show its angle's scale.
    pub rest: Option<&'a Trace>,
}

impl<'a> PairTraces<'a> {
    /// Picks them out of a record; none when the plate was never made to follow.
    pub fn sorted(traces: impl IntoIterator<Item = &'a Trace>) -> Option<Self> {
        let (mut grip, mut plate, mut rest) = (None, None, None);
        for trace in traces.into_iter().filter(|t| !t.is_empty()) {
            let of_the_plate = trace.channel(Channel::MotorAmps).is_some();
            match trace.provenance.procedure {
                ProcedureKind::Follow if of_the_plate => plate = Some(trace),
                ProcedureKind::Follow => grip = Some(trace),
                ProcedureKind::Rest => rest = Some(trace),
                _ => {}
            }
        }
        Some(Self { grip: grip?, plate: plate?, rest })
    }
}

/// Analyses a pair by its sheet. Never fails: what can't be had is named in `not_testable`.
pub fn analyse(traces: PairTraces<'_>, sheet: &PartSheet) -> PartAnalysis {
    let mut out = PartAnalysis { kind: PartKind::Pair, ..PartAnalysis::default() };
    let Some(body) = sheet.body_of_pair() else {
        let why =
            format!("the sheet {} is for a {}: judge it by a pair's sheet", sheet.name, sheet.kind.name());
        out.not_testable = follow_figures().map(|f| missing(f, &why)).collect();
        return out;
    };
    let grip = sheet.grip_of_pair();
    if let Some(why) = [traces.grip, traces.plate].into_iter().find_map(unfit) {
        return nothing(PartKind::Pair, why);
    }
    let usable = [Usable::of(traces.grip, &grip), Usable::of(traces.plate, &body)];
    // Both are of the same scans: what is left of them must be too.
    let until = usable.iter().map(|u| u.trace.len()).min().unwrap_or(0);
    let altered = usable.iter().any(|u| u.cut.is_some() || !u.trace.gaps.is_empty());
    let alike = usable[0].trace.time_us[..until] == usable[1].trace.time_us[..until] || !altered;
    let [grip_trace, plate_trace] = usable.each_ref().map(|u| u.trace.up_to(until));
    let traces = PairTraces { grip: &grip_trace, plate: &plate_trace, ..traces };
    for usable in &usable {
        out.rig_faults.extend(usable.faults.iter().cloned());
        out.left_out.extend(usable.left_out.iter().cloned());
    }
    let (of_grip, of_plate) = (Prepared::new(traces.grip, &grip), Prepared::new(traces.plate, &body));
    trips(&of_grip, &grip, FigureName::LimpTrips, "grip", &mut out);
    trips(&of_plate, &body, FigureName::PlateTrips, "plate", &mut out);
    lost_contact(traces.grip, &grip, false, &mut out);
    lost_contact(traces.plate, &body, true, &mut out);
    let unlike =
        || "the sensor supply of one part was not as requested: see the rig's faults, then repeat".to_owned();
    match if alike { Course::new(&traces) } else { Err(unlike()) } {
        Ok(course) => {
            latency::tell(&course, &mut out);
            lag::tell(&course, &mut out);
            out.plots = plots::of(&course);
            out.travel_deg = course.grip_travel();
        }
        Err(why) => {
            let of_the_course =
                follow_figures().filter(|f| !matches!(f, FigureName::LimpTrips | FigureName::PlateTrips));
            out.not_testable.extend(of_the_course.map(|f| missing(f, &why)));
        }
    }
    out.figures.retain(|f| f.value.is_finite() && f.standard_uncertainty().is_finite());
    let place = |name: FigureName| FigureName::ALL.iter().position(|n| *n == name);
    out.figures.sort_by(|a, b| {
        let speed = |f: &Figure| f.condition.speed_deg_s.unwrap_or(0.0);
        place(a.name).cmp(&place(b.name)).then(speed(a).total_cmp(&speed(b)))
    });
    order::order(&mut out.findings);
    out
}

/// A pair that was never made to follow: what its other recordings say of it.
pub fn not_begun<'a>(traces: impl IntoIterator<Item = &'a Trace>, sheet: &PartSheet) -> PartAnalysis {
    let mut out = PartAnalysis { kind: PartKind::Pair, ..PartAnalysis::default() };
    let of_the_grip =
        traces.into_iter().find(|t| t.provenance.procedure == ProcedureKind::SelfCheck && !t.is_empty());
    if let Some(check) = of_the_grip {
        let traces = GripTraces { sweep: check, leads: None, flex: None };
        let found = analyse_lines(traces, &sheet.grip_of_pair()).findings.into_iter();
        out.findings
            .extend(found.filter(|f| matches!(f.kind, FindingKind::NotMoving | FindingKind::DeadChannel)));
    }
    let why = "the plate was never made to follow: see what the self-check, rest and stops say, mend that, and run follow again";
    out.not_testable = follow_figures().map(|f| missing(f, why)).collect();
    out
}

/// Every figure that a pair has.
fn follow_figures() -> impl Iterator<Item = FigureName> {
    FigureName::ALL.into_iter().filter(|f| f.belongs_to(PartKind::Pair))
}

fn missing(figure: FigureName, why: &str) -> NotTestable {
    NotTestable { what: figure.name().to_owned(), why: why.to_owned() }
}

/// What a monitor of one pair of lines would have done, and when and where.
fn trips(prepared: &Prepared<'_>, sheet: &PartSheet, name: FigureName, of: &str, out: &mut PartAnalysis) {
    /// So many stretches are reported one by one.
    const TOLD: usize = 5;
    let report = limp::predict(prepared, sheet);
    out.figures.extend(report.figure.map(|figure| Figure { name, ..figure }));
    out.not_testable.extend(
        report.not_testable.into_iter().map(|n| NotTestable { what: format!("{of}: {}", n.what), ..n }),
    );
    let begun = prepared.trace.time_us.first().copied().unwrap_or(0);
    let mut events: Vec<_> = report.events.iter().filter(|e| e.consecutive + e.up_down > 0.0).collect();
    events.sort_by(|a, b| b.consecutive.total_cmp(&a.consecutive));
    for event in events.iter().take(TOLD) {
        let place = event.at_deg.map_or(String::new(), |deg| format!(" at {deg:.1} deg of the {of}"));
        out.warnings.push(format!(
            "the {of}'s lines would have raised {:.2} limp-home trips at {:.2} s{place}: implausible for {:.1} ms",
            event.consecutive.max(event.up_down),
            event.at_us.saturating_sub(begun) as f64 / 1e6,
            event.length_us / 1e3
        ));
    }
    if events.len() > TOLD {
        out.warnings.push(format!("and {} more such stretches of the {of}'s lines", events.len() - TOLD));
    }
}

/// Moments in which a line of one part was lost, by the analysis of its lines.
fn lost_contact(trace: &Trace, sheet: &PartSheet, of_the_plate: bool, out: &mut PartAnalysis) {
    let found = analyse_lines(GripTraces { sweep: trace, leads: None, flex: None }, sheet);
    if !of_the_plate {
        out.topology_found = found.topology_found;
    }
    let told = found.findings.into_iter().filter_map(|finding| {
        let kind = match finding.kind {
            FindingKind::Dropout if of_the_plate => FindingKind::FeedbackIntermittent,
            FindingKind::Dropout | FindingKind::DeadChannel => finding.kind,
            _ => return None,
        };
        let text =
            if of_the_plate { format!("plate: {}", finding.text) } else { format!("grip: {}", finding.text) };
        Some(Finding { kind, text, ..finding })
    });
    out.findings.extend(told);
}

/// A figure of the pair.
fn figure(name: FigureName, value: f64, u: f64, condition: Condition, definition: String) -> Figure {
    Figure {
        name,
        channel: None,
        value,
        budget: Budget::of(Source::Combined, u),
        upper_bound: None,
        added: 0.0,
        at_deg: None,
        condition,
        definition,
    }
}

#[cfg(test)]
#[path = "follow_tests.rs"]
mod tests;
