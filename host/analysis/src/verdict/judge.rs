//! A whole analysis against a sheet: each figure, each finding, what was not tested, and the part.

use super::advised::{again, cycles_without_event, remedy, with_sweep};
use super::conformity::{CONFORMANCE_PROBABILITY, Conformity, GUARD_FACTOR, conformity_at};
use super::findings::decide;
use super::remedy::{Makeup, Remedy, comes_from_a_sweep};
use super::untested::{not_looked_at, untested};
use super::words::{
    counted, figure_reason, finding_reason, limit_words, longer, mismatch_words, other_kind_words, settle,
};
use super::{FindingEffect, JudgedFigure, Judgement, Scope, Untested, Verdict};
use crate::analysis::Figure;
use crate::analysis::PartAnalysis;
use crate::analysis::recording::{LimitKind, RecordingLimit};
use crate::quantity::rounding::{as_written, fixed, rounded_up};
use crate::quantity::{FigureName, PartKind, ProcedureKind, Sign};
use crate::sheet::bounds::is_rate;
use crate::sheet::{Limit, PartSheet, Topology};
use crate::trace::{Trace, TraceEnd};

/// Of a recording that lacks more scans than this share nothing is `within`: an event may hide there. A line that loses one block in a hundred loses
/// up to twice as many in one recording by chance. Engineering assumption.
const MOST_MISSING: f64 = 0.02;
/// How near to an end of travel a gap must be to spoil the figures of that end, degrees.
const END_ZONE_DEG: f64 = 5.0;

/// Judges a whole part by a sheet. What happened to the recording is added by [`Judgement::heed`].
pub fn judge(analysis: &PartAnalysis, sheet: &PartSheet) -> Judgement {
    judge_scope(analysis, sheet, Scope::Part, &[])
}

/// What is judged, and how.
#[derive(Clone, Copy, Debug)]
pub struct Judging<'a> {
    /// What is judged.
    pub scope: Scope,
    /// Topologies that fit where the lines of the same part stood or moved in other recordings; without one, those that the analysed recording shows.
    pub shown: &'a [Topology],
    /// Probability that `within` and `outside` need, 0.5..1: 95 %, or more where a part is looked at more than once.
    pub sure: f64,
}

impl Default for Judging<'_> {
    /// The whole part, looked at once.
    fn default() -> Self {
        Self { scope: Scope::Part, shown: &[], sure: CONFORMANCE_PROBABILITY }
    }
}

/// Judges what `scope` says, by a sheet. `shown` are the topologies that fit where the lines of the same part stood or moved in
/// other recordings; without one, those that the analysed recording shows.
pub fn judge_scope(
    analysis: &PartAnalysis,
    sheet: &PartSheet,
    scope: Scope,
    shown: &[Topology],
) -> Judgement {
    judge_by(analysis, sheet, Judging { scope, shown, ..Judging::default() })
}

/// Judges by a sheet.
pub fn judge_by(analysis: &PartAnalysis, sheet: &PartSheet, judging: Judging<'_>) -> Judgement {
    let Judging { scope, shown, sure, .. } = judging;
    let judged = analysis.figures.iter().filter(|f| scope.judges(f.name));
    let found = analysis.topology_found.as_slice();
    let shown = if shown.is_empty() { found } else { shown };
    let fits = shown.is_empty() || shown.contains(&sheet.topology);
    let mismatch = match scope {
        Scope::Readiness => None,
        _ if analysis.kind != sheet.kind => Some(other_kind_words(sheet, analysis.kind)),
        Scope::Part => other_part(analysis).or_else(|| (!fits).then(|| mismatch_words(sheet, shown))),
        _ => (!fits).then(|| mismatch_words(sheet, shown)),
    };
    let mut judgement = Judgement {
        scope,
        overall: Verdict::Undecided,
        figures: judged.map(|f| judge_figure(f, analysis, sheet, judging)).collect(),
        findings: decide(analysis.findings.iter().filter(|f| scope.looks_for(f.kind)).collect(), sheet, sure)
            .into_iter()
            .map(|decided| with_sweep(decided, analysis))
            .collect(),
        untested: untested(analysis, sheet, scope),
        impairments: analysis
            .rig_faults
            .iter()
            .chain(&analysis.doubts)
            .map(|d| format!("undecided: {d}"))
            .collect(),
        not_tried: not_tried(analysis, scope),
        not_looked_at: not_looked_at(analysis, scope),
        places_covered: analysis.gap_regions.is_empty(),
        mismatch,
        topology: sheet.topology,
        sure,
        notes: Vec::new(),
        reasons: Vec::new(),
    };
    // By a sheet for other parts nothing is outside, nor by a look at whether rig and part are ready.
    if judgement.mismatch.is_some() || scope == Scope::Readiness {
        judgement.condemn_nothing();
    }
    judgement.conclude();
    judgement
}

