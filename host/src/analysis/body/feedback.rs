//! The feedback pair on the plate, by the grip's own analysis: the creep is its slow sweep, with the angle from the first line. It
//! adds the moments in which a line was lost in any other procedure, above all on impacts.

use super::traces::BodyTraces;
use crate::analysis::dropout;
use crate::analysis::grip::{self, GripTraces};
use crate::analysis::prepared::Prepared;
use crate::analysis::{Detail, Finding, NotTestable, PartAnalysis};
use crate::quantity::{Channel, FigureName, FindingKind};
use crate::sheet::PartSheet;
use crate::trace::{ProcedureKind, Trace};

/// Analyses the pair. None without a slow sweep.
pub fn analyse(traces: &BodyTraces<'_>, sheet: &PartSheet) -> Option<PartAnalysis> {
    let sweep = traces.creep?;
    let mut out = grip::analyse(GripTraces { sweep, leads: traces.leads, flex: traces.flex }, sheet);
    for finding in &mut out.findings {
        finding.kind = match finding.kind {
            FindingKind::GainOffset => FindingKind::FeedbackOffset,
            FindingKind::Dropout => FindingKind::FeedbackIntermittent,
            kind => kind,
        };
        finding.text = finding.text.replace("the grip", "the plate");
    }
    keep_sensible(&mut out);
    for missing in &mut out.not_testable {
        missing.why = of_a_plate(missing);
        missing.what = format!("feedback: {}", missing.what);
    }
    let others: Vec<&Trace> = traces
        .all()
        .filter(|t| {
            !matches!(
                t.provenance.procedure,
                ProcedureKind::Creep | ProcedureKind::LeadsCheck | ProcedureKind::Flex
            )
        })
        .collect();
    add_events(&mut out, sweep, &others, sheet);
    Some(out)
}

/// The first line is its own angle here, so a flat spot of it can't be told; and where a line is lost again and again, every bend of the
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
        let report = dropout::find(&Prepared::new(trace, sheet), sheet);
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
