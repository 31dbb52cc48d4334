//! From what was kept to an outcome: analysis and verdict.

use super::kept::Kept;
use super::settling::{Looks, grip_analysis};
use crate::analysis::PartAnalysis;
use crate::analysis::body::{self, BodyTraces};
use crate::analysis::follow::{self, PairTraces};
use crate::outcome::{Outcome, OutcomeInputs, OutcomeLine, SessionEnd, StoredTrace, build};
use crate::quantity::PartKind;
use crate::report::ReportInput;
use crate::sheet::{PartSheet, Topology};
use crate::trace::ChannelProvenance;
use crate::verdict::{Judgement, Judging, Scope, judge_by};

/// What was recorded, analysed and judged.
pub struct Judged {
    /// What was measured and found.
    pub analysis: PartAnalysis,
    /// What is known of the channels.
    pub channels: Vec<ChannelProvenance>,
    /// What was judged.
    pub scope: Scope,
    /// The outcome.
    pub outcome: Outcome,
}

impl Judged {
    /// Judged at a moment, RFC 3339; none when there is nothing to analyse.
    pub fn of(kept: &Kept, sheet: &PartSheet, now: &str) -> Option<Self> {
        if let Some(looks) = Looks::of(kept, sheet) {
            let channels = kept.judged()?.provenance.channels.clone();
            let mut outcome = outcome_of(kept, looks.analysis(), sheet, &looks.judgement(), now);
            outcome.settling = Some(looks.told());
            return Some(Self { analysis: looks.analysis().clone(), channels, scope: Scope::Part, outcome });
        }
        let (analysis, channels) = analysis_of(kept, sheet)?;
        let judging =
            Judging { scope: kept.scope.unwrap_or_default(), shown: &kept.shown, ..Judging::default() };
        let judgement = judge_by(&analysis, sheet, judging);
        let outcome = outcome_of(kept, &analysis, sheet, &judgement, now);
        Some(Self { analysis, channels, scope: kept.scope.unwrap_or_default(), outcome })
    }

    /// What a report is made of.
    pub fn report<'a>(&'a self, sheet: &'a PartSheet) -> ReportInput<'a> {
        ReportInput {
            outcome: &self.outcome,
            // Curves belong to figures: where none is judged, none is drawn.
            curves: if self.scope == Scope::Part { self.analysis.curves.as_slice() } else { &[] },
            plots: &self.analysis.plots,
            comparisons: &self.analysis.comparisons,
            sheet,
            channels: &self.channels,
            stamp: None,
            shop: None,
        }
    }
}

/// What the traces tell, and what is known of their channels; none when there is nothing to analyse.
pub fn analysis_of(kept: &Kept, sheet: &PartSheet) -> Option<(PartAnalysis, Vec<ChannelProvenance>)> {
    if let Some(pair) = PairTraces::sorted(kept.traces.iter().map(|k| &k.trace)) {
        return Some((follow::analyse(pair, sheet), pair.grip.provenance.channels.clone()));
    }
    if sheet.kind == PartKind::Pair {
        let channels = kept.traces.first()?.trace.provenance.channels.clone();
        return Some((follow::not_begun(kept.traces.iter().map(|k| &k.trace), sheet), channels));
    }
    if kept.is_body() {
        let traces = BodyTraces::sorted(kept.traces.iter().map(|k| &k.trace));
        let channels = traces.all().next()?.provenance.channels.clone();
        let analysis = match &kept.among {
            Some(among) => body::analyse_among(traces, sheet, among),
            None => body::analyse(traces, sheet),
        };
        return Some((analysis, channels));
    }
    let sweep = kept.judged()?;
    let looks = Looks::of(kept, sheet);
    let analysis = looks.map_or_else(|| grip_analysis(kept, sweep, sheet), |looks| looks.analysis().clone());
    Some((analysis, sweep.provenance.channels.clone()))
}

fn outcome_of(
    kept: &Kept,
    analysis: &PartAnalysis,
    sheet: &PartSheet,
    judgement: &Judgement,
    now: &str,
) -> Outcome {
    let mut outcome = built(kept, analysis, sheet, judgement, now);
    if let Some(line) = OutcomeLine::of(&kept.stories).or_else(|| kept.line.clone()) {
        outcome.heed_line(line);
    }
    outcome
}

fn built(
    kept: &Kept,
    analysis: &PartAnalysis,
    sheet: &PartSheet,
    judgement: &Judgement,
    now: &str,
) -> Outcome {
    let stored: Vec<StoredTrace<'_>> =
        kept.traces.iter().map(|k| StoredTrace { trace: &k.trace, file: k.file.as_deref() }).collect();
    let mut warnings = kept.warnings.clone();
    warnings.extend(kept.failures.iter().cloned());
    build(OutcomeInputs {
        analysis,
        judgement,
        sheet,
        topology_shown: <[Topology; 1]>::try_from(kept.shown.as_slice()).ok().map(|[one]| one),
        readings: &kept.readings,
        session: SessionEnd {
            failure: kept.failures.first().map(|why| (why.as_str(), kept.refused)),
            told: kept.told.as_ref().map(|(aborted, not_done)| (*aborted, not_done.as_slice())),
            alone: kept.alone,
        },
        doubts: if kept.scope == Some(Scope::Readiness) { &kept.doubts } else { &[] },
        traces: &stored,
        judged: now,
        warnings: &warnings,
    })
}
