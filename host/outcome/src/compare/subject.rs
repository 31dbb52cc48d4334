//! An outcome as something to compare: which record it is, which of its figures answer to another's, and what keeps two apart.
//! It compares no numbers.

use crate::outcome::{Outcome, OutcomeFigure};
use crate::quantity::{Channel, Condition, FigureName, PartKind, Unit, Written};
use crate::verdict::Scope;
use serde::Serialize;

/// Openings from which a plate was let go are the same within this, degrees: the last lies where the open stop was found.
const SAME_OPENING_DEG: f64 = 2.0;

/// An outcome and the name it was given by.
#[derive(Clone, Copy, Debug)]
pub struct Subject<'a> {
    /// Name of its record, or the file it came from.
    pub record: &'a str,
    /// The outcome.
    pub outcome: &'a Outcome,
}

/// What a comparison states of a record.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct Side {
    /// Name of the record, or the file.
    pub record: String,
    /// The part in the user's words; may hold anything.
    pub label: String,
    /// Kind of part.
    pub kind: Written<PartKind>,
    /// When it was recorded, RFC 3339.
    pub recorded: String,
    /// When it was judged, RFC 3339.
    pub judged: String,
    /// Its verdict.
    pub verdict: crate::verdict::Verdict,
    /// What the verdict is about.
    pub scope: Written<Scope>,
    /// Part sheet.
    pub sheet: String,
    /// Model and serial of the rig; null when there was none.
    pub rig: Option<String>,
    /// Version of the analysis.
    pub analysis: String,
    /// Whether the data were simulated.
    pub simulated: bool,
}

impl Subject<'_> {
    /// What the record states.
    pub fn side(&self) -> Side {
        let o = self.outcome;
        Side {
            record: self.record.to_owned(),
            label: o.part.label.clone(),
            kind: o.part.kind.clone(),
            recorded: o.recorded.clone(),
            judged: o.judged.clone(),
            verdict: o.verdict,
            scope: o.scope.clone(),
            sheet: o.sheet.name.clone(),
            rig: rig(o),
            analysis: analysis(o),
            simulated: o.simulated,
        }
    }
}

fn rig(outcome: &Outcome) -> Option<String> {
    outcome.rig.as_ref().map(|r| format!("{} {}", r.model, r.serial))
}

fn analysis(outcome: &Outcome) -> String {
    outcome.versions.get("analysis").map_or("unknown", String::as_str).to_owned()
}

/// Which quantity a figure is: its name, line and condition.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
pub struct Quantity {
    /// Name of the figure.
    pub figure: Written<FigureName>,
    /// Line; null for the pair or the part.
    pub channel: Option<Written<Channel>>,
    /// Under which condition.
    #[serde(skip_serializing_if = "Condition::is_none")]
    pub condition: Condition,
    /// Unit of every number.
    pub unit: Unit,
}

impl Quantity {
    /// Of a figure.
    pub fn of(figure: &OutcomeFigure) -> Self {
        Self {
            figure: figure.figure.clone(),
            channel: figure.channel.clone(),
            condition: figure.condition,
            unit: figure.unit,
        }
    }

    /// Whether a figure is a value of this quantity.
    pub fn is(&self, figure: &OutcomeFigure) -> bool {
        let (a, b) = (&self.condition, &figure.condition);
        let opening = match (a.from_deg, b.from_deg) {
            (Some(a), Some(b)) => (a - b).abs() <= SAME_OPENING_DEG,
            (a, b) => a == b,
        };
        (&self.figure, &self.channel, self.unit) == (&figure.figure, &figure.channel, figure.unit)
            && (a.region, a.direction, a.bridge) == (b.region, b.direction, b.bridge)
            && opening
    }

    /// The figure of an outcome that is a value of this quantity; of several, the one whose opening is nearest.
    pub fn find<'a>(&self, outcome: &'a Outcome) -> Option<&'a OutcomeFigure> {
        let away = |f: &&OutcomeFigure| {
            let opening = |c: &Condition| c.from_deg.unwrap_or(0.0);
            (opening(&f.condition) - opening(&self.condition)).abs()
        };
        outcome.figures.iter().filter(|f| self.is(f)).min_by(|a, b| away(a).total_cmp(&away(b)))
    }
}

