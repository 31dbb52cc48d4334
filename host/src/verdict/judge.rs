//! A whole analysis against a sheet: each figure, each finding, what was not tested, and the part.

use super::conformity::{GUARD_FACTOR, conformity};
use super::words::{figure_reason, finding_reason, limit_words, longer, named, settle, short};
use super::{DecidedFinding, JudgedFigure, Judgement, Untested, Verdict};
use crate::analysis::grip::{DIRECTION_OF_TRAVEL, GripAnalysis};
use crate::analysis::{Figure, Finding};
use crate::quantity::{Channel, FigureName, FindingKind};
use crate::sheet::bounds::{is_rate, is_signed};
use crate::sheet::{Limit, PartSheet};
use crate::trace::{ProcedureKind, Trace, TraceEnd};

/// Confidence from which a finding decides; below it the part is undecided. The same 95 % that figures must have.
pub const DECIDING_CONFIDENCE: f64 = 0.95;

/// How near to an end of travel a gap must be to spoil the figures of that end, degrees.
const END_ZONE_DEG: f64 = 5.0;

/// Judges an analysis by a sheet. What happened to the recording is added by [`Judgement::heed`].
pub fn judge(analysis: &GripAnalysis, sheet: &PartSheet) -> Judgement {
    let figures = analysis.figures.iter().map(|f| judge_figure(f, analysis, sheet)).collect();
    let findings = analysis.findings.iter().map(|f| decide_finding(f, sheet)).collect();
    let mut judgement = Judgement {
        overall: Verdict::Undecided,
        figures,
        findings,
        untested: untested(analysis, sheet),
        impairments: Vec::new(),
        reasons: Vec::new(),
    };
    judgement.conclude();
    judgement
}

impl Judgement {
    /// Takes into account what happened to the recordings: one cut short or with missing scans keeps a part from being
    /// `within`. Calling it twice changes nothing.
    pub fn heed(mut self, traces: &[&Trace]) -> Self {
        for trace in traces {
            let what = trace.provenance.procedure.name();
            let ended = match trace.end {
                TraceEnd::Complete => None,
                TraceEnd::Aborted => Some("was stopped before its end"),
                TraceEnd::Guard => Some("was ended by a guard of the rig"),
                TraceEnd::LinkLost => Some("ended when the link was lost"),
            };
            if let Some(ended) = ended {
                self.impair(format!("the {what} {ended}: repeat it"));
            }
            let missing: u64 = trace.gaps.iter().map(|g| g.scans).fold(0, u64::saturating_add);
            if !trace.gaps.is_empty() {
                self.impair(format!(
                    "the {what} lacks {missing} scans in {} places: repeat it",
                    trace.gaps.len()
                ));
                self.doubt_events(trace.provenance.procedure);
            }
        }
        self.conclude();
        self
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
                    procedure.name()
                ));
            }
        }
    }

    /// The overall verdict and its reasons from the parts.
    fn conclude(&mut self) {
        let verdicts = || {
            self.figures.iter().map(|f| f.verdict).chain(self.findings.iter().map(|f| f.verdict)).flatten()
        };
        let limited = self.figures.iter().filter(|f| f.verdict.is_some()).count();
        self.overall = if verdicts().any(|v| v == Verdict::Outside) {
            Verdict::Outside
        } else if verdicts().any(|v| v == Verdict::Undecided)
            || !self.untested.is_empty()
            || !self.impairments.is_empty()
            || limited == 0
        {
            Verdict::Undecided
        } else {
            Verdict::Within
        };
        let sentences = self
            .findings
            .iter()
            .filter_map(finding_reason)
            .chain(self.figures.iter().filter_map(figure_reason));
        let (outside, undecided): (Vec<_>, Vec<_>) = sentences.partition(|s| s.starts_with("outside"));
        let untested = not_tested(&self.untested);
        self.reasons = outside
            .into_iter()
            .chain(undecided)
            .chain(self.impairments.iter().cloned())
            .chain(untested)
            .collect();
        if limited == 0 {
            self.reasons.push("undecided: not one figure could be judged".to_owned());
        } else if self.overall == Verdict::Within {
            self.reasons.push(format!(
                "within: {limited} figures keep their limits, and no finding decides against the part"
            ));
        }
    }
}

