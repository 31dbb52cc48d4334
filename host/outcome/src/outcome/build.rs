//! An outcome from an analysis, its judgement, the sheet and the traces. Pure: the date of judging is passed in.

use super::{
    CAUTIONS, Outcome, OutcomeDetectionLimit, OutcomeFigure, OutcomeFinding, OutcomeGap, OutcomeHistogram,
    OutcomeLimit, OutcomeNotDone, OutcomeNotTestable, OutcomePart, OutcomeProcedure, OutcomeReading,
    OutcomeSheet, SCHEMA_VERSION, evidence_of, grade,
};
use crate::analysis::PartAnalysis;
use crate::analysis::flat_spot::GRAIN_PERCENT;
use crate::analysis::usable::LeftOut;
use crate::analysis::{Detail, Histogram};
use crate::diagnosis::rank;
use crate::quantity::{Channel, FigureName, FindingKind, PartKind, Unit};
use crate::sheet::{PartSheet, Topology};
use crate::trace::{Gap, Trace};
use crate::verdict::{
    DecidedFinding, FindingEffect, HowEnded, JudgedFigure, Judgement, LeastDepth, NotDone, Scope,
    loads_stepped, not_done,
};
use std::collections::BTreeMap;

/// Version of the analysis: raised whenever the same trace may give other figures or findings.
pub const ANALYSIS_VERSION: &str = "3";

/// A trace and where it is stored.
#[derive(Clone, Copy, Debug)]
pub struct StoredTrace<'a> {
    /// The trace.
    pub trace: &'a Trace,
    /// Its file in the archive folder, when stored.
    pub file: Option<&'a str>,
}

/// How a session ended.
#[derive(Clone, Copy, Debug, Default)]
pub struct SessionEnd<'a> {
    /// Why it was interrupted, and whether because the rig refused; none when it was not.
    pub failure: Option<(&'a str, bool)>,
    /// What an earlier outcome of the same traces says of it: whether it was cut short, and what was not done.
    pub told: Option<(bool, &'a [OutcomeNotDone])>,
    /// The traces were picked out of a record: others are not missed.
    pub alone: bool,
}

/// What an outcome is made of.
#[derive(Clone, Copy, Debug)]
pub struct OutcomeInputs<'a> {
    /// Figures and findings.
    pub analysis: &'a PartAnalysis,
    /// What can be said of them; what happened to the traces is taken into account here.
    pub judgement: &'a Judgement,
    /// The sheet that it was judged by.
    pub sheet: &'a PartSheet,
    /// Topology that another recording of the part showed, where the analysed one does not move.
    pub topology_shown: Option<Topology>,
    /// What the self-check read.
    pub readings: &'a [OutcomeReading],
    /// Sentences on what keeps the part from being `within` beside its figures and findings.
    pub doubts: &'a [String],
    /// What is known of how the session ended, beside what its traces show.
    pub session: SessionEnd<'a>,
    /// Every trace of the record in the order of recording.
    pub traces: &'a [StoredTrace<'a>],
    /// When it was judged, RFC 3339.
    pub judged: &'a str,
    /// Things the reader should know beside those of the analysis: of the import, of the rig.
    pub warnings: &'a [String],
}