/// Why the recording is not of a part that the sheet is for, as the recording itself shows.
fn other_part(analysis: &PartAnalysis) -> Option<String> {
    analysis.recording.iter().find(|l| l.kind == LimitKind::OtherPart).map(|l| l.text.clone())
}

impl Judgement {
    /// Takes into account what happened to the recordings: one cut short or with missing scans keeps a part from being
    /// `within`. Calling it twice changes nothing.
    pub fn heed(mut self, traces: &[&Trace]) -> Self {
        for trace in traces.iter().filter(|trace| !was_repeated(trace, traces)) {
            let what = trace.provenance.procedure.title();
            if let Some(ended) = trace.end.words() {
                self.impair(format!("the {what} {ended}: repeat it"));
            }
            let missing: u64 = trace.gaps.iter().map(|g| g.scans).fold(0, u64::saturating_add);
            if !trace.gaps.is_empty() && !self.bears(trace, missing) {
                self.impair(format!(
                    "the {what} lacks {} in {}: repeat it",
                    counted(missing, "scan"),
                    counted(trace.gaps.len() as u64, "place")
                ));
                self.doubt_events(trace.provenance.procedure);
            }
        }
        self.conclude();
        self
    }

    /// Whether a driven recording shows what it should although scans are missing: few of them, lost by rig, line or computer, and every place
    /// passed whole by other strokes, or motion done whole by others.
    fn bears(&self, trace: &Trace, missing: u64) -> bool {
        let few = missing as f64 <= MOST_MISSING * (trace.len() as u64 + missing) as f64;
        self.places_covered
            && few
            && repeats_its_motions(trace.provenance.procedure)
            && trace.gaps.iter().all(|gap| gap.cause.is_on_the_way())
    }

    /// Takes into account what else keeps the part from being `within`, as sentences.
    pub fn doubt(mut self, why: &[String]) -> Self {
        why.iter().for_each(|why| self.impair(why.clone()));
        self.conclude();
        self
    }

    /// Reports what else its reader should know; the verdict stays.
    pub fn telling(mut self, notes: Vec<String>) -> Self {
        self.notes = notes;
        self.conclude();
        self
    }

    /// What is outside becomes undecided.
    fn condemn_nothing(&mut self) {
        for judged in self.figures.iter_mut().filter(|j| j.verdict == Some(Verdict::Outside)) {
            judged.verdict = Some(Verdict::Undecided);
            judged.would_decide =
                Some("the sheet does not fit the part: judge it by the right one".to_owned());
            judged.remedy = None;
        }
        for decided in self.findings.iter_mut().filter(|d| d.effect == FindingEffect::Outside) {
            decided.effect = FindingEffect::Undecided;
        }
    }

    fn impair(&mut self, what: String) {
        if !self.impairments.contains(&what) {
            self.impairments.push(what);
        }
    }

