//! The feedback pair on the plate, by the grip's own analysis: the creep is its slow sweep, with the angle from the first line; the way between
//! the stops shows the output there. It adds the moments in which a line was lost, and the trips that they would have
//! caused, in any other procedure, above all on impacts.

use super::pressing;
use super::stretches::Recording;
use super::traces::BodyTraces;
use crate::analysis::ends::{self, End};
use crate::analysis::grip::{self, GripTraces};
use crate::analysis::prepared::Prepared;
use crate::analysis::uncertainty::Calibration;
use crate::analysis::{Detail, Finding, NotTestable, PartAnalysis};
use crate::analysis::{dropout, leads, limp};
use crate::quantity::{Channel, FigureName, FindingKind, ProcedureKind};
use crate::sheet::PartSheet;
use crate::trace::Trace;

/// Analyses the pair; `rest` is the way between the stops with its samples made ready. None where neither slow ramps nor that way was
/// recorded.
pub fn analyse(
    traces: &BodyTraces<'_>,
    rest: Option<(&Trace, &Recording)>,
    sheet: &PartSheet,
) -> Option<PartAnalysis> {
    let sweep = traces.creep.or(traces.rest)?;
    let mut out = grip::analyse(GripTraces { sweep, leads: traces.leads, flex: traces.flex }, sheet);
    if traces.creep.is_none() {
        keep_without_ramps(&mut out);
    }
    take_stops(&mut out, rest.filter(|(trace, _)| !trace.was_interrupted()), traces.leads, sheet);
    for finding in &mut out.findings {
        finding.kind = match finding.kind {
            FindingKind::GainOffset => FindingKind::FeedbackOffset,
            FindingKind::Dropout => FindingKind::FeedbackIntermittent,
            kind => kind,
        };
        finding.text = finding.text.replace("the grip", "the plate");
    }
    keep_sensible(&mut out);
    // Told by `feedback_shape`, from what a body's other procedures show.
    out.not_testable.retain(|n| !n.what.starts_with(grip::OF_TRAVEL));
    for missing in &mut out.not_testable {
        missing.why = of_a_plate(missing);
        missing.what = format!("feedback: {}", missing.what);
    }
    let others: Vec<&Trace> = traces
        .all()
        .filter(|t| {
            !std::ptr::eq(*t, sweep)
                && !matches!(t.provenance.procedure, ProcedureKind::LeadsCheck | ProcedureKind::Flex)
        })
        .collect();
    add_events(&mut out, sweep, &others, sheet);
    Some(out)
}

/// The plate goes fast from stop to stop while rest and stops are found: that shows lost contact and which lead is bad, not what hangs on a
/// slow sweep.
fn keep_without_ramps(out: &mut PartAnalysis) {
    out.figures.retain(|f| matches!(f.name, FigureName::DropoutRate | FigureName::LimpTrips));
    out.findings.retain(|f| {
        matches!(
            f.kind,
            FindingKind::SupplyLead
                | FindingKind::GroundLead
                | FindingKind::SignalLead
                | FindingKind::Leakage
                | FindingKind::DeadChannel
                | FindingKind::SwappedChannels
                | FindingKind::Dropout
        )
    });
    out.detection_limits.retain(|l| l.kind == FindingKind::Dropout);
    out.curves.clear();
    out.histograms.clear();
    let why = "no slow ramp was recorded: run creep".to_owned();
    let what = "correlation, noise, skew, flat_spot, noisy_track".to_owned();
    out.not_testable.push(NotTestable { what, why });
}

/// The first line is its own angle here, so a flat spot of it can't be found; and where a line is lost again and again, every bend of the
/// other against it is that.
fn keep_sensible(out: &mut PartAnalysis) {
    let intermittent = out
        .findings
        .iter()
        .any(|f| f.kind == FindingKind::FeedbackIntermittent && f.confidence >= dropout::SURE);
    out.findings
        .retain(|f| f.kind != FindingKind::FlatSpot || (f.channel != Some(Channel::Rising) && !intermittent));
    out.detection_limits
        .retain(|l| l.kind != FindingKind::FlatSpot || (l.channel != Some(Channel::Rising) && !intermittent));
}

