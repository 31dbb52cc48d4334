//! What of a session's plan was not done to its end. Nothing is claimed of it: it keeps a part from being `within`, and no grade counts it.

use super::Judgement;
use crate::quantity::{Channel, ProcedureKind};
use crate::trace::{MarkKind, Trace};
use serde::{Deserialize, Serialize};

/// How a planned procedure ended that was not done to its end.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "schemas", derive(schemars::JsonSchema))]
#[serde(rename_all = "snake_case")]
pub enum HowEnded {
    /// The session ended before it.
    NotBegun,
    /// It began and did not come to its end.
    CutShort,
    /// The rig refused it, or a part of it.
    Refused,
}

impl HowEnded {
    /// As people read it.
    pub const fn words(self) -> &'static str {
        match self {
            Self::NotBegun => "not begun",
            Self::CutShort => "cut short",
            Self::Refused => "refused by the rig",
        }
    }

    /// The name in files.
    pub const fn name(self) -> &'static str {
        match self {
            Self::NotBegun => "not_begun",
            Self::CutShort => "cut_short",
            Self::Refused => "refused",
        }
    }
}

/// A procedure that was planned and not done to its end.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NotDone {
    /// Which.
    pub procedure: ProcedureKind,
    /// How it ended.
    pub how: HowEnded,
    /// Why, a fragment.
    pub why: String,
}

/// What the traces of a session show not to have been done, in the order of its plan. Traces of programs that kept no plan show only what
/// was cut. Of two traces of a procedure the later counts. With `alone`, other procedures than the given ones are not missed.
pub fn not_done(traces: &[&Trace], alone: bool) -> Vec<NotDone> {
    let planned = traces.iter().rev().map(|t| &t.provenance.plan).find(|p| !p.is_empty());
    let planned = planned.filter(|_| !alone).into_iter().flatten().copied();
    let mut due: Vec<ProcedureKind> = Vec::new();
    // A procedure that was planned more than once is due once: the others were for a part that the first leaves undecided.
    for kind in planned.chain(traces.iter().map(|t| t.provenance.procedure)) {
        if !due.contains(&kind) {
            due.push(kind);
        }
    }
    due.into_iter().filter_map(|kind| how(kind, traces)).collect()
}

fn how(procedure: ProcedureKind, traces: &[&Trace]) -> Option<NotDone> {
    let last = traces.iter().rev().find(|t| t.provenance.procedure == procedure);
    let not_done = |how, why| Some(NotDone { procedure, how, why });
    match last {
        None => not_done(HowEnded::NotBegun, "the session ended before it".to_owned()),
        Some(trace) if trace.end.words().is_some() => {
            let scans = if trace.is_empty() { ", nothing was recorded" } else { "" };
            not_done(HowEnded::CutShort, format!("it {}{scans}", trace.end.words().unwrap_or_default()))
        }
        Some(trace) if !trace.provenance.refused.is_empty() => {
            not_done(HowEnded::Refused, trace.provenance.refused.join("; "))
        }
        Some(_) => None,
    }
}

/// Whether the loads of a leads check were really switched on, each line's that was recorded. None for every other procedure.
pub fn loads_stepped(trace: &Trace) -> Option<bool> {
    if trace.provenance.procedure != ProcedureKind::LeadsCheck {
        return None;
    }
    let loaded = |line: Channel| {
        let is =
            |kind: &MarkKind| matches!(kind, MarkKind::Input { channel, load: true, .. } if *channel == line);
        trace.marks.iter().any(|m| is(&m.kind))
    };
    Some(Channel::SENSORS.into_iter().filter(|line| trace.channel(*line).is_some()).all(loaded))
}

impl Judgement {
    /// Takes into account what was planned and not done: nothing is claimed of it. What was cut short is stated by [`Judgement::heed`].
    pub fn lacking(self, not_done: &[NotDone]) -> Self {
        let said: Vec<String> = not_done
            .iter()
            .filter(|n| n.how != HowEnded::CutShort)
            .map(|n| format!("the {} was {}: {}: repeat it", n.procedure.title(), n.how.words(), n.why))
            .collect();
        self.doubt(&said)
    }
}
