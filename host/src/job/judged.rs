//! From what was recorded to an outcome: analysis and verdict.

use super::question::Question;
use super::recorded::Recorded;
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
    pub fn of(recorded: &Recorded, question: &Question, sheet: &PartSheet, now: &str) -> Option<Self> {
        if let Some(looks) = Looks::of(recorded, question, sheet) {
            let channels = recorded.best(question)?.provenance.channels.clone();
            let mut outcome =
                outcome_of((recorded, question), looks.analysis(), sheet, &looks.judgement(), now);
            outcome.settling = Some(looks.told());
            return Some(Self { analysis: looks.analysis().clone(), channels, scope: Scope::Part, outcome });
        }
        let (analysis, channels) = analysis_of(recorded, question, sheet)?;
        let judging = Judging {
            scope: question.scope.unwrap_or_default(),
            shown: &question.shown,
            ..Judging::default()
        };
        let judgement = judge_by(&analysis, sheet, judging);
        let outcome = outcome_of((recorded, question), &analysis, sheet, &judgement, now);
        Some(Self { analysis, channels, scope: question.scope.unwrap_or_default(), outcome })
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

/// What the traces show, and what is known of their channels; none when there is nothing to analyse.
pub fn analysis_of(
    recorded: &Recorded,
    question: &Question,
    sheet: &PartSheet,
) -> Option<(PartAnalysis, Vec<ChannelProvenance>)> {
    if let Some(pair) = PairTraces::sorted(recorded.traces.iter().map(|k| &k.trace)) {
        return Some((follow::analyse(pair, sheet), pair.grip.provenance.channels.clone()));
    }
    if sheet.kind == PartKind::Pair {
        let channels = recorded.traces.first()?.trace.provenance.channels.clone();
        return Some((follow::not_begun(recorded.traces.iter().map(|k| &k.trace), sheet), channels));
    }
    if recorded.is_body() {
        let traces = BodyTraces::sorted(recorded.traces.iter().map(|k| &k.trace));
        let channels = traces.all().next()?.provenance.channels.clone();
        let analysis = match &question.population {
            Some(population) => body::analyse_among(traces, sheet, population),
            None => body::analyse(traces, sheet),
        };
        return Some((analysis, channels));
    }
    let sweep = recorded.best(question)?;
    let looks = Looks::of(recorded, question, sheet);
    let analysis =
        looks.map_or_else(|| grip_analysis(recorded, sweep, sheet), |looks| looks.analysis().clone());
    Some((analysis, sweep.provenance.channels.clone()))
}

fn outcome_of(
    (recorded, question): (&Recorded, &Question),
    analysis: &PartAnalysis,
    sheet: &PartSheet,
    judgement: &Judgement,
    now: &str,
) -> Outcome {
    let mut outcome = built((recorded, question), analysis, sheet, judgement, now);
    if let Some(line) = OutcomeLine::of(&recorded.stories).or_else(|| question.before.as_ref()?.line.clone())
    {
        outcome.heed_line(line);
    }
    outcome
}

fn built(
    (recorded, question): (&Recorded, &Question),
    analysis: &PartAnalysis,
    sheet: &PartSheet,
    judgement: &Judgement,
    now: &str,
) -> Outcome {
    let stored: Vec<StoredTrace<'_>> =
        recorded.traces.iter().map(|k| StoredTrace { trace: &k.trace, file: k.file.as_deref() }).collect();
    let mut warnings = recorded.warnings.clone();
    warnings.extend(recorded.failures.iter().cloned());
    build(OutcomeInputs {
        analysis,
        judgement,
        sheet,
        topology_shown: <[Topology; 1]>::try_from(question.shown.as_slice()).ok().map(|[one]| one),
        readings: &recorded.checked.readings,
        session: SessionEnd {
            failure: recorded.failures.first().map(|why| (why.as_str(), recorded.refused)),
            told: question.before.as_ref().map(|b| (b.aborted, b.not_done.as_slice())),
            alone: question.alone,
        },
        doubts: if question.scope == Some(Scope::Readiness) { &recorded.checked.doubts } else { &[] },
        traces: &stored,
        judged: now,
        warnings: &warnings,
    })
}