/// Slow ramps keep clear of the stops: the output at them is what it was while the drive pressed the plate there.
fn take_stops(
    out: &mut PartAnalysis,
    rest: Option<(&Trace, &Recording)>,
    leads: Option<&Trace>,
    sheet: &PartSheet,
) {
    let at_stops = [FigureName::ClosedVolts, FigureName::OpenVolts, FigureName::Span];
    out.figures.retain(|f| !at_stops.contains(&f.name));
    out.not_testable.retain(|n| !at_stops.iter().any(|name| n.what.starts_with(name.name())));
    let rest = rest.map(|(trace, recording)| {
        let prepared = Prepared::new(trace, sheet);
        let leads = leads.map(|trace| leads::analyse(trace, sheet));
        let calibration = Calibration::of(&prepared, leads.as_ref());
        (prepared, recording, calibration)
    });
    for (line, channel) in Channel::SENSORS.into_iter().enumerate() {
        let told = rest.as_ref().and_then(|(prepared, recording, calibration)| {
            let ratio = prepared.ratio[line].as_ref()?;
            let stops =
                [End::Closed, End::Open].map(|end| pressing::stop(recording, ratio, end, sheet.slope(line)));
            Some(ends::figures(line, stops, calibration, |s| {
                format!(
                    "mean over {} presses by the drive, less what the stop gave way by after the touch, ratio of supply x 5 V",
                    s.visits
                )
            }))
        });
        let told = told.unwrap_or_default();
        for name in at_stops.iter().filter(|name| told.iter().all(|f| f.name != **name)) {
            out.not_testable.push(NotTestable {
                what: format!("{} {channel}", name.name()),
                why: "the drive was not seen to press the plate onto that stop: run rest".to_owned(),
            });
        }
        out.figures.extend(told);
    }
}

/// A plate has no other angle sensor than the pair itself.
fn of_a_plate(missing: &NotTestable) -> String {
    if missing.why.contains("reference angle") {
        "nothing on the bench measures the plate's angle but the pair itself: one line is judged against the other".to_owned()
    } else {
        missing.why.replace("the grip", "the plate")
    }
}

/// Lost contact in all other procedures: a finding per wire, and the rate over all time watched.
fn add_events(out: &mut PartAnalysis, sweep: &Trace, others: &[&Trace], sheet: &PartSheet) {
    let slow = dropout::find(&Prepared::new(sweep, sheet), sheet);
    let mut reports = Vec::new();
    for trace in others {
        let prepared = Prepared::new(trace, sheet);
        let report = dropout::find(&prepared, sheet);
        let trips = limp::predict(&prepared, sheet).figure;
        if let (Some(all), Some(more)) =
            (out.figures.iter_mut().find(|f| f.name == FigureName::LimpTrips), trips)
        {
            all.value += more.value;
            all.budget = all.budget.clone().and(&more.budget);
        }
        for event in &report.findings {
            let procedure = trace.provenance.procedure.name().replace('_', " ");
            // Where the plate hits stops or flanks.
            let struck = trace.provenance.procedure != ProcedureKind::GuidedPush;
            out.findings.push(Finding {
                kind: FindingKind::FeedbackIntermittent,
                text: format!("during {procedure}: {}", event.text.replace("the grip", "the plate")),
                details: [
                    event.details.clone(),
                    vec![
                        Detail { name: "events", value: report.events.len() as f64, unit: "1" },
                        Detail { name: "struck", value: f64::from(u8::from(struck)), unit: "1" },
                    ],
                ]
                .concat(),
                ..event.clone()
            });
        }
        reports.push(report);
    }
    let watched: Vec<&dropout::Report> = std::iter::once(&slow).chain(&reports).collect();
    if let Some(rate) = dropout::rate(&watched) {
        out.figures.retain(|f| f.name != FigureName::DropoutRate);
        out.figures.push(rate);
    }
}
