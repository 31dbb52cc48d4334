//! What is asked of what was recorded: about what, among which good parts, and what an earlier outcome of the same traces knows.

use super::failure::Failure;
use super::population;
use crate::analysis::body::population::Population;
use crate::outcome::{Outcome, OutcomeLine, OutcomeNotDone};
use crate::sheet::{PartSheet, Topology};
use crate::verdict::Scope;

/// A question. It is complete before anything is judged.
#[derive(Default)]
pub struct Question {
    /// About what; without it about the part, and the best trace answers.
    pub(super) scope: Option<Scope>,
    /// Topologies that fit the lines, where they are known beforehand.
    pub(super) shown: Vec<Topology>,
    /// Healthy bodies that a body is judged population; none: the shipped ones of its kind.
    pub(super) population: Option<Population>,
    /// Whether the traces were picked out of a record: what else was planned is not missed.
    pub(super) alone: bool,
    /// What an earlier outcome says.
    pub(super) before: Option<Before>,
}

/// What an earlier outcome of the same traces says of its session.
pub struct Before {
    /// Whether it was cut short.
    pub(super) aborted: bool,
    /// What was not done.
    pub(super) not_done: Vec<OutcomeNotDone>,
    /// What the line did.
    pub(super) line: Option<OutcomeLine>,
}

impl Question {
    /// About this alone.
    pub fn of(scope: Scope) -> Self {
        Self { scope: Some(scope), ..Self::default() }
    }

    /// About the whole part, among healthy bodies where some are given.
    pub fn of_the_part(population: Option<Population>) -> Self {
        Self { population, ..Self::default() }
    }

    /// Where the topologies that fit the lines are known.
    pub fn where_lines_are(self, shown: Vec<Topology>) -> Self {
        Self { shown, ..self }
    }

    /// Among healthy bodies.
    pub fn in_population(self, population: Option<Population>) -> Self {
        Self { population, ..self }
    }

    /// Of traces that were picked out of a record.
    pub fn of_picked_traces(self) -> Self {
        Self { alone: true, ..self }
    }

    /// With what an earlier outcome says.
    pub fn after(self, before: Option<&Outcome>) -> Self {
        let before =
            before.map(|o| Before { aborted: o.aborted, not_done: o.not_done.clone(), line: o.line.clone() });
        Self { before, ..self }
    }

    /// Checks that the part that the sheet is for can be judged among its healthy bodies.
    ///
    /// # Errors
    /// As [`population::check_fits`].
    pub fn check_population(&self, sheet: &PartSheet) -> Result<(), Failure> {
        population::check_fits(self.population.as_ref(), sheet)
    }
}