/// Most names in one sentence on what was not tested.
const MOST_NAMED: usize = 3;

/// One sentence per reason, naming the first of those that share it.
fn not_tested(untested: &[Untested]) -> Vec<String> {
    let mut by_reason: Vec<(&str, Vec<&str>)> = Vec::new();
    for Untested { what, why } in untested {
        match by_reason.iter_mut().find(|(reason, _)| reason == why) {
            Some((_, whats)) => whats.push(what),
            None => by_reason.push((why, vec![what])),
        }
    }
    let sentence = |(why, whats): (&str, Vec<&str>)| {
        let named = whats[..whats.len().min(MOST_NAMED)].join(", ");
        let more = whats.len().saturating_sub(MOST_NAMED);
        let more = if more > 0 { format!(" and {more} more") } else { String::new() };
        format!("not tested: {named}{more}: {why}")
    };
    by_reason.into_iter().map(sentence).collect()
}

/// Whether a figure counts events, so that one of them is one too many for `max = 0`.
const fn counts_events(figure: FigureName) -> bool {
    matches!(figure, FigureName::DropoutRate | FigureName::LimpTrips)
}

/// The limit of a figure: the one for its line before the one for every line.
fn limit_of(sheet: &PartSheet, figure: FigureName, channel: Option<Channel>) -> Option<&Limit> {
    let of = |c: Option<Channel>| sheet.limits.iter().find(move |l| l.figure == figure && l.channel == c);
    channel.and_then(|c| of(Some(c))).or_else(|| of(None))
}

fn judge_figure(figure: &Figure, analysis: &GripAnalysis, sheet: &PartSheet) -> JudgedFigure {
    let mut judged = JudgedFigure {
        figure: figure.clone(),
        limit: None,
        verdict: None,
        probability: None,
        would_decide: None,
    };
    let Some(limit) = limit_of(sheet, figure.name, figure.channel) else { return judged };
    judged.limit = Some(limit.clone());
    if counts_events(figure.name) && limit.max == Some(0.0) {
        let (verdict, why) = judge_no_event(figure, limit, analysis.cycles);
        (judged.verdict, judged.would_decide) = (Some(verdict), why);
    } else if is_rate(figure.name) {
        let (verdict, why) = judge_rate(figure, limit, analysis.cycles);
        (judged.verdict, judged.would_decide) = (Some(verdict), why);
    } else {
        // Magnitudes are judged by their size, whichever sign was kept to tell a direction.
        let value = if is_signed(figure.name) { figure.value } else { figure.value.abs() };
        let found = conformity(value, figure.standard_uncertainty, limit.min, limit.max);
        judged.verdict = Some(found.verdict);
        judged.probability = Some(found.probability).filter(|p| p.is_finite());
        if found.verdict == Verdict::Undecided {
            judged.would_decide = Some(settle(figure, limit, &found, analysis.cycles));
        }
    }
    doubt_gaps(&mut judged, analysis);
    judged
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
            let why =
                format!("how long was watched is not known, so {} per minute is not excluded", short(bound));
            (Verdict::Undecided, Some(why))
        }
    }
}