    /// An event may hide in a gap, so counts of events are not `within` either.
    fn doubt_events(&mut self, procedure: ProcedureKind) {
        if matches!(procedure, ProcedureKind::LeadsCheck | ProcedureKind::SelfCheck) {
            return;
        }
        for judged in self.figures.iter_mut().filter(|j| counts_events(j.figure.name)) {
            if judged.verdict == Some(Verdict::Within) {
                judged.verdict = Some(Verdict::Undecided);
                judged.would_decide = Some(format!(
                    "scans are missing from the {} and may hide an event: repeat it",
                    procedure.title()
                ));
                judged.remedy = None;
            }
        }
    }

    /// The overall verdict and its reasons from the parts.
    fn conclude(&mut self) {
        let has = |verdict| self.figures.iter().any(|f| f.verdict == Some(verdict));
        let does = |effect| self.findings.iter().any(|f| f.effect == effect);
        let limited = self.figures.iter().filter(|f| f.verdict.is_some()).count();
        let nothing = limited == 0 && self.scope != Scope::Readiness;
        self.overall = if has(Verdict::Outside) || does(FindingEffect::Outside) {
            Verdict::Outside
        } else if has(Verdict::Undecided)
            || does(FindingEffect::Undecided)
            || self.mismatch.is_some()
            || !self.untested.is_empty()
            || !self.impairments.is_empty()
            || nothing
        {
            Verdict::Undecided
        } else {
            Verdict::Within
        };
        self.reasons = self.sentences();
        if nothing {
            self.reasons.push("undecided: not one figure could be judged".to_owned());
        } else if self.overall == Verdict::Within {
            // What a clean result does not speak of stands before it.
            self.reasons.extend(self.not_tried.clone());
            self.reasons.push(self.clean(limited));
        }
        if self.overall != Verdict::Within {
            self.reasons.extend(self.not_tried.clone());
        }
        self.reasons.extend(self.not_looked_at.iter().cloned());
        self.reasons.extend(self.scope.leaves_open().map(str::to_owned));
        self.reasons.extend(self.notes.iter().cloned());
    }

    /// What keeps the part from being `within`: what makes all else doubtful first, then what decides.
    fn sentences(&self) -> Vec<String> {
        let mismatch = self.mismatch.is_some();
        let sentences = self
            .findings
            .iter()
            .filter_map(|f| finding_reason(f, mismatch, self.sure))
            // By a sheet that does not fit, no figure shows anything.
            .chain(self.figures.iter().filter(|_| !mismatch).filter_map(|f| figure_reason(f, self.topology)));
        let (outside, undecided): (Vec<_>, Vec<_>) = sentences.partition(|s| s.starts_with("outside"));
        self.mismatch
            .iter()
            .map(|m| format!("undecided: {m}"))
            .chain(outside)
            .chain(undecided)
            .chain(self.impairments.iter().cloned())
            .chain(not_tested(&self.untested))
            .collect()
    }

    /// What a clean result says.
    fn clean(&self, limited: usize) -> String {
        let rate = self.figures.iter().find(|f| f.figure.name == FigureName::DropoutRate);
        match (self.scope, rate.and_then(|f| f.figure.upper_bound)) {
            (Scope::Part, _) => format!(
                "within: {} their limits, and no finding decides against the part",
                if limited == 1 { "1 figure keeps".to_owned() } else { format!("{limited} figures keep") }
            ),
            (Scope::Procedure(procedure), _) => {
                let keep = if limited == 1 { "keeps its limit" } else { "keep their limits" };
                let figures = counted(limited as u64, "figure");
                format!(
                    "within: {figures} of the {} {keep}, and no finding decides against the part",
                    procedure.title()
                )
            }
            (Scope::Soak, _) => format!(
                "within: {} of the last round {} and no finding of any round decides against the part",
                counted(limited as u64, "figure"),
                if limited == 1 { "keeps its limit" } else { "keep their limits" }
            ),
            (Scope::Leads, _) => {
                "within: no lead drops, no line leaks, both stops read as they should".to_owned()
            }
            (Scope::Readiness, _) => "within: rig and part are ready to be tested".to_owned(),
            (Scope::Flex { .. }, Some(bound)) => format!(
                "within: no dropout was seen, which excludes {} per minute or more with 95 % confidence",
                rounded_up(bound)
            ),
            (Scope::Flex { .. }, None) => "within: no dropout was seen".to_owned(),
        }
    }
}