/// Builds the document. Every number in it is finite: what has no finite value is named in `not_testable` instead.
pub fn build(inputs: OutcomeInputs<'_>) -> Outcome {
    let OutcomeInputs { analysis, sheet, traces, .. } = inputs;
    let heeded: Vec<&Trace> = traces.iter().map(|t| t.trace).collect();
    let not_done = why_not_done(not_done(&heeded, inputs.session.alone), &inputs.session);
    let judgement = inputs.judgement.clone().lacking(&not_done).heed(&heeded).doubt(inputs.doubts);
    let cut = not_done.iter().any(|n| n.how == HowEnded::CutShort);
    let interrupted = inputs.session.failure.is_some() || inputs.session.told.is_some_and(|told| told.0);
    let mut not_testable = not_testable(analysis, &judgement);
    let mut figures = Vec::new();
    for judged in &judgement.figures {
        match figure(judged) {
            Ok(figure) => figures.push(figure),
            Err(missing) => not_testable.push(missing),
        }
    }
    let first = traces.first().map(|t| &t.trace.provenance);
    let mut outcome = Outcome {
        schema: SCHEMA_VERSION,
        verdict: judgement.overall,
        scope: judgement.scope.into(),
        not_done: not_done.iter().map(Into::into).collect(),
        reasons: judgement.reasons.clone(),
        cautions: cautions(analysis.kind),
        simulated: traces.iter().any(|t| t.trace.provenance.simulated),
        aborted: cut || (interrupted && !not_done.is_empty()),
        part: OutcomePart {
            kind: analysis.kind.into(),
            label: first.map(|p| p.part.clone()).unwrap_or_default(),
            topology_found: analysis.topology_found.or(inputs.topology_shown).map(Into::into),
        },
        sheet: OutcomeSheet {
            name: sheet.name.clone(),
            title: sheet.title.clone(),
            topology: sheet.topology.into(),
        },
        rig: traces.iter().find_map(|t| t.trace.provenance.rig.clone()),
        versions: versions(traces, analysis),
        recorded: first.map(|p| p.started.clone()).unwrap_or_default(),
        judged: inputs.judged.to_owned(),
        figures,
        findings: judgement.findings.iter().map(finding).collect(),
        histograms: analysis
            .histograms
            .iter()
            .filter(|h| judged(h, judgement.scope))
            .filter_map(|h| histogram(h, sheet))
            .collect(),
        readings: inputs.readings.to_vec(),
        gaps: traces
            .iter()
            .flat_map(|t| t.trace.gaps.iter().map(|g| gap(t.trace, g)))
            .chain(analysis.left_out.iter().map(left_out))
            .collect(),
        detection_limits: detection_limits(analysis, judgement.scope, sheet),
        not_testable,
        procedures: traces.iter().map(procedure).collect(),
        warnings: inputs.warnings.iter().chain(&analysis.warnings).cloned().collect(),
        grade: None,
        matings: None,
        line: None,
        suspects: Vec::new(),
        soak: None,
        settling: None,
        contact: analysis
            .contact
            .as_ref()
            .filter(|_| matches!(judgement.scope, Scope::Flex { .. }))
            .map(Into::into),
    };
    outcome.grade = grade(&outcome, sheet);
    // A self-check judges rig and mounting, so no part is suspected.
    if judgement.scope != Scope::Readiness {
        outcome.suspects = rank(&evidence_of(&outcome)).into_iter().map(Into::into).collect();
    }
    outcome
}

fn cautions(kind: PartKind) -> Vec<String> {
    match kind {
        PartKind::Grip => Vec::new(),
        PartKind::Body | PartKind::Pair => CAUTIONS.map(str::to_owned).to_vec(),
    }
}