/// A rate with a maximum above 0: the upper bound must keep it, the value less its guard band must break it.
fn judge_rate(figure: &Figure, limit: &Limit, cycles: u32) -> (Verdict, Option<String>) {
    let (value, u) = (figure.value, figure.standard_uncertainty);
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
fn doubt_gaps(judged: &mut JudgedFigure, analysis: &GripAnalysis) {
    if judged.verdict == Some(Verdict::Outside) {
        return;
    }
    let spoiled = analysis.gap_regions.iter().find(|r| touches(judged.figure.name, **r, analysis.travel_deg));
    let Some((from, to)) = spoiled else { return };
    let gap = format!("scans are missing at {} to {} deg: repeat the sweep", short(*from), short(*to));
    judged.verdict = Some(Verdict::Undecided);
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

fn decide_finding(finding: &Finding, sheet: &PartSheet) -> DecidedFinding {
    let rule = sheet.findings.iter().find(|r| r.kind == finding.kind);
    // A kind that the sheet does not know decides: better undecided or outside than passed over.
    let decides = rule.is_none_or(|r| r.decides);
    let verdict = decides.then_some(if finding.confidence >= DECIDING_CONFIDENCE {
        Verdict::Outside
    } else {
        Verdict::Undecided
    });
    DecidedFinding {
        finding: finding.clone(),
        decides,
        verdict,
        source: rule.map(|r| r.source.clone()).unwrap_or_default(),
    }
}

/// Limits without a figure, and deciding kinds of finding that could not be looked for.
fn untested(analysis: &GripAnalysis, sheet: &PartSheet) -> Vec<Untested> {
    let mut list: Vec<Untested> = Vec::new();
    for name in FigureName::ALL {
        let channels = if name.per_channel() {
            &[Some(Channel::Rising), Some(Channel::Falling)][..]
        } else {
            &[None][..]
        };
        for channel in channels {
            let measured = analysis.figures.iter().any(|f| f.name == name && f.channel == *channel);
            if !measured && limit_of(sheet, name, *channel).is_some() {
                let why =
                    why_not(analysis, name.name(), *channel).unwrap_or("it was not measured").to_owned();
                list.push(Untested { what: named(name, *channel), why });
            }
        }
    }
    for kind in FindingKind::ALL {
        let decides = sheet.findings.iter().any(|r| r.kind == kind && r.decides);
        if decides
            && has_no_figure(kind)
            && let Some(why) = why_not(analysis, kind.name(), None)
        {
            list.push(Untested { what: kind.name().to_owned(), why: why.to_owned() });
        }
    }
    // Which end is closed: every limit on an end's voltage hangs on it.
    let direction = analysis.not_testable.iter().find(|n| n.what == DIRECTION_OF_TRAVEL);
    list.extend(direction.map(|n| Untested { what: n.what.clone(), why: n.why.clone() }));
    list
}

/// Kinds that no limited figure would show. The others, where they could not be told apart, still move voltages, linearity
/// or correlation, and those decide.
const fn has_no_figure(kind: FindingKind) -> bool {
    matches!(kind, FindingKind::FlatSpot | FindingKind::Dropout | FindingKind::NoisyTrack)
}

/// Why the analysis could not have a figure or finding. The entry that names it and its line goes first, then one that
/// names it, then one for its family (`linearity`, `dead bands`), then one for all of the line.
fn why_not<'a>(analysis: &'a GripAnalysis, name: &str, channel: Option<Channel>) -> Option<&'a str> {
    let has = |what: &str, word: &str| {
        what.split(|c: char| !c.is_ascii_alphanumeric() && c != '_').any(|w| w == word)
    };
    let family = name.split('_').next().unwrap_or(name);
    let of_line = |what: &str| channel.is_none_or(|c| has(what, c.name()));
    let tests: [&dyn Fn(&str) -> bool; 4] = [
        &|what| has(what, name) && of_line(what),
        &|what| has(what, name),
        &|what| has(what, family) && of_line(what),
        &|what| channel.is_some() && of_line(what) && (has(what, "all") || has(what, "curves")),
    ];
    tests
        .into_iter()
        .find_map(|fits| analysis.not_testable.iter().find(|n| fits(&n.what)))
        .map(|n| n.why.as_str())
}

#[cfg(test)]
#[path = "judge_tests.rs"]
mod tests;