/// Whether a procedure passes every place, or does every motion, several times. A hand does not.
const fn repeats_its_motions(procedure: ProcedureKind) -> bool {
    use ProcedureKind as Of;
    match procedure {
        Of::SelfCheck | Of::Sweep | Of::Release | Of::LeadsCheck => true,
        Of::Rest | Of::Creep | Of::Step | Of::Lash | Of::ToothMap => true,
        Of::BlipBefore | Of::Blip | Of::BlipAfter => true,
        Of::HandSweep | Of::GuidedPush | Of::Flex | Of::Follow | Of::Import => false,
    }
}

/// Whether a sweep was done again after it, whole: then it is not to be repeated any more.
fn was_repeated(trace: &Trace, traces: &[&Trace]) -> bool {
    let is_sweep = |t: &Trace| t.provenance.procedure == ProcedureKind::Sweep;
    let later = traces.iter().skip_while(|t| !std::ptr::eq(**t, trace)).skip(1);
    is_sweep(trace)
        && later.into_iter().any(|t| is_sweep(t) && t.gaps.is_empty() && t.end == TraceEnd::Complete)
}

/// Most names in one sentence on what was not tested.
const MOST_NAMED: usize = 3;

/// One sentence per reason, naming the first of those that share it.
fn not_tested(untested: &[Untested]) -> Vec<String> {
    let mut by_reason: Vec<(&str, Vec<&str>)> = Vec::new();
    for Untested { title, why, .. } in untested {
        match by_reason.iter_mut().find(|(reason, _)| reason == why) {
            Some((_, titles)) => titles.push(title),
            None => by_reason.push((why, vec![title])),
        }
    }
    let sentence = |(why, titles): (&str, Vec<&str>)| {
        let named = titles[..titles.len().min(MOST_NAMED)].join("; ");
        let more = titles.len().saturating_sub(MOST_NAMED);
        let more = if more > 0 { format!(" and {more} more") } else { String::new() };
        format!("not tested: {named}{more}: {why}")
    };
    by_reason.into_iter().map(sentence).collect()
}

/// Whether a figure counts events, so that one of them is one too many for `max = 0`.
const fn counts_events(figure: FigureName) -> bool {
    matches!(figure, FigureName::DropoutRate | FigureName::LimpTrips)
}