fn versions(traces: &[StoredTrace<'_>], analysis: &PartAnalysis) -> BTreeMap<String, String> {
    let mut versions = BTreeMap::from([
        ("trackpair".to_owned(), env!("CARGO_PKG_VERSION").to_owned()),
        ("analysis".to_owned(), ANALYSIS_VERSION.to_owned()),
    ]);
    if let Some(provenance) = traces.first().map(|t| &t.trace.provenance) {
        versions.insert("recorded_by".to_owned(), provenance.recorded_by.clone());
    }
    if let Some(rig) = traces.iter().find_map(|t| t.trace.provenance.rig.as_ref()) {
        versions.insert("protocol".to_owned(), rig.protocol.to_string());
        versions.insert("firmware".to_owned(), rig.firmware.clone());
    }
    versions.extend(analysis.population.clone().map(|words| ("population".to_owned(), words)));
    versions
}

fn finite(value: Option<f64>) -> Option<f64> {
    value.filter(|v| v.is_finite())
}

fn figure(judged: &JudgedFigure) -> Result<OutcomeFigure, OutcomeNotTestable> {
    let figure = &judged.figure;
    let expanded_uncertainty = 2.0 * figure.stated_uncertainty();
    if !figure.value.is_finite() || !expanded_uncertainty.is_finite() || expanded_uncertainty < 0.0 {
        let place =
            figure.channel.map(|c| c.name().to_owned()).into_iter().chain(Some(figure.condition.words()));
        let place = place.filter(|w| !w.is_empty()).collect::<Vec<_>>().join(", ");
        let name = figure.name.name();
        let what = if place.is_empty() { name.to_owned() } else { format!("{name} ({place})") };
        let missing = if figure.value.is_finite() { "uncertainty" } else { "value" };
        let why = if figure.name > FigureName::LimpTrips {
            format!("the recording gave it no {missing}; repeat the procedure that it comes from")
        } else if missing == "uncertainty" {
            "how far it scatters between cycles is not known from so short a recording; sweep two cycles at least, better five"
                .to_owned()
        } else {
            "the trace gave it no finite value; repeat the sweep with more cycles".to_owned()
        };
        return Err(OutcomeNotTestable { what, why });
    }
    Ok(OutcomeFigure {
        figure: figure.name.into(),
        channel: figure.channel.map(Into::into),
        condition: figure.condition,
        // A sum of nothing may be -0; nobody is to read that.
        value: figure.value + 0.0,
        unit: figure.name.unit(),
        expanded_uncertainty: expanded_uncertainty + 0.0,
        upper_bound: finite(figure.upper_bound),
        at_deg: finite(figure.at_deg),
        limit: judged.limit.as_ref().map(|l| OutcomeLimit { min: l.min, max: l.max, bound: l.bound }),
        source: judged.limit.as_ref().map(|l| l.source.clone()),
        verdict: judged.verdict,
        would_decide: judged.would_decide.clone(),
        definition: figure.definition.clone(),
    })
}

fn finding(decided: &DecidedFinding) -> OutcomeFinding {
    let finding = &decided.finding;
    OutcomeFinding {
        kind: finding.kind.into(),
        channel: finding.channel.map(Into::into),
        from_deg: finite(finding.from_deg),
        to_deg: finite(finding.to_deg),
        confidence: if finding.confidence.is_finite() { finding.confidence.clamp(0.0, 1.0) } else { 0.0 },
        decides: decided.effect == FindingEffect::Outside,
        effect: Some(decided.effect),
        text: finding.text.clone(),
        details: details(&finding.details),
    }
}

/// Written numbers with their unit in the name; what is not finite is left out.
fn details(details: &[Detail]) -> BTreeMap<String, f64> {
    details.iter().filter(|d| d.value.is_finite()).map(|d| (detail_name(d), d.value)).collect()
}

/// A detail's name that ends in its unit: `depth` in `% span` becomes `depth_percent_span`.
fn detail_name(detail: &Detail) -> String {
    let ending = match detail.unit {
        "deg" => "_deg",
        "% span" => "_percent_span",
        "% supply" => "_percent_supply",
        "%" => "_percent",
        "us" => "_us",
        "ms" => "_ms",
        "s" => "_s",
        "mV" | "mV at 5 V" => "_mv",
        "V" | "V at 5 V" => "_volts",
        "ohm" => "_ohms",
        "kohm" => "_kohm",
        "1/min" => "_per_minute",
        "Hz" => "_hz",
        "A" => "_amps",
        "N m" => "_newton_metres",
        "N m/rad" => "_newton_metres_per_radian",
        "V s/rad" => "_volt_seconds_per_radian",
        _ => "",
    };
    if detail.name.ends_with(ending) { detail.name.to_owned() } else { format!("{}{ending}", detail.name) }
}

fn detection_limits(analysis: &PartAnalysis, scope: Scope, sheet: &PartSheet) -> Vec<OutcomeDetectionLimit> {
    let from = |limit: &crate::analysis::DetectionLimit| {
        let sheet = sheet.findings.iter().find(|r| r.kind == limit.kind)?.least_depth_percent_span?;
        let grain = limit.details.iter().find(|d| d.name == GRAIN_PERCENT).map(|d| d.value);
        let least = LeastDepth::of(sheet, grain);
        Some(if least.of_grain {
            format!(
                "; as deep as grain of this track can reach, one decides from {:.2} % of span of depth on",
                least.percent
            )
        } else {
            format!("; by the sheet one decides from {sheet} % of span of depth on")
        })
    };
    let entry = |limit: &crate::analysis::DetectionLimit| OutcomeDetectionLimit {
        kind: limit.kind.into(),
        channel: limit.channel.map(Into::into),
        text: limit.text.clone() + &from(limit).filter(|_| !limit.details.is_empty()).unwrap_or_default(),
        details: details(&limit.details),
    };
    analysis.detection_limits.iter().filter(|l| scope.looks_for(l.kind)).map(entry).collect()
}

/// What the analysis could not have, and limits for which nothing was measured.
fn not_testable(analysis: &PartAnalysis, judgement: &Judgement) -> Vec<OutcomeNotTestable> {
    let mut list: Vec<_> = analysis
        .not_testable
        .iter()
        .filter(|n| concerns(judgement.scope, &n.what))
        .map(|n| OutcomeNotTestable { what: n.what.clone(), why: n.why.clone() })
        .collect();
    for untested in &judgement.untested {
        if list.iter().all(|n| n.why != untested.why) {
            list.push(OutcomeNotTestable { what: untested.what.clone(), why: untested.why.clone() });
        }
    }
    list
}

/// Whether what could not be had belongs to what was judged.
fn concerns(scope: Scope, what: &str) -> bool {
    scope == Scope::Part
        || FigureName::ALL.into_iter().any(|f| scope.judges(f) && what.contains(f.name()))
        || FindingKind::ALL.into_iter().any(|k| scope.looks_for(k) && what.contains(k.name()))
}

/// Whether a histogram belongs to what was judged.
fn judged(histogram: &Histogram, scope: Scope) -> bool {
    match scope {
        Scope::Part => true,
        Scope::Procedure(_) => histogram_figures(histogram.name).iter().any(|f| scope.judges(*f)),
        _ => false,
    }
}

fn histogram(histogram: &Histogram, sheet: &PartSheet) -> Option<OutcomeHistogram> {
    if !histogram.low.is_finite() || !histogram.width.is_finite() || histogram.width <= 0.0 {
        return None;
    }
    Some(OutcomeHistogram {
        name: histogram.name.to_owned(),
        channel: histogram.channel.map(Into::into),
        condition: histogram.condition,
        unit: histogram.unit,
        low: histogram.low,
        width: histogram.width,
        counts: histogram.counts.clone(),
        limits: histogram_limits(histogram, sheet),
    })
}

/// The figures whose limits are drawn into a histogram.
fn histogram_figures(name: &str) -> &'static [FigureName] {
    match name {
        "linearity_deviation" => &[FigureName::LinearityIndependent],
        "correlation_deviation" => &[FigureName::CorrelationWorst],
        "latency" => &[FigureName::LatencyMax],
        "follow_latency" => &[FigureName::FollowLatencyP95],
        _ => &[],
    }
}

