//! What would settle an undecided part, figure by figure and finding by finding, and the one sweep that does most of it.

use super::conformity::{Conformity, guard_factor};
use super::remedy::{MOST_CYCLES, Makeup, Remedy, Sweep, TIMES_FOR_A_FINDING, comes_from_a_sweep};
use super::words::named;
use super::{DecidedFinding, FindingEffect, JudgedFigure, Judgement, Verdict};
use crate::analysis::{Figure, PartAnalysis};
use crate::quantity::{FindingKind, PartKind};
use crate::sheet::Limit;

impl Judgement {
    /// What leaves the part undecided, by its title: figures and findings.
    pub fn open(&self) -> Vec<String> {
        let figures = self.figures.iter().filter(|j| j.verdict == Some(Verdict::Undecided));
        let findings = self.findings.iter().filter(|f| f.effect == FindingEffect::Undecided);
        figures
            .map(|j| named(j.figure.name, j.figure.channel, &j.figure.condition, self.topology))
            .chain(findings.map(|f| f.finding.kind.title().to_owned()))
            .collect()
    }

    /// The sweep that would settle what one more sweep can settle of an undecided part: the longest that any of it asks for, and what asks
    /// for one, in words. None where the part is decided, and where no sweep would settle anything.
    pub fn sweep_that_settles(&self) -> Option<(Sweep, Vec<String>)> {
        if self.overall != Verdict::Undecided || self.mismatch.is_some() {
            return None;
        }
        let of_figure = |j: &JudgedFigure| {
            let title = named(j.figure.name, j.figure.channel, &j.figure.condition, self.topology);
            Some((j.remedy?.sweep()?, title))
        };
        let undecided = self.figures.iter().filter(|j| j.verdict == Some(Verdict::Undecided));
        let asking: Vec<(Sweep, String)> = undecided
            .filter_map(of_figure)
            .chain(self.findings.iter().filter_map(|f| Some((f.sweep?, f.finding.kind.title().to_owned()))))
            .collect();
        let longest = asking.iter().map(|(sweep, _)| *sweep).max_by_key(|sweep| sweep.cycles)?;
        Some((longest, asking.into_iter().map(|(_, title)| title).collect()))
    }
}

/// The sweep that would settle an unsure finding of the track.
pub(super) fn with_sweep(mut decided: DecidedFinding, analysis: &PartAnalysis) -> DecidedFinding {
    let of_track = matches!(decided.finding.kind, FindingKind::FlatSpot | FindingKind::NoisyTrack);
    let cycles = analysis.cycles.saturating_mul(TIMES_FOR_A_FINDING).min(MOST_CYCLES);
    let unsure = decided.effect == FindingEffect::Undecided && analysis.kind == PartKind::Grip;
    decided.sweep =
        (unsure && of_track && cycles > analysis.cycles).then_some(Sweep { cycles, chance: None });
    decided
}

/// What would settle a value that is undecided against its limits. Between two limits that are nearer than the guard bands of what all cycles
/// share no number of cycles does.
pub(super) fn remedy(makeup: &Makeup, found: &Conformity, limit: &Limit, cycles: u32, sure: f64) -> Remedy {
    let wide = match (limit.min, limit.max) {
        (Some(min), Some(max)) => max - min >= 2.0 * guard_factor(sure) * makeup.rest,
        _ => true,
    };
    if wide { Remedy::of(makeup, found.margin.abs(), cycles, sure) } else { Remedy::Calibrate }
}

/// The cycles that a sweep without an event takes to exclude a rate, from what those that were swept exclude; none where an event was seen or
/// the length is not known.
pub(super) fn cycles_without_event(judged: &JudgedFigure, rate: Option<f64>, cycles: u32) -> Option<u32> {
    let upper = judged.figure.upper_bound.filter(|b| b.is_finite() && judged.figure.value == 0.0)?;
    // The last cycle of a sweep takes twice as long as the others, so a longer one is not longer in proportion.
    let needed = (f64::from(cycles.max(1) + 1) * upper / rate?).ceil();
    (judged.verdict == Some(Verdict::Undecided) && needed.is_finite() && needed < f64::from(u32::MAX))
        .then_some(needed as u32)
}

/// A sweep of so many cycles, where that many can be swept and the figure comes from one.
pub(super) fn again(figure: &Figure, analysis: &PartAnalysis, cycles: u32) -> Option<Remedy> {
    let possible = comes_from_a_sweep(figure.name, analysis.kind) && cycles <= MOST_CYCLES;
    possible.then_some(Remedy::Sweep(Sweep { cycles: cycles.max(1), chance: None }))
}