/// Why two outcomes can't be compared at all.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{before} is a {before_kind} and {after} is a {after_kind}; compare parts of one kind")]
pub struct OtherKind {
    /// Name of the first.
    pub before: String,
    /// Its kind.
    pub before_kind: Written<PartKind>,
    /// Name of the other.
    pub after: String,
    /// Its kind.
    pub after_kind: Written<PartKind>,
}

/// Checks that two outcomes are about the same kind of part.
///
/// # Errors
/// [`OtherKind`].
pub fn same_kind(before: Subject<'_>, after: Subject<'_>) -> Result<(), OtherKind> {
    let kinds = (&before.outcome.part.kind, &after.outcome.part.kind);
    if kinds.0 == kinds.1 {
        return Ok(());
    }
    Err(OtherKind {
        before: before.record.to_owned(),
        before_kind: kinds.0.clone(),
        after: after.record.to_owned(),
        after_kind: kinds.1.clone(),
    })
}

/// What else than the part differs between two outcomes, as sentences: each may be the reason of a difference.
pub fn differing(before: Subject<'_>, after: Subject<'_>) -> Vec<String> {
    let (a, b) = (before.outcome, after.outcome);
    let mut said = Vec::new();
    let mut say = |differs: bool, sentence: String| {
        if differs {
            said.push(sentence);
        }
    };
    say(
        a.simulated != b.simulated,
        "one was simulated and the other was not: they say nothing of each other".to_owned(),
    );
    say(
        a.part.label != b.part.label,
        format!("the parts bear different words, {:?} and {:?}: is it one part?", a.part.label, b.part.label),
    );
    say(
        (&a.sheet.name, &a.sheet.topology) != (&b.sheet.name, &b.sheet.topology),
        format!(
            "judged by different sheets, {} and {}: figures that rest on nominal lines or travel may differ for that alone; judge \
             both by one sheet",
            a.sheet.name, b.sheet.name
        ),
    );
    say(
        a.scope != b.scope,
        format!(
            "the verdicts speak of different things, {} and {}: what only one of them tested is not compared",
            a.scope, b.scope
        ),
    );
    let versions = (analysis(a), analysis(b));
    say(
        versions.0 != versions.1,
        format!(
            "computed by different versions of the analysis, {} and {}: judge both again with one program first",
            versions.0, versions.1
        ),
    );
    say(rig(a) != rig(b), format!("{ON_OTHER_RIGS}, {} and {}", named(a), named(b)));
    say(
        a.versions.get("population") != b.versions.get("population"),
        "judged among different populations of healthy bodies: lost motion is told from other thresholds"
            .to_owned(),
    );
    say(
        ran(a) != ran(b),
        "different procedures were run: figures and findings of the others are not compared".to_owned(),
    );
    for (s, o) in [(before, a), (after, b)] {
        say(o.aborted, format!("{} was cut short", s.record));
    }
    say(
        recorded_later(a, b),
        "the first was recorded after the second: \"before\" and \"after\" are the order in which they were given".to_owned(),
    );
    said
}

/// How the sentence about rigs begins.
pub(super) const ON_OTHER_RIGS: &str = "recorded on different rigs";

fn named(outcome: &Outcome) -> String {
    rig(outcome).unwrap_or_else(|| "none".to_owned())
}

fn ran(outcome: &Outcome) -> Vec<&str> {
    let mut names: Vec<&str> = outcome.procedures.iter().map(|p| p.procedure.as_str()).collect();
    names.sort_unstable();
    names.dedup();
    names
}

/// Whether the first was recorded later; not said of what has no readable time.
fn recorded_later(a: &Outcome, b: &Outcome) -> bool {
    seconds(a).zip(seconds(b)).is_some_and(|(a, b)| a > b)
}

/// When an outcome was recorded, seconds after 1970-01-01; none when its time can't be read.
pub fn seconds(outcome: &Outcome) -> Option<f64> {
    let time: jiff::Timestamp = outcome.recorded.parse().ok()?;
    Some(time.as_duration().as_secs_f64())
}