fn judge_figure(
    figure: &Figure,
    analysis: &PartAnalysis,
    sheet: &PartSheet,
    judging: Judging<'_>,
) -> JudgedFigure {
    let mut judged = JudgedFigure {
        figure: figure.clone(),
        limit: None,
        verdict: None,
        probability: None,
        would_decide: None,
        remedy: None,
    };
    let again = |cycles: u32| again(figure, analysis, cycles);
    let Some(limit) = sheet.limit_for(figure.name, figure.channel, &figure.condition) else { return judged };
    judged.limit = Some(limit.clone());
    if can_not_be(figure) {
        let title = figure.name.title();
        judged.verdict = Some(Verdict::Undecided);
        judged.would_decide = Some(format!(
            "a negative {title} can't be, so something else was measured: see what else was found, and repeat it"
        ));
    } else if counts_events(figure.name) && limit.max == Some(0.0) {
        let (verdict, why) = judge_no_event(figure, limit, analysis.cycles);
        (judged.verdict, judged.would_decide) = (Some(verdict), why);
        judged.remedy = cycles_without_event(&judged, limit.bound, analysis.cycles).and_then(again);
    } else if is_rate(figure.name) {
        let (verdict, why) = judge_rate(figure, limit, analysis.cycles);
        (judged.verdict, judged.would_decide) = (Some(verdict), why);
        judged.remedy = cycles_without_event(&judged, limit.max, analysis.cycles).and_then(again);
    } else {
        let found = conformity_of(figure, limit, judging.sure);
        judged.verdict = Some(found.verdict);
        judged.probability = Some(found.probability).filter(|p| p.is_finite());
        if found.verdict == Verdict::Undecided {
            let lacks =
                lacking(figure, &analysis.recording).map(|why| format!("this recording can't tell: {why}"));
            let of_sweep = lacks.is_none() && comes_from_a_sweep(figure.name, analysis.kind);
            let narrows = figure.name.row().averages;
            let makeup = Makeup::of(figure).filter(|_| of_sweep && narrows);
            judged.remedy = match &makeup {
                Some(makeup) => Some(remedy(makeup, &found, limit, analysis.cycles, judging.sure)),
                None => (of_sweep && !narrows).then_some(Remedy::Nothing),
            };
            judged.would_decide = Some(
                lacks.unwrap_or_else(|| settle(&judged, limit, &found, analysis.cycles, makeup.as_ref())),
            );
        }
    }
    // Gaps of the sweep say nothing of a release, which is whole or left out.
    if analysis.kind != PartKind::Grip || !figure.name.is_of_a_release() {
        doubt_gaps(&mut judged, analysis, again(analysis.cycles));
    } else if analysis.rig_may_hold_it && judged.verdict == Some(Verdict::Outside) {
        judged.verdict = Some(Verdict::Undecided);
        judged.would_decide = Some(RIG_MAY_HOLD_IT.to_owned());
        judged.remedy = None;
    }
    judged
}

/// A value against its limit. What the recording may have added to it can't make it too high, and does not keep it from being low enough.
fn conformity_of(figure: &Figure, limit: &Limit, sure: f64) -> Conformity {
    let found = conformity_at(sure, figure.value, figure.standard_uncertainty(), limit.min, limit.max);
    if found.verdict == Verdict::Within {
        return found;
    }
    conformity_at(sure, figure.value, figure.stated_uncertainty(), limit.min, limit.max)
}

/// What a recording lacks for a figure: the limit of it that is most of the figure's uncertainty.
fn lacking<'a>(figure: &Figure, recording: &'a [RecordingLimit]) -> Option<&'a str> {
    let effects = recording.iter().map(|limit| (limit.effect_on(figure), limit.text.as_str()));
    let most = effects.max_by(|a, b| a.0.total_cmp(&b.0));
    most.filter(|(by, _)| *by > 0.5 * figure.stated_uncertainty()).map(|(_, text)| text)
}

/// Why a grip that stayed open is not condemned by that.
const RIG_MAY_HOLD_IT: &str = "this rig does not state that its released drive lets the grip go, so it may have held it open: unclamp the grip, turn it open \
                               by hand and let go; one that does not snap shut is not fit";

/// What keeps nobody from a verdict about the sensor but must be said with it.
fn not_tried(analysis: &PartAnalysis, scope: Scope) -> Option<String> {
    let released = analysis.figures.iter().any(|f| f.name == FigureName::ReturnRest);
    if analysis.kind != PartKind::Grip || scope != Scope::Part || released {
        return None;
    }
    let name = FigureName::ReturnRest.name();
    let why = analysis.not_testable.iter().find(|n| n.what.contains(name)).map(|n| n.why.as_str());
    Some(format!("self-closing was not tested: {}", why.unwrap_or("the grip was not let go")))
}

/// Whether a value is below 0 beyond its uncertainty although the figure can't be negative.
fn can_not_be(figure: &Figure) -> bool {
    let allowed = GUARD_FACTOR * figure.standard_uncertainty().max(0.0);
    figure.name.sign() == Sign::NeverNegative && figure.value + allowed < 0.0
}

