//! What the lines say together: pull the part, mend the run first, or undecided, and why.

use super::worksheet::run_word;
use super::{Checked, Conclusion, show};
use crate::diagnosis::{CheckKind, Run};
use crate::verdict::Verdict;

/// Lines that a reason names before it counts the rest.
const NAMED: usize = 8;

/// A run in words.
pub const fn run_words(run: Run) -> &'static str {
    match run {
        Run::GripToController => "grip to controller",
        Run::ControllerToMotor => "controller to motor",
        Run::FeedbackToController => "feedback to controller",
    }
}

/// Whether a line speaks for the sensor and not for its wiring.
fn speaks_for_the_part(line: &Checked) -> bool {
    line.line.check == CheckKind::SensorOutput && line.line.opening.is_some()
}

/// The conclusion and its reasons, the deciding ones first.
pub fn conclude(lines: &[Checked]) -> (Conclusion, Vec<String>) {
    let with = |verdict| lines.iter().filter(move |l| l.verdict == Some(verdict));
    let broken: Vec<&Checked> = with(Verdict::Outside).filter(|l| !speaks_for_the_part(l)).collect();
    let off: Vec<&Checked> = with(Verdict::Outside).filter(|l| speaks_for_the_part(l)).collect();
    let open: Vec<&Checked> = with(Verdict::Undecided)
        .filter(|l| !speaks_for_the_part(l))
        .filter(|l| !cleared_by_drop(l, lines))
        .collect();
    let missing: Vec<&Checked> = lines.iter().filter(|l| l.verdict.is_none() && !l.line.computed).collect();
    let mut reasons: Vec<String> = broken.iter().chain(&open).map(|l| told(l)).collect();
    if !missing.is_empty() {
        reasons.push(names_missing(&missing, lines.len()));
    }
    let conclusion = if !broken.is_empty() {
        reasons.push(
            "Mend that first, then check the run again: a part is not pulled for a fault of its wiring."
                .to_owned(),
        );
        Conclusion::MendTheRunFirst
    } else if !open.is_empty() || !missing.is_empty() {
        reasons.push(
            "The wiring is not cleared: the part stays where it is until these lines are decided.".to_owned(),
        );
        Conclusion::Undecided
    } else {
        reasons.push(cleared(&off));
        reasons.extend(off.iter().map(|l| told(l)));
        Conclusion::PullThePart
    };
    (conclusion, reasons)
}

fn cleared(off: &[&Checked]) -> String {
    if off.is_empty() {
        "Every line of the wiring is within its limits and so are the outputs: what is left is inside the part, the controller, or does not show now. \
         Pull the part and qualify it on the bench."
            .to_owned()
    } else {
        "Every line of the wiring is within its limits, and the sensor's outputs are not: pull the part and qualify it on the bench.".to_owned()
    }
}

/// A continuity that the meter could not decide is decided by the drop of the same wire under load.
fn cleared_by_drop(line: &Checked, lines: &[Checked]) -> bool {
    let Some(wire) = line.line.id.strip_prefix(&format!("{}.continuity.", run_word(line.line.run))) else {
        return false;
    };
    let drop = format!("{}.drop.{wire}", run_word(line.line.run));
    lines.iter().any(|l| l.line.id == drop && l.verdict == Some(Verdict::Within))
}

fn told(line: &Checked) -> String {
    let run = capital(run_words(line.line.run));
    format!("{run}, {} ({}): {}", show::place(&line.line), line.line.id, line.why)
}

fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or(String::new(), |first| first.to_uppercase().chain(letters).collect())
}

fn names_missing(missing: &[&Checked], all: usize) -> String {
    let names: Vec<&str> = missing.iter().take(NAMED).map(|l| l.line.id.as_str()).collect();
    let more = if missing.len() > names.len() {
        format!(" and {} more", missing.len() - names.len())
    } else {
        String::new()
    };
    format!("{} of {all} lines are missing: {}{more}.", missing.len(), names.join(", "))
}

/// A verdict on wiring and what is done then, in a line.
pub const fn headline(conclusion: Conclusion) -> &'static str {
    match conclusion {
        Conclusion::PullThePart => "Pull the part",
        Conclusion::MendTheRunFirst => "Mend the run first",
        Conclusion::Undecided => "Undecided",
    }
}
