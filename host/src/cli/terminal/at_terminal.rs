//! A job that is done at the terminal: what it is given of the world, drawn and answered there.

use super::answers::Typed;
use super::drawing::Drawing;
use crate::cli::clock::HostClock;
use crate::cli::surroundings::Surroundings;
use crate::job::{Answer, Event, Failure, Outside, Question};
use std::io::IsTerminal;
use tokio_util::sync::CancellationToken;

/// Does a job whose events are drawn as they are.
///
/// # Errors
/// The job's own.
pub fn at_terminal<T>(
    surroundings: &Surroundings<'_>,
    work: impl FnOnce(&Outside<'_>) -> Result<T, Failure>,
) -> Result<T, Failure> {
    let drawing = Drawing::new(surroundings.progress);
    at_terminal_drawn(surroundings, &drawing, &|event| drawing.draw(event), work)
}

/// Does a job whose events are drawn by `draw`, and questions by `drawing`.
///
/// # Errors
/// As [`at_terminal`].
pub fn at_terminal_drawn<T>(
    surroundings: &Surroundings<'_>,
    drawing: &Drawing,
    draw: &dyn Fn(Event),
    work: impl FnOnce(&Outside<'_>) -> Result<T, Failure>,
) -> Result<T, Failure> {
    let workshop = surroundings.workshop();
    let clock = HostClock::new();
    work(&Outside {
        open_simulator: surroundings.open_simulator,
        stop: surroundings.stop,
        clock: &clock,
        workshop: &workshop,
        tell: draw,
        ask: &|question| answer(question, drawing, surroundings.stop),
    })
}

fn answer(question: Question, drawing: &Drawing, stop: &CancellationToken) -> Answer {
    if !std::io::stdin().is_terminal() {
        return Answer::Nobody;
    }
    match question {
        Question::CautionsRead => {
            drawing.say("Type yes when you have read them and nobody is near the bore:")
        }
    }
    match Typed::answer(stop) {
        Some(answer) if answer.eq_ignore_ascii_case("yes") => Answer::Yes,
        _ => Answer::No,
    }
}