/// Where the limit lines of a histogram stand: at both sides of 0 for deviations, at the longest allowed for latencies.
fn histogram_limits(histogram: &Histogram, sheet: &PartSheet) -> Vec<f64> {
    let figures = histogram_figures(histogram.name);
    let largest = |figure: &FigureName| {
        let limit = sheet.limit_for(*figure, histogram.channel, &histogram.condition)?;
        in_unit(limit.max?, limit.unit, histogram.unit)
    };
    let limits = figures.iter().filter_map(largest);
    if histogram.name.ends_with("latency") {
        limits.collect()
    } else {
        limits.flat_map(|max| [-max, max]).collect()
    }
}

/// A limit in the unit of the bins; none where they are not of the same quantity.
fn in_unit(value: f64, from: Unit, to: Unit) -> Option<f64> {
    match (from, to) {
        _ if from == to => Some(value),
        (Unit::Microsecond, Unit::Millisecond) => Some(value / 1000.0),
        _ => None,
    }
}

/// A gap with the travel between the last reading before and the first one after it.
fn gap(trace: &Trace, gap: &Gap) -> OutcomeGap {
    let zero = trace.provenance.reference_zero_deg;
    let reference = trace.channel(Channel::Reference);
    let deg = |index: Option<usize>| finite(Some(f64::from(*reference?.get(index?)?) - zero));
    let (before, after) = (deg(gap.index.checked_sub(1)), deg(Some(gap.index)));
    let (from_deg, to_deg) = match (before, after) {
        (Some(a), Some(b)) => (Some(a.min(b)), Some(a.max(b))),
        (one, other) => (one.or(other), other.or(one)),
    };
    OutcomeGap { procedure: trace.provenance.procedure.into(), gap: *gap, from_deg, to_deg }
}

/// Scans that were left out, as a gap.
fn left_out(left_out: &LeftOut) -> OutcomeGap {
    let [before, after] = left_out.edges_deg;
    let (from_deg, to_deg) = match (before, after) {
        (Some(a), Some(b)) => (Some(a.min(b)), Some(a.max(b))),
        (one, other) => (one.or(other), other.or(one)),
    };
    OutcomeGap { procedure: left_out.procedure.into(), gap: left_out.gap, from_deg, to_deg }
}

/// What was not done, with the reason where the session or an earlier outcome knows a better one than the traces.
fn why_not_done(mut all: Vec<NotDone>, session: &SessionEnd<'_>) -> Vec<NotDone> {
    let mut failure = session.failure;
    for one in all.iter_mut().filter(|n| n.how != HowEnded::Refused) {
        let told = session.told.and_then(|(_, told)| told.iter().find(|t| t.procedure == one.procedure));
        if let Some(told) = told {
            (one.how, one.why) = (told.how, told.why.clone());
        } else if let Some((why, refused)) = failure.take() {
            // What ended the session is the reason of the first that it left; the others came after it.
            why.clone_into(&mut one.why);
            if refused && one.how == HowEnded::NotBegun {
                one.how = HowEnded::Refused;
            }
        }
    }
    all
}

impl From<&NotDone> for OutcomeNotDone {
    fn from(not_done: &NotDone) -> Self {
        Self { procedure: not_done.procedure.into(), how: not_done.how, why: not_done.why.clone() }
    }
}

fn procedure(stored: &StoredTrace<'_>) -> OutcomeProcedure {
    OutcomeProcedure {
        procedure: stored.trace.provenance.procedure.into(),
        scans: stored.trace.len() as u64,
        end: stored.trace.end.into(),
        trace_file: stored.file.map(str::to_owned),
        damaged_percent: stored.trace.provenance.link.and_then(|l| l.damaged_percent()),
        loads_stepped: loads_stepped(stored.trace),
    }
}

#[cfg(test)]
#[path = "build_tests.rs"]
mod tests;
