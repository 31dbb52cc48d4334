//! The grade of a part: its outcome held against the rules of its sheet. Pure; it gives no grade that a rule does not name, and
//! says what kept a part from a better one.

use super::{Outcome, OutcomeFigure, OutcomeGrade};
use crate::quantity::{Channel, FindingKind, ProcedureKind, Unit, Written, rounding};
use crate::sheet::{GradeRule, Limit, PartSheet};
use crate::trace::TraceEnd;
use crate::verdict::{Verdict, line_name};

/// Most sentences that are printed; further ones say the same of other figures.
const MOST_SENTENCES: usize = 12;
/// Most figures that one sentence names.
const MOST_NAMES: usize = 3;

/// How far a figure stays from its limit after its uncertainty, as a share of the room that the limit gives, %.
///
/// With the value `v`, its expanded uncertainty `U` (95 %), and limits `min` and `max`, the distance is
/// `d = min(max − (v + U), (v − U) − min)`, of the limits that there are; for a rate `v + U` is its 95 % upper bound. The margin is
/// - with both limits: `100 d / ((max − min) / 2)`: 100 % in the middle without uncertainty, 0 % where the uncertainty touches a
///   limit, negative beyond;
/// - with one limit: `100 d / |limit|`: 100 % for a value of 0 under an upper limit; above a lower limit it may exceed 100 %.
///
/// None without a limit, and where the limit gives no room to be measured in: "none allowed", `min = max`, a limit of 0.
pub fn margin_percent(figure: &OutcomeFigure) -> Option<f64> {
    let limit = figure.limit.as_ref()?;
    let (value, u) = (figure.value, figure.expanded_uncertainty);
    let high = figure.upper_bound.filter(|_| figure.unit == Unit::PerMinute).unwrap_or(value + u);
    let to_max = limit.max.map(|max| max - high);
    let to_min = limit.min.map(|min| value - u - min);
    let (distance, room) = match (to_min, to_max) {
        (Some(a), Some(b)) => (a.min(b), (limit.max? - limit.min?) / 2.0),
        (None, Some(b)) => (b, limit.max?.abs()),
        (Some(a), None) => (a, limit.min?.abs()),
        (None, None) => return None,
    };
    (room > 0.0).then(|| 100.0 * distance / room).filter(|m| m.is_finite())
}

/// The grade that the sheet's rules give; none when the sheet has no rules. A grade without a name says why none is given.
pub fn grade(outcome: &Outcome, sheet: &PartSheet) -> Option<OutcomeGrade> {
    let last = sheet.grades.last()?;
    let asked = Asked { outcome, sheet };
    let met = sheet.grades.iter().position(|rule| asked.failings(rule).is_empty());
    let (given, wanted) = match met {
        Some(0) => (Some(&sheet.grades[0]), None),
        Some(k) => (Some(&sheet.grades[k]), Some(&sheet.grades[k - 1])),
        None => (None, Some(last)),
    };
    let mut why = given.map_or(Vec::new(), |rule| vec![asked.met(rule)]);
    why.extend(wanted.map_or(Vec::new(), |rule| asked.failings(rule)));
    if why.len() > MOST_SENTENCES {
        let more = why.len() - MOST_SENTENCES;
        why.truncate(MOST_SENTENCES);
        why.push(format!("and {more} more"));
    }
    Some(OutcomeGrade {
        name: given.map(|r| r.name.clone()),
        title: given.map(|r| r.title.clone()),
        source: given.map(|r| r.source.clone()),
        why,
    })
}

/// An outcome that rules are held against.
struct Asked<'a> {
    outcome: &'a Outcome,
    sheet: &'a PartSheet,
}