/// Zero acceptance: one event is outside; none is within once the test was long enough.
fn judge_no_event(figure: &Figure, limit: &Limit, cycles: u32) -> (Verdict, Option<String>) {
    if !figure.value.is_finite() {
        return (Verdict::Undecided, Some("it has no finite value: repeat the test".to_owned()));
    }
    if figure.value > 0.0 {
        return (Verdict::Outside, None);
    }
    match (limit.bound, figure.upper_bound.filter(|b| b.is_finite() && *b >= 0.0)) {
        (None, _) => (Verdict::Within, None),
        // A hair of allowance: the bound and the length of the test are the same number computed twice.
        (Some(bound), Some(upper)) if upper <= bound * (1.0 + 1e-9) => (Verdict::Within, None),
        (Some(bound), Some(upper)) => (Verdict::Undecided, Some(longer(upper, bound, cycles))),
        (Some(bound), None) => {
            let why = format!(
                "how long was watched is not known, so {} per minute is not excluded",
                as_written(bound)
            );
            (Verdict::Undecided, Some(why))
        }
    }
}

/// A rate with a maximum above 0: the upper bound must keep it, the value less its guard band must break it.
fn judge_rate(figure: &Figure, limit: &Limit, cycles: u32) -> (Verdict, Option<String>) {
    let (value, u) = (figure.value, figure.standard_uncertainty());
    let Some(max) = limit.max else {
        return (Verdict::Undecided, Some("a rate needs a `max` in the sheet".to_owned()));
    };
    if value.is_finite() && u.is_finite() && u >= 0.0 && value - GUARD_FACTOR * u > max {
        return (Verdict::Outside, None);
    }
    match figure.upper_bound {
        Some(upper) if value.is_finite() && upper.is_finite() && upper <= max => (Verdict::Within, None),
        Some(upper) if value == 0.0 && upper.is_finite() => {
            (Verdict::Undecided, Some(longer(upper, max, cycles)))
        }
        _ => (
            Verdict::Undecided,
            Some(format!("a longer test narrows the rate; the limit is {}", limit_words(limit))),
        ),
    }
}

/// No figure is `within` over travel where scans are missing.
fn doubt_gaps(judged: &mut JudgedFigure, analysis: &PartAnalysis, repeat: Option<Remedy>) {
    if judged.verdict == Some(Verdict::Outside) {
        return;
    }
    let spoiled = analysis.gap_regions.iter().find(|r| touches(judged.figure.name, **r, analysis.travel_deg));
    let Some((from, to)) = spoiled else { return };
    let again = judged.figure.name.row().procedure.map_or("sweep", ProcedureKind::title);
    let gap = format!("scans are missing at {} to {}°: repeat the {again}", fixed(*from, 1), fixed(*to, 1));
    judged.verdict = Some(Verdict::Undecided);
    judged.remedy = judged.remedy.or(repeat);
    judged.would_decide = Some(match judged.would_decide.take() {
        Some(other) => format!("{other}; {gap}"),
        None => gap,
    });
}

/// Whether a gap lies in the travel that a figure is about: an end for the figures of that end, all of it for the rest.
fn touches(figure: FigureName, region: (f64, f64), travel: Option<(f64, f64)>) -> bool {
    let Some((closed, open)) = travel else { return true };
    if [region.0, region.1, closed, open].iter().any(|d| d.is_nan()) {
        return true;
    }
    match figure {
        FigureName::ClosedVolts | FigureName::DeadBandClosed => {
            region.0.min(region.1) <= closed + END_ZONE_DEG
        }
        FigureName::OpenVolts | FigureName::DeadBandOpen => region.0.max(region.1) >= open - END_ZONE_DEG,
        _ => true,
    }
}

#[cfg(test)]
#[path = "judge_tests.rs"]
mod tests;

#[cfg(test)]
#[path = "advised_tests.rs"]
mod advised_tests;

#[cfg(test)]
#[path = "body_tests.rs"]
mod body_tests;