impl Asked<'_> {
    /// What a rule asks for and the outcome does not have, a sentence each.
    fn failings(&self, rule: &GradeRule) -> Vec<String> {
        let all = [
            self.scope(rule),
            self.verdict(rule),
            self.simulated(rule),
            self.margin(rule),
            self.confidence(rule),
            self.procedures(rule),
            self.undecided(rule),
            self.untested(rule),
        ];
        all.into_iter().flatten().map(|why| format!("not “{}”: {why}", rule.name)).collect()
    }

    /// Why a rule gives its grade.
    fn met(&self, rule: &GradeRule) -> String {
        let margin = self.smallest_margin().map_or(String::new(), |(margin, figure)| {
            format!("; smallest margin {} % ({})", whole(margin), self.named(figure))
        });
        let surest = self.surest().map_or("no finding".to_owned(), |(confidence, _)| {
            format!("surest finding {} %", upward(100.0 * confidence))
        });
        format!("{}: {}{margin}; {surest}", rule.name, self.outcome.verdict.name())
    }

    fn scope(&self, rule: &GradeRule) -> Option<String> {
        let scope = self.outcome.scope.as_str();
        (!rule.scopes.contains(&scope)).then(|| {
            let asked: Vec<String> = rule.scopes.iter().map(|s| scope_words(s)).collect();
            format!("only {} was judged; it asks for {}", scope_words(scope), asked.join(" or "))
        })
    }

    fn verdict(&self, rule: &GradeRule) -> Option<String> {
        let verdict = self.outcome.verdict.name();
        (!rule.verdicts.contains(&verdict))
            .then(|| format!("the verdict is {verdict}; it asks for {}", rule.verdicts.join(" or ")))
    }

    fn simulated(&self, rule: &GradeRule) -> Option<String> {
        (self.outcome.simulated && !rule.simulated).then(|| "the part was simulated".to_owned())
    }

    fn smallest_margin(&self) -> Option<(f64, &OutcomeFigure)> {
        let margins = self.outcome.figures.iter().filter_map(|f| Some((margin_percent(f)?, f)));
        margins.min_by(|a, b| a.0.total_cmp(&b.0))
    }

    fn margin(&self, rule: &GradeRule) -> Option<String> {
        let least = rule.smallest_margin_percent?;
        let Some((margin, figure)) = self.smallest_margin() else {
            return Some(format!("no figure has a margin to its limit; it asks for {} %", whole(least)));
        };
        (margin < least).then(|| {
            let (margin, name) = (whole(margin), self.named(figure));
            format!("the smallest margin to a limit is {margin} % ({name}); it asks for {} %", whole(least))
        })
    }

    fn surest(&self) -> Option<(f64, &Written<FindingKind>)> {
        let all = self.outcome.findings.iter().map(|f| (f.confidence, &f.kind));
        all.max_by(|a, b| a.0.total_cmp(&b.0))
    }

    fn confidence(&self, rule: &GradeRule) -> Option<String> {
        let most = rule.largest_confidence?;
        let (confidence, kind) = self.surest()?;
        (confidence > most).then(|| {
            let kind = kind.title();
            let (is, most) = (upward(100.0 * confidence), whole(100.0 * most));
            format!("{kind} was found with {is} % confidence; it allows {most} %")
        })
    }

    fn procedures(&self, rule: &GradeRule) -> Option<String> {
        let outcome = self.outcome;
        let lacks = |procedure: ProcedureKind| {
            let ran = || outcome.procedures.iter().filter(|p| p.procedure == procedure);
            let title = procedure.title();
            if let Some(left) = outcome.not_done.iter().find(|n| n.procedure == procedure) {
                return Some(format!("{title} ({})", left.how.words()));
            }
            if !ran().any(|p| p.end == TraceEnd::Complete) {
                return Some(title.to_owned());
            }
            let loadless = ran().any(|p| p.loads_stepped == Some(false));
            loadless.then(|| format!("{title} (no load was switched on)"))
        };
        let asked = rule.procedures.iter().filter_map(|name| ProcedureKind::from_name(name));
        let missing: Vec<String> = asked.filter_map(lacks).collect();
        (!missing.is_empty()).then(|| format!("not done to its end: {}", missing.join(", ")))
    }

    fn undecided(&self, rule: &GradeRule) -> Option<String> {
        if rule.undecided {
            return None;
        }
        let open = self.outcome.figures.iter().filter(|f| f.verdict == Some(Verdict::Undecided));
        let names: Vec<String> = open.map(|f| self.named(f)).collect();
        (!names.is_empty()).then(|| format!("undecided: {}", listed(&names)))
    }

    /// Limits of the sheet that no figure of the outcome was held against.
    fn untested(&self, rule: &GradeRule) -> Option<String> {
        if rule.untested {
            return None;
        }
        let figures = &self.outcome.figures;
        let limits = self.sheet.limits.iter().filter(|limit| !limit.figure.needs_a_hand());
        let unmet = limits.filter(|limit| !figures.iter().any(|f| covers(limit, f)));
        let names: Vec<String> = unmet.map(|limit| self.limit_named(limit)).collect();
        (!names.is_empty()).then(|| format!("not tested: {}", listed(&names)))
    }

    fn named(&self, figure: &OutcomeFigure) -> String {
        let channel = figure.channel.as_ref().and_then(Written::known);
        self.with_place(&figure.figure.title(), channel, &figure.condition.words())
    }

    fn limit_named(&self, limit: &Limit) -> String {
        self.with_place(limit.figure.title(), limit.channel, &limit.condition.words())
    }

    fn with_place(&self, title: &str, channel: Option<Channel>, condition: &str) -> String {
        let line = channel.map(|c| format!("{} line", line_name(c, Some(self.sheet.topology))));
        let place = [line.unwrap_or_default(), condition.to_owned()];
        let place: Vec<String> = place.into_iter().filter(|p| !p.is_empty()).collect();
        if place.is_empty() { title.to_owned() } else { format!("{title}, {}", place.join(", ")) }
    }
}

fn covers(limit: &Limit, figure: &OutcomeFigure) -> bool {
    let name = figure.figure.known();
    let channel = figure.channel.as_ref().and_then(Written::known);
    figure.verdict.is_some() && name.is_some_and(|name| limit.covers(name, channel, &figure.condition))
}

/// Names up to a few, and how many more.
fn listed(names: &[String]) -> String {
    let shown = names.iter().take(MOST_NAMES).cloned().collect::<Vec<_>>().join("; ");
    match names.len().saturating_sub(MOST_NAMES) {
        0 => shown,
        more => format!("{shown}; and {more} more"),
    }
}

/// What was judged, in words.
fn scope_words(scope: &str) -> String {
    match scope {
        "part" => "the whole part".to_owned(),
        "dropouts" => "lost contact".to_owned(),
        "leads" => "the leads".to_owned(),
        "soak" => "a soak".to_owned(),
        "readiness" => "whether rig and part are ready".to_owned(),
        procedure => format!("the procedure {}", procedure.replace('_', " ")),
    }
}

/// A confidence in a defect, rounded toward what is worse.
fn upward(percent: f64) -> String {
    // What 100 times a share is off by must not make 41 % of 41 %.
    rounding::fixed((percent - 1e-9).ceil(), 0)
}

/// A margin or a bound, rounded toward what is worse, so that it never looks better than it is.
fn whole(percent: f64) -> String {
    rounding::fixed((percent + 1e-9).floor(), 0)
}

#[cfg(test)]
#[path = "grade_tests.rs"]
mod tests;
